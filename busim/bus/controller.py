"""A node's CAN controller on one bus: its transmit queue, its error counters, whom its frames reach."""

from typing import TYPE_CHECKING, Any, Final, TypeAlias

from busim.seam import BUS_OFF, ERROR_ACTIVE, ERROR_PASSIVE, FrameHandler

if TYPE_CHECKING:
    from busim.bus.segment import Segment

PRIORITY: Final = 0
FIRST_IN_FIRST_OUT: Final = 1

PASSIVE_LIMIT: Final = 128
BUS_OFF_LIMIT: Final = 256

Request: TypeAlias = tuple[int, int, int, bytes, int, bool]
"""(can_id, sequence, ready_ns, data, drop_at_ns, overwrites what waits under the same id)"""

Route: TypeAlias = tuple[int, tuple[tuple[Any, FrameHandler], ...], bool]
"""(mask of hosts that accept, ((host, handler), ...), somebody acknowledges)"""


class Controller:
    """`host` is the simulated microcontroller behind it: it has `index`, `handlers`, `running`, `own_ns`, `act`."""

    __slots__ = (
        "bus_index", "fixed", "host", "listening", "listens_when_off", "mailboxes", "only_listens", "pending", "place", "queue",
        "rec", "recessive_from_ns", "recessive_left", "routes", "segment", "sequence", "state", "suspended_until_ns", "tec",
    )  # fmt: skip

    def __init__(self, host: Any, bus_index: int, place: int, queue: int) -> None:
        self.host = host
        self.bus_index = bus_index
        self.place = place
        self.queue = queue
        self.mailboxes = 0
        """How many frames compete by priority; the others wait in software, first in first out. 0: as many as there are."""
        self.fixed = 0
        """How many frames, from the oldest on, sit in mailboxes that can't be overwritten."""
        self.listens_when_off = False
        self.pending: list[Request] = []
        self.sequence = 0
        self.tec = 0
        self.rec = 0
        self.state = ERROR_ACTIVE
        self.listening = False
        """Powered and not bus-off: it acknowledges what it hears."""
        self.only_listens = False
        """Bus-off, and set to receive without acknowledging until it is asked to come back."""
        self.suspended_until_ns = 0
        self.recessive_left = 0
        """Bus-off and asked to recover: how many runs of 11 recessive bits it has still to see."""
        self.recessive_from_ns = 0
        """Since when the bus has been recessive for it, or will have been once the frame under way is over."""
        self.routes: dict[int, Route] = {}
        self.segment: Segment

    def __getstate__(self) -> tuple[None, dict[str, Any]]:
        return None, {name: getattr(self, name) for name in self.__slots__ if name != "routes"}

    def __setstate__(self, state: tuple[None, dict[str, Any]]) -> None:
        for name, value in state[1].items():
            setattr(self, name, value)
        self.routes = {}

    def submit(self, ready_ns: int, can_id: int, data: bytes, drop_after_ns: int, overwrite: bool) -> None:
        """Put a frame in the queue; it competes from `ready_ns` on. `overwrite` tells SEND from QUEUE (`busim.seam.Action`).

        What is overwritten may still go out until the new frame is ready, and not from then on.
        """
        if not self.listening:
            return
        self.sequence += 1
        pending = self.pending
        segment = self.segment
        request = (can_id, self.sequence, ready_ns, data, ready_ns + drop_after_ns, overwrite)
        if not pending:
            pending.append(request)
            segment.contenders.append(self)
        elif overwrite:
            for position, waiting in enumerate(pending):
                if position >= self.fixed and waiting[0] == can_id and waiting[5] and waiting[4] >= ready_ns:
                    if waiting[2] >= ready_ns:
                        pending[position] = request
                    else:
                        pending[position] = (*waiting[:4], ready_ns - 1, waiting[5])
                        pending.insert(position + 1, request)
                    break
            else:
                pending.append(request)
        else:
            pending.append(request)
        if not segment.busy:
            start_ns = ready_ns if ready_ns > segment.free_ns else segment.free_ns
            if start_ns < self.suspended_until_ns:
                start_ns = self.suspended_until_ns
            key = start_ns * 2 + 1
            if key < segment.next_key:
                segment.next_key = key

    def waits(self, can_id: int) -> bool:
        """A frame of this id is in the queue."""
        return any(request[0] == can_id for request in self.pending)

    def put_back(self, request: Request) -> None:
        """A frame that failed is sent again, from its old place in the queue, until what has overwritten it is ready."""
        can_id, sequence, ready_ns, data, drop_at_ns, overwrites = request
        for waiting in self.pending:
            if waiting[0] == can_id and waiting[1] > sequence and waiting[5] and waiting[2] <= drop_at_ns:
                drop_at_ns = waiting[2] - 1
        self.pending.insert(0, (can_id, sequence, ready_ns, data, drop_at_ns, overwrites))
        if len(self.pending) == 1:
            self.segment.contenders.append(self)

    def flush(self) -> None:
        """Drop everything that waits."""
        if self.pending:
            self.pending.clear()
            self.segment.contenders.remove(self)

    def go_off(self) -> bool:
        """Bus-off at once, as after 32 failures in a row. True where the state changed."""
        self.tec = BUS_OFF_LIMIT
        changed = self._settle()
        self.leave()
        return changed

    def leave(self) -> None:
        """It is bus-off: what waits is dropped."""
        self.listening = False
        self.only_listens = self.listens_when_off
        self.flush()

    def transmit_error(self, *, acknowledgement: bool) -> bool:
        """A transmission failed: TEC + 8, unless it was an acknowledgement error while error passive (Bosch CAN 2.0, fault
        confinement, rule 3, exception 1). True where the state changed."""
        if not (acknowledgement and self.state == ERROR_PASSIVE):
            self.tec += 8
        return self._settle()

    def transmitted(self) -> bool:
        """A frame went through: TEC - 1. True where the state changed."""
        if self.tec:
            self.tec -= 1
            return self._settle()
        return False

    def receive_error(self, amount: int = 1) -> bool:
        """Reception failed: REC + `amount` (held at 255, as it only tells active from passive)."""
        self.rec = min(self.rec + amount, 255)
        return self._settle()

    def received(self) -> bool:
        """A frame was received: REC - 1, or back to 127 where it was above (the rule gives 119 to 127)."""
        self.rec = self.rec - 1 if self.rec <= 127 else 127
        return self._settle()

    def _settle(self) -> bool:
        if self.tec >= BUS_OFF_LIMIT:
            state = BUS_OFF
        elif self.tec >= PASSIVE_LIMIT or self.rec >= PASSIVE_LIMIT:
            state = ERROR_PASSIVE
        else:
            state = ERROR_ACTIVE
        changed = state != self.state
        self.state = state
        return changed

    def reset(self, *, listening: bool) -> None:
        """Power or reset: counters at zero, queue empty."""
        self.flush()
        self.tec = self.rec = 0
        self.state = ERROR_ACTIVE
        self.listening = listening
        self.only_listens = False
        self.suspended_until_ns = 0
        self.recessive_left = 0
