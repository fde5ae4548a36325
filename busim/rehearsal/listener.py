"""What a look at the bus shows and the situation does not keep: who was heard when, how busy each bus is, the last frames."""

from collections import deque
from itertools import islice
from typing import Final

from busim.events import bits
from busim.events.journal import Event, Journal
from busim.protocol.plan import WirePlan
from busim.protocol.tables import DRIVE_TABLE
from busim.units import SECOND

FRAMES_KEPT: Final = 400
THROTTLE_4: Final[bits.Field] = (24, 0xFF)
"""In drive_state: what the feedback of the throttle shows, in steps of 4 permille."""
ZONE_COLOUR: Final[bits.Field] = (20, 0xFFFFFF)
LOAD_NS: Final = SECOND


class Listener:
    def __init__(self, plan: WirePlan) -> None:
        self.plan = plan
        self.beat_ns: dict[int, int] = {}
        """Address -> when its last heartbeat was."""
        self.frames: deque[tuple[int, int, int, bytes]] = deque(maxlen=FRAMES_KEPT)
        """(at_ns, bus, can_id, data), newest last."""
        self.counted: list[deque[int]] = [deque() for _ in plan.buses]
        """For each bus, when the frames of the last second were over."""
        self.controllers: dict[tuple[str, str], tuple[int, int, int]] = {}
        """(node, bus) -> (state, TEC, REC), as said last."""
        self.rpm: dict[int, int] = {}
        self.throttle: dict[int, int] = {}
        """Drive's address -> what it says of its engine's speed, and of its throttle in permille."""
        self.levers: dict[tuple[str, str], int] = {}
        self.wheels: dict[str, int] = {}
        self.fields: dict[tuple[str, str], int] = {}
        self.pages: dict[str, int] = {}
        self.colours: dict[str, int] = {}
        """Zone -> shares of its channels."""
        self.asked_colours: dict[int, int] = {}
        """Number of a zone -> its colour as it reports it: 8 bits each of red, green and blue, or kelvin."""
        self.lit: dict[str, int] = {}
        self.rows: dict[str, tuple[int, int]] = {}
        """Drive's node -> (row of its table, cause) as it took it last, whether or not anybody hears it."""

    def attach(self, journal: Journal) -> None:
        own = {
            bits.CODE_HEARTBEAT: self._heartbeat,
            bits.CODE_DRIVE_STATE: self._drive_state,
            bits.CODE_ZONE_STATE: self._zone_state,
        }
        for address, _, _ in self.plan.nodes:
            for code in range(32):
                journal.watch_frames(code << 6 | address, own.get(code, self._frame))
        for kind in ("controller", "counts", "lever", "wheel", "output", "lamp", "power", "row", "start"):
            journal.watch_events(kind, getattr(self, f"_{kind}"))

    def _frame(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        self.frames.append((now_ns, bus, can_id, data))
        self.counted[bus].append(now_ns)

    def _drive_state(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        if bits.sound(can_id, data):
            whole = int.from_bytes(data, "big")
            self.rpm[can_id & 0x3F] = bits.field(whole, bits.STATE_RPM_8) * 8
            self.throttle[can_id & 0x3F] = bits.field(whole, THROTTLE_4) * 4
        self._frame(now_ns, bus, can_id, data, mask)

    def _zone_state(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        if len(data) == 8:
            whole = int.from_bytes(data, "big")
            self.asked_colours[bits.field(whole, bits.ZONE_NUMBER)] = bits.field(whole, ZONE_COLOUR)
        self._frame(now_ns, bus, can_id, data, mask)

    def _heartbeat(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        self.beat_ns[can_id & 0x3F] = now_ns
        self._frame(now_ns, bus, can_id, data, mask)

    def latest(self, count: int) -> list[tuple[int, int, int, bytes]]:
        """The last frames, oldest first."""
        return list(islice(reversed(self.frames), count))[::-1]

    def latest_on(self, bus: int, count: int) -> list[tuple[int, int, int, bytes]]:
        return list(islice((frame for frame in reversed(self.frames) if frame[1] == bus), count))

    def frames_a_second(self, bus: int, now_ns: int) -> int:
        counted = self.counted[bus]
        while counted and counted[0] < now_ns - LOAD_NS:
            counted.popleft()
        return len(counted)

    def _controller(self, event: Event) -> None:
        self.controllers[event[3], event[4]] = (event[5], event[6], event[7])

    def _counts(self, event: Event) -> None:
        state = self.controllers.get((event[3], event[4]), (0, 0, 0))[0]
        self.controllers[event[3], event[4]] = (state, event[5], event[6])

    def _lever(self, event: Event) -> None:
        self.levers[event[3], event[4]] = event[5]

    def _wheel(self, event: Event) -> None:
        self.wheels[event[3]] = event[4]

    def _output(self, event: Event) -> None:
        if event[4] == "page":
            self.pages[event[3]] = event[5]
        elif event[4].startswith("field."):
            self.fields[event[3], event[4]] = event[5]

    def _row(self, event: Event) -> None:
        if event[4] == DRIVE_TABLE.name:
            self.rows[event[3]] = (event[5], event[6])

    def _lamp(self, event: Event) -> None:
        self.lit[event[3]] = event[4]
        self.colours[event[3]] = event[5]

    def _power(self, event: Event) -> None:
        if not event[4]:
            self.pages.pop(event[3], None)
            for key in [key for key in self.fields if key[0] == event[3]]:
                del self.fields[key]
            self._start(event)

    def _start(self, event: Event) -> None:
        """Its controllers, and its table, begin anew."""
        self.rows.pop(event[3], None)
        for key in [key for key in self.controllers if key[0] == event[3]]:
            del self.controllers[key]
