"""Which share of its channels makes a colour: red, green and blue (and white) lamps, or warm and cool ones.

sRGB (IEC 61966-2-1) as asked, by way of CIE XYZ. What lamps can't make becomes the nearest they can, and that is said. Only
+ - x / on the way, and whole numbers at the end. *Model assumption*: the lamps' chromaticities below, as of common LEDs
(common practice, no source), and that each channel at full gives as much light as another.
"""

from typing import Final

FULL_SHARE: Final = 65_535

_CHROMATICITY: Final = {"red": (0.690, 0.308), "green": (0.170, 0.700), "blue": (0.136, 0.040), "white": (0.4578, 0.4101)}
_SRGB_TO_XYZ: Final[tuple[tuple[float, ...], ...]] = ((0.4124, 0.3576, 0.1805), (0.2126, 0.7152, 0.0722), (0.0193, 0.1192, 0.9505))
_NEARLY_NOTHING: Final = 1e-3


def linear_of(byte: int) -> float:
    """Light of an 8-bit sRGB value, 0 to 1: the power 2.4 as a square and two fifths, the fifth root by Newton's steps."""
    value = byte / 255
    if value <= 0.04045:
        return value / 12.92
    base = (value + 0.055) / 1.055
    squared = base * base
    root = 1.0
    for _ in range(60):
        root += (squared / (root * root * root * root) - root) / 5
    return squared * root


def kelvin_shares(kelvin: int, warm_k: int, cool_k: int) -> tuple[tuple[int, ...], bool]:
    """(shares of warm and cool, the brighter one full; out of reach). Mixed by reciprocal temperature (mired)."""
    kept = min(max(kelvin, warm_k), cool_k)
    span = cool_k * (kept - warm_k)
    whole = kept * (cool_k - warm_k)
    cool = span / whole
    return _to_full([1 - cool, cool]), kept != kelvin


def rgb_shares(colour: int, channels: int) -> tuple[tuple[int, ...], bool]:
    """(shares of red, green, blue and, of four channels, white; out of reach) for 8 bits each of red, green and blue."""
    red, green, blue = (linear_of(colour >> place & 0xFF) for place in (16, 8, 0))
    target = [row[0] * red + row[1] * green + row[2] * blue for row in _SRGB_TO_XYZ]
    names = ("red", "green", "blue", "white")[:channels]
    if not colour:
        return (0,) * channels, False
    triples = [("red", "green", "white"), ("green", "blue", "white"), ("red", "blue", "white")] if channels == 4 else []
    for triple in [*triples, ("red", "green", "blue")]:
        amounts = _solve(triple, target)
        if min(amounts) >= -_NEARLY_NOTHING * max(amounts):
            return _to_full(_placed(names, triple, amounts)), False
    # Outside what they can make: without the channel that would have to be negative, the rest as near as it goes.
    amounts = _solve(("red", "green", "blue"), target)
    return _to_full(_placed(names, ("red", "green", "blue"), [max(amount, 0.0) for amount in amounts])), True


def _placed(names: tuple[str, ...], of: tuple[str, ...], amounts: list[float]) -> list[float]:
    given = dict(zip(of, amounts, strict=True))
    return [max(given.get(name, 0.0), 0.0) for name in names]


def _to_full(amounts: list[float]) -> tuple[int, ...]:
    most = max(amounts)
    return tuple(int(amount / most * FULL_SHARE + 0.5) for amount in amounts)


def _xyz(name: str) -> tuple[float, float, float]:
    """At luminance 1."""
    x, y = _CHROMATICITY[name]
    return x / y, 1.0, (1 - x - y) / y


def _solve(names: tuple[str, ...], target: list[float]) -> list[float]:
    """How much of three lamps gives this XYZ (Cramer's rule)."""
    columns = [_xyz(name) for name in names]
    wanted = (target[0], target[1], target[2])
    whole = _determinant(columns)
    return [_determinant([*columns[:index], wanted, *columns[index + 1 :]]) / whole for index in range(3)]


def _determinant(columns: list[tuple[float, float, float]]) -> float:
    (a, d, g), (b, e, h), (c, f, i) = columns
    return a * (e * i - f * h) - b * (d * i - f * g) + c * (d * h - e * g)
