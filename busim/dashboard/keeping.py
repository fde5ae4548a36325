"""The part of the screen that sets levels at the scene table and writes them into the boat file."""

import asyncio
from pathlib import Path

from textual.app import App

from busim import screen_labels as labels
from busim.boat.scene_edit import check_text, exact_text, replace_text, with_scene
from busim.dashboard.asking import SceneScreen
from busim.dashboard.scene_table import SceneTable
from busim.reading.problem import InputError
from busim.rehearsal.rehearsal import Rehearsal


class KeepsScenes(App[None]):
    """`path` is the boat file, None where it is not the user's; `text` what stood in it when it was read."""

    def __init__(self, rehearsal: Rehearsal, path: Path | None) -> None:
        super().__init__()
        self.rehearsal = rehearsal
        self.path = path
        self.text = exact_text(path) if path is not None else ""
        self.before: list[str] = []
        """Its text before each scene that was saved, oldest first."""
        self.table: SceneTable | None = None

    def ask_for_name(self) -> None:
        """What a save would change is shown before anything is written."""
        if self.table is None:
            return
        if self.path is None:
            self.notify(labels.NO_FILE, markup=False)
            return
        self.push_screen(SceneScreen(self.path, self.text, self._with_scene, self.table.scene), self._answered)

    def _with_scene(self, name: str) -> str:
        assert self.table is not None
        return with_scene(self.text, name, self.table.scene_text(name))

    async def _answered(self, answer: tuple[str, str] | None) -> None:
        if answer is not None:
            name, text = answer
            before = self.text
            if await self._put(text):
                self.before.append(before)
                self.notify(labels.SCENE_SAVED.format(name=name, path=self._file), markup=False)

    async def take_back(self) -> None:
        if not self.before:
            self.notify(labels.SCENE_NOTHING, markup=False)
        elif await self._put(self.before[-1]):
            self.before.pop()
            self.notify(labels.SCENE_TAKEN_BACK.format(path=self._file), markup=False)

    @property
    def _file(self) -> str:
        return self.path.name if self.path is not None else ""

    async def _put(self, text: str) -> bool:
        """In a thread of its own: the boat goes on meanwhile. False where it was refused, which is said."""
        if self.path is None:
            return False
        try:
            await asyncio.to_thread(check_text, text)
            await asyncio.to_thread(replace_text, self.path, self.text, text)
        except InputError as error:
            self.notify(str(error), severity="error", markup=False)
            return False
        self.text = text
        return True
