"""The bench band: the simulated machinery reaches a device by message code 30, and hears from it what its outputs do.

Only firmware built for the bench knows it. What comes out this way is what the device says of itself. No I/O, no clock.
"""

from typing import Final

from busim.host.host import Host
from busim.protocol.catalogue import BENCH
from busim.protocol.values import BENCH_ADDRESS, BENCH_CHANNELS
from busim.seam import OUTPUT
from busim.units import MS, SECOND

OUT: Final = 1
PERIOD_NS: Final = 20 * MS
AGAIN_NS: Final = SECOND // 10
"""A value that stands is said again, so that a device that was reset has it soon."""
NUMBERS: Final = {name: number for number, name in BENCH_CHANNELS}
_NAMES: Final = dict(BENCH_CHANNELS)


class Band:
    """Of one device: `host` is its seat's, with what is wired to the pins of the node whose place it takes."""

    def __init__(self, host: Host, address: int) -> None:
        self.host = host
        self.out_id = BENCH.can_id(address)
        self.wired = {name: entry for name, entry in host.inputs.items() if name in NUMBERS}
        self.due_ns = 0
        self.said: dict[str, tuple[int, int]] = {}
        self.answered = False
        """The device has sent values: it is built for the bench."""

    def values(self, now_ns: int) -> list[tuple[int, bytes]]:
        """Frames into the device that are due."""
        if now_ns < self.due_ns:
            return []
        self.due_ns = now_ns + PERIOD_NS
        out = []
        for name, entry in self.wired.items():
            value = entry.read(now_ns)
            said, said_ns = self.said.get(name, (value - 1, 0))
            if value != said or now_ns - said_ns >= AGAIN_NS:
                self.said[name] = (value, now_ns)
                out.append((BENCH.can_id(BENCH_ADDRESS), BENCH.pack(0, NUMBERS[name], value)))
        return out

    def frame(self, now_ns: int, can_id: int, data: bytes) -> None:
        """A frame of the device: an output moves the machinery. What can't be read is left alone."""
        if can_id != self.out_id or len(data) != BENCH.length:
            return
        direction, number, value = BENCH.unpack(int.from_bytes(data, "big"))
        if direction != OUT or number not in _NAMES:
            return
        self.answered = True
        if self.host.powered and _plausible(_NAMES[number], value):
            self.host.act(now_ns, ((OUTPUT, _NAMES[number], value),))


_RANGES: Final = {"throttle": (0, 1000), "shift": (0, 2), "rudder": (-9000, 9000)}


def _plausible(name: str, value: int) -> bool:
    low, high = _RANGES.get(name, (0, 1))
    return low <= value <= high
