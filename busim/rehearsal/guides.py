"""Five short rehearsals for newcomers: what to do next, how it shows that it was done, and what was seen and why.

A step is done when a snapshot shows it, however it came about: nobody has to press the keys that its words name.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from busim.boat.model import BoatFile
from busim.rehearsal.snapshot import Snapshot

AHEAD: Final = 1
NIGHT_PERMILLE: Final = 150
"""What is lit at most where the eyes of a watch are spared."""


@dataclass(frozen=True)
class GuideStep:
    words: str
    done: Callable[[Snapshot], bool]


@dataclass(frozen=True)
class Guide:
    """`needs` says whether a boat has what it takes; `end` is what was seen, and why."""

    name: str
    title: str
    needs: Callable[[BoatFile], bool]
    steps: tuple[GuideStep, ...]
    end: tuple[str, ...]


def _lit(snapshot: Snapshot) -> list[int]:
    return [light.permille for light in snapshot.lights if light.kind != "navigation" and light.permille]


def _ahead(snapshot: Snapshot) -> bool:
    return any(drive.true == AHEAD for drive in snapshot.drives)


def _out(snapshot: Snapshot) -> bool:
    return all(drive.true == 0 for drive in snapshot.drives)


def _cut(snapshot: Snapshot) -> bool:
    return any(name == "cut" for _, name, _ in snapshot.faults)


def _first_station(snapshot: Snapshot) -> str:
    return snapshot.stations[0].name if snapshot.stations else ""


TAKE: Final = GuideStep("Take control: put the levers in neutral (0), then press t", lambda seen: bool(seen.in_control))
GO_AHEAD: Final = GuideStep("Go ahead: press up several times, and wait for the gear", _ahead)

GUIDES: Final = (
    Guide(
        "first_light",
        "first light",
        lambda boat: bool(boat.panels),
        (
            GuideStep(
                "Press 1 for the boat view, choose a field with left and right, and touch it with enter",
                lambda seen: bool(_lit(seen)),
            ),
            GuideStep("Touch it again, until every lamp is dark", lambda seen: not _lit(seen)),
        ),
        (
            "The panel numbered your touch and sent it to each zone until the zone's own report carried that number.",
            "That is why a field says done only when the lamp's driver did it, and failed within a second when it could not.",
        ),
    ),
    Guide(
        "take_control",
        "take control and go ahead",
        lambda boat: bool(boat.drives),
        (
            TAKE,
            GO_AHEAD,
            GuideStep("Back to neutral: press 0", _out),
        ),
        (
            "A drive obeys one station, by the number of its take. It engages only at idle, on two lever frames that agree,",
            "and follows what the last frames say: one frame is enough to reduce, two are needed to add.",
        ),
    ),
    Guide(
        "cut_the_cable",
        "cut the cable",
        lambda boat: bool(boat.drives),
        (
            TAKE,
            GO_AHEAD,
            GuideStep("Press 4 for the faults, choose a cut between a station and a drive, and break it with enter", _cut),
            GuideStep("Press 2 for the helm, and watch: the drive is on its own", lambda seen: bool(seen.forced) and _out(seen)),
            GuideStep("Mend it with m", lambda seen: not _cut(seen)),
            GuideStep(
                "Levers to neutral (0), and take control anew (t)", lambda seen: bool(seen.in_control) and not seen.forced
            ),
        ),
        (
            "Nobody told the drive to go to neutral: it heard nothing valid from its station for the control timeout, and went",
            "idle and then neutral by itself. The mended cable gave nothing back: control is taken, with levers in neutral.",
        ),
    ),
    Guide(
        "hand_over",
        "hand over to another station",
        lambda boat: len(boat.stations) > 1,
        (
            GuideStep("Take control at the first station: t", lambda seen: seen.in_control == _first_station(seen)),
            GuideStep(
                "Choose another one with tab, and press t there",
                lambda seen: seen.in_control not in ("", _first_station(seen)),
            ),
        ),
        (
            "Only the station that takes decides: the one that had control can't hold on to it, and its lever is dead until it",
            "takes anew. A take is complete when every drive, and the rudder, report the new station; else it is withdrawn.",
        ),
    ),
    Guide(
        "night_scene",
        "the night scene",
        lambda boat: bool(boat.scenes) and bool(boat.panels),
        (
            GuideStep(
                "Press 1 for the boat view, and call a bright scene: a field that lights several lamps",
                lambda seen: len(_lit(seen)) > 2,
            ),
            GuideStep(
                "Now call the night scene: everything dark, or lit very low",
                lambda seen: bool(seen.lights) and all(level <= NIGHT_PERMILLE for level in _lit(seen)),
            ),
        ),
        (
            "One touch asked every driver for its part of the scene, by the table it holds; each answered with the scene's number.",
            "The navigation lights did not move: they follow the boat's condition, and no scene.",
        ),
    ),
)

BY_NAME: Final = {guide.name: guide for guide in GUIDES}


class Guided:
    """How far somebody is in a guide."""

    __slots__ = ("guide", "step")

    def __init__(self, guide: Guide) -> None:
        self.guide = guide
        self.step = 0

    def look(self, snapshot: Snapshot) -> None:
        if self.step < len(self.guide.steps) and self.guide.steps[self.step].done(snapshot):
            self.step += 1

    @property
    def words(self) -> tuple[str, ...]:
        """What to do next; at the end, what was seen and why."""
        steps = self.guide.steps
        if self.step < len(steps):
            return (f"{self.guide.title}, {self.step + 1} of {len(steps)}: {steps[self.step].words}",)
        return self.guide.end
