"""Two stations never both show that they are in control of the same drive for longer than the boat's overlap.

Judged by what their displays say, where station.one_in_control goes by what the drives report: two people who both read "in
control here" each wait for the other, or pull against each other. A station whose program hangs goes on showing what it showed,
which is for its watchdog and for the others to see.
"""

from itertools import combinations

from busim.events.journal import Event, Journal
from busim.events.table import MEASURED
from busim.requirements.in_a_log import NotInALog
from busim.requirements.requirement import Context, Requirement, hung_node
from busim.requirements.verdict import Tally, Verdict
from busim.units import MS

SHOWS_CONTROL = (2, 8)
"""In control here; in control here without the rudder."""


class OneShown(Requirement):
    id = "station.one_shown"
    words = "One station at a time shows that it is in control, but for the time a hand-over takes."
    hazards = ("confusion over control",)
    in_a_log = NotInALog("what a station's display shows")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self.overlap_ns = context.plan.timing.overlap_ms * MS
        self.tally = Tally(self.id, context.plan.timing.overlap_ms, "ms", MEASURED)
        takes = {self.situation.node_of[station.address]: frozenset(station.drives) for station in context.plan.stations}
        self.rivals = {node: [other for other in takes if other != node and takes[node] & takes[other]] for node in takes}
        self.control: dict[str, int] = {}
        """Node of a station that shows control -> since when."""

    def attach(self, journal: Journal) -> None:
        journal.watch_outputs(self._output, "shows")
        for kind in ("start", "power", "fault"):
            journal.watch_events(kind, getattr(self, f"_{kind}"))

    def _output(self, event: Event) -> None:
        at_ns, _, _, node, channel, value = event
        if node not in self.rivals or channel != "shows":
            return
        if value not in SHOWS_CONTROL:
            self._ends(node, at_ns)
        elif node not in self.control:
            self.control[node] = at_ns
            if not any(other in self.control for other in self.rivals[node]):
                self.tally.measure(0, at_ns, f"{node}: shows that it is in control, and no other station does")

    def _ends(self, node: str, now_ns: int) -> None:
        """It shows no control any more, or counts no longer: how long did others show it too?"""
        since_ns = self.control.pop(node, None)
        if since_ns is None:
            return
        for other in self.rivals[node]:
            if other in self.control:
                self._measure(node, other, now_ns - max(since_ns, self.control[other]), now_ns)

    def _measure(self, node: str, other: str, both_ns: int, now_ns: int) -> None:
        if both_ns:
            self.tally.measure(-(-both_ns // MS), now_ns, f"{node}, {other}: both show that they are in control")

    def _start(self, event: Event) -> None:
        self._ends(event[3], event[0])

    def _power(self, event: Event) -> None:
        self._ends(event[3], event[0])

    def _fault(self, event: Event) -> None:
        node = hung_node(event)
        if node in self.rivals:
            self._ends(node, event[0])
            if not event[5] and self.situation.shows.get(node) in SHOWS_CONTROL:
                self.control[node] = event[0]  # its program goes on, and shows what it showed

    def finish(self, now_ns: int) -> Verdict:
        for (one, one_ns), (other, other_ns) in combinations(self.control.items(), 2):
            both_ns = now_ns - max(one_ns, other_ns)
            if other in self.rivals[one] and both_ns > self.overlap_ns:
                self._measure(one, other, both_ns, now_ns)
        if not any(self.rivals.values()):
            return self.tally.verdict("no two stations may take the same drive")
        return self.tally.verdict("no station showed that it was in control")
