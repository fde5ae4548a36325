"""A drive's node hangs or loses power: its gear is out, or its engine stopped, within its limit, plus a fitted cutout's time.

Counted from the fault, or from the moment its supply went; judged by the machinery. A gear on its way in then is in once
it is. A program that goes on where it was before the limit is over has not been lost. Reset, it is still the same loss: what it
does afterwards is judged by drive.wake too.
"""

from typing import Final

from busim.events.journal import Event, Journal
from busim.events.table import FROM_PLANT
from busim.requirements.in_a_log import NotInALog
from busim.requirements.requirement import Context, Requirement, hung_node
from busim.requirements.verdict import Tally, Verdict
from busim.units import MS

RUN_DOWN_MS: Final = 2000
"""From the cut of its fuel an engine turns on; no source, common practice, five times the lag of one that is let go."""


class SelfLoss(Requirement):
    id = "drive.self_loss"
    words = "A drive whose node hangs or loses power ends in neutral, or with its engine stopped."
    hazards = ("fails to disengage", "loss of all control", "person at the propeller")
    in_a_log = NotInALog("that a node hangs or has no supply, nor where the gear of a silent drive is")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self.tally = Tally(self.id, None, "ms", FROM_PLANT)
        engines = self.situation.engines.of
        self.limit_ms = {name: limit.loss_to_neutral_ms + engines[name].cutout_ms for name, limit in context.limits.items()}
        self.lost_ns: dict[str, int] = {}
        """Drive -> when its node was lost with the gear in, until it has ended well or badly."""
        self.gone_ns: dict[str, int] = {}
        """Drive -> when its node was lost, until its program runs again."""

    def attach(self, journal: Journal) -> None:
        for kind in ("power", "start", "fault", "gear", "engine"):
            journal.watch_events(kind, getattr(self, f"_{kind}"))

    def _lose(self, node: str, at_ns: int) -> None:
        drive = self.situation.by_node.get(node)
        if drive is not None:
            self._has_gear_in(drive.name, self.gone_ns.setdefault(drive.name, at_ns))

    def _has_gear_in(self, name: str, gone_ns: int) -> None:
        if self.situation.drives[name].true_gear and self.situation.engines.of[name].running is not False:
            self.lost_ns.setdefault(name, gone_ns)

    def _start(self, event: Event) -> None:
        drive = self.situation.by_node.get(event[3])
        if drive is not None:
            self.gone_ns.pop(drive.name, None)

    def _power(self, event: Event) -> None:
        if not event[4]:
            self._lose(event[3], event[0])

    def _fault(self, event: Event) -> None:
        at_ns, node, begins = event[0], hung_node(event), event[5]
        if node is None:
            return
        if begins:
            self._lose(node, at_ns)
        elif node in self.situation.by_node:
            name = self.situation.by_node[node].name
            self.gone_ns.pop(name, None)
            lost_ns = self.lost_ns.get(name)
            if lost_ns is not None and at_ns - lost_ns <= self.limit_ms[name] * MS:
                del self.lost_ns[name]  # it goes on: judged as a drive like any other from here

    def _gear(self, event: Event) -> None:
        at_ns, _, _, name, gear, _, _ = event
        if not gear:
            self._ends(name, at_ns, "gear out", self.limit_ms[name])
        elif name in self.gone_ns:
            self._has_gear_in(name, self.gone_ns[name])

    def _engine(self, event: Event) -> None:
        at_ns, _, _, name, running = event
        if not running:
            self._ends(name, at_ns, "engine stopped", self.limit_ms[name] + RUN_DOWN_MS)

    def _ends(self, name: str, at_ns: int, words: str, limit_ms: int) -> None:
        if name in self.lost_ns:
            lost_ns = self.lost_ns.pop(name)
            self.tally.measure(-(-(at_ns - lost_ns) // MS), at_ns, f"{name}: {words} after its node was lost", limit_ms)

    def finish(self, now_ns: int) -> Verdict:
        for name, lost_ns in self.lost_ns.items():
            limit_ms = self.limit_ms[name]
            if self.situation.engines.of[name].cuts:
                limit_ms += RUN_DOWN_MS
            if now_ns - lost_ns > limit_ms * MS:
                after_ms = -(-(now_ns - lost_ns) // MS)
                self.tally.measure(after_ms, now_ns, f"{name}: gear in and engine running, its node lost", limit_ms)
            else:
                self.tally.undecided(now_ns, f"{name}: the run ended before the limit")
        return self.tally.verdict("no drive's node was lost with its gear in")
