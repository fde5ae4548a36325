"""The lights as they are, kept as a scene of the boat file: its name, what would change, and yes or no."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.widgets import Input, Static

from busim import labels
from busim.boat.scene_edit import difference

NAME = re.compile("[a-z][a-z0-9_]{0,30}")


class SceneScreen(ModalScreen[tuple[str, str] | None]):
    """Ends with (name, new text of the file), or None. `changed` makes the new text for a name."""

    CSS = """
    SceneScreen { align: center middle; }
    #scene { width: 90%; height: 80%; border: solid; background: $surface; padding: 1; }
    #changes { height: 1fr; overflow-y: auto; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "dismiss(None)", "leave it")]

    def __init__(self, path: Path, text: str, changed: Callable[[str], str]) -> None:
        super().__init__()
        self.path = path
        self.text = text
        self.changed = changed

    def compose(self) -> ComposeResult:
        with Vertical(id="scene"):
            yield Static(labels.SCENE_NAME, markup=False)
            yield Input(value="table", id="name")
            yield Static(labels.SCENE_CHANGES.format(path=self.path.name), markup=False)
            yield Static("", id="changes", markup=False)

    def on_mount(self) -> None:
        self._show("table")

    def on_input_changed(self, event: Input.Changed) -> None:
        self._show(event.value)

    def _show(self, name: str) -> None:
        words = labels.SCENE_NO_NAME
        if NAME.fullmatch(name) is not None:
            words = "\n".join(difference(self.text, self.changed(name)))
        self.query_one("#changes", Static).update(words)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        if NAME.fullmatch(event.value) is not None:
            self.dismiss((event.value, self.changed(event.value)))
