"""The lights as they are, kept as a scene of the boat file, and taken back: the part of the screen that writes a file."""

from pathlib import Path

from textual.app import App

from busim import labels
from busim.boat.scene_edit import check_text, replace_text, scene_lines, with_scene
from busim.dashboard.scene_screen import SceneScreen
from busim.reading.problem import InputError
from busim.rehearsal.rehearsal import Rehearsal


class KeepsScenes(App[None]):
    """`path` is the boat file, None where it is not the user's; `text` what stands in it."""

    def __init__(self, rehearsal: Rehearsal, path: Path | None) -> None:
        super().__init__()
        self.rehearsal = rehearsal
        self.path = path
        self.text = path.read_text(encoding="utf-8") if path is not None else ""
        self.before: str | None = None
        """Its text before the last scene was saved."""

    def action_keep_scene(self) -> None:
        if self.path is None:
            self.notify(labels.NO_FILE)
            return
        self.push_screen(SceneScreen(self.path, self.text, self._with_scene), self._save)

    def _with_scene(self, name: str) -> str:
        """The boat file's text with the lights as they are as this scene."""
        boat, listener = self.rehearsal.boat, self.rehearsal.listener
        known = boat.scenes.get(name)
        used = {scene.number for scene in boat.scenes.values()}
        number = known.number if known is not None else next(number for number in range(1, 255) if number not in used)
        levels = {zone: listener.lit.get(zone, 0) for zone in boat.zones}
        colours = {
            zone: f"#{colour:06x}" if section.kind == "colour" else f"{colour} K"
            for zone, section in boat.zones.items()
            if section.kind in ("colour", "tunable_white")
            and levels[zone]
            and (colour := listener.asked_colours.get(section.number, 0))
        }
        return with_scene(self.text, name, scene_lines(name, number, levels, colours, known.fade_ms if known is not None else 600))

    def _save(self, answer: tuple[str, str] | None) -> None:
        if answer is None or self.path is None:
            return
        name, text = answer
        try:
            check_text(text)
            replace_text(self.path, self.text, text)
        except InputError as error:
            self.notify(str(error), severity="error", markup=False)
            return
        self.before, self.text = self.text, text
        self.notify(labels.SCENE_SAVED.format(name=name, path=self.path.name), markup=False)

    def action_take_back(self) -> None:
        if self.path is None or self.before is None:
            self.notify(labels.SCENE_NOTHING)
            return
        try:
            replace_text(self.path, self.text, self.before)
        except InputError as error:
            self.notify(str(error), severity="error", markup=False)
            return
        self.text, self.before = self.before, None
        self.notify(labels.SCENE_TAKEN_BACK.format(path=self.path.name), markup=False)
