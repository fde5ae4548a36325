"""One stretch of bus on which everybody hears somebody: arbitration, transmission, acknowledgement, collisions.

The segment's whole state between frames is the pair (`busy`, `next_key`). `next_key` is 2 x time for the end of a frame and
2 x time + 1 for the start of one, so that at equal times a frame's end comes first, then what nodes do, then arbitration:
every request that is there at the start-of-frame bit takes part, and one that becomes ready during it waits.

Times in a frame (Bosch CAN 2.0, 1991, ss. 3.1.1, 5, 6): receivers accept it when the last but one bit of EOF has passed,
its transmitter when the last has; then 3 bits of intermission, and the next frame may start. An error passive node that has
just transmitted waits 8 bits more.
"""

from typing import TYPE_CHECKING, Any, Final

from busim.bus.controller import FIRST_IN_FIRST_OUT, PRIORITY, Controller, Request, Route
from busim.frames.layout import (
    ACK_DELIMITER_BITS,
    END_OF_FRAME_BITS,
    ERROR_DELIMITER_BITS,
    ERROR_FLAG_BITS,
    INTERMISSION_BITS,
    SUSPEND_BITS,
    wire_bits,
)
from busim.frames.length import frame_bits, stuffed_bits
from busim.seam import BUS_OFF, ERROR_PASSIVE
from busim.units import NEVER

if TYPE_CHECKING:
    from busim.bus.bus import Bus
    from busim.bus.outcome import Outcome

NO_KEY: Final = NEVER * 2
_AFTER_ACCEPT_BITS: Final = 1 + INTERMISSION_BITS
_ERROR_BITS: Final = ERROR_FLAG_BITS + ERROR_DELIMITER_BITS + INTERMISSION_BITS
_ANSWERED_ERROR_BITS: Final = ERROR_FLAG_BITS + _ERROR_BITS
"""The first flag, or six bits without a sender, is answered by the flags of all who see six equal bits."""
_ACK_TO_ACCEPT_BITS: Final = ACK_DELIMITER_BITS + END_OF_FRAME_BITS - 1

NO_ERROR: Final = 0
UNACKNOWLEDGED: Final = 1
DISTURBED: Final = 2
STUCK: Final = 3
"""What `Segment.error` says of the frame under way: nobody drove its ACK slot; or its bits were not what its sender sent;
or the bus reads dominant all the time (`busim.bus.stuck`)."""


class Segment:
    __slots__ = (
        "bit_ns", "bus", "busy", "can_id", "contenders", "data", "dirty", "error", "free_ns", "late", "members", "next_key",
        "outcome", "request", "sender", "ties",
    )  # fmt: skip

    def __init__(self, bus: "Bus", members: list[Controller], free_ns: int) -> None:
        self.bus = bus
        self.bit_ns = bus.bit_ns
        self.members = members
        self.contenders = [member for member in members if member.pending]
        self.busy = False
        self.free_ns = free_ns
        self.next_key = NO_KEY
        self.sender: Controller = members[0]
        self.request: Request = (0, 0, 0, b"", 0, False)
        self.can_id = 0
        self.data = b""
        self.ties: tuple[tuple[Controller, Request], ...] = ()
        """Others that send the same id at the same time."""
        self.late: list[Controller] = []
        """Members that were switched on during the frame under way: they have not heard all of it."""
        self.error = NO_ERROR
        self.outcome: Outcome | None = None
        """What noise does to the frame under way (`busim.bus.troubled`)."""
        self.dirty = any(member.rec for member in members)
        """Some member's receive error count is above zero."""
        for member in members:
            member.segment = self
        self.seek_start()

    # ------------------------------------------------------------------------------------------------ between frames

    def seek_start(self) -> None:
        """Set the next start of frame from what waits."""
        earliest = NEVER
        for controller in self.contenders:
            pending = controller.pending
            start_ns = pending[0][2]
            if len(pending) > 1:
                start_ns = min([request[2] for request in pending])
            if start_ns < controller.suspended_until_ns:
                start_ns = controller.suspended_until_ns
            if start_ns < earliest:
                earliest = start_ns
        if earliest == NEVER:
            self.next_key = NO_KEY
        else:
            self.next_key = (earliest if earliest > self.free_ns else self.free_ns) * 2 + 1

    def arbitrate(self, now_ns: int) -> None:
        """The start-of-frame bit is here: the lowest id of all that are ready wins and is transmitted."""
        contenders = self.contenders
        if len(contenders) == 1:  # most frames: nobody else wants to send
            sender = contenders[0]
            pending = sender.pending
            request = pending[0]
            if len(pending) == 1:
                if request[2] <= now_ns <= request[4] and sender.suspended_until_ns <= now_ns:
                    contenders.clear()
                    pending.clear()
                    self._transmit(now_ns, sender, request)
                    return
            elif sender.queue == PRIORITY and not sender.mailboxes:
                request = min(pending)
                none_old = min([waiting[4] for waiting in pending]) >= now_ns
                if request[2] <= now_ns and none_old and sender.suspended_until_ns <= now_ns:
                    pending.remove(request)
                    self._transmit(now_ns, sender, request)
                    return
        self._compete(now_ns)

    def _compete(self, now_ns: int) -> None:
        best: Request | None = None
        sender = self.sender
        ties: list[tuple[Controller, Request]] = []
        for controller in [*self.contenders]:
            if controller.suspended_until_ns > now_ns:
                continue
            pending = controller.pending
            request = pending[0]
            if len(pending) > 1 or request[4] < now_ns:
                head = self._head(controller, now_ns)
                if head is None:
                    continue
                request = head
            elif request[2] > now_ns:
                continue
            if best is None or request[0] < best[0]:
                best, sender = request, controller
                ties = []
            elif request[0] == best[0]:
                ties.append((controller, request))
        if best is None:
            self.seek_start()
            return
        sender.pending.remove(best)
        if not sender.pending:
            self.contenders.remove(sender)
        if ties:
            self.busy = True
            self.sender, self.request = sender, best
            self.can_id, self.data = best[0], best[3]
            self._start_tied(now_ns, ties)
        else:
            self._transmit(now_ns, sender, best)

    def _transmit(self, now_ns: int, sender: Controller, request: Request) -> None:
        """The winner's frame goes out; nobody else sends the same id."""
        self.busy = True
        self.sender = sender
        self.request = request
        self.can_id = can_id = request[0]
        self.data = data = request[3]
        try:
            heard = sender.routes[can_id][2]
        except KeyError:
            heard = self.bus.route(sender, can_id)[2]
        if heard:
            self.next_key = (now_ns + (frame_bits(can_id, data) - _AFTER_ACCEPT_BITS) * self.bit_ns) * 2
        else:
            self._start_unheard(now_ns)

    def _head(self, controller: Controller, now_ns: int) -> Request | None:
        """The frame with which a controller takes part now. What has grown too old is dropped here, unsent."""
        pending = controller.pending
        if len(pending) == 1:
            request = pending[0]
            if request[2] <= now_ns <= request[4]:
                return request
        loaded = 1 if controller.queue == FIRST_IN_FIRST_OUT else controller.mailboxes or len(pending)
        best: Request | None = None
        old = False
        for request in pending:
            if request[4] < now_ns:
                old = True
            elif request[2] <= now_ns and loaded:
                loaded -= 1
                if best is None or request < best:
                    best = request
        if old:
            controller.pending[:] = [request for request in controller.pending if request[4] >= now_ns]
            if not controller.pending:
                self.contenders.remove(controller)
        return best

    # ------------------------------------------------------------------------------------------------ a frame's end

    def finish(self, now_ns: int) -> None:
        """The moment `arbitrate` set has come: the frame is accepted, or its error frame is over."""
        if self.error:
            self.busy = False
            self._end_error(now_ns)
            return
        sender = self.sender
        can_id = self.can_id
        try:
            mask, receivers, heard = sender.routes[can_id]
        except KeyError:
            mask, receivers, heard = self._who_hears()
        self.free_ns = now_ns + _AFTER_ACCEPT_BITS * self.bit_ns
        if not heard:  # the last one to hear it left during the frame
            self.error = UNACKNOWLEDGED
            self._fail(now_ns - _ACK_TO_ACCEPT_BITS * self.bit_ns, _ERROR_BITS)
            return
        bus = self.bus
        index = bus.index
        data = self.data
        bus.journal.frame(now_ns, index, can_id, data, mask)
        for host, handler in receivers:
            actions = handler((now_ns - host.on_ns) * host.pace >> 32, index, can_id, data)
            if actions:
                host.act(now_ns, actions)
        self.busy = False  # only now, so that what handlers send waits for `seek_start`
        if sender.tec and sender.transmitted():
            bus.state_changed(now_ns, sender)
        if sender.state == ERROR_PASSIVE:
            sender.suspended_until_ns = self.free_ns + SUSPEND_BITS * self.bit_ns
        if sender.host.wants_sent:
            sender.host.note_sent(now_ns + self.bit_ns, index, can_id)
        if self.ties:
            self._finish_tied(now_ns)
        if self.dirty:
            self._count_good_reception(now_ns)
        if self.contenders:
            self.seek_start()
        else:
            self.next_key = NO_KEY

    def _finish_tied(self, now_ns: int) -> None:
        """Those who sent the same frame at the same time have sent it too."""
        ties, self.ties = self.ties, ()
        for controller, _ in ties:
            if controller.tec and controller.transmitted():
                self.bus.state_changed(now_ns, controller)
            if controller.state == ERROR_PASSIVE:
                controller.suspended_until_ns = self.free_ns + SUSPEND_BITS * self.bit_ns
            if controller.host.wants_sent:
                controller.host.note_sent(now_ns + self.bit_ns, self.bus.index, self.can_id)

    def _who_hears(self) -> Route:
        """The route of the frame under way, without those who send it too or were switched on during it."""
        apart = [*self.late, *(controller for controller, _ in self.ties)]
        self.late = []
        return self.bus.route(self.sender, self.can_id, apart)

    def _count_good_reception(self, now_ns: int) -> None:
        self.dirty = False
        sender = self.sender
        for member in self.members:
            heard = member is not sender and member.listening and self.bus.wiring.hears(member.place, sender.place)
            if member.rec and heard and member.received():
                self.bus.state_changed(now_ns, member)
            self.dirty = self.dirty or member.rec > 0

    # ------------------------------------------------------------------------------------------------ what goes wrong

    def _start_unheard(self, now_ns: int) -> None:
        """A frame starts that nobody will acknowledge."""
        sender = self.sender
        if self.bus.wiring.mute(sender.place):
            sender.put_back(self.request)
            self._stumble(now_ns, [sender])
        elif sender.place in self.bus.wiring.deaf:
            self.error = DISTURBED
            self._fail(now_ns + self.bit_ns, _ANSWERED_ERROR_BITS)
        else:
            self.error = UNACKNOWLEDGED
            # Nobody drives the ACK slot, the second bit after the stuffed region; the flag starts with the bit after it.
            self._fail(now_ns + (stuffed_bits(self.can_id, self.data) + 2) * self.bit_ns, _ERROR_BITS)

    def _stumble(self, now_ns: int, dumb: list[Controller]) -> None:
        """Controllers that can drive no bit find their SOF bit missing, without anybody noticing. The others arbitrate anew."""
        self.busy = False
        for controller in dumb:
            self._count_failure(now_ns, controller, now_ns + (1 + _ERROR_BITS) * self.bit_ns)
        self.seek_start()

    def _start_tied(self, now_ns: int, ties: list[tuple[Controller, Request]]) -> None:
        """Several send the same id at once: fine while they send the same bits, an error at the first bit that differs."""
        dumb = [controller for controller, _ in [(self.sender, self.request), *ties] if self.bus.wiring.mute(controller.place)]
        if dumb:
            self.sender.put_back(self.request)
            self._stumble(now_ns, dumb)
            return
        for controller, request in ties:
            controller.pending.remove(request)
            if not controller.pending:
                self.contenders.remove(controller)
        self.ties = tuple(ties)
        self.sender.routes.pop(self.can_id, None)  # `finish` is to work it out without the others that send
        own = wire_bits(self.can_id, self.data)
        first_difference = min(
            (_first_difference(own, wire_bits(self.can_id, request[3])) for _, request in ties if request[3] != self.data),
            default=0,
        )
        if first_difference:
            self.error = DISTURBED
            self._fail(now_ns + first_difference * self.bit_ns, _ANSWERED_ERROR_BITS)
        else:
            self.next_key = (now_ns + (frame_bits(self.can_id, self.data) - _AFTER_ACCEPT_BITS) * self.bit_ns) * 2

    def _fail(self, error_ns: int, bits: int) -> None:
        """An error frame starts at `error_ns` and ends, intermission included, `bits` later."""
        self.free_ns = error_ns + bits * self.bit_ns
        self.next_key = self.free_ns * 2

    def _end_error(self, now_ns: int) -> None:
        senders = [(self.sender, self.request), *self.ties]
        acknowledgement = self.error == UNACKNOWLEDGED
        self.error = NO_ERROR
        self.ties = ()
        self.late = []
        for controller, request in senders:
            controller.put_back(request)
            self._count_failure(now_ns, controller, now_ns, acknowledgement=acknowledgement)
        if not acknowledgement:
            self._count_bad_reception(now_ns, [controller for controller, _ in senders])
        self.seek_start()

    def _count_failure(self, now_ns: int, controller: Controller, again_ns: int, *, acknowledgement: bool = False) -> None:
        """A transmission failed; the error is over for its sender, intermission included, at `again_ns`."""
        changed = controller.transmit_error(acknowledgement=acknowledgement)
        if controller.state == BUS_OFF:
            controller.leave()
        controller.suspended_until_ns = again_ns + (SUSPEND_BITS * self.bit_ns if controller.state == ERROR_PASSIVE else 0)
        if changed:
            self.bus.state_changed(now_ns, controller)

    def _count_bad_reception(self, now_ns: int, senders: list[Controller]) -> None:
        for member in self.members:
            if member.listening and member not in senders and member.place not in self.bus.wiring.deaf:
                self.dirty = True
                if member.receive_error():
                    self.bus.state_changed(now_ns, member)

    def gone(self, now_ns: int, controller: Controller) -> None:
        """A member lost its power. If it was sending, others that send the same go on; else all signal an error and go on."""
        sending = [(self.sender, self.request), *self.ties]
        left = [pair for pair in sending if pair[0] is not controller]
        if not self.busy or len(left) == len(sending):
            return
        if left:
            (self.sender, self.request), *ties = left
            self.data = self.request[3]
            self.ties = tuple(ties)
        else:
            self._lose_frame(now_ns)

    def _lose_frame(self, now_ns: int) -> None:
        """The frame under way has no sender here any more."""
        error = self.error
        self.busy = False
        self.error = NO_ERROR
        self.ties = ()
        self.late = []
        if error == NO_ERROR:
            self.free_ns = now_ns + _ANSWERED_ERROR_BITS * self.bit_ns
        if error != UNACKNOWLEDGED:
            self._count_bad_reception(now_ns, [self.sender])
        self.seek_start()

    # ------------------------------------------------------------------------------------------------ new wiring

    def hand_over(self, now_ns: int) -> None:
        """Others begin here: bring to an end what is only this segment's."""

    def take_over(self, now_ns: int, earlier: list["Segment"]) -> None:
        """Begin where the segments leave off that this one's members were on until now.

        A frame under way goes on with whoever still hears its sender; the others signal an error. *Model assumption*: where
        stretches that were apart are joined during a frame, whoever hears only its end destroys it.
        """
        self.free_ns = max([now_ns, *(old.free_ns for old in earlier)])
        self.late = [member for old in earlier for member in old.late if member in self.members]
        awake = [old for old in earlier if any(member.listening and member in self.members for member in old.members)]
        under_way = [old for old in awake if old.busy]
        sending = [
            (controller, request, old)
            for old in under_way
            for controller, request in [(old.sender, old.request), *old.ties]
            if controller in self.members
        ]
        if sending:
            self.busy = True
            self.sender, self.request, old = sending[0]
            self.can_id, self.data = self.request[0], self.request[3]
            self.ties = tuple((controller, request) for controller, request, _ in sending[1:])
            if len(awake) == 1:
                self.error, self.free_ns, self.next_key = old.error, old.free_ns, old.next_key
            else:
                self.error = DISTURBED
                self._fail(now_ns, _ANSWERED_ERROR_BITS)
        elif under_way:
            self.sender, self.error = under_way[0].sender, under_way[0].error
            self._lose_frame(now_ns)
        else:
            self.seek_start()


def _first_difference(first: Any, second: Any) -> int:
    """How many bits have passed once two bit sequences have differed."""
    for position, (one, other) in enumerate(zip(first, second, strict=False)):
        if one != other:
            return position + 1
    return min(len(first), len(second)) + 1
