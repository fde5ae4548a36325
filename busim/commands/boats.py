"""Which boat and which scenario a command means, and how they are named in what it prints."""

import os
from pathlib import Path

from busim import labels
from busim.boat.load import BOAT_FILE_NAME, LoadedBoat, load_boat
from busim.boat.shipped import shipped_folder
from busim.reading.problem import printable, refused
from busim.scenario.load import LoadedScenario, load_scenario

FIRST_SCENARIO = "cold_start_then_cut.yaml"
SHIPPED_BOAT = "first_boat"


def find_boat(path: Path | None) -> LoadedBoat:
    """The boat named, else boat.yaml in the current folder, else the boat that ships. Errors: InputError."""
    if path is not None:
        return load_boat(path)
    here = Path(BOAT_FILE_NAME)
    return load_boat(here if os.path.lexists(here) else shipped_folder() / SHIPPED_BOAT)


def find_scenario(path: Path | None, boat: LoadedBoat) -> LoadedScenario:
    """The scenario named, by path or by its name in `scenarios/` beside the boat; else the one every boat starts with."""
    folder = boat.path.parent / "scenarios"
    if path is None:
        first = folder / FIRST_SCENARIO
        if not os.path.lexists(first):
            raise refused(folder, f"has no {FIRST_SCENARIO}: name a scenario with --scenario")
        return load_scenario(first, boat.boat)
    beside = folder / f"{path.name}.yaml"
    if not os.path.lexists(path) and path.name == str(path) and os.path.lexists(beside):
        path = beside
    return load_scenario(path, boat.boat)


def results_folder(boat: LoadedBoat) -> Path:
    """`results/` beside the boat file; for a boat that ships, under the current folder."""
    try:
        shipped = boat.path.resolve().is_relative_to(shipped_folder().resolve())
    except OSError:
        shipped = False
    return Path("results") if shipped else boat.path.parent / "results"


def shown_path(path: Path) -> str:
    """A path as a person typed or would type it: relative to here where that is shorter."""
    try:
        relative = os.path.relpath(path)
    except (OSError, ValueError):
        return printable(str(path))
    return printable(min(str(path), relative, key=len))


def boat_line(boat: LoadedBoat) -> str:
    """The first line of every result."""
    return labels.BOAT_LINE.format(
        name=printable(boat.boat.boat.name),
        path=shown_path(boat.path),
        helm=boat.plan.helm_fingerprint,
        lighting=boat.plan.lighting_fingerprint,
    )
