"""Control lost: the drive tells its throttle to go to idle once the control timeout is over, and no later.

drive.loss_to_idle judges when the throttle is there, with what a slow actuator may take. This one judges the node alone: a timeout
built in wrongly would hide behind an actuator that is faster than the boat file says, or behind a heartbeat that stops with the
lever. Counted from the last valid lever frame the drive received. A node that hangs or has no supply is for drive.self_loss.
"""

from typing import Final

from busim.events import bits
from busim.events.journal import Event, Journal
from busim.events.table import MEASURED
from busim.requirements.in_a_log import NotInALog
from busim.requirements.requirement import TAMPERED, Context, Requirement, hung_node
from busim.requirements.verdict import Tally, Verdict
from busim.units import MS

NOTICE_MS: Final = 20
"""For a program's own pace and the delay of its outputs: one period of a lever."""
CLOCK_MS: Final = 5
"""A drive's own clock may be ahead: it may notice so much before the timeout."""


class LossNoticed(Requirement):
    id = "drive.loss_noticed"
    words = "A drive that loses the station in control tells its throttle so within the control timeout."
    hazards = ("throttle rise", "fails to disengage")
    in_a_log = NotInALog("what a drive tells its actuators, nor which frames it received")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        timeout_ms = context.plan.timing.control_timeout_ms
        self.limit_ms = timeout_ms + NOTICE_MS
        self.loss_ns = (timeout_ms - CLOCK_MS) * MS
        self.tally = Tally(self.id, self.limit_ms, "ms", MEASURED)
        self.open: dict[str, int] = {}
        """Drive -> throttle it was told last, where that is off idle."""
        self.settled: dict[str, int | None] = {}
        """Drive -> the last valid lever frame before a loss that was answered, or in which its node was lost itself: what its
        throttle does after that is for others to judge."""
        self.untrue: set[str] = set()
        """Drives whose reports are spoilt on their way out: whom they obey, and so what they have lost, is not known."""

    def attach(self, journal: Journal) -> None:
        journal.watch_outputs(self._throttle, "throttle")
        for address in self.situation.by_address:
            journal.watch_frames(bits.CODE_HEARTBEAT << 6 | address, self._look)
        for kind in ("power", "start", "fault"):
            journal.watch_events(kind, getattr(self, f"_{kind}"))

    def _throttle(self, event: Event) -> None:
        at_ns, _, _, node, channel, value = event
        drive = self.situation.by_node.get(node)
        if drive is None or channel != "throttle":
            return
        if value > 0:
            self.open[drive.name] = value
        elif self.open.pop(drive.name, 0):
            self._measure(drive.name, at_ns, "told its throttle to go to idle")

    def _base_ns(self, name: str, now_ns: int) -> int | None:
        """The last valid lever frame of a drive that has been without one for the timeout; None for any other."""
        drive = self.situation.drives[name]
        base_ns = drive.lost_base_ns if drive.lost_base_ns is not None else drive.control_ns
        if name in self.untrue or base_ns is None or now_ns - base_ns < self.loss_ns or base_ns == self.settled.get(name, -1):
            return None
        return base_ns

    def _measure(self, name: str, at_ns: int, words: str) -> None:
        base_ns = self._base_ns(name, at_ns)
        if base_ns is not None:
            self.settled[name] = base_ns
            self.tally.measure(-(-(at_ns - base_ns) // MS), at_ns, f"{name}: {words}")

    def _look(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        """A node that goes on beating while its throttle stays open is caught before the run ends."""
        drive = self.situation.by_address[can_id & 0x3F]
        if drive.name in self.open:
            self._overdue(drive.name, now_ns, 2 * self.limit_ms)  # until then it may still say how late it is

    def _overdue(self, name: str, now_ns: int, limit_ms: int) -> None:
        base_ns = self._base_ns(name, now_ns)
        if base_ns is not None and now_ns - base_ns > limit_ms * MS:
            self._measure(name, now_ns, "has not told its throttle to go to idle")

    def _power(self, event: Event) -> None:
        if not event[4]:
            self._lost(event[3])

    def _start(self, event: Event) -> None:
        self._lost(event[3])

    def _fault(self, event: Event) -> None:
        if (node := hung_node(event)) is not None:
            self._lost(node)
        if event[3] in TAMPERED:
            for node in set(event[4].replace(",", " ").split()) & set(self.situation.by_node):
                (self.untrue.add if event[5] else self.untrue.discard)(self.situation.by_node[node].name)
                self._lost(node)

    def _lost(self, node: str) -> None:
        drive = self.situation.by_node.get(node)
        if drive is not None:
            self.settled[drive.name] = drive.control_ns
            self.open.pop(drive.name, None)

    def finish(self, now_ns: int) -> Verdict:
        for name in self.open:
            self._overdue(name, now_ns, self.limit_ms)
        return self.tally.verdict("no drive lost control with its throttle told to be off idle")
