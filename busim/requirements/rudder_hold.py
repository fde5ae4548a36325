"""Nobody steers, or somebody else does from now on: the rudder stays where it is until a wheel asks for it.

Judged by where the machinery says the rudder is, from the moment a loss was due (the last valid wheel frame it received, and the
control timeout) or a report named another station, until the wheel in control asks for where the rudder is, or has passed it.
"""

from busim.events import bits
from busim.events.journal import Event, Journal
from busim.events.rudder_view import RudderView
from busim.events.table import FROM_PLANT
from busim.requirements.in_a_log import Reported
from busim.requirements.requirement import TAMPERED, Context, Requirement
from busim.requirements.verdict import Tally, Verdict
from busim.units import MS

MOST_CDEG = 200
SLACK_NS = 5 * MS
"""A gap this much longer than the control timeout is a loss for certain, whatever clocks and processing do."""
NEAR_CDEG = 250
"""A wheel this near to the rudder steers it: 2 degrees, and what the rudder may turn while its own sensor is read."""
RATE = 1


class Holding:
    """Since when the rudder has to hold, and where. `side`: of the wheel as first heard; 0 while it was not."""

    __slots__ = ("at_ns", "cdeg", "lost", "side", "words")

    def __init__(self, at_ns: int, cdeg: int, words: str, *, lost: bool) -> None:
        self.at_ns = at_ns
        self.cdeg = cdeg
        self.words = words
        self.lost = lost
        self.side = 0


class Hold(Requirement):
    id = "rudder.hold"
    words = "The rudder stays where it is when whoever steered is lost, and when another station takes control."
    hazards = ("hard over", "loss of all control", "confusion over control")
    in_a_log = Reported("rudder feedback")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self.tally = Tally(self.id, MOST_CDEG, "cdeg", FROM_PLANT)
        plan = context.plan
        self.timeout_ns = plan.timing.control_timeout_ms * MS
        self.max_gap = plan.timing.max_gap
        self.pair = (0, 0)
        self.begun = self.situation.reception_known
        """False until a rudder was heard in a log, which begins anywhere: whom it obeys then, it may have obeyed before."""
        self.holding: Holding | None = None
        self.wheel_ns: int | None = None
        """When the rudder last received a valid wheel frame of the pair it obeys, or changed over."""
        self.rule = bits.SeveralBusesRule(self.max_gap, self.timeout_ns)
        self.broken: set[str] = set()
        """Faults of the rudder itself that are on: what it does then is for rudder.fault_found."""
        self.names = {station.address: station.name for station in plan.stations}
        self.met: set[tuple[int, int]] = set()
        """Takes, as (station, number), whose wheel was heard where the rudder is: a report that says so may come late."""

    def attach(self, journal: Journal) -> None:
        rudder = self.situation.rudder
        if rudder is None:
            return
        journal.watch_frames(bits.CODE_RUDDER_STATE << 6 | rudder.address, self._state)
        for station in rudder.plan.stations:
            journal.watch_frames(bits.CODE_WHEEL << 6 | station, self._wheel)
        for kind in ("rudder", "power", "fault"):
            journal.watch_events(kind, getattr(self, f"_{kind}"))

    # ------------------------------------------------------------------------------------------------ when it has to hold

    def _hold(self, rudder: RudderView, at_ns: int, words: str, *, lost: bool) -> None:
        if not self.broken:
            self.holding = Holding(at_ns, rudder.true_cdeg(at_ns), words, lost=lost)

    def _state(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        rudder = self.situation.rudder
        if rudder is None or not bits.sound(can_id, data):
            return
        self._watch_loss(rudder, now_ns)
        pair = (rudder.station, rudder.number)
        if not self.begun:
            self.begun, self.pair, self.wheel_ns = True, pair, now_ns
        if pair == self.pair:
            self.met.clear()  # it has not taken over yet: what was heard until now it did not follow
            return
        before, self.pair = self.pair, pair
        self.met &= {pair}
        if rudder.station and pair in self.met:
            self._measure(rudder, now_ns)
            self.holding = None
            name = self.names.get(rudder.station, rudder.station)
            self.tally.measure(0, now_ns, f"{name} took control with its wheel where the rudder is")
            self._follows(now_ns)
        elif rudder.station:
            self._measure(rudder, now_ns)
            self._hold(rudder, now_ns, f"{self.names.get(rudder.station, rudder.station)} took control", lost=False)
            self._follows(now_ns)
        elif before[0] and (self.holding is None or not self.holding.lost):
            self._measure(rudder, now_ns)
            self._hold(rudder, now_ns, "nobody steered any more", lost=True)

    def _follows(self, now_ns: int) -> None:
        """It has taken over: its rule for the wheel begins anew."""
        self.wheel_ns = now_ns
        self.rule = bits.SeveralBusesRule(self.max_gap, self.timeout_ns)

    def _watch_loss(self, rudder: RudderView, now_ns: int) -> None:
        lost = self.holding is not None and self.holding.lost
        if self.pair[0] and self.wheel_ns is not None and not lost and now_ns - self.wheel_ns > self.timeout_ns + SLACK_NS:
            self._hold(rudder, self.wheel_ns + self.timeout_ns, "nothing valid was heard of the wheel", lost=True)

    def _power(self, event: Event) -> None:
        at_ns, _, _, node, on = event
        rudder = self.situation.rudder
        if rudder is not None and node == rudder.node and not on and self.pair[0]:
            self.pair = (0, 0)
            self._hold(rudder, at_ns, "its node lost its supply", lost=True)

    def _fault(self, event: Event) -> None:
        _, _, _, name, place, begins = event
        rudder = self.situation.rudder
        its_own = name.startswith("sensor") or name in TAMPERED  # what it is heard to obey is no ground to judge it by
        if rudder is None or not (name.startswith("rudder") or (its_own and rudder.node in place)):
            return
        if begins:
            self.broken.add(f"{name} {place}")
            self.holding = None
        else:
            self.broken.discard(f"{name} {place}")

    # ------------------------------------------------------------------------------------------------ until somebody steers

    def _wheel(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        rudder = self.situation.rudder
        if rudder is None or not mask & self.situation.host_bit[rudder.address] or not bits.sound(can_id, data):
            return
        whole = int.from_bytes(data, "big")
        end = rudder.plan.hard_over_cdeg
        kind = bits.field(whole, bits.WHEEL_KIND)
        apart = max(-end, min(bits.signed_field(whole, bits.WHEEL_ANGLE), end)) - rudder.true_cdeg(now_ns)
        # Who takes anew steers on under the old number until it has heard of that, and those frames count for the rule.
        counts = can_id & 0x3F == self.pair[0] and self.rule.counts(bits.field(whole, bits.COUNTER), bus, now_ns)
        if (can_id & 0x3F, number := bits.field(whole, bits.WHEEL_NUMBER)) != self.pair:
            if number and (kind == RATE or (not kind and abs(apart) <= NEAR_CDEG)):
                self.met.add((can_id & 0x3F, number))
            return
        if not counts:
            return
        self._watch_loss(rudder, now_ns)
        self.wheel_ns = now_ns
        holding = self.holding
        if holding is None or holding.lost:
            return
        side = 1 if apart > 0 else -1
        if kind == RATE or (not kind and (abs(apart) <= NEAR_CDEG or side == -holding.side)):
            self._measure(rudder, now_ns)
            self.holding = None
        elif not kind:
            holding.side = side

    def _rudder(self, event: Event) -> None:
        if self.situation.rudder is not None:
            self._watch_loss(self.situation.rudder, event[0])
            self._measure(self.situation.rudder, event[0])

    def _measure(self, rudder: RudderView, now_ns: int) -> None:
        holding = self.holding
        if holding is None:
            return
        moved = abs(rudder.true_cdeg(now_ns) - holding.cdeg)
        self.tally.measure(moved, now_ns, f"{holding.words}, and the rudder moved by so much before a wheel asked for it")

    def finish(self, now_ns: int) -> Verdict:
        rudder = self.situation.rudder
        if rudder is None:
            return self.tally.verdict("the boat has no rudder on her bus")
        self._watch_loss(rudder, now_ns)
        self._measure(rudder, now_ns)
        return self.tally.verdict("nobody who steered was lost, and nobody took control")
