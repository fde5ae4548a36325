"""Sensors that do not show what they measure: what a fault puts in front of a sound one.

*Model assumptions*: a sensor with a slider shows its two ends at 100 and 900 permille of its supply (common practice), so that
an open wire and a short show a quarter of half the travel, or an eighth of the whole, beyond its ends; a speed pick-up without
signal shows 0; a contact with an open wire shows 0, bridged it shows 1.
"""

from typing import Final, Protocol

from busim.host.inputs import Constant, Source

OPEN: Final = "open"
SHORT: Final = "short"
STUCK: Final = "stuck"
SLIPPED: Final = "slipped"
REVERSED: Final = "reversed"

_SPANS: Final = {
    "lever": (0, 1000),
    "wheel": (0, 1000),
    "throttle_position": (-125, 1125),
    "shift_position": (-1250, 1250),
    "rpm": (0, 0),
    "speed": (0, 0),
}


class Spoil(Protocol):
    def __call__(self, source: Source, span: tuple[int, int], now_ns: int, by: int) -> Source: ...


def span_of(channel: str, hard_over_cdeg: int) -> tuple[int, int]:
    """What a channel shows with its wire open, and with it shorted to its supply."""
    if channel == "rudder_angle":
        return -hard_over_cdeg * 5 // 4, hard_over_cdeg * 5 // 4
    return _SPANS.get(channel.partition(".")[0], (0, 1))


class Slipped:
    """Moved on its shaft: shows so much more than there is, as far as it can."""

    __slots__ = ("by", "source", "span")

    def __init__(self, source: Source, span: tuple[int, int], by: int) -> None:
        self.source = source
        self.span = span
        self.by = by

    def read(self, now_ns: int) -> int:
        return min(max(self.source.read(now_ns) + self.by, self.span[0]), self.span[1])

    def still(self, now_ns: int) -> bool:
        return self.source.still(now_ns)


class Reversed:
    """Its two end wires are swapped."""

    __slots__ = ("source", "span")

    def __init__(self, source: Source, span: tuple[int, int]) -> None:
        self.source = source
        self.span = span

    def read(self, now_ns: int) -> int:
        return self.span[0] + self.span[1] - self.source.read(now_ns)

    def still(self, now_ns: int) -> bool:
        return self.source.still(now_ns)


SPOILT: Final[dict[str, Spoil]] = {
    OPEN: lambda source, span, now_ns, by: Constant(span[0]),
    SHORT: lambda source, span, now_ns, by: Constant(span[1]),
    STUCK: lambda source, span, now_ns, by: Constant(source.read(now_ns)),
    SLIPPED: lambda source, span, now_ns, by: Slipped(source, span, by),
    REVERSED: lambda source, span, now_ns, by: Reversed(source, span),
}
"""How a sensor can be wrong -> what is measured in its place."""
