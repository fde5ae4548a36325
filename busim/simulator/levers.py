"""What a hand moves, and the sensors on it: levers with one track or two, wheels."""

from typing import Final

from busim.plant.ramp import Ramp
from busim.units import SECOND

LEVER_STROKE: Final = 1_000_000
"""Of a lever from upright to either end: finer than what is measured, so that a slow hand has its speed too."""

WHEEL_PORT_PERMILLE: Final = 100
WHEEL_STARBOARD_PERMILLE: Final = 900
"""What a wheel's sensor shows at its ends, full port and full starboard, of its supply (common practice)."""


class LeverSensor:
    """A lever in a hand, and the sensor on it: permille of its supply."""

    __slots__ = ("channel", "hand", "high", "low", "node")

    def __init__(self, node: str, channel: str, low_permille: int, high_permille: int) -> None:
        self.node = node
        self.channel = channel
        self.low = low_permille
        self.high = high_permille
        self.hand = Ramp(0, LEVER_STROKE)

    def move(self, now_ns: int, permille: int, over_ns: int) -> None:
        target = permille * LEVER_STROKE // 1000
        distance = abs(target - self.hand.read(now_ns))
        speed = -(-distance * SECOND // over_ns) if over_ns else distance * SECOND
        self.hand.go(now_ns, target, max(speed, 1))

    def read(self, now_ns: int) -> int:
        middle = (self.low + self.high) // 2
        travel = self.hand.read(now_ns)
        return middle + travel * (self.high - middle if travel >= 0 else middle - self.low) // LEVER_STROKE

    def still(self, now_ns: int) -> bool:
        return self.hand.still(now_ns)


class SecondTrack:
    """The other sensor on a lever, which runs the other way: the two always add up to the same."""

    __slots__ = ("first",)

    def __init__(self, first: LeverSensor) -> None:
        self.first = first

    def read(self, now_ns: int) -> int:
        return self.first.low + self.first.high - self.first.read(now_ns)

    def still(self, now_ns: int) -> bool:
        return self.first.still(now_ns)


def second_track(channel: str) -> str:
    """The channel of a lever's second sensor, where one is fitted."""
    return f"{channel}b"
