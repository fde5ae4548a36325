"""What a level on the bus means: lightness as the eye sees it, and the share of full light that it takes.

CIE 1976 lightness: L* = 116 Y^(1/3) - 16, and L* = Y (29/3)^3 below Y = (6/29)^3, with full light as Y = 1 (CIE 15; also in
colour-science, which the tests ask). Whole numbers and fractions only, so that every node and every machine gets the same.
"""

from typing import Final

FULL_PERMILLE: Final = 1000
_LINEAR_TO_PERMILLE: Final = 80
"""L* 8: up to there lightness grows with light, from there with its cube root."""


def light_share(permille: int) -> tuple[int, int]:
    """The share of full light that lightness `permille` (0 to 1000, L* times 10) takes, as numerator and denominator."""
    if permille <= _LINEAR_TO_PERMILLE:
        return permille * 27, 243_890
    return (permille + 160) ** 3, 1160**3


def duty_for(permille: int, steps: int) -> int:
    """PWM duty for a lightness, 0 to `steps` (2^bits - 1), to the nearest. What is lit at all gets one step at least."""
    if permille <= 0:
        return 0
    part, whole = light_share(min(permille, FULL_PERMILLE))
    return max((2 * part * steps + whole) // (2 * whole), 1)
