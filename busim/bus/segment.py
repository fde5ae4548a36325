"""One stretch of bus on which everybody hears somebody: arbitration, transmission, acknowledgement, collisions.

The segment's whole state between frames is the pair (`busy`, `next_key`). `next_key` is 2 x time for the end of a frame and
2 x time + 1 for the start of one, so that at equal times a frame's end comes first, then what nodes do, then arbitration:
every request that is there at the start-of-frame bit takes part, and one that becomes ready during it waits.

Times in a frame (Bosch CAN 2.0, 1991, ss. 3.1.1, 5, 6): receivers accept it when the last but one bit of EOF has passed,
its transmitter when the last has; then 3 bits of intermission, and the next frame may start. An error passive node that has
just transmitted waits 8 bits more.
"""

from typing import TYPE_CHECKING, Any, Final

from busim.bus.controller import FIRST_IN_FIRST_OUT, Controller, Request, Route
from busim.frames.layout import ERROR_DELIMITER_BITS, ERROR_FLAG_BITS, INTERMISSION_BITS, SUSPEND_BITS, wire_bits
from busim.frames.length import frame_bits, stuffed_bits
from busim.seam import BUS_OFF, ERROR_PASSIVE
from busim.units import NEVER

if TYPE_CHECKING:
    from busim.bus.bus import Bus

_NO_KEY: Final = NEVER * 2
_AFTER_ACCEPT_BITS: Final = 1 + INTERMISSION_BITS
_ERROR_BITS: Final = ERROR_FLAG_BITS + ERROR_DELIMITER_BITS + INTERMISSION_BITS


class Segment:
    __slots__ = (
        "bit_ns", "bus", "busy", "can_id", "contenders", "data", "dirty", "error", "free_ns", "members", "next_key", "request",
        "sender", "ties",
    )  # fmt: skip

    def __init__(self, bus: "Bus", members: list[Controller], free_ns: int) -> None:
        self.bus = bus
        self.bit_ns = bus.bit_ns
        self.members = members
        self.contenders = [member for member in members if member.pending]
        self.busy = False
        self.free_ns = free_ns
        self.next_key = _NO_KEY
        self.sender: Controller = members[0]
        self.request: Request = (0, 0, 0, b"", 0)
        self.can_id = 0
        self.data = b""
        self.ties: tuple[tuple[Controller, Request], ...] = ()
        self.error = False
        self.dirty = False
        """Some member's receive error count is above zero."""
        for member in members:
            member.segment = self
        self.seek_start()

    # ------------------------------------------------------------------------------------------------ between frames

    def seek_start(self) -> None:
        """Set the next start of frame from what waits."""
        earliest = NEVER
        for controller in self.contenders:
            start_ns = (
                controller.pending[0][2]
                if controller.queue == FIRST_IN_FIRST_OUT
                else min([request[2] for request in controller.pending])
            )
            if start_ns < controller.suspended_until_ns:
                start_ns = controller.suspended_until_ns
            if start_ns < earliest:
                earliest = start_ns
        if earliest == NEVER:
            self.next_key = _NO_KEY
        else:
            self.next_key = (earliest if earliest > self.free_ns else self.free_ns) * 2 + 1

    def arbitrate(self, now_ns: int) -> None:
        """The start-of-frame bit is here: the lowest id of all that are ready wins and is transmitted."""
        best: Request | None = None
        sender = self.sender
        ties: list[tuple[Controller, Request]] = []
        for controller in list(self.contenders):
            if controller.suspended_until_ns > now_ns:
                continue
            request = self._head(controller, now_ns)
            if request is None:
                continue
            if best is None or request[0] < best[0]:
                best, sender = request, controller
                ties = []
            elif request[0] == best[0]:
                ties.append((controller, request))
        if best is None:
            self.seek_start()
            return
        self.busy = True
        self.sender = sender
        self.request = best
        self.can_id, _, _, self.data, _ = best
        sender.pending.remove(best)
        if not sender.pending:
            self.contenders.remove(sender)
        if ties:
            self._start_tied(now_ns, ties)
            return
        route = sender.routes.get(self.can_id)
        if route is None:
            route = self.bus.route(sender, self.can_id)
        if route[2]:
            self.next_key = (now_ns + (frame_bits(self.can_id, self.data) - _AFTER_ACCEPT_BITS) * self.bit_ns) * 2
        else:
            self.error = True
            # Nobody drives the ACK slot, the second bit after the stuffed region; the flag starts with the bit after it.
            self._fail(now_ns + (stuffed_bits(self.can_id, self.data) + 2) * self.bit_ns, _ERROR_BITS)

    def _head(self, controller: Controller, now_ns: int) -> Request | None:
        """The frame with which a controller takes part now. What has grown too old is dropped here, unsent."""
        pending = controller.pending
        old = [request for request in pending if request[4] < now_ns]
        for request in old:
            pending.remove(request)
        if not pending:
            self.contenders.remove(controller)
            return None
        if controller.queue == FIRST_IN_FIRST_OUT:
            return pending[0] if pending[0][2] <= now_ns else None
        if len(pending) == 1:
            return pending[0] if pending[0][2] <= now_ns else None
        ready = [request for request in pending if request[2] <= now_ns]
        return min(ready) if ready else None

    # ------------------------------------------------------------------------------------------------ a frame's end

    def finish(self, now_ns: int) -> None:
        """The moment `arbitrate` set has come: the frame is accepted, or its error frame is over."""
        self.busy = False
        if self.error:
            self._end_error(now_ns)
            return
        sender = self.sender
        can_id = self.can_id
        data = self.data
        bus = self.bus
        route: Route | None = sender.routes.get(can_id)
        if route is None:
            route = bus.route(sender, can_id)
        self.free_ns = now_ns + _AFTER_ACCEPT_BITS * self.bit_ns
        if not route[2]:  # the last one to hear it left during the frame
            self.busy = self.error = True
            self._fail(now_ns, _ERROR_BITS)
            return
        index = bus.index
        bus.journal.frame(now_ns, index, can_id, data, route[0])
        self.busy = True  # so that what handlers send waits for `seek_start`
        for host, handler in route[1]:
            actions = handler((now_ns - host.on_ns) * host.rate >> 32, index, can_id, data)
            if actions:
                host.act(now_ns, actions)
        self.busy = False
        if sender.tec and sender.transmitted():
            bus.state_changed(now_ns, sender)
        if sender.state == ERROR_PASSIVE:
            sender.suspended_until_ns = self.free_ns + SUSPEND_BITS * self.bit_ns
        if sender.host.wants_sent:
            sender.host.note_sent(now_ns + self.bit_ns, index, can_id)
        if self.ties:
            for controller, _ in self.ties:
                if controller.tec and controller.transmitted():
                    bus.state_changed(now_ns, controller)
            self.ties = ()
        if self.dirty:
            self._count_good_reception(now_ns)
        if self.contenders:
            self.seek_start()
        else:
            self.next_key = _NO_KEY

    def _count_good_reception(self, now_ns: int) -> None:
        self.dirty = False
        hears = self.bus.wiring.hears
        for member in self.members:
            if member.rec and member is not self.sender and member.listening and hears(member.place, self.sender.place):
                if member.received():
                    self.bus.state_changed(now_ns, member)
                self.dirty = self.dirty or member.rec > 0

    # ------------------------------------------------------------------------------------------------ what goes wrong

    def _start_tied(self, now_ns: int, ties: list[tuple[Controller, Request]]) -> None:
        """Several send the same id at once: fine while they send the same bits, an error at the first bit that differs."""
        for controller, request in ties:
            controller.pending.remove(request)
            if not controller.pending:
                self.contenders.remove(controller)
        self.ties = tuple(ties)
        own = wire_bits(self.can_id, self.data)
        first_difference = min(
            (_first_difference(own, wire_bits(self.can_id, request[3])) for _, request in ties if request[3] != self.data),
            default=0,
        )
        if first_difference:
            self.error = True
            # The flag of whoever reads back the wrong bit is answered by the flags of all who see six equal bits.
            self._fail(now_ns + first_difference * self.bit_ns, _ERROR_BITS + ERROR_FLAG_BITS)
        else:
            self.next_key = (now_ns + (frame_bits(self.can_id, self.data) - _AFTER_ACCEPT_BITS) * self.bit_ns) * 2

    def _fail(self, error_ns: int, bits: int) -> None:
        """An error frame starts at `error_ns` and ends, intermission included, `bits` later."""
        self.free_ns = error_ns + bits * self.bit_ns
        self.next_key = self.free_ns * 2

    def _end_error(self, now_ns: int) -> None:
        self.error = False
        senders = [(self.sender, self.request), *self.ties]
        acknowledgement = not self.ties
        self.ties = ()
        for controller, request in senders:
            if not controller.listening:
                continue
            changed = controller.transmit_error(acknowledgement=acknowledgement)
            if controller.state == BUS_OFF:
                controller.listening = False
                controller.flush()
            else:
                if not any(waiting[0] == request[0] and waiting[1] > request[1] for waiting in controller.pending):
                    controller.pending.append(request)
                    if len(controller.pending) == 1:
                        self.contenders.append(controller)
                if controller.state == ERROR_PASSIVE:
                    controller.suspended_until_ns = now_ns + SUSPEND_BITS * self.bit_ns
            if changed:
                self.bus.state_changed(now_ns, controller)
        if not acknowledgement:
            sending = [controller for controller, _ in senders]
            for member in self.members:
                if member.listening and member not in sending:
                    self.dirty = True
                    if member.receive_error():
                        self.bus.state_changed(now_ns, member)
        self.seek_start()

    def sender_gone(self, now_ns: int) -> None:
        """The transmitter lost its power in the middle of a frame: the others signal an error and go on without it."""
        if self.busy:
            self.error = False
            self.ties = ()
            self.busy = False
            self.free_ns = now_ns + (_ERROR_BITS + ERROR_FLAG_BITS) * self.bit_ns
            for member in self.members:
                if member.listening and member is not self.sender:
                    self.dirty = True
                    if member.receive_error():
                        self.bus.state_changed(now_ns, member)
            self.seek_start()


def _first_difference(first: Any, second: Any) -> int:
    """How many bits have passed once two bit sequences have differed."""
    for position, (one, other) in enumerate(zip(first, second, strict=False)):
        if one != other:
            return position + 1
    return min(len(first), len(second)) + 1
