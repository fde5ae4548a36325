"""The lamps of a zone as they really are: what light comes out at a PWM duty, and how light that looks.

It is told the duty of each of its channels in parts of 65,535 and knows nothing of levels. Lightness is worked out by its own
arithmetic (CIE 1976, backwards by bisection), so that a driver with a wrong table is seen for what it is.
*Model assumption*: light is in proportion to duty; a zone's channels count equally.
"""

from typing import Final

FULL_DUTY: Final = 65_535


def lightness_permille(duty: int, full: int = FULL_DUTY) -> int:
    """L* times 10 of the share `duty` / `full` of full light, rounded to the nearest."""
    if duty <= 0:
        return 0
    if duty >= full:
        return 1000
    # 2 L* times 10, so that the nearest is found and not the one below: the largest h with Y(h / 20) <= duty / full.
    low, high = 0, 2000
    while low < high:
        middle = (low + high + 1) // 2
        if _light_of_half_permille(middle) * full <= duty * _WHOLE:
            low = middle
        else:
            high = middle - 1
    return max((low + 1) // 2, 1)


_WHOLE: Final = 2320**3


def _light_of_half_permille(half: int) -> int:
    """Y of lightness `half` / 20, in parts of _WHOLE (rounded down in the straight part below L* 8)."""
    if half <= 160:
        return half * 27 * _WHOLE // 487_780
    return (half + 320) ** 3


class Lamp:
    """One zone's lamps. `broken` is 0 sound, 1 open, 2 shorted (its fuse is gone: dark, and sensed as that)."""

    __slots__ = ("broken", "duties", "fed", "forced", "shown", "stuck")

    def __init__(self, channels: int) -> None:
        self.duties = [0] * channels
        self.broken = 0
        self.fed = True
        """Its current comes through: of a zone it is its driver's to give."""
        self.forced = False
        """A switch wired past its driver lights it."""
        self.stuck = False
        """Its outputs do not follow their driver."""
        self.shown = (0, 0)
        """What was said last: lightness, colour as 8 bits a channel of up to three."""

    def look(self) -> tuple[int, int]:
        """(lightness in permille, shares of its channels at 8 bits each, the first in the highest bits)."""
        if self.broken or not self.fed:
            return 0, 0
        brightest = FULL_DUTY if self.forced else max(self.duties)
        shares = 0
        for duty in self.duties[:3]:
            shares = shares << 8 | (duty * 255 + brightest // 2) // brightest if brightest else 0
        return lightness_permille(brightest), shares if len(self.duties) > 1 else 0
