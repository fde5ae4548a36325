"""Two faults at once: a first that is there from the settled state on, and a second that strikes under it. Latent ones first.

What nobody is told of waits for the next fault; so those are paired before any others. Which pairs there are depends on the boat,
the seed, how many are asked for, and what the sweep of single faults showed to be latent. Where a sweep is of some faults and
modes only, those are the second ones, with any first.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Final
from zlib import crc32

from busim.boat.model import BoatFile
from busim.reading.problem import refused
from busim.sweep.durations import durations_of
from busim.sweep.grid import STATES, Job, Spot, named, spots_of
from busim.sweep.modes import BY_NAME as MODES
from busim.sweep.moments import share
from busim.sweep.outcome import SweptRun, line_of, read_runs
from busim.sweep.rows import FaultRow

PAIRS: Final = "pairs.jsonl"
BETWEEN: Final = " + "
"""Between the names of two faults."""
_TRIES: Final = 40
"""Points of the sequence looked at for each pair that is wanted, before there are taken to be no more."""


def pair_jobs(
    boat: BoatFile, modes: Sequence[str], rows: Sequence[FaultRow], count: int, seed: int, only: Sequence[str] = ()
) -> list[Job]:
    """At most `count` of them, numbered from 0, in the order in which they are to be done: by mode and settled state."""
    latent = {(row.fault, row.place) for each in rows for row in each.places if row.latent}
    spots = [spot for spot in spots_of(boat) if not spot.fault.from_start]
    struck = [
        (spot, mode) for spot in spots if spot.helm for mode in modes if named(spot.fault.name, spot.name, mode, only)
    ]
    firsts = [spot for spot in spots if (spot.fault.name, spot.fault.place_words(spot.place)) in latent]
    keys: dict[str, tuple[Spot, Spot, str]] = {}
    for pool in (firsts, spots):
        for number in range(count * _TRIES if pool and struck else 0):
            if len(keys) >= count:
                break
            first = pool[share(number + seed, 0, len(pool))]
            second, mode = struck[share(number + seed, 1, len(struck))]
            if not _in_the_way(first, second):
                keys.setdefault(_key(first, second, mode), (first, second, mode))
    jobs = [_job(key, *pair, seed) for key, pair in keys.items()]
    jobs.sort(key=lambda job: (job.mode, job.state))
    return [replace(job, run=number) for number, job in enumerate(jobs)]


def pair_of(boat: BoatFile, key: str, seed: int) -> Job | None:
    """The pair of that key, whether a sweep would draw it or not; its number is not looked for, and is 0."""
    first_name, _, rest = key.partition(BETWEEN)
    spots = spots_of(boat)
    firsts = [spot for spot in spots if spot.name == first_name]
    for second in spots:
        for mode in MODES:
            if firsts and _key(firsts[0], second, mode) == key and not isinstance(MODES[mode].script(boat), str):
                return _job(key, firsts[0], second, mode, seed) if rest and not _in_the_way(firsts[0], second) else None
    return None


def _key(first: Spot, second: Spot, mode: str) -> str:
    return f"{first.name}{BETWEEN}{second.name}/{mode}/{durations_of(second.fault)[0]}/pair"


def _job(key: str, first: Spot, second: Spot, mode: str, seed: int) -> Job:
    mixed = crc32(key.encode())
    state = mixed % STATES
    return Job(
        0, key, second.fault.name, second.place, mode, durations_of(second.fault)[0], (mixed >> 8) % 100_000, False, state,
        seed + state, 0, (first.fault.name, first.place),
    )  # fmt: skip


def _in_the_way(first: Spot, second: Spot) -> bool:
    """One fault can't be twice at a place, nor two act on one thing at a time."""
    one, other = first.fault, second.fault
    if first.name == second.name:
        return True
    if one.acts_on is None or one.acts_on != other.acts_on:
        return False
    return one.holds(first.place) == other.holds(second.place)


class PairsFile:
    """Pairs that were swept, a line each, as they were done. A torn last line, of a sudden end, is left out and written anew."""

    def __init__(self, folder: Path) -> None:
        """Errors: InputError where it can't be read or written, or is damaged."""
        self.path = folder / PAIRS
        self.kept = {run.key: run for run in read_runs(self.path)} if self.path.exists() else {}
        try:
            self.file = self.path.open("w", encoding="utf-8", newline="\n")
            self.file.writelines(line_of(run) for run in self.kept.values())
            self.file.flush()
        except OSError as error:
            raise refused(self.path, f"can't be written: {error.strerror}") from error

    def keep(self, run: SweptRun) -> None:
        """Errors: InputError, disk full."""
        try:
            self.file.write(line_of(run))
            self.file.flush()
        except OSError as error:
            raise refused(self.path, f"can't be written: {error.strerror}. What was kept is whole") from error
        self.kept[run.key] = run

    def close(self) -> None:
        self.file.close()

    def runs(self, jobs: Sequence[Job]) -> Iterator[SweptRun]:
        """Those of these jobs that are done, in their order."""
        return (self.kept[job.key] for job in jobs if job.key in self.kept)
