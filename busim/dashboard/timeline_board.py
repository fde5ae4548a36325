"""The timeline under every view: what happened, newest last; or the line that is looked back at, with those round it."""

from typing import Final

from busim import screen_labels as labels
from busim.dashboard.choice import mark
from busim.dashboard.drawing import Drawing, fitted
from busim.dashboard.looks import Look
from busim.run.timeline import Line
from busim.units import seconds_text

HIGH: Final = 7
LOW: Final = 4
ROOMY: Final = 30
"""From so many lines of the screen on it has its full height."""


def timeline_high(high: int) -> int:
    return HIGH if high >= ROOMY else LOW


def timeline(said: list[Line], back: int | None, look: Look, wide: int, high: int) -> Drawing:
    """`said` up to the moment shown, or all of it while line `back` is looked at."""
    drawing = Drawing()
    rows = high - 1
    if back is None:
        drawing.put(("─" * wide, look.quiet))
        first = max(len(said) - rows, 0)
    else:
        words = labels.LOOKING_BACK.format(seconds=seconds_text(said[back].at_ns) if said else "0")
        drawing.put((fitted(f" {words}", wide), look.alarm))
        first = max(0, min(back - rows // 2, len(said) - rows))
    for number, line in enumerate(said[first : first + rows], first):
        chosen = number == back
        words = f"{mark(chosen)}{seconds_text(line.at_ns):>9} s  {line.words}"
        drawing.put((fitted(words, wide), look.chosen if chosen else look.plain))
        drawing.touch(0, wide, "line", number)
    return drawing
