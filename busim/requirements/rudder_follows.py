"""While a station steers, the rudder is ordered where its wheel asks.

Judged by what the node's output orders of the actuator: from when wheel and rudder have met since the take, the order is within two
degrees of what the wheel asked for in the last six of its frames (both common practice, no source). That the rudder goes where it
is ordered is rudder.fault_found's to judge, and that it stays where it is until they meet is rudder.hold's.
"""

from busim.events import bits
from busim.events.journal import Event, Journal
from busim.events.rudder_view import RudderView
from busim.events.table import MEASURED
from busim.requirements.in_a_log import Reported
from busim.requirements.requirement import TAMPERED, Context, Requirement, Spoilt, hung_node
from busim.requirements.verdict import Tally, Verdict
from busim.units import MS

MOST_CDEG = 200
MET_CDEG = 100
"""A wheel this near to the rudder has met it, whatever its sensor and the rudder's own are apart."""
WITHIN_NS = 240 * MS
ANGLE = 0


class Follows(Requirement):
    id = "rudder.follows"
    words = "The rudder goes where the wheel in control asks."
    hazards = ("loss of all control",)
    in_a_log = Reported("asked angle")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self.tally = Tally(self.id, MOST_CDEG, "cdeg", MEASURED)
        timing = context.plan.timing
        self.timeout_ns = timing.control_timeout_ms * MS
        self.max_gap = timing.max_gap
        self.pair = (0, 0)
        self.rule = bits.SeveralBusesRule(self.max_gap, self.timeout_ns)
        self.met_ns: int | None = None
        """Since when the wheel in control has been followed."""
        self.met_cdeg = 0
        self.moved = False
        """It has asked since for something else."""
        self.asked: list[tuple[int, int]] = []
        """(when, angle) of its last frames that counted; the first of them stood as the time began in which an order may come."""
        self.broken: set[str] = set()
        """Faults of the rudder itself that are on."""
        self.hung = False
        stations = {self.situation.node_of[station.address]: station.address for station in context.plan.stations}
        self.untrue = Spoilt(stations)
        self.node_of = {address: node for node, address in stations.items()}

    def attach(self, journal: Journal) -> None:
        rudder = self.situation.rudder
        if rudder is None:
            return
        journal.watch_frames(bits.CODE_RUDDER_STATE << 6 | rudder.address, self._state)
        for station in rudder.plan.stations:
            journal.watch_frames(bits.CODE_WHEEL << 6 | station, self._wheel)
        journal.watch_events("fault", self.untrue.note)
        for kind in ("power", "start", "fault"):
            journal.watch_events(kind, getattr(self, f"_{kind}"))

    def _begin_anew(self) -> None:
        self.met_ns = None
        self.asked.clear()

    def _state(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        rudder = self.situation.rudder
        if rudder is None or not bits.sound(can_id, data):
            return
        pair = (rudder.station, rudder.number)
        if pair != self.pair:
            self.rule = bits.SeveralBusesRule(self.max_gap, self.timeout_ns)
            self.pair = pair
            self._begin_anew()

    def _wheel(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        rudder, station = self.situation.rudder, can_id & 0x3F
        if rudder is None or station != self.pair[0] or not mask & self.situation.host_bit[rudder.address]:
            return
        if not bits.sound(can_id, data):
            return
        whole = int.from_bytes(data, "big")
        if not self.rule.counts(bits.field(whole, bits.COUNTER), bus, now_ns):
            return
        if bits.field(whole, bits.WHEEL_NUMBER) != self.pair[1]:
            return
        told = bits.field(whole, bits.WHEEL_KIND) == ANGLE and not bits.field(whole, bits.WHEEL_FAULT)
        late = bool(self.asked) and now_ns - self.asked[-1][0] > self.timeout_ns
        # In a log its order is what it last reported: of a node that fell silent nothing is known.
        silent = not self.situation.reception_known and now_ns - (rudder.heard_ns or 0) > WITHIN_NS // 2
        if not told or late or silent or self.broken or self.hung or rudder.fault or self.node_of[station] in self.untrue:
            self._begin_anew()
            return
        end = rudder.plan.hard_over_cdeg
        self._asks(rudder, max(-end, min(bits.signed_field(whole, bits.WHEEL_ANGLE), end)), now_ns)

    def _asks(self, rudder: RudderView, angle: int, now_ns: int) -> None:
        if self.met_ns is None:
            if abs(angle - rudder.true_cdeg(now_ns)) > MET_CDEG:
                return
            self.met_ns, self.met_cdeg, self.moved = now_ns, angle, False
        asked = self.asked
        asked.append((now_ns, angle))
        while len(asked) > 1 and asked[1][0] <= now_ns - WITHIN_NS:
            del asked[0]
        self.moved = self.moved or abs(angle - self.met_cdeg) > MOST_CDEG
        order = rudder.ordered_cdeg
        if self.moved and order is not None and now_ns - self.met_ns >= WITHIN_NS:
            angles = [each for _, each in asked]
            beyond = max(min(angles) - order, order - max(angles), 0)
            self.tally.measure(beyond, now_ns, f"{rudder.node}: its order is so far from what the wheel asked for")

    def _power(self, event: Event) -> None:
        rudder = self.situation.rudder
        if rudder is not None and event[3] == rudder.node:
            self.pair = (0, 0)
            self._begin_anew()

    def _start(self, event: Event) -> None:
        rudder = self.situation.rudder
        if rudder is not None and event[3] == rudder.node:
            self.hung = False
            self._power(event)

    def _fault(self, event: Event) -> None:
        _, _, _, name, place, begins = event
        rudder = self.situation.rudder
        if rudder is None:
            return
        if hung_node(event) == rudder.node:
            self.hung = bool(begins)
            self._begin_anew()
        its_own = name.startswith("sensor") or name in TAMPERED  # what it is heard to obey is no ground to judge it by
        if name.startswith("rudder") or (its_own and rudder.node in place):
            (self.broken.add if begins else self.broken.discard)(f"{name} {place}")
            self._begin_anew()

    def finish(self, now_ns: int) -> Verdict:
        if self.situation.rudder is None:
            return self.tally.verdict("the boat has no rudder on her bus")
        return self.tally.verdict("nobody turned the wheel")
