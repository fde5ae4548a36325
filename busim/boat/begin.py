"""A first boat of one's own: a copy of the one that ships, or one of a wanted size, to change."""

from pathlib import Path
from typing import Final

from busim.boat.begin_layout import Size, lay_out
from busim.boat.begin_text import boat_text, scenario_text
from busim.boat.load import BOAT_FILE_NAME
from busim.boat.shipped import shipped_folder
from busim.reading.problem import InputError, Problem, refused

FIRST_BOAT: Final = "first_boat"
SCENARIOS: Final = Path("scenarios")
FIRST_SCENARIO: Final = "cold_start_then_cut.yaml"


def begin(directory: Path, size: Size | None = None) -> list[Path]:
    """Write a boat file with scenarios to `directory`, which is made where it is not there. Returns what was written.

    The boat is the first boat; with a `size`, one laid out for that, with one scenario.
    Errors: InputError, with nothing written, where any of the files is there already; and where one can't be written.
    """
    files = _first_boat() if size is None else _boat_of(size)
    copies = {directory / name: content for name, content in files.items()}
    try:
        there = [copy for copy in copies if copy.exists() or copy.is_symlink()]
    except (OSError, ValueError) as error:
        raise _unwritable(directory, error) from None
    if there:
        raise InputError(Problem(copy, None, None, "is there already and is never overwritten") for copy in there)
    for copy, content in copies.items():
        try:
            copy.parent.mkdir(parents=True, exist_ok=True)
            # "x" and not "w": whatever came to be there since it was looked for is not overwritten either.
            with open(copy, "xb") as written:
                written.write(content)
        except (OSError, ValueError) as error:
            raise _unwritable(copy, error) from None
    return list(copies)


def _first_boat() -> dict[Path, bytes]:
    source = shipped_folder() / FIRST_BOAT
    files = [source / BOAT_FILE_NAME, *sorted((source / SCENARIOS).glob("*.yaml"))]
    return {file.relative_to(source): file.read_bytes() for file in files}


def _boat_of(size: Size) -> dict[Path, bytes]:
    layout = lay_out(size)
    texts = {Path(BOAT_FILE_NAME): boat_text(layout), SCENARIOS / FIRST_SCENARIO: scenario_text(layout)}
    return {name: text.encode() for name, text in texts.items()}


def _unwritable(path: Path, error: OSError | ValueError) -> InputError:
    if isinstance(error, FileExistsError):
        return refused(Path(error.filename or path), "is in the way: it is there already and is never overwritten")
    if isinstance(error, NotADirectoryError):
        return refused(path, "can't be written: part of its path is a file and not a folder")
    if isinstance(error, PermissionError):
        return refused(path, "can't be written: the permissions of its folder do not let you")
    reason = error.strerror if isinstance(error, OSError) and error.strerror else "its name can't be a file's name"
    return refused(path, f"can't be written: {reason}")
