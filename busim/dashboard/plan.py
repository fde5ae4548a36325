"""The boat seen from above, bow to the right: each zone of lights where it is, glowing in its colour as bright as it is.

Where it is comes from the boat file (`at` of a zone); zones that it says nothing of stand in its order. Levels and colours stand
there in words too.
"""

from typing import Final

from busim import screen_labels as labels
from busim.dashboard.choice import mark
from busim.dashboard.drawing import Drawing, fitted, fitted_name
from busim.dashboard.looks import Look, glow
from busim.rehearsal.shown import LightShown

CELL, WIDEST_CELL = 18, 22
BOW: Final = 5
"""Columns that the stem takes in front of the foremost cells, at least."""
SIDE_M: Final = 0.35
"""Nearer to the centre line than this is amidships."""
BAR: Final = 5

Cells = list[list[LightShown | None]]


def plan(lights: tuple[LightShown, ...], look: Look, wide: int, high: int, chosen: str = "") -> Drawing:
    """`chosen` is marked. Where it is high enough a cell has two lines, the second with a bar, and the room its name takes."""
    for cell in (max(CELL, min(max(len(light.name) for light in lights) + 2, WIDEST_CELL)), CELL):
        across = max((wide - BOW - 3) // cell, 1)
        rows = laid_out(lights, across)
        lines_each = 2 if len(rows) * 2 + 2 <= high else 1
        if lines_each == 2:
            break
    drawing = Drawing()
    count = len(rows) * lines_each
    base = across * cell
    drawing.put((f" ╭{'─' * base}╮", look.quiet))
    for line in range(count):
        row, part = divmod(line, lines_each)
        parts = [(" │", look.quiet)]
        for light in reversed(rows[row]):
            parts.extend(_cell(light, look, part if lines_each == 2 else 2, chosen, cell))
        reach = _reach(line, count)
        stem = "╲" if line * 2 < count - 1 else "╱" if line * 2 > count - 1 else "›"
        label = labels.BOW if line == count // 2 and reach > len(labels.BOW) else ""
        parts.append((label.rjust(reach) + stem, look.quiet))
        drawing.put(*parts)
        for place, light in enumerate(reversed(rows[row])):
            if light is not None:
                drawing.touch(2 + place * cell, 1 + (place + 1) * cell, "zone", light.name)
    drawing.put((f" ╰{'─' * base}╯", look.quiet))
    return drawing


def _reach(line: int, count: int) -> int:
    """How far the hull goes beyond the cells at this line: furthest at the middle."""
    from_edge = min(line, count - 1 - line)
    half = max((count - 1) // 2, 1)
    return min(BOW - 1, from_edge * (BOW - 1) // half)


def _cell(light: LightShown | None, look: Look, part: int, chosen: str, cell: int) -> list[tuple[str, str]]:
    """`part` 0 and 1: the first and second line of a cell that has two; 2: of one that has one."""
    if light is None:
        return [(" " * cell, look.plain)]
    style = glow(look, light.permille, light.rgb) if light.permille > 0 else look.quiet
    if part == 1:
        words = f" {bar(max(light.permille, 0))} {level_words(light)}"
    else:
        name = fitted_name(light.name, cell - 2) if part == 0 else cell_line(light, cell - 2)
        words = f"{mark(light.name == chosen)}{name}"
        if light.name == chosen:
            style = look.chosen
    return [(fitted(words, cell - 1), style), (" ", look.plain)]


def cell_line(light: LightShown, wide: int) -> str:
    """A light on one line: its name, cut if need be, and its level; its colour where there is room for it."""
    level = level_words(light)
    if len(light.name) + 1 + len(level) > wide and light.permille > 0:
        level = percent_words(light)
    return f"{fitted_name(light.name, max(wide - len(level) - 1, 3))} {level}"


def bar(permille: int, cells: int = BAR) -> str:
    """How much of it, without colour."""
    filled = -(-permille * cells // 1000)
    return "█" * filled + "░" * (cells - filled)


def level_words(light: LightShown) -> str:
    if light.permille <= 0:
        return labels.LEFT_ALONE if light.permille < 0 else labels.DARK
    level = percent_words(light)
    name = colour_name(light.rgb) if light.kind == "colour" else white_name(light.rgb) if light.kind == "tunable_white" else ""
    return f"{level} {labels.COLOUR_NAMES[name]}" if name else level


def percent_words(light: LightShown) -> str:
    return labels.LIT if light.kind in ("switched", "navigation") else labels.LEVEL.format(percent=light.permille / 10)


def white_name(rgb: tuple[int, int, int]) -> str:
    red, _, blue = rgb
    return "warm" if red > blue + 60 else "cool" if blue >= red else "white"


def colour_name(rgb: tuple[int, int, int]) -> str:
    """The nearest of a few names, by hue."""
    high, low = max(rgb), min(rgb)
    if high == 0 or (high - low) * 4 < high:
        return "white"
    red, green, blue = rgb
    spread = high - low
    if spread * 2 < high and high != green:
        return "warm" if high == red else "cool"
    if high == red:
        hue = 60 * (green - blue) / spread
    elif high == green:
        hue = 120 + 60 * (blue - red) / spread
    else:
        hue = 240 + 60 * (red - green) / spread
    for name, end in (("red", 15), ("orange", 45), ("yellow", 75), ("green", 160), ("cyan", 200), ("blue", 260), ("violet", 345)):
        if hue % 360 < end:
            return name
    return "red"


# ------------------------------------------------------------------------------------------------ where each cell is


def laid_out(lights: tuple[LightShown, ...], across: int) -> Cells:
    """Rows from port to starboard, each with `across` cells from the bow aft."""
    placed = [light for light in lights if light.on_board is not None]
    if not placed:
        rows = min(3, max(len(lights), 1))
        rows = max(rows, -(-len(lights) // across))
        return [_filled(list(lights[row::rows]), across) for row in range(rows)]
    ends = [light.on_board[0] for light in placed if light.on_board is not None]
    low, span = min(ends), max(max(ends) - min(ends), 0.1)
    bands: tuple[list[LightShown], list[LightShown], list[LightShown]] = ([], [], [])
    for light in sorted(placed, key=lambda each: each.on_board or (0.0, 0.0)):
        _, side = light.on_board or (0.0, 0.0)
        bands[0 if side < -SIDE_M else 2 if side > SIDE_M else 1].append(light)
    bands[1].extend(light for light in lights if light.on_board is None)
    cells: Cells = []
    for band in bands:
        rows = -(-len(band) // across)
        for row in range(rows):
            wanted = [(light, _column(light, low, span, across)) for light in band[row::rows]]
            cells.append(_spread(wanted, across))
    return cells


def _column(light: LightShown, low: float, span: float, across: int) -> int:
    if light.on_board is None:
        return across - 1
    return round((light.on_board[0] - low) / span * (across - 1))


def _filled(lights: list[LightShown], across: int) -> list[LightShown | None]:
    return [*lights, *[None] * (across - len(lights))]


def _spread(wanted: list[tuple[LightShown, int]], across: int) -> list[LightShown | None]:
    """Each in the column it wants, or the next free one that leaves room for those behind it."""
    cells: list[LightShown | None] = [None] * across
    column = -1
    for place, (light, want) in enumerate(wanted):
        column = min(max(column + 1, want), across - (len(wanted) - place))
        cells[column] = light
    return cells
