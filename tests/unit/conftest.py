"""What several unit tests start from: the first boat, edited."""

from collections.abc import Callable
from pathlib import Path

import pytest

from busim.boat.load import load_boat
from busim.boat.shipped import shipped_folder

from .c_driver import CDriver
from .firmware_rig import Firmware

Edit = tuple[str, str]
Edited = Callable[..., "EditedBoat"]


class EditedBoat:
    """The first boat with edits. A `§` in an edit marks where a problem is expected, a `¶` what its words refer to."""

    def __init__(self, folder: Path, edits: tuple[Edit, ...]) -> None:
        text = (shipped_folder() / "first_boat" / "boat.yaml").read_text(encoding="utf-8")
        for old, new in edits:
            assert text.count(old) == 1, f"{old!r} stands in the first boat {text.count(old)} times"
            text = text.replace(old, new)
        self.place = _place(text.replace("¶", ""), "§")
        self.other_line = _place(text.replace("§", ""), "¶")[0]
        self.text = text.replace("§", "").replace("¶", "")
        self.path = folder / "boat.yaml"
        self.path.write_text(self.text, encoding="utf-8")


def _place(text: str, mark: str) -> tuple[int, int]:
    index = text.find(mark)
    return (text.count("\n", 0, index) + 1, index - text.rfind("\n", 0, index)) if index >= 0 else (0, 0)


@pytest.fixture
def edited(tmp_path: Path) -> Edited:
    """edited((old, new), ...): the first boat in a file, with each `old`, which must stand in it exactly once, replaced."""
    return lambda *edits: EditedBoat(tmp_path, edits)


@pytest.fixture(scope="session")
def c_driver(tmp_path_factory: pytest.TempPathFactory) -> CDriver:
    """The exported C of Marsh Tern's port drive, compiled once."""
    return CDriver(load_boat(shipped_folder() / "marsh_tern"), "port_drive", tmp_path_factory.mktemp("c_driver"))


@pytest.fixture(scope="session")
def firmware(tmp_path_factory: pytest.TempPathFactory) -> Firmware:
    """Programs of nodes/firmware, each compiled once, when it is asked first."""
    return Firmware(tmp_path_factory.mktemp("firmware"))
