"""How the screen looks by day, at dusk and at night. Everything it says stands in words too: colour only helps.

Night is red and low: an eye that has been in the dark for half an hour loses less by it (levels first, long wavelengths second:
Naval submarine laboratory report 1036, 1984).
"""

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class Look:
    """Styles, in rich's words. `dims` is how much of a lamp's light is shown, in permille; `red` keeps its red part only."""

    name: str
    background: str
    plain: str
    quiet: str
    strong: str
    good: str
    warning: str
    alarm: str
    chosen: str
    dims: int
    red: bool


DAY: Final = Look(
    "day", "#f4f4ee", "#202020 on #f4f4ee", "#6a6a6a on #f4f4ee", "bold #000000 on #f4f4ee", "bold #006a20 on #f4f4ee",
    "bold #8a4b00 on #f4f4ee", "bold #ffffff on #b00018", "bold #ffffff on #1f4e79", 1000, False,
)  # fmt: skip
DUSK: Final = Look(
    "dusk", "#14181c", "#b8bcc0 on #14181c", "#70767c on #14181c", "bold #e4e6e8 on #14181c", "bold #6cc080 on #14181c",
    "bold #e0a040 on #14181c", "bold #ffffff on #9c1020", "bold #ffffff on #285078", 700, False,
)  # fmt: skip
NIGHT: Final = Look(
    "night", "#000000", "#902020 on #000000", "#501010 on #000000", "bold #c02828 on #000000", "bold #a02020 on #000000",
    "bold #d03030 on #000000", "bold #000000 on #c02020", "bold #000000 on #702020", 350, True,
)  # fmt: skip
LOOKS: Final = (DUSK, NIGHT, DAY)


def glow(look: Look, permille: int, rgb: tuple[int, int, int]) -> str:
    """The style of a lamp: its colour, as bright as it is."""
    share = 0.15 + 0.85 * permille / 1000 if permille else 0.0
    parts = [int(part * share * look.dims / 1000) for part in rgb]
    if look.red:
        parts = [max(parts), 0, 0]
    red, green, blue = parts
    ink = "#000000" if red * 3 + green * 6 + blue > 1300 else "#ffffff" if not look.red else "#ff6060"
    return f"{ink} on #{red:02x}{green:02x}{blue:02x}"
