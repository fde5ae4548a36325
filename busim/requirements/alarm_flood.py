"""A flood of alarms: no more lines than anybody can read, the rest counted, and no emergency out of sight.

Emergencies are those that are on the wire, raised by others and received by the listener: each has to stand in a line of its own
or in one it can only be grouped under. That everything is counted is held against the listener's own numbers.
"""

from busim.events import bits
from busim.events.alarm_view import ShownLine
from busim.events.journal import Event, Journal
from busim.events.table import MEASURED
from busim.requirements.alarm_cover import PARENTS_OF_LOSS, Cover, listeners_of
from busim.requirements.in_a_log import NotInALog
from busim.requirements.requirement import Context, Requirement, hung_node
from busim.requirements.verdict import Tally, Verdict
from busim.units import MS

MOST_SHOWN = 8
"""Lines."""
REPEATED_NS = 1500 * MS
LOSSES = (bits.CONTROL_LOST, bits.STEERING_LOST)
"""Alarms that follow from the loss of somebody else."""
SETTLED_NS = 1000 * MS
"""So long may an alarm take from the wire into a line."""


class Flood(Requirement):
    id = "alarm.flood"
    words = "More alarms than can be shown are capped and counted, and no emergency is hidden."
    hazards = ("confusion over control", "loss of all control")
    in_a_log = NotInALog("what a list of alarms shows, only what is raised and answered")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self.tally = Tally(self.id, MOST_SHOWN, "lines", MEASURED)
        self.listeners = listeners_of(context.plan)
        self.covers = {node: Cover(context.plan, address) for node, address in self.listeners.items()}
        self.raised: dict[str, dict[tuple[int, int], tuple[int, int]]] = {node: {} for node in self.listeners}
        """Listener -> (which, about) of emergencies it received -> (since when they are raised, when it was told last)."""
        self.hung: set[str] = set()
        """Listeners whose program stands still: they go on showing what they showed, whatever they receive."""
        self.changed: dict[str, tuple[int, int, int, list[ShownLine]]] = {}
        """Listener -> (when it changed its lines last, alarms listed, lines hidden, lines). Copied at each change and counted
        once the moment is over: by the first output of the next one, the view is of neither moment."""

    def attach(self, journal: Journal) -> None:
        for address in self.situation.node_of:
            if address < 16:
                journal.watch_frames(bits.CODE_ALARM << 6 | address, self._alarm)
                journal.watch_frames(bits.CODE_HEARTBEAT << 6 | address, self._heartbeat)
        for kind in ("output", "start", "power", "fault"):
            journal.watch_events(kind, getattr(self, f"_{kind}"))

    def _alarm(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        self._look(now_ns)
        if not bits.sound(can_id, data):
            return
        whole = int.from_bytes(data, "big")
        key = bits.field(whole, bits.ALARM_WHICH), bits.field(whole, bits.ALARM_ABOUT)
        gone = bits.field(whole, bits.ALARM_STATE) == bits.ALARM_GONE
        for node, address in self.listeners.items():
            if not mask & self.situation.host_bit[address] or node not in self.situation.running or node in self.hung:
                continue
            if gone:
                self.raised[node].pop(key, None)
            elif bits.field(whole, bits.ALARM_PRIORITY) == bits.EMERGENCY:
                since_ns, _ = self.raised[node].get(key, (now_ns, now_ns))
                self.raised[node][key] = since_ns, now_ns

    def _heartbeat(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        """A good moment to look whether every listener still shows what it was told, also by a node that has died since."""
        if self.changed:
            self._look(now_ns)
        node = self.situation.node_of[can_id & 0x3F]
        if node not in self.raised or node in self.hung:
            return
        for (which, about), (since_ns, told_ns) in self.raised[node].items():
            certain = now_ns - told_ns <= REPEATED_NS or self.situation.node_of.get(about) not in self.situation.running
            if certain and now_ns - since_ns > SETTLED_NS:
                self._in_sight(now_ns, node, which, about)

    def _output(self, event: Event) -> None:
        at_ns, _, _, node, channel, _ = event
        self._look(at_ns)
        if node in self.listeners and channel.startswith("alarm"):
            view = self.situation.alarms.at(node)
            self.changed[node] = at_ns, view.listed, view.hidden, list(view.lines.values())

    def _in_sight(self, now_ns: int, node: str, which: int, about: int) -> None:
        view, cover = self.situation.alarms.at(node), self.covers[node]
        urgent = [line for line in view.lines.values() if line.priority == bits.EMERGENCY and line.under]
        under = which in LOSSES and any(line.which in PARENTS_OF_LOSS for line in urgent)
        if not (view.shows(which, about) or under or any(cover.says_lost(line, about) for line in urgent)):
            name = self.situation.node_of.get(about, about)
            self.tally.fail(now_ns, f"{node}: an emergency of {name} is nowhere in its list (alarm {which})")

    def _look(self, now_ns: int) -> None:
        """The lines of listeners that changed them at a moment that is over."""
        for node, (changed_ns, listed, hidden, lines) in list(self.changed.items()):
            if now_ns > changed_ns:
                del self.changed[node]
                self._count(changed_ns, node, listed, hidden, lines)

    def _count(self, at_ns: int, node: str, listed: int, hidden: int, lines: list[ShownLine]) -> None:
        emergencies = sum(1 for line in lines if line.priority == bits.EMERGENCY)
        shown = sum(1 + line.under for line in lines)
        if listed < shown + hidden:
            self.tally.fail(at_ns, f"{node}: {listed} alarms are counted, and {shown} shown with {hidden} lines hidden")
        if len(lines) > MOST_SHOWN and len(lines) > emergencies:
            self.tally.measure(len(lines), at_ns, f"{node}: shows {len(lines)} lines")
        elif hidden:
            self.tally.measure(len(lines) - emergencies, at_ns, f"{node}: shows {len(lines)} lines, says {hidden} more")
        elif listed > shown:
            self.tally.fail(at_ns, f"{node}: {listed} alarms are counted, {shown} shown, and none said to be hidden")

    def _start(self, event: Event) -> None:
        self.hung.discard(event[3])
        self._forget(event[3])
        for raised in self.raised.values():
            for which, about in list(raised):
                if self.situation.node_of.get(about) == event[3]:
                    del raised[which, about]

    def _power(self, event: Event) -> None:
        self._forget(event[3])

    def _fault(self, event: Event) -> None:
        node, begins = hung_node(event), event[5]
        if node is not None:
            (self.hung.add if begins else self.hung.discard)(node)
            self._forget(node)

    def _forget(self, node: str) -> None:
        self.changed.pop(node, None)
        if node in self.raised:
            self.raised[node].clear()

    def finish(self, now_ns: int) -> Verdict:
        self._look(now_ns + 1)
        return self.tally.verdict("there were never more alarms than a list shows")
