"""What a lamp's light looks like on a screen, from the shares of its channels. For the eye alone: nothing is judged by it.

By way of CIE XYZ to sRGB (IEC 61966-2-1). *Model assumption*: the chromaticities of common LEDs (common practice, no source), each
channel at full giving as much light as another, as the nodes assume.
"""

from functools import lru_cache
from typing import Final

WARM: Final = (255, 190, 120)
COOL: Final = (205, 225, 255)
LAMP: Final = (255, 225, 180)
"""Of tunable white, its two ends; and a lamp whose colour can't be set."""

_CHROMATICITY: Final = ((0.690, 0.308), (0.170, 0.700), (0.136, 0.040), (0.4578, 0.4101))
"""x and y of red, green, blue and white."""
_XYZ_TO_SRGB: Final = ((3.2406, -1.5372, -0.4986), (-0.9689, 1.8758, 0.0415), (0.0557, -0.2040, 1.0570))
FULL: Final = 255


def white(warm: int, cool: int) -> tuple[int, int, int]:
    """Between warm and cool, in these shares."""
    whole = max(warm + cool, 1)
    red, green, blue = ((one * warm + other * cool) // whole for one, other in zip(WARM, COOL, strict=True))
    return red, green, blue


@lru_cache(maxsize=512)
def mixed(shares: int, *, has_white: bool) -> tuple[int, int, int]:
    """sRGB at full brightness of shares of red, green and blue at 8 bits each.

    The share of a white channel is not among them: where none of the three is at full, it is what is, and else it counts as none.
    """
    parts = [shares >> place & 0xFF for place in (16, 8, 0)]
    parts.append(FULL if has_white and max(parts) < FULL else 0)
    xyz = [0.0, 0.0, 0.0]
    for part, (x, y) in zip(parts, _CHROMATICITY, strict=True):
        for axis, value in enumerate((x / y, 1.0, (1 - x - y) / y)):
            xyz[axis] += part * value
    linear = [max(sum(factor * value for factor, value in zip(row, xyz, strict=True)), 0.0) for row in _XYZ_TO_SRGB]
    most = max(*linear, 1e-9)
    red, green, blue = (round(FULL * _encoded(value / most)) for value in linear)
    return red, green, blue


def _encoded(value: float) -> float:
    return 12.92 * value if value <= 0.0031308 else float(1.055 * value ** (1 / 2.4) - 0.055)
