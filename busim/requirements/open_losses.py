"""Losses of control that a drive has still to answer, and what ends them unanswered: a new take, or the end of its program.

A loss whose time was over by then was not answered in time, whoever is in control now.
"""

from collections.abc import Callable

from busim.events import bits
from busim.events.journal import Event, Journal
from busim.events.situation import DriveView, Situation
from busim.requirements.requirement import hung_node


class OpenLosses:
    """`open_ns(drive, now_ns)`: the last valid lever frame before a loss that this drive has to answer still, else None.
    `over(drive, base_ns, now_ns)` is called once that is not so any more, whatever the reason."""

    def __init__(
        self, situation: Situation, open_ns: Callable[[DriveView, int], int | None], over: Callable[[DriveView, int, int], None]
    ) -> None:
        self.situation = situation
        self.open_ns = open_ns
        self.over = over
        self.since_ns: dict[str, int] = {}
        """Drive -> what `open_ns` said last."""

    def attach(self, journal: Journal) -> None:
        for address in self.situation.by_address:
            journal.watch_frames(bits.CODE_DRIVE_OBEYS << 6 | address, self._obeys)
        for kind in ("power", "start"):
            journal.watch_events(kind, self._program)
        journal.watch_events("fault", self._fault)

    def _obeys(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        self._look(self.situation.by_address[can_id & 0x3F], now_ns)

    def _program(self, event: Event) -> None:
        drive = self.situation.by_node.get(event[3])
        if drive is not None:
            self._look(drive, event[0])

    def _fault(self, event: Event) -> None:
        node = hung_node(event)
        drive = self.situation.by_node.get(node) if node is not None else None
        if drive is not None:
            self._look(drive, event[0])

    def _look(self, drive: DriveView, now_ns: int) -> None:
        base_ns, before_ns = self.open_ns(drive, now_ns), self.since_ns.pop(drive.name, None)
        if base_ns is not None:
            self.since_ns[drive.name] = base_ns
        if before_ns is not None and before_ns != base_ns:
            self.over(drive, before_ns, now_ns)
