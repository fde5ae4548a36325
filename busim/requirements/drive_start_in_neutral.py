"""No engine starts with its gear in. For products ISO 11547 is the standard to look at; here the machinery is looked at."""

from typing import Final

from busim.events.journal import Event, Journal
from busim.events.table import FROM_PLANT
from busim.requirements.in_a_log import Reported
from busim.requirements.requirement import Context, Requirement
from busim.requirements.verdict import Tally, Verdict

TURNS: Final = 1
NOT_PERMITTED: Final = 2


class StartInNeutral(Requirement):
    id = "drive.start_in_neutral"
    words = "An engine is never started with its gear in."
    hazards = ("unexpected start", "unintended engagement", "person at the propeller")
    in_a_log = Reported("engine and shift position; a starter that had no permission is not seen")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self.tally = Tally(self.id, 0, "times", FROM_PLANT)
        self.off_neutral: set[str] = set()
        """Drives whose shift has left its rest in neutral: a gear counts as in before the clutch takes."""

    def attach(self, journal: Journal) -> None:
        journal.watch_events("shift_rest", self._rest)
        journal.watch_events("starter", self._starter)
        journal.watch_events("engine", self._engine)

    def _rest(self, event: Event) -> None:
        (self.off_neutral.discard if event[4] else self.off_neutral.add)(event[3])

    def _in_gear(self, name: str) -> bool:
        return name in self.off_neutral or bool(self.situation.drives[name].true_gear)

    def _starter(self, event: Event) -> None:
        at_ns, _, _, name, does = event
        if does == TURNS and self._in_gear(name):
            self.tally.fail(at_ns, f"{name}: the starter turned an engine with its gear in", 1)
        elif does == NOT_PERMITTED and self._in_gear(name):
            self.tally.measure(0, at_ns, f"{name}: gear in, and the starter did not turn")

    def _engine(self, event: Event) -> None:
        at_ns, _, _, name, running = event
        if not running:
            return
        if self._in_gear(name):
            self.tally.fail(at_ns, f"{name}: the engine started with its gear in", 1)
        else:
            self.tally.measure(0, at_ns, f"{name}: the engine started with its gear out")

    def finish(self, now_ns: int) -> Verdict:
        return self.tally.verdict("no engine was started")
