"""One run of a sweep again, by its key: as a scenario that `busim run` plays to the same end."""

from busim.reading.problem import nearest
from busim.sweep import grid
from busim.sweep.branch import Branch
from busim.sweep.grid import Job
from busim.sweep.outcome import SweptRun
from busim.sweep.pairs import BETWEEN, pair_of
from busim.sweep.plan import Asked, whole_grid
from busim.sweep.work import Setup, Worker


def job_of(setup: Setup, key: str, seed: int) -> Job | str:
    """The run of that key in the whole grid; else what was probably meant, "" where nothing is near."""
    found = pair_of(setup.boat, key, seed) if BETWEEN in key else grid.job_of(setup.boat, key, seed)
    return found or nearest(key, [job.key for job in whole_grid(setup.boat, Asked(seed, full=False, only=())).jobs]) or ""


def play(setup: Setup, job: Job) -> tuple[SweptRun, Branch]:
    worker = Worker(setup)
    return worker.run(worker.settle(job), job)
