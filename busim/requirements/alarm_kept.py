"""An alarm sounds, and is kept, until the crew answered it; silenced, it comes back; acknowledged, it stays until it is put right.

HSC Code 2000, 11.2: an alarm of a failure of control is audible and visual. IMO MSC.302(87) and MSC.252(83): an alarm that was
silenced and not acknowledged sounds again after 30 s.
"""

from busim.events import bits
from busim.events.alarm_view import LINE_ACKNOWLEDGED, LINE_RAISED, AlarmView
from busim.events.journal import Event, Journal
from busim.events.table import MEASURED
from busim.requirements.alarm_cover import Cover, called_of, listeners_of
from busim.requirements.in_a_log import NotInALog
from busim.requirements.requirement import Context, Requirement, hung_node
from busim.requirements.verdict import Tally, Verdict
from busim.units import MS, SECOND

SILENT_MS = 30_000
MARGIN_MS = 500
"""A list is looked at and answers are told several times a second."""
MUTE_MS = 1000
"""What keeps a thought (Miller 1968; Card 1991): by then a line that nobody answered is heard as well as seen."""
ANSWERED_NS = 1500 * MS
"""An answer given anywhere reaches everybody in this, or is void."""


class Kept(Requirement):
    id = "alarm.kept"
    words = "An alarm sounds until it is answered, and stays until it is put right; one that was silenced sounds again."
    hazards = ("confusion over control", "loss of all control")
    in_a_log = NotInALog("what a list of alarms shows, only what is raised and answered")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self.tally = Tally(self.id, SILENT_MS + MARGIN_MS, "ms", MEASURED)
        self.listeners = listeners_of(context.plan)
        self.covers = {node: Cover(context.plan, address) for node, address in self.listeners.items()}
        self.missing_ns = context.plan.timing.heartbeat_missing_ms * MS
        self.bit_of = {node: self.situation.host_bit[address] for node, address in self.listeners.items()}
        self.heard_ns: dict[tuple[int, int], int] = {}
        """(node, mask of the hosts that accepted its heartbeat) -> when that was last: one entry a node while nothing breaks."""
        self.answered_ns = -SECOND * 3600
        """When somebody answered an alarm last, anywhere."""
        self.acknowledged = False
        self.silenced: dict[str, int] = {}
        """Listener -> when its silence key was pressed, until it sounds again or nothing is left to sound."""
        self.listed: dict[str, int] = {}
        self.sounded: dict[str, bool] = {}
        self.steady: dict[str, dict[int, int]] = {}
        """Listener -> lost node that it shows as acknowledged -> since when."""
        self.mute_ns: dict[str, int] = {}
        """Listener that shows an alarm as raised and does not sound -> since when."""

    def attach(self, journal: Journal) -> None:
        for address in called_of(self.context.plan):
            journal.watch_frames(bits.CODE_HEARTBEAT << 6 | address, self._heartbeat)
        for kind in ("output", "key", "start", "power", "fault"):
            journal.watch_events(kind, getattr(self, f"_{kind}"))

    def _heartbeat(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        self.heard_ns[can_id & 0x3F, mask] = now_ns

    def _heard_last_ns(self, listener: str, sender: int) -> int:
        bit = self.bit_of[listener]
        return max((at_ns for (node, mask), at_ns in self.heard_ns.items() if node == sender and mask & bit), default=0)

    def _key(self, event: Event) -> None:
        at_ns, _, _, node, key, down = event
        if not down or key not in ("acknowledge", "silence"):
            return
        self.answered_ns = at_ns
        if key == "acknowledge":
            self.acknowledged = True
            self._too_long(at_ns)
            self.silenced.clear()
        elif node in self.listeners and self.situation.alarms.at(node).sounds:
            self.silenced.setdefault(node, at_ns)

    # ------------------------------------------------------------------------------------------------ what is shown

    def _output(self, event: Event) -> None:
        at_ns, _, _, node, channel, value = event
        if node not in self.listeners:
            return
        if channel == "sounder":
            self._sounder(at_ns, node, value > 0)
        elif channel == "alarms":
            before = self.listed.get(node, 0)
            self.listed[node] = value
            if value < before and not self.acknowledged:
                self.tally.fail(at_ns, f"{node}: an alarm went that nobody acknowledged")
        elif channel.startswith("alarm."):
            self._steady(at_ns, node)
        self._mute(at_ns, node, self.situation.alarms.at(node))

    def _mute(self, now_ns: int, node: str, view: AlarmView) -> None:
        """A line by itself: what others stand under is raised with the least answered of them, which may be over and quiet."""
        if not view.sounds and any(line.state == LINE_RAISED and not line.under for line in view.lines.values()):
            self.mute_ns.setdefault(node, now_ns)
        else:
            self._too_mute(now_ns, node)
            self.mute_ns.pop(node, None)

    def _too_mute(self, now_ns: int, node: str) -> bool:
        """It does not sound, with something to sound for: fails where that is over its time."""
        if node not in self.mute_ns:
            return False
        waited_ms = -(-(now_ns - self.mute_ns[node]) // MS)
        if waited_ms > MUTE_MS:
            self.tally.measure(waited_ms, now_ns, f"{node}: shows an alarm that nobody answered, and did not sound", MUTE_MS)
        return waited_ms <= MUTE_MS

    def _fault(self, event: Event) -> None:
        """A program that stands still is for its watchdog."""
        node = hung_node(event)
        if node is not None:
            self._too_mute(event[0], node)
            self.mute_ns.pop(node, None)

    def _sounder(self, at_ns: int, node: str, sounds: bool) -> None:
        if not sounds and self.sounded.get(node) and at_ns - self.answered_ns > ANSWERED_NS:
            self.tally.fail(at_ns, f"{node}: went quiet, and nobody answered")
        self.sounded[node] = sounds
        if sounds and node in self.silenced and at_ns - self.silenced[node] > MARGIN_MS * MS:
            took_ms = -(-(at_ns - self.silenced.pop(node)) // MS)
            if took_ms < SILENT_MS - MARGIN_MS:
                return  # something new; what was silenced sounds with it
            self.tally.measure(took_ms, at_ns, f"{node}: sounds again after it was silenced")

    def _steady(self, at_ns: int, node: str) -> None:
        """Lost nodes it shows as acknowledged: none of them goes before it is heard again."""
        view = self.situation.alarms.at(node)
        shown = [line.about for line in view.lines.values() if (line.which, line.state) == (bits.NODE_LOST, LINE_ACKNOWLEDGED)]
        steady = self.steady.setdefault(node, {})
        for lost in shown:
            steady.setdefault(lost, at_ns)
            self.tally.held(at_ns, f"{node}: an acknowledged alarm stays")

    def _gone(self, node: str, now_ns: int) -> None:
        """To be called once all lines have changed that were to."""
        view = self.situation.alarms.at(node)
        for lost in list(self.steady.get(node, {})):
            if not self.covers[node].node_lost(view, lost):
                del self.steady[node][lost]
                if now_ns - self._heard_last_ns(node, lost) > 2 * self.missing_ns:
                    self.tally.fail(now_ns, f"{node}: {self.situation.node_of[lost]} is still silent, and no longer listed")

    def _start(self, event: Event) -> None:
        self._forget(event[0], event[3])

    def _power(self, event: Event) -> None:
        self._forget(event[0], event[3])

    def _forget(self, now_ns: int, node: str) -> None:
        self._too_mute(now_ns, node)
        for each in (self.silenced, self.listed, self.sounded, self.steady, self.mute_ns):
            each.pop(node, None)

    def _too_long(self, now_ns: int) -> list[str]:
        """Who was silenced and does not sound, with something to sound for: fails where that is over its time, else is returned."""
        waiting = []
        for node, since_ns in self.silenced.items():
            view = self.situation.alarms.at(node)
            waited_ms = (now_ns - since_ns) // MS
            if all(line.state == LINE_ACKNOWLEDGED for line in view.lines.values()):
                continue
            if waited_ms > SILENT_MS + MARGIN_MS:
                self.tally.measure(waited_ms, now_ns, f"{node}: was silenced, and does not sound again")
            else:
                waiting.append(node)
        return waiting

    def finish(self, now_ns: int) -> Verdict:
        for node in self._too_long(now_ns):
            self.tally.undecided(now_ns, f"{node}: the run ended before its silence did")
        for node in self.steady:
            self._gone(node, now_ns)
        for node in self.mute_ns:
            if self._too_mute(now_ns, node):
                self.tally.undecided(now_ns, f"{node}: the run ended before an alarm had to sound")
        return self.tally.verdict("nobody silenced or acknowledged an alarm")
