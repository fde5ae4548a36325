"""A rudder that does not do as it is told, or whose feedback is wrong, is reported within a second; unasked, it loses its power.

IMO MSC.1/Circ.1398 asks a steering gear's control to detect power failure, open and shorted loops, data communication errors and
computer faults. Judged by the truth: where the machinery says the rudder is, against what was ordered of it and what its node
reports as sensed. A node that no longer reports anything is for rudder.no_steer.
"""

from busim.events import bits
from busim.events.journal import Event, Journal
from busim.events.rudder_view import RudderView
from busim.events.table import FROM_PLANT
from busim.requirements.in_a_log import NotInALog
from busim.requirements.requirement import Context, Requirement
from busim.requirements.verdict import Tally, Verdict
from busim.units import MS, SECOND

LIMIT_MS = 1000
"""What keeps a thought (Miller 1968; Card 1991)."""
WRONG_CDEG = 400
SHOWN_WRONG_CDEG = 450
"""The feedback is up to 70 ms old when it is heard, in which a rudder turns by half a degree."""
THERE_CDEG = 200

UNASKED, BEHIND, SHOWN_WRONG = "it moved unasked", "it did not go where it was told", "its feedback showed something else"


class FaultFound(Requirement):
    id = "rudder.fault_found"
    words = "A rudder or a feedback that does wrong is reported within a second, and power is taken from one that moves unasked."
    hazards = ("hard over", "loss of all control")
    in_a_log = NotInALog("where the rudder really is, nor whether its actuator has power")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self.tally = Tally(self.id, LIMIT_MS, "ms", FROM_PLANT)
        self.looked_ns = 0
        self.was_cdeg = 0
        self.ordered_cdeg: int | None = None
        """What was ordered since the last look: what is done since then is held against it."""
        self.unasked_cdeg = 0
        """How far it moved away from where it was ordered to go, less what it came back."""
        self.left_cdeg: int | None = None
        """Where it was ordered to be when it was found to move unasked: it stays so until it is back there."""
        self.wanted_cdeg = 0
        """Where a sound rudder would have got to by now."""
        self.since_ns: dict[str, int] = {}
        """What is wrong, and since when; gone once it was told."""
        self.told: set[str] = set()

    def attach(self, journal: Journal) -> None:
        rudder = self.situation.rudder
        if rudder is None:
            return
        journal.watch_frames(bits.CODE_RUDDER_STATE << 6 | rudder.address, self._state)
        for kind in ("rudder", "start", "power"):
            journal.watch_events(kind, getattr(self, f"_{kind}"))
        journal.watch_outputs(self._output, "rudder", "rudder_power")

    def _state(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        if self.situation.rudder is not None and bits.sound(can_id, data):
            self._look(self.situation.rudder, now_ns)

    def _rudder(self, event: Event) -> None:
        if self.situation.rudder is not None:
            self._look(self.situation.rudder, event[0])

    def _output(self, event: Event) -> None:
        rudder = self.situation.rudder
        if rudder is not None and event[3] == rudder.node and event[4] in ("rudder", "rudder_power"):
            self._look(rudder, event[0])

    def _start(self, event: Event) -> None:
        """What it knew, it knows no more."""
        rudder = self.situation.rudder
        if rudder is not None and event[3] == rudder.node:
            self.since_ns.clear()
            self.told.clear()
            self.ordered_cdeg = self.left_cdeg = None

    def _power(self, event: Event) -> None:
        if not event[4]:
            self._start(event)

    def _look(self, rudder: RudderView, now_ns: int) -> None:
        true = rudder.true_cdeg(now_ns)
        if self.ordered_cdeg is None:
            self.unasked_cdeg, self.wanted_cdeg = 0, true
        else:
            self._follow(rudder, now_ns, true, self.ordered_cdeg)
        self.looked_ns, self.was_cdeg, self.ordered_cdeg = now_ns, true, rudder.ordered_cdeg
        if rudder.heard_ns is None or rudder.node not in self.situation.running:
            return
        ordered = true if rudder.ordered_cdeg is None or not rudder.power else rudder.ordered_cdeg
        behind = self.wanted_cdeg - true if ordered > true else true - self.wanted_cdeg
        shown_wrong = abs(rudder.sensed_cdeg - true) if rudder.sensed_cdeg is not None else 0
        if self.left_cdeg is None and self.unasked_cdeg >= WRONG_CDEG:
            self.left_cdeg = rudder.ordered_cdeg
        elif self.left_cdeg is not None and abs(true - self.left_cdeg) <= THERE_CDEG:
            self.left_cdeg = None
        self._note(rudder, now_ns, UNASKED, self.left_cdeg is not None)
        self._note(rudder, now_ns, BEHIND, behind >= WRONG_CDEG and rudder.power)
        self._note(rudder, now_ns, SHOWN_WRONG, shown_wrong >= SHOWN_WRONG_CDEG)

    def _follow(self, rudder: RudderView, now_ns: int, true: int, ordered: int) -> None:
        """What it did since the last look, against what was ordered then."""
        self.unasked_cdeg = max(0, self.unasked_cdeg + abs(true - ordered) - abs(self.was_cdeg - ordered))
        way = rudder.plan.cdeg_per_s * (now_ns - self.looked_ns) // SECOND
        wanted = self.wanted_cdeg
        wanted = min(wanted + way, ordered) if ordered > wanted else max(wanted - way, ordered)
        self.wanted_cdeg = true if abs(ordered - true) < abs(ordered - wanted) or not rudder.power else wanted

    def _note(self, rudder: RudderView, now_ns: int, what: str, is_wrong: bool) -> None:
        if not is_wrong:
            self.since_ns.pop(what, None)
            self.told.discard(what)
            return
        if what in self.told:
            return
        since_ns = self.since_ns.setdefault(what, now_ns)
        if rudder.fault and (what != UNASKED or not rudder.power):
            self.told.add(what)
            self.tally.measure(-(-(now_ns - since_ns) // MS), now_ns, f"{what}, and was found")
        elif now_ns - since_ns > LIMIT_MS * MS:
            self.tally.fail(now_ns, self._words(rudder, what), -(-(now_ns - since_ns) // MS))

    def _words(self, rudder: RudderView, what: str) -> str:
        return f"{what}, and " + ("its power was left on" if rudder.fault else "no fault was reported")

    def finish(self, now_ns: int) -> Verdict:
        rudder = self.situation.rudder
        if rudder is None:
            return self.tally.verdict("the boat has no rudder on her bus")
        self._look(rudder, now_ns)
        for what in self.since_ns:
            if what not in self.told:
                self.tally.undecided(now_ns, f"{what}: the run ended before the limit")
        return self.tally.verdict("the rudder did as it was told, and its feedback showed it")
