"""Between ahead and astern the shift rests in neutral for the boat's dwell."""

from busim.events.journal import Event, Journal
from busim.events.table import FROM_PLANT
from busim.requirements.in_a_log import Reported
from busim.requirements.requirement import Context, Requirement
from busim.requirements.verdict import Tally, Verdict
from busim.units import MS


class ReversalDwell(Requirement):
    id = "drive.reversal_dwell"
    words = "A drive waits in neutral before it engages the opposite gear."
    hazards = ("wrong direction", "unintended engagement")
    in_a_log = Reported("shift position")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self.tally = Tally(self.id, None, "ms", FROM_PLANT, at_least=True)
        self.dwell_ms = {drive.name: drive.dwell_ms for drive in context.plan.drives}
        self.last_gear: dict[str, int] = {}
        self.rest_began_ns: dict[str, int] = {}
        self.rested_ns: dict[str, int] = {}

    def attach(self, journal: Journal) -> None:
        journal.watch_events("shift_rest", self._rest)
        journal.watch_events("gear", self._gear)

    def _rest(self, event: Event) -> None:
        at_ns, _, _, name, in_neutral = event
        if in_neutral:
            self.rest_began_ns[name] = at_ns
        else:
            self.rested_ns[name] = at_ns - self.rest_began_ns.get(name, 0)

    def _gear(self, event: Event) -> None:
        at_ns, _, _, name, gear, _, _ = event
        if not gear:
            return
        before = self.last_gear.get(name)
        self.last_gear[name] = gear
        if before is not None and before != gear:
            rest_ms = self.rested_ns.get(name, 0) // MS
            self.tally.measure(rest_ms, at_ns, f"{name}: rest in neutral before the opposite gear", self.dwell_ms[name])

    def finish(self, now_ns: int) -> Verdict:
        return self.tally.verdict("no drive went from one gear to the other")
