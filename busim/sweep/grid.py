"""The grid: faults x places x modes x durations x moments, thinned to a size that a person waits for, the most telling runs first.

Which runs there are depends on the boat, the seed and `full` alone; `only` picks among them and changes none.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final
from zlib import crc32

from busim import labels
from busim.boat.model import BoatFile
from busim.faults.fault import Fault
from busim.faults.table import FAULTS
from busim.sweep.durations import BRIEF, ONCE, PERMANENT, durations_of
from busim.sweep.modes import MODES, Mode
from busim.sweep.outcome import EmptyCells
from busim.sweep.touches import touched

STATES: Final = 6
STATES_FULL: Final = 24
"""Settled states of a mode, each with phases and clock errors of its own."""
MOMENTS_FULL: Final = 6
CHUNK: Final = 40
LIGHT_MODES: Final = ("night", "power_up", "moored")
"""Where lights that hang on nothing of the helm are tried."""
START_MODES: Final = ("power_up", "idle", "moored")
"""Where a mistake in wiring or building is found: no gear is in when it begins, and she is driven with it afterwards."""
STEADY_MODES: Final = ("idle", "moored")


@dataclass(frozen=True, slots=True)
class Job:
    """One run that is to be done. `pick` is the number its moment is picked by, `spread`: at nothing in particular; `under`: a
    fault, and its place, that is there from the settled state on."""

    run: int
    key: str
    fault: str
    place: Any
    mode: str
    duration: str
    pick: int
    spread: bool
    state: int
    seed: int
    tier: int
    under: tuple[str, Any] | None = None


@dataclass(frozen=True)
class Grid:
    """`cells`: (fault, place, mode) there are; `jobs` in order of `run`."""

    jobs: tuple[Job, ...]
    cells: int
    empty: tuple[EmptyCells, ...]
    thinned: tuple[str, ...]


@dataclass(frozen=True)
class Spot:
    """A fault at a place."""

    fault: Fault
    place: Any
    name: str
    helm: bool
    number: int


def spots_of(boat: BoatFile) -> list[Spot]:
    """Every fault everywhere, each under a name of its own."""
    spots: list[Spot] = []
    for fault in FAULTS:
        places = [place for place in fault.places(boat) if not any(fault.misplaced(boat, place))]
        names = [f"{fault.name}: {fault.place_words(place)}" for place in places]
        often = Counter(names)
        for place, name in zip(places, names, strict=True):
            unique = name if often[name] == 1 else f"{name} ({_unlike(place, [each for each in places if each != place])})"
            spots.append(Spot(fault, place, unique, touched(boat, place).helm, len(spots)))
    return spots


def _unlike(place: Any, others: Sequence[Any]) -> str:
    """What tells a place from those that are called the same."""
    mine = place.model_dump()
    return ", ".join(f"{key} {value}" for key, value in mine.items() if any(each.model_dump()[key] != value for each in others))


def grid_of(boat: BoatFile, modes: Sequence[Mode], seed: int, *, full: bool, only: Sequence[str]) -> Grid:
    """`modes` are those the boat can be brought to."""
    spots = spots_of(boat)
    jobs: list[Job] = []
    empty: Counter[tuple[str, str]] = Counter()
    for spot in spots:
        for column, mode in enumerate(MODES):
            if mode not in modes:
                empty["", mode.name] += 1
            elif spot.fault.from_start and mode.name not in START_MODES:
                empty["start", ""] += 1
            elif not spot.helm and mode.name not in LIGHT_MODES and not full:
                empty["lights", ""] += 1
            else:
                jobs += _jobs_of(spot, mode, column, seed, full=full)
    jobs.sort(key=lambda job: (job.tier, job.mode, job.state))
    jobs = [replace(job, run=number) for number, job in enumerate(jobs)]
    picked = [job for job in jobs if wanted(job, only)]
    words = [EmptyCells("", mode, cells, labels.SWEEP_NO_MODE) for (_, mode), cells in sorted(empty.items()) if mode]
    if start := empty["start", ""]:
        words.append(EmptyCells("", "", start, labels.SWEEP_FROM_START.format(modes=", ".join(START_MODES))))
    if lights := empty["lights", ""]:
        words.append(EmptyCells("", "", lights, labels.SWEEP_LIGHTS_ELSEWHERE.format(modes=", ".join(LIGHT_MODES))))
    nowhere = {fault.name for fault in FAULTS} - {spot.fault.name for spot in spots}
    words += [EmptyCells(fault.name, "", len(MODES), labels.SWEEP_NO_PLACE) for fault in FAULTS if fault.name in nowhere]
    thinned = () if full else tuple(labels.SWEEP_THINNED)
    return Grid(tuple(picked), len(spots) * len(MODES), tuple(words), thinned)


def _jobs_of(spot: Spot, mode: Mode, column: int, seed: int, *, full: bool) -> list[Job]:
    durations = durations_of(spot.fault)
    cell = f"{spot.name}/{mode.name}"
    mixed = crc32(cell.encode())
    states = STATES_FULL if full else STATES
    found = []
    for number, (duration, spread) in enumerate(_picked(spot, mode, durations, column, full=full)):
        state = (mixed + number) % states
        key = f"{cell}/{duration}/{number}"
        pick = (mixed >> 8) % 100_000 + number
        tier = _tier(spot, mode, duration)
        found.append(
            Job(0, key, spot.fault.name, spot.place, mode.name, duration, pick, spread, state, seed + state, tier)
        )
    return found


def job_of(boat: BoatFile, key: str, seed: int) -> Job | None:
    """The run of that key, in the thinned grid or in the full one; its number is not looked for, and is 0."""
    for spot in spots_of(boat):
        for column, mode in enumerate(MODES):
            if key.startswith(f"{spot.name}/{mode.name}/") and not isinstance(mode.script(boat), str):
                for full in (False, True):
                    for job in _jobs_of(spot, mode, column, seed, full=full):
                        if job.key == key:
                            return job
    return None


def _picked(spot: Spot, mode: Mode, durations: tuple[str, ...], column: int, *, full: bool) -> list[tuple[str, bool]]:
    """(duration, spread) of a cell's runs. Thinned: the most telling duration, and of the others one in turn, so that each place
    meets every duration in some mode and each mode at some place; what touches lights only, or comes in a mode in which nothing
    moves, one of all in turn."""
    if full:
        return [(duration, number % 3 == 2) for duration in durations for number in range(MOMENTS_FULL)]
    turn = spot.number + column
    if not spot.helm or mode.name in STEADY_MODES:
        return [(durations[turn % len(durations)], turn % 4 == 3)]
    others = durations[1:]
    return [(durations[0], False)] + ([(others[turn % len(others)], turn % 4 == 3)] if others else [])


def _tier(spot: Spot, mode: Mode, duration: str) -> int:
    """0 is told first."""
    return mode.telling + (0 if duration in (PERMANENT, ONCE) else 2 if duration in BRIEF else 1) + (0 if spot.helm else 4)


def wanted(job: Job, only: Sequence[str]) -> bool:
    return named(job.fault, job.key[: job.key.index(f"/{job.mode}/")], job.mode, only)


def named(fault: str, spot: str, mode: str, only: Sequence[str]) -> bool:
    """Is it one of those asked for? Each of `only` is FAULT, FAULT/MODE or /MODE; FAULT may have its place: "cut: helm at 12 m"."""
    asked = (each.rpartition("/") if "/" in each else (each, "", "") for each in only)
    return not only or any(its_fault in ("", fault, spot) and its_mode in ("", mode) for its_fault, _, its_mode in asked)


def chunks_of(jobs: Sequence[Job]) -> list[list[Job]]:
    """Runs that branch from one settled state, in order, no more than `CHUNK` together."""
    found: list[list[Job]] = []
    for job in jobs:
        last = found[-1] if found else []
        if last and len(last) < CHUNK and (last[0].mode, last[0].state, last[0].tier) == (job.mode, job.state, job.tier):
            last.append(job)
        else:
            found.append([job])
    return found
