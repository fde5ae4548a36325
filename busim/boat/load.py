"""A boat file from disk to a boat that keeps the rules, ready to build nodes from."""

from dataclasses import dataclass
from pathlib import Path

from busim.boat.derive import wire_plan
from busim.boat.model import BoatFile
from busim.boat.rules import broken_rules
from busim.protocol.plan import WirePlan
from busim.reading.document import Document, read_document
from busim.reading.problem import InputError, refused

BOAT_FILE_NAME = "boat.yaml"


@dataclass(frozen=True)
class LoadedBoat:
    """`path` is the file itself, also where its folder was named."""

    path: Path
    boat: BoatFile
    plan: WirePlan
    document: Document[BoatFile]


def load_boat(path: Path) -> LoadedBoat:
    """The boat at `path`, a boat file or the folder that holds its boat.yaml.

    Errors: InputError with everything that is wrong with it.
    """
    file = boat_file_of(path)
    document = read_document(file, BoatFile, what="boat file")
    if problems := broken_rules(document):
        raise InputError(problems)
    return LoadedBoat(file, document.value, wire_plan(document.value), document)


def boat_file_of(path: Path) -> Path:
    """The boat file meant by `path`. Errors: InputError for a folder without one."""
    try:
        is_folder = path.is_dir()
    except (OSError, ValueError):
        return path  # reading it will say what is wrong with it
    if not is_folder:
        return path
    file = path / BOAT_FILE_NAME
    try:
        found = file.exists()
    except OSError:
        return file
    if not found:
        raise refused(path, f"is a folder without a {BOAT_FILE_NAME} in it")
    return file
