"""Five short rehearsals for newcomers: what to do next, how it shows that it was done, and what was seen and why.

A step is done when a snapshot shows it, however it came about: nobody has to press the keys that its words name.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from busim import screen_labels as labels
from busim.boat.model import BoatFile
from busim.rehearsal.shown import Snapshot
from busim.requirements.verdict import NOT_EXERCISED

AHEAD: Final = 1
NIGHT_PERMILLE: Final = 150
"""What is lit at most where the eyes of a watch are spared."""
SEVERAL: Final = 2
"""A bright scene lights more lamps than this."""


@dataclass(frozen=True)
class GuideStep:
    words: str
    done: Callable[[Snapshot], bool]


@dataclass(frozen=True)
class Guide:
    """`needs` says whether a boat has what it takes; `why` is why it went as it did, and `judged` the requirements whose verdicts
    say what was seen. Words name the boat's own stations and scenes: see `_names`."""

    name: str
    needs: Callable[[BoatFile], bool]
    steps: tuple[GuideStep, ...]
    why: tuple[str, ...]
    judged: tuple[str, ...]


def _lit(snapshot: Snapshot) -> list[int]:
    return [light.permille for light in snapshot.lights if light.kind != "navigation" and light.permille]


def _dark(snapshot: Snapshot) -> bool:
    return not _lit(snapshot)


def _taken(snapshot: Snapshot) -> bool:
    return bool(snapshot.in_control)


def _ahead(snapshot: Snapshot) -> bool:
    return any(drive.true == AHEAD for drive in snapshot.drives)


def _out(snapshot: Snapshot) -> bool:
    return all(drive.true == 0 for drive in snapshot.drives)


def _cut(snapshot: Snapshot) -> bool:
    return any(name == "cut" for _, name, _ in snapshot.faults)


def _first_station(snapshot: Snapshot) -> str:
    return snapshot.stations[0].name if snapshot.stations else ""


def _is_bright(levels: list[int]) -> bool:
    return sum(level > NIGHT_PERMILLE for level in levels) > SEVERAL


def _called(boat: BoatFile, levels: Callable[[list[int]], bool]) -> str:
    """The first scene with such levels that a field of a panel calls; empty where there is none."""
    on_panels = {control.scene for panel in boat.panels.values() for page in panel.pages.values() for control in page.values()}
    return next((name for name, scene in boat.scenes.items() if name in on_panels and levels(list(scene.levels.values()))), "")


def scene_field(boat: BoatFile) -> tuple[str, str] | None:
    """(panel, control on its first page) that calls a bright scene; None where there is none."""
    for panel_name, panel in boat.panels.items():
        for name, control in next(iter(panel.pages.values()), {}).items():
            if control.scene is not None and _is_bright(list(boat.scenes[control.scene].levels.values())):
                return panel_name, name
    return None


def _bright_scene(boat: BoatFile) -> str:
    return _called(boat, _is_bright)


def _night_scene(boat: BoatFile) -> str:
    return _called(boat, lambda levels: max(levels, default=NIGHT_PERMILLE + 1) <= NIGHT_PERMILLE)


def _names(boat: BoatFile) -> dict[str, str]:
    """What the words of guides may name of a boat."""
    first, second = [*boat.stations, "", ""][:2]
    return {"first": first, "second": second, "bright": _bright_scene(boat), "night": _night_scene(boat)}


TAKE: Final = GuideStep(labels.DO_TAKE, _taken)
GO_AHEAD: Final = GuideStep(labels.DO_AHEAD, _ahead)

GUIDES: Final = (
    Guide(
        "first_light",
        lambda boat: bool(boat.panels),
        (GuideStep(labels.DO_TOUCH, lambda seen: bool(_lit(seen))), GuideStep(labels.DO_DARK, _dark)),
        labels.WHY_FIRST_LIGHT,
        ("light.press",),
    ),
    Guide(
        "take_control",
        lambda boat: bool(boat.drives) and bool(boat.stations),
        (TAKE, GO_AHEAD, GuideStep(labels.DO_NEUTRAL, _out)),
        labels.WHY_TAKE_CONTROL,
        ("station.transfer", "drive.engage_at_idle"),
    ),
    Guide(
        "cut_the_cable",
        lambda boat: bool(boat.drives) and bool(boat.stations),
        (
            TAKE,
            GO_AHEAD,
            GuideStep(labels.DO_CUT, _cut),
            GuideStep(labels.DO_WATCH, lambda seen: bool(seen.forced) and _out(seen)),
            GuideStep(labels.DO_MEND, lambda seen: not _cut(seen)),
            GuideStep(labels.DO_TAKE_ANEW, lambda seen: _taken(seen) and not seen.forced),
        ),
        labels.WHY_CUT,
        ("drive.loss_to_idle", "drive.loss_to_neutral"),
    ),
    Guide(
        "hand_over",
        lambda boat: bool(boat.drives) and len(boat.stations) > 1,
        (
            GuideStep(labels.DO_TAKE_FIRST, lambda seen: seen.in_control == _first_station(seen)),
            GuideStep(labels.DO_TAKE_OTHER, lambda seen: seen.in_control not in ("", _first_station(seen))),
        ),
        labels.WHY_HAND_OVER,
        ("station.transfer", "station.one_in_control"),
    ),
    Guide(
        "night_scene",
        lambda boat: bool(_bright_scene(boat)) and bool(_night_scene(boat)),
        (
            GuideStep(labels.DO_BRIGHT, lambda seen: _is_bright(_lit(seen))),
            GuideStep(
                labels.DO_NIGHT,
                lambda seen: all(level <= NIGHT_PERMILLE for level in _lit(seen)),
            ),
        ),
        labels.WHY_NIGHT,
        ("light.scene", "light.navigation"),
    ),
)

BY_NAME: Final = {guide.name: guide for guide in GUIDES}


def title_of(guide: Guide, boat: BoatFile) -> str:
    return labels.GUIDE_TITLES[guide.name].format(**_names(boat))


class Guided:
    """How far somebody is in a guide."""

    __slots__ = ("guide", "names", "step", "title")

    def __init__(self, guide: Guide, boat: BoatFile) -> None:
        self.guide = guide
        self.names = _names(boat)
        self.title = title_of(guide, boat)
        self.step = 0

    @property
    def over(self) -> bool:
        return self.step == len(self.guide.steps)

    def look(self, snapshot: Snapshot) -> None:
        if not self.over and self.guide.steps[self.step].done(snapshot):
            self.step += 1

    def words(self, snapshot: Snapshot) -> tuple[str, ...]:
        """What to do next; at the end what was seen, as far as it was judged, and why."""
        if not self.over:
            words = self.guide.steps[self.step].words.format(**self.names)
            step = labels.GUIDE_STEP.format(title=self.title, step=self.step + 1, steps=len(self.guide.steps), words=words)
            return (step,)
        seen = []
        for verdict in snapshot.verdicts:
            if verdict.id in self.guide.judged and verdict.verdict != NOT_EXERCISED:
                limit = "" if verdict.limit is None else labels.OF_LIMIT.format(limit=f"{verdict.limit:,}")
                measured = ""
                if verdict.measured is not None:
                    measured = labels.SEEN_MEASURED.format(measured=f"{verdict.measured:,}{limit} {verdict.unit}")
                words = labels.SEEN_VERDICT.format(
                    id=verdict.id, verdict=verdict.verdict, measured=measured, evidence=verdict.evidence
                )
                seen.append(labels.GUIDE_SEEN.format(words=words))
        return (*seen, labels.GUIDE_DONE.format(words=" ".join(self.guide.why)))
