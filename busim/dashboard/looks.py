"""How the screen looks by day, at dusk and at night. Everything it says stands in words too: colour only helps.

Night is red and low: an eye that has been in the dark for half an hour loses less by it (levels first, long wavelengths second:
Naval submarine laboratory report 1036, 1984).
"""

from dataclasses import dataclass
from typing import Final

from textual.theme import Theme


@dataclass(frozen=True)
class Look:
    """Styles, in rich's words. `dims` is how much of a lamp's light is shown, in permille; `red` shows it in red only; `paper`
    is a light ground."""

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
    paper: bool = False


DAY: Final = Look(
    "day", "#f4f4ee", "#202020 on #f4f4ee", "#6a6a6a on #f4f4ee", "bold #000000 on #f4f4ee", "bold #006a20 on #f4f4ee",
    "bold #8a4b00 on #f4f4ee", "bold #ffffff on #b00018", "bold #ffffff on #1f4e79", 1000, False, True,
)  # fmt: skip
DUSK: Final = Look(
    "dusk", "#14181c", "#b8bcc0 on #14181c", "#70767c on #14181c", "bold #e4e6e8 on #14181c", "bold #6cc080 on #14181c",
    "bold #e0a040 on #14181c", "bold #ffffff on #9c1020", "bold #ffffff on #285078", 700, False,
)  # fmt: skip
NIGHT: Final = Look(
    "night", "#000000", "#b82424 on #000000", "#701818 on #000000", "bold #d03434 on #000000", "bold #c02828 on #000000",
    "bold #e04040 on #000000", "bold #000000 on #b82424", "bold #000000 on #a83434", 350, True,
)  # fmt: skip
NIGHT_GREY: Final = Look(
    "night", "#000000", "#909090 on #000000", "#686868 on #000000", "bold #b0b0b0 on #000000", "bold #a0a0a0 on #000000",
    "bold #b8b8b8 on #000000", "bold #000000 on #a8a8a8", "bold #000000 on #808080", 350, False,
)  # fmt: skip
"""Where no colours are wanted (NO_COLOR), red turned into grey would be too dark to read."""
LOOKS: Final = (DUSK, NIGHT, DAY)
LOOKS_GREY: Final = (DUSK, NIGHT_GREY, DAY)
"""In the order in which a key goes through them; and where no colours are wanted."""


def glow(look: Look, permille: int, rgb: tuple[int, int, int]) -> str:
    """The style of a lamp: its colour, as bright as it is."""
    share = 0.15 + 0.85 * permille / 1000 if permille else 0.0
    if look.paper:
        # By day the ground is light: a lamp colours it, and the more the brighter it is.
        ground = [int(look.background[place : place + 2], 16) for place in (1, 3, 5)]
        strongest = max(*rgb, 1)
        strong = [255 * (part / strongest) ** 2 for part in rgb]
        red, green, blue = (int(one + (other - one) * share) for one, other in zip(ground, strong, strict=True))
        return f"#000000 on #{red:02x}{green:02x}{blue:02x}"
    parts = [int(part * share * look.dims / 1000) for part in rgb]
    if look.red:
        parts = [max(parts), 0, 0]
    red, green, blue = parts
    ink = "#000000" if red * 3 + green * 6 + blue > 1300 else "#ffffff" if not look.red else "#ff6060"
    return f"{ink} on #{red:02x}{green:02x}{blue:02x}"


def themes(looks: tuple[Look, ...]) -> list[Theme]:
    """For what Textual draws itself, the palette and what asks for words: the looks again."""
    made = []
    for look in looks:
        plain, strong = look.plain.split()[0], look.strong.split()[1]
        chosen = look.chosen.split()[-1]
        made.append(
            Theme(
                name=f"busim-{look.name}",
                primary=chosen,
                secondary=plain,
                accent=strong,
                foreground=plain,
                background=look.background,
                surface=look.background,
                panel=look.background,
                success=look.good.split()[1],
                warning=look.warning.split()[1],
                error=look.alarm.split()[-1],
                dark=look is not DAY,
            )
        )
    return made
