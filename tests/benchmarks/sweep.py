"""What a sweep costs: runs and simulated seconds per second of one core, what a branch costs, memory.

    python -m tests.benchmarks.sweep [--boat marsh_tern] [--runs 40]

A branch is what a run costs before its first simulated nanosecond: the world and everybody who looks on, restored and subscribed
anew. Processor time, so that a machine shared with others does not count; medians.
"""

import argparse
import pickle
import resource
import statistics
import time
from io import BytesIO

from busim.boat.load import load_boat
from busim.boat.shipped import shipped_folder
from busim.simulator.kinds import load_kinds
from busim.sweep.grid import Job
from busim.sweep.plan import Asked, whole_grid
from busim.sweep.watched import restored
from busim.sweep.work import Setup, Worker
from busim.units import SECOND

BRANCHES = 200


def spread(jobs: tuple[Job, ...], count: int) -> list[Job]:
    """So many jobs from all over the grid."""
    return list(jobs[:: max(len(jobs) // count, 1)])[:count]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--boat", default="marsh_tern")
    parser.add_argument("--runs", type=int, default=40)
    asked = parser.parse_args()
    loaded = load_boat(shipped_folder() / asked.boat)
    worker = Worker(Setup(loaded.boat, loaded.plan, load_kinds(), ()))
    grid = whole_grid(loaded.boat, Asked(1, False, ()))
    settling, branching, unpickling, running, simulated = [], [], [], [], 0
    settled = None
    for job in spread(grid.jobs, asked.runs):
        began = time.process_time()
        settled = worker.settle(job)
        settling.append(time.process_time() - began)
        began = time.process_time()
        run, _ = worker.run(settled, job)
        running.append(time.process_time() - began)
        simulated += run.simulated_ns
    assert settled is not None
    for _ in range(BRANCHES):
        began = time.process_time()
        restored(settled.saved, worker.ground)
        branching.append(time.process_time() - began)
        began = time.process_time()
        unpickler = pickle.Unpickler(BytesIO(settled.saved))
        unpickler.persistent_load = worker.ground.fixed.__getitem__  # type: ignore[method-assign]
        unpickler.load()
        unpickling.append(time.process_time() - began)
    total = sum(running)
    print(f"{asked.boat}: {len(grid.jobs)} runs in the grid; {len(running)} of them tried")
    print(f"  runs a second and core       {len(running) / total:8.1f}")
    print(f"  simulated seconds a run      {simulated / SECOND / len(running):8.1f}")
    print(f"  times real time              {simulated / SECOND / total:8.0f}")
    print(f"  a settled state, median      {statistics.median(settling):8.2f} s")
    print(f"  a branch, median             {statistics.median(branching) * 1000:8.2f} ms")
    print(f"    of it read back            {statistics.median(unpickling) * 1000:8.2f} ms")
    print(f"  a saved state                {len(settled.saved) / 1000:8.1f} kB")
    print(f"  memory of one process        {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000:8.0f} MB")


if __name__ == "__main__":
    main()
