"""What a drive owes that lost the station in control: a part of its machinery at rest, within a limit.

Counted from the last valid lever frame the drive received. A loss may end unanswered, by a new take or with the program: it was not
answered in time if its time was over by then, whoever is in control now.
"""

from collections.abc import Container
from typing import ClassVar

from busim.events import bits
from busim.events.journal import Event, Journal
from busim.events.situation import DriveView
from busim.events.table import FROM_PLANT
from busim.requirements.orders import Orders
from busim.requirements.requirement import Context, Requirement, hung_node
from busim.requirements.verdict import Tally
from busim.units import MS


class LossAnswered(Requirement):
    output: ClassVar[str]
    """Of the drive's node: what tells that part where to go."""
    at_rest: ClassVar[str]
    not_at_rest: ClassVar[str]
    """Words of evidence."""

    def __init__(self, context: Context, limits_ms: dict[str, int]) -> None:
        super().__init__(context)
        self.tally = Tally(self.id, None, "ms", FROM_PLANT)
        self.limits_ms = limits_ms
        self.bound: Container[str] = limits_ms
        """Drives of which it is asked."""
        self.orders = Orders(self.situation, context.limits)
        self.answered: dict[str, int] = {}
        """Drive -> the loss it has answered; what it does after that is for drive.rearm."""
        self.owed: dict[str, int] = {}
        """Drive -> the loss that it had to answer still when it was looked at last."""

    def attach(self, journal: Journal) -> None:
        self.orders.attach(journal)
        for address in self.situation.by_address:
            journal.watch_frames(bits.CODE_DRIVE_OBEYS << 6 | address, self._obeys)
        for kind in ("power", "start"):
            journal.watch_events(kind, self._program)
        journal.watch_events("fault", self._fault)

    def moves(self, drive: DriveView) -> bool:
        """That part of it is known not to be at rest."""
        raise NotImplementedError

    # ------------------------------------------------------------------------------------------------ answered

    def rests(self, drive: DriveView, at_ns: int) -> None:
        """That part of it came to rest; to be called by whoever watches the machinery."""
        base_ns = self.situation.loss_base_ns(drive, at_ns)
        if base_ns is None or drive.name not in self.bound or self.answered.get(drive.name) == base_ns:
            return
        self.answered[drive.name] = base_ns
        if not self._told_in_time(drive, base_ns, at_ns):
            self._measure(drive, base_ns, at_ns, self.at_rest)

    def _told_in_time(self, drive: DriveView, base_ns: int, now_ns: int) -> bool:
        """And it does not go, or went too slowly: that is judged by drive.actuator_fault_found."""
        return self.orders.at_rest_unfollowed(drive.name, self.output, base_ns + self.limits_ms[drive.name] * MS, now_ns)

    def _measure(self, drive: DriveView, base_ns: int, now_ns: int, words: str) -> None:
        self.tally.measure(-(-(now_ns - base_ns) // MS), now_ns, f"{drive.name}: {words}", self.limits_ms[drive.name])

    # ------------------------------------------------------------------------------------------------ or not

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
        """Was the time of a loss over, that it does not have to answer any more?"""
        base_ns, before_ns = self._owes(drive, now_ns), self.owed.pop(drive.name, None)
        if base_ns is not None:
            self.owed[drive.name] = base_ns
        if before_ns is not None and before_ns != base_ns and self.answered.get(drive.name) != before_ns:
            self._overdue(drive, before_ns, now_ns, f"{self.not_at_rest} when control was taken anew, or its program ended")

    def _owes(self, drive: DriveView, now_ns: int) -> int | None:
        """The last valid lever frame before a loss that it has not answered yet."""
        base_ns = self.situation.loss_base_ns(drive, now_ns)
        if drive.name in self.orders.hung:
            return None  # a program that stands still: that is judged by drive.self_loss
        if self.answered.get(drive.name) == base_ns or not self.moves(drive) or drive.name not in self.bound:
            return None
        return base_ns

    def _overdue(self, drive: DriveView, base_ns: int, now_ns: int, words: str) -> bool:
        """Nothing is left to wait for: it was told in time, or its time is over, and then it fails."""
        if self._told_in_time(drive, base_ns, now_ns):
            return True
        over = now_ns > base_ns + self.limits_ms[drive.name] * MS
        if over:
            self.answered[drive.name] = base_ns
            self._measure(drive, base_ns, now_ns, words)
        return over

    def close(self, now_ns: int) -> None:
        """The run has ended."""
        for drive in self.situation.drives.values():
            base_ns = self._owes(drive, now_ns)
            if base_ns is not None and not self._overdue(drive, base_ns, now_ns, f"{self.not_at_rest} when the run ended"):
                self.tally.undecided(now_ns, f"{drive.name}: the run ended before the limit")
