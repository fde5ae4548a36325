"""The scene table: levels and colours of every zone, set by hand before they become a scene. Nothing on board follows them."""

from typing import Final

from busim import screen_labels as labels
from busim.boat.model import BoatFile
from busim.boat.scene_edit import SceneText
from busim.rehearsal.lamp_look import LAMP, white
from busim.rehearsal.shown import LightShown, Snapshot

STEP: Final = 50
LEFT_ALONE: Final = -1
COLOURS: Final = ("#ff0000", "#ff9040", "#ffffff", "#20ff60", "#2040ff")
KELVIN_STEP: Final = 500
FADE_MS: Final = 600
MOST_SCENES: Final = 254


class SceneTable:
    """`levels` in permille, LEFT_ALONE for a zone the scene does not name; `colours` as a boat file has them."""

    def __init__(self, boat: BoatFile, snapshot: Snapshot, asked_colours: dict[int, int]) -> None:
        """Begun from the lamps as they are. `asked_colours`: number of a zone -> its colour as its driver reports it."""
        self.boat = boat
        self.places = {light.name: light.on_board for light in snapshot.lights}
        self.zones = list(boat.zones)
        lit = {light.name: light.permille for light in snapshot.lights}
        self.levels = {zone: lit.get(zone, 0) for zone in self.zones}
        self.colours = {}
        for zone, section in boat.zones.items():
            colour = asked_colours.get(section.number, 0)
            if section.kind in ("colour", "tunable_white") and colour:
                self.colours[zone] = f"#{colour:06x}" if section.kind == "colour" else f"{colour} K"
        self.scene = ""
        """The scene it was begun from, empty: the lamps."""

    @property
    def begun(self) -> str:
        return labels.TABLE_FROM_SCENE.format(scene=self.scene) if self.scene else labels.TABLE_FROM_LAMPS

    def next_scene(self) -> None:
        """Begin from the boat's next scene."""
        names = list(self.boat.scenes)
        if not names:
            return
        self.scene = names[(names.index(self.scene) + 1) % len(names)] if self.scene in names else names[0]
        scene = self.boat.scenes[self.scene]
        self.levels = {zone: scene.levels.get(zone, LEFT_ALONE) for zone in self.zones}
        self.colours = dict(scene.colours)

    def step(self, zone: str, by: int) -> None:
        """Brighter (1) or darker (-1); a switched zone is on or off."""
        level = max(self.levels[zone], 0)
        if self.boat.zones[zone].kind == "switched":
            self.levels[zone] = 1000 if by > 0 else 0
        elif by > 0:
            self.levels[zone] = min((level // STEP + 1) * STEP, 1000)
        else:
            self.levels[zone] = max((level - 1) // STEP * STEP, 0)

    def darken(self, zone: str) -> None:
        self.levels[zone] = 0

    def leave(self, zone: str) -> None:
        """The scene is not to name it."""
        self.levels[zone] = LEFT_ALONE

    def next_colour(self, zone: str) -> None:
        section = self.boat.zones[zone]
        if section.kind == "colour":
            choices = [*dict.fromkeys([*COLOURS, *(self._used(zone))])]
        elif section.kind == "tunable_white":
            choices = [f"{kelvin} K" for kelvin in range(section.warm_k, section.cool_k + 1, KELVIN_STEP)]
        else:
            return
        now = self.colours.get(zone)
        self.colours[zone] = choices[(choices.index(now) + 1) % len(choices)] if now in choices else choices[0]

    def _used(self, zone: str) -> list[str]:
        return [scene.colours[zone] for scene in self.boat.scenes.values() if zone in scene.colours]

    def lights(self) -> tuple[LightShown, ...]:
        """As the plan draws them."""
        return tuple(
            LightShown(zone, self.boat.zones[zone].kind, self.levels[zone], self._rgb(zone), self.places.get(zone))
            for zone in self.zones
        )

    def _rgb(self, zone: str) -> tuple[int, int, int]:
        section, colour = self.boat.zones[zone], self.colours.get(zone, "")
        if section.kind == "colour":
            value = int(colour[1:] or "ffffff", 16)
            return value >> 16 & 0xFF, value >> 8 & 0xFF, value & 0xFF
        if section.kind == "tunable_white":
            kelvin = int(colour.split()[0]) if colour else section.warm_k
            cool = max(0, min((kelvin - section.warm_k) * 255 // max(section.cool_k - section.warm_k, 1), 255))
            return white(255 - cool, cool)
        return LAMP

    def scene_text(self, name: str) -> SceneText:
        """What it comes to as a scene of this name: one that is there keeps its number and its fade."""
        known = self.boat.scenes.get(name)
        used = {scene.number for scene in self.boat.scenes.values()}
        number = known.number if known else next((each for each in range(1, MOST_SCENES + 1) if each not in used), MOST_SCENES)
        levels = {zone: level for zone, level in self.levels.items() if level != LEFT_ALONE}
        colours = {zone: colour for zone, colour in self.colours.items() if levels.get(zone)}
        return SceneText(number, levels, colours, known.fade_ms if known else FADE_MS)
