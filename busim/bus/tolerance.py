"""How wrong a node's clock may be, from its bit timing, and what its frames suffer beyond that.

Source of the two conditions: F. Hartwich, A. Bassemir, The Configuration of the CAN Bit Timing, 6th international CAN conference,
1999 (from memory; a test holds them against python-can): a clock may be off by the smaller of
jump / (20 x bit) (after an error flag it still resynchronises every 10 bits) and
shorter phase / (2 x (13 x bit - second phase)) (13 bits without an edge while an error flag is told from others), in quanta.
"""

from typing import Final

_RATE_AT_TWICE: Final = 0.02
_HALF: Final = 0.5


def tolerance_ppm(quanta: int, sample_point_permille: int, jump_quanta: int) -> float:
    """By how much the clock may be off, either way. What the first phase segment leaves for propagation is not taken off it."""
    second = max(quanta - quanta * sample_point_permille // 1000, 1)
    first = quanta - 1 - second
    jump = min(jump_quanta, second)
    return 1e6 * min(jump / (20 * quanta), min(first, second) / (2 * (13 * quanta - second)))


def error_rate(off_ppm: float, allowed_ppm: float) -> float:
    """The share of bits of its frames that are hit. *Model assumption*: none up to the tolerance, then in proportion to what is
    beyond it, 2 % at twice the tolerance, so that hardly a full frame gets through."""
    return min(max(abs(off_ppm) - allowed_ppm, 0.0) / allowed_ppm * _RATE_AT_TWICE, _HALF)
