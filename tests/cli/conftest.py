"""Folders that the tests of the command line start from."""

from collections.abc import Callable
from pathlib import Path

import pytest

from busim.boat.begin import begin

from .command_line import ONE_SECOND

Written = Callable[..., Path]


@pytest.fixture
def own_boat(tmp_path: Path) -> Path:
    """The folder of a builder's own boat, as `busim begin` leaves it, with a scenario `one_second` in which nothing happens."""
    folder = tmp_path / "own"
    begin(folder)
    (folder / "scenarios" / "one_second.yaml").write_text(ONE_SECOND, encoding="utf-8")
    return folder


@pytest.fixture
def rewritten(own_boat: Path) -> Written:
    """rewritten((old, new), ...): the boat file of `own_boat` with each `old`, which must stand in it once, replaced."""

    def rewrite(*edits: tuple[str, str]) -> Path:
        file = own_boat / "boat.yaml"
        text = file.read_text(encoding="utf-8")
        for old, new in edits:
            assert text.count(old) == 1, old
            text = text.replace(old, new)
        file.write_text(text, encoding="utf-8")
        return file

    return rewrite
