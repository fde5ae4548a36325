"""A first boat of one's own: a copy of the one that ships, to change."""

from pathlib import Path
from typing import Final

from busim.boat.load import BOAT_FILE_NAME
from busim.boat.shipped import shipped_folder
from busim.reading.problem import InputError, Problem, refused

FIRST_BOAT: Final = "first_boat"


def begin(directory: Path) -> list[Path]:
    """Copy the first boat, with its scenarios, to `directory`, which is made where it is not there. Returns what was written.

    Errors: InputError, with nothing written, where any of the files is there already; and where one can't be written.
    """
    source = shipped_folder() / FIRST_BOAT
    files = [source / BOAT_FILE_NAME, *sorted((source / "scenarios").glob("*.yaml"))]
    copies = {file: directory / file.relative_to(source) for file in files}
    try:
        there = [copy for copy in copies.values() if copy.exists() or copy.is_symlink()]
    except (OSError, ValueError) as error:
        raise _unwritable(directory, error) from None
    if there:
        raise InputError(Problem(copy, None, None, "is there already and is never overwritten") for copy in there)
    for file, copy in copies.items():
        try:
            copy.parent.mkdir(parents=True, exist_ok=True)
            # "x" and not "w": whatever came to be there since it was looked for is not overwritten either.
            with open(copy, "xb") as written:
                written.write(file.read_bytes())
        except (OSError, ValueError) as error:
            raise _unwritable(copy, error) from None
    return list(copies.values())


def _unwritable(path: Path, error: OSError | ValueError) -> InputError:
    if isinstance(error, FileExistsError):
        return refused(Path(error.filename or path), "is in the way: it is there already and is never overwritten")
    if isinstance(error, NotADirectoryError):
        return refused(path, "can't be written: part of its path is a file and not a folder")
    if isinstance(error, PermissionError):
        return refused(path, "can't be written: the permissions of its folder do not let you")
    reason = error.strerror if isinstance(error, OSError) and error.strerror else "its name can't be a file's name"
    return refused(path, f"can't be written: {reason}")
