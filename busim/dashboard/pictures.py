"""Pictures of the screen, made from the program itself: a boat is played a few seconds on a clock moved by hand, and drawn as SVG.

The same boat gives the same pictures: no date, nothing drawn by chance, nothing fetched from elsewhere.
"""

import asyncio
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from busim.boat.model import BoatFile, Section
from busim.dashboard.acting import LEVER_STEP
from busim.dashboard.app import RehearsalApp
from busim.dashboard.looks import LOOKS
from busim.dashboard.places import places_for
from busim.faults.table import BY_NAME
from busim.rehearsal.guides import scene_field
from busim.rehearsal.rehearsal import Rehearsal

COLUMNS, LINES = 100, 30
TICK_S: Final = 0.25
JUDGED_S: Final = 1.0


@dataclass(frozen=True)
class Picture:
    """`needs` says whether a boat has what is to be seen, `play` does it, in the order of (seconds before, deed)."""

    name: str
    look: str
    view: str
    needs: Callable[[BoatFile], bool]
    play: tuple[tuple[float, Callable[[RehearsalApp], None]], ...]


def _has_helm(boat: BoatFile) -> bool:
    return bool(boat.drives) and bool(boat.stations)


def _take(app: RehearsalApp) -> None:
    app.press("take")


def _ahead(app: RehearsalApp) -> None:
    app.step_levers(4 * LEVER_STEP)


def _cut(app: RehearsalApp) -> None:
    place = cut_place(app.rehearsal.boat)
    if place is not None:
        app.rehearsal.break_("cut", place)


def _bright(app: RehearsalApp) -> None:
    found = scene_field(app.rehearsal.boat)
    if found is not None:
        panel, control = found
        app.choose(panel=list(app.rehearsal.boat.panels).index(panel))
        app.touch(panel, control)


def _rest(app: RehearsalApp) -> None:
    """Nothing more is done."""


UNDER_WAY: Final = ((1.5, _take), (1.5, _ahead), (4.0, _rest))

PICTURES: Final = (
    Picture("helm", "day", "helm", _has_helm, UNDER_WAY),
    Picture("cut", "dusk", "helm", _has_helm, (*UNDER_WAY, (0.0, _cut), (4.0, _rest))),
    Picture("lights", "dusk", "boat", lambda boat: scene_field(boat) is not None, ((1.5, _take), (0.5, _bright), (3.0, _rest))),
    Picture("verdicts", "night", "verdicts", _has_helm, (*UNDER_WAY, (0.0, _cut), (4.0, _rest))),
)


def cut_place(boat: BoatFile) -> Section | None:
    """Where a cut parts the first station from a drive; None where no one trunk joins them."""
    station = boat.nodes[next(iter(boat.stations.values())).node]
    for place in places_for(BY_NAME["cut"], boat):
        bus, at_m = getattr(place, "bus", ""), getattr(place, "at_m", 0.0)
        if bus in station.taps:
            for drive in boat.drives.values():
                taps = boat.nodes[drive.node].taps
                if bus in taps and (taps[bus].at_m > at_m) != (station.taps[bus].at_m > at_m):
                    return place
    return None


def make(picture: Picture, rehearsal: Rehearsal, name: str) -> str:
    """The picture as SVG. Errors: NodeError where a node breaks the rules of the seam."""
    return asyncio.run(_make(picture, rehearsal, name))


async def _make(picture: Picture, rehearsal: Rehearsal, name: str) -> str:
    now_s = [0.0]
    app = RehearsalApp(rehearsal, name, lambda: now_s[0], driven=True)
    async with app.run_test(size=(COLUMNS, LINES)) as pilot:
        app.show_look([look.name for look in LOOKS].index(picture.look))
        app.show_view(picture.view)
        for seconds, deed in (*picture.play, (JUDGED_S, _rest)):
            for _ in range(round(seconds / TICK_S)):
                now_s[0] += TICK_S
                app.tick()
            deed(app)
        await pilot.pause()
        app.draw()
        await pilot.pause()
        svg = app.export_screenshot(title=name, simplify=True)
    return plain_svg(svg)


def plain_svg(svg: str) -> str:
    """Without letters that would be fetched from elsewhere, and with a line feed at its end."""
    return re.sub(r"@font-face \{.*?\}\s*", "", svg, flags=re.DOTALL).rstrip("\n") + "\n"


def words_of(svg: str) -> list[str]:
    """What can be read in a picture, piece by piece: to compare two of them whatever their styles are called."""
    pieces = re.findall(r"<text[^>]*>(.*?)</text>", svg, flags=re.DOTALL)
    return [piece.replace("&#160;", " ").strip() for piece in pieces if piece.replace("&#160;", " ").strip()]
