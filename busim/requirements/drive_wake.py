"""A drive that starts moves nothing but towards idle and neutral, until control was taken of it with a lever in neutral."""

from busim.events.journal import Event, Journal
from busim.events.table import FROM_PLANT
from busim.requirements.in_a_log import Reported
from busim.requirements.requirement import Context, Requirement
from busim.requirements.verdict import Tally, Verdict
from busim.units import MS


class Wake(Requirement):
    id = "drive.wake"
    words = "A drive that wakes goes idle and neutral, and stays there until control is taken."
    hazards = ("unintended engagement", "unexpected start")
    in_a_log = Reported("heartbeat, sensed gear and throttle")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self.tally = Tally(self.id, None, "ms", FROM_PLANT)
        self.limits = {name: limit.loss_to_neutral_ms for name, limit in context.limits.items()}
        self.woke_ns: dict[str, int] = {}
        """Drive -> when it started, until control is taken of it."""
        self.in_gear: set[str] = set()
        """Of those, the ones whose gear was in."""

    def attach(self, journal: Journal) -> None:
        journal.watch_events("start", self._start)
        journal.watch_events("gear", self._gear)
        journal.watch_events("throttle_stop", self._throttle)

    def _start(self, event: Event) -> None:
        at_ns, _, _, node, _ = event
        drive = self.situation.by_node.get(node)
        if drive is None or at_ns == 0:
            return
        self.woke_ns[drive.name] = at_ns
        if drive.true_gear:
            self.in_gear.add(drive.name)

    def _taken(self, name: str) -> bool:
        """Two valid claims with the lever in neutral have reached it since it woke (its view forgets everything at a start)."""
        return any(claims >= 2 for claims in self.situation.drives[name].claims.values())

    def _gear(self, event: Event) -> None:
        at_ns, _, _, name, gear, _, _ = event
        if name not in self.woke_ns:
            return
        if gear:
            self._moved(name, at_ns, "a gear went in after it woke, before control was taken")
        elif name in self.in_gear:
            self.in_gear.discard(name)
            took_ms = -(-(at_ns - self.woke_ns[name]) // MS)
            self.tally.measure(took_ms, at_ns, f"{name}: gear out after it woke in gear", self.limits[name])

    def _throttle(self, event: Event) -> None:
        at_ns, _, _, name, at_stop = event
        if name in self.woke_ns and not at_stop:
            self._moved(name, at_ns, "the throttle opened after it woke, before control was taken")

    def _moved(self, name: str, at_ns: int, words: str) -> None:
        if self._taken(name):
            del self.woke_ns[name]
        else:
            self.tally.fail(at_ns, f"{name}: {words}", None, self.limits[name])

    def finish(self, now_ns: int) -> Verdict:
        for name in sorted(self.in_gear & set(self.woke_ns)):
            waited_ms = (now_ns - self.woke_ns[name]) // MS
            if waited_ms > self.limits[name]:
                self.tally.measure(waited_ms, now_ns, f"{name}: gear still in after it woke", self.limits[name])
            else:
                self.tally.undecided(now_ns, f"{name}: the run ended before the limit")
        return self.tally.verdict("no drive started with its gear in")
