"""A stretch of bus that reads dominant all the time: nobody sends, and everybody counts errors for as long as it lasts.

Counts after Bosch, CAN Specification 2.0, 1991, part A, s. 8: receivers 1 for the error they signal first (rule 1) and 8 for the
dominant bit after their flag (rule 2); then everybody 8 after the 14th dominant bit and after each 8 more (rule 6). Who was
sending counts 8 for the bit error (rule 3) and is a transmitter to rule 6, so it goes bus-off. *Model assumption*: an idle
bus is taken for a frame of dominant bits, whose sixth is the stuff error; error passive flags keep the same times.
"""

from typing import TYPE_CHECKING

from busim.bus.controller import Controller, Request
from busim.bus.segment import NO_ERROR, NO_KEY, STUCK, Segment
from busim.frames.layout import ERROR_DELIMITER_BITS, ERROR_FLAG_BITS, INTERMISSION_BITS, STUFF_RUN
from busim.seam import BUS_OFF

if TYPE_CHECKING:
    from busim.bus.bus import Bus

_MORE_BITS = 8
_MOST_COUNTED = 255


class StuckSegment(Segment):
    """`sender` and `ties` are who was sending when it began. `free_ns` is when the first flag began."""

    __slots__ = ()

    def __init__(self, bus: "Bus", members: list[Controller], free_ns: int) -> None:
        super().__init__(bus, members, free_ns)
        self.busy = True
        self.error = STUCK
        self.request = (0, 0, 0, b"", 0, False)

    def take_over(self, now_ns: int, earlier: list[Segment]) -> None:
        self.late = []
        sending: list[tuple[Controller, Request]] = []
        for old in earlier:
            if old.busy and old.error != STUCK:
                sending += [pair for pair in [(old.sender, old.request), *old.ties] if pair[0] in self.members]
        self.free_ns = now_ns + (1 if sending else STUFF_RUN + 1) * self.bit_ns
        for controller, request in sending:
            if controller.listening:
                controller.put_back(request)
        self.ties = tuple(sending)
        self.next_key = self.free_ns * 2

    def finish(self, now_ns: int) -> None:
        """The next count is due: at the error itself, at the bit after the flag, at the 14th bit, then every 8."""
        bits = (now_ns - self.free_ns) // self.bit_ns
        senders = [controller for controller, _ in self.ties]
        going_on = False
        for member in self.members:
            if not member.listening or member.place in self.bus.wiring.deaf:
                continue
            if member in senders:
                if bits != ERROR_FLAG_BITS + 1:
                    self._count_failure(now_ns, member, now_ns)
            elif member.receive_error(1 if bits == 0 else _MORE_BITS):
                self.bus.state_changed(now_ns, member)
            going_on = going_on or (member.state != BUS_OFF if member in senders else member.rec < _MOST_COUNTED)
        self.dirty = True
        if bits == 0:
            wait_bits = ERROR_FLAG_BITS + 1
        elif bits == ERROR_FLAG_BITS + 1:
            wait_bits = ERROR_FLAG_BITS + _MORE_BITS - bits
        else:
            wait_bits = _MORE_BITS
        if going_on:
            self.next_key = (now_ns + wait_bits * self.bit_ns) * 2
        else:
            self.seek_start()

    def seek_start(self) -> None:
        """Nobody starts here."""
        super().seek_start()
        self.next_key = NO_KEY if self.busy else self.next_key

    def gone(self, now_ns: int, controller: Controller) -> None:
        self.ties = tuple(pair for pair in self.ties if pair[0] is not controller)

    def hand_over(self, now_ns: int) -> None:
        """It reads recessive again: error delimiter and intermission, then the bus is free."""
        self.busy = False
        self.error = NO_ERROR
        self.ties = ()
        self.late = []
        for member in self.members:
            member.recessive_from_ns = now_ns
        self.free_ns = now_ns + (ERROR_DELIMITER_BITS + INTERMISSION_BITS) * self.bit_ns
