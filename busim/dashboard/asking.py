"""What asks for words before something is done: the name of a scene with what would change, letters to filter by, which guide."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical, VerticalScroll
from textual.events import Key
from textual.screen import ModalScreen
from textual.widgets import Input, Static

from busim import screen_labels as labels
from busim.boat.scene_edit import difference
from busim.reading.problem import InputError

NAME = re.compile("[a-z][a-z0-9_]{0,30}")
FIRST_NAME = "table"


class SceneScreen(ModalScreen[tuple[str, str] | None]):
    """Ends with (name, new text of the file), or None. `changed` makes the new text for a name."""

    CSS = """
    SceneScreen { align: center middle; }
    #scene { width: 90%; height: 80%; border: solid $foreground; background: $background; padding: 0 1; }
    #changes { height: 1fr; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "dismiss(None)", show=False)]

    def __init__(self, path: Path, text: str, changed: Callable[[str], str], name: str) -> None:
        super().__init__()
        self.path = path
        self.text = text
        self.changed = changed
        self.first = name or FIRST_NAME

    def compose(self) -> ComposeResult:
        with Vertical(id="scene"):
            yield Static(labels.SCENE_NAME, markup=False)
            yield Input(value=self.first, id="name")
            yield Static(labels.SCENE_CHANGES.format(path=self.path.name), markup=False)
            with VerticalScroll(id="changes", can_focus=False):
                yield Static(self._difference(self.first), id="difference", markup=False)  # empty it would stay one row high

    def on_input_changed(self, event: Input.Changed) -> None:
        """Also as the screen begins."""
        self.query_one("#difference", Static).update(self._difference(event.value))

    def _difference(self, name: str) -> str:
        if NAME.fullmatch(name) is None:
            return labels.SCENE_NO_NAME
        try:
            return "\n".join(difference(self.text, self.changed(name))) or labels.SCENE_NO_CHANGE
        except InputError as error:
            return str(error)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        if NAME.fullmatch(event.value) is not None:
            try:
                self.dismiss((event.value, self.changed(event.value)))
            except InputError as error:
                self.query_one("#difference", Static).update(str(error))


class WordsScreen(ModalScreen[str | None]):
    """Ends with what was typed, or None."""

    CSS = """
    WordsScreen { align: center middle; }
    #asked { width: 80%; height: auto; border: solid $foreground; background: $background; padding: 0 1; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "dismiss(None)", show=False)]

    def __init__(self, question: str, value: str) -> None:
        super().__init__()
        self.question = question
        self.value = value

    def compose(self) -> ComposeResult:
        with Vertical(id="asked"):
            yield Static(self.question, markup=False)
            yield Input(value=self.value)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        self.dismiss(event.value)


class ListScreen(ModalScreen[int | None]):
    """Ends with the place in the list whose number was pressed or touched, or None."""

    CSS = """
    ListScreen { align: center middle; }
    #listed { width: 80%; height: auto; border: solid $foreground; background: $background; padding: 0 1; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "dismiss(None)", show=False)]

    def __init__(self, question: str, lines: list[str]) -> None:
        super().__init__()
        self.question = question
        self.listed = lines

    def compose(self) -> ComposeResult:
        with Vertical(id="listed"):
            yield Static(self.question, markup=False)
            for number, line in enumerate(self.listed, 1):
                yield Static(f"  {number}  {line}", markup=False, id=f"line-{number}")

    def on_key(self, event: Key) -> None:
        if event.character is not None and event.character.isdecimal() and 1 <= int(event.character) <= len(self.listed):
            event.stop()
            event.prevent_default()
            self.dismiss(int(event.character) - 1)
