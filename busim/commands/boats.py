"""Which boat and which scenario a command means, and how they are named in what it prints."""

import contextlib
import os
from pathlib import Path

from busim import labels
from busim.boat.load import BOAT_FILE_NAME, LoadedBoat, load_boat
from busim.boat.shipped import shipped_folder
from busim.reading.problem import printable, refused, suggestion
from busim.run.accepted import refuse_unknown
from busim.scenario.load import LoadedScenario, load_scenario

FIRST_SCENARIO = "cold_start_then_cut.yaml"
SHIPPED_BOAT = "marsh_tern"


def find_boat(path: Path | None) -> LoadedBoat:
    """The boat named, else boat.yaml in the current folder, else the boat that ships. Errors: InputError."""
    if path is None:
        here = Path(BOAT_FILE_NAME)
        path = here if os.path.lexists(here) else shipped_folder() / SHIPPED_BOAT
    return _loaded(path)


def _loaded(path: Path) -> LoadedBoat:
    boat = load_boat(path)
    refuse_unknown(boat)
    return boat


def find_scenario(path: Path | None, boat: LoadedBoat) -> LoadedScenario:
    """The scenario named, by path or by its name in `scenarios/` beside the boat; else the one every boat starts with.

    Errors: InputError.
    """
    folder = boat.path.parent / "scenarios"
    if path is None:
        first = folder / FIRST_SCENARIO
        if not os.path.lexists(first):
            raise refused(first, f"no such file, and no scenario was named: {_scenarios_words(folder, '')}")
        return load_scenario(first, boat.boat)
    if not _is_there(path):
        beside = [folder / f"{path.name}.yaml", folder / path.name] if path.name == str(path) else []
        found = next((each for each in beside if _is_there(each)), None)
        if found is None:
            raise refused(path, f"no such file, a scenario file was expected: {_scenarios_words(folder, path.stem)}")
        path = found
    return load_scenario(path, boat.boat)


def _is_there(path: Path) -> bool:
    try:
        return os.path.lexists(path)
    except ValueError:
        return False


def _scenarios_words(folder: Path, name: str) -> str:
    """What can be said after --scenario for a boat with this folder of scenarios."""
    try:
        names = sorted(path.stem for path in folder.glob("*.yaml"))
    except OSError:
        names = []
    if not names:
        return f"name one with --scenario (there are none in {shown_path(folder)})"
    return suggestion(name, names, otherwise=f"in {shown_path(folder)} there are")


def named_boat(path: Path | None) -> LoadedBoat:
    """The boat named, else boat.yaml in the current folder, and no other: nobody builds firmware for a boat by accident.

    Errors: InputError.
    """
    if path is None and not os.path.lexists(BOAT_FILE_NAME):
        raise refused(Path(BOAT_FILE_NAME), "no such file here, and no boat was named")
    return _loaded(path if path is not None else Path(BOAT_FILE_NAME))


def results_folder(boat: LoadedBoat) -> Path:
    """Where runs of the boat are kept."""
    return beside(boat) / "results"


def beside(boat: LoadedBoat) -> Path:
    """The folder that what is made of a boat goes into: that of the boat file; for a boat that ships, the current folder."""
    try:
        shipped = boat.path.resolve().is_relative_to(shipped_folder().resolve())
    except OSError:
        shipped = False
    return Path() if shipped else boat.path.parent


def shown_path(path: Path) -> str:
    """A path as a person typed or would type it: relative to here where that is shorter."""
    return printable(typed_path(path))


def typed_path(path: Path) -> str:
    """The same, character for character, to be typed as an argument."""
    text = str(path)
    with contextlib.suppress(OSError, ValueError):  # no current folder, or another drive: as it was given
        text = min(text, os.path.relpath(path), key=len)
    return f"./{text}" if text.startswith("-") else text


def boat_line(boat: LoadedBoat) -> str:
    """The first line of every result."""
    return labels.BOAT_LINE.format(
        name=printable(boat.boat.boat.name),
        path=shown_path(boat.path),
        helm=boat.plan.helm_fingerprint,
        lighting=boat.plan.lighting_fingerprint,
    )
