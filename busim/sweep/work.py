"""What a worker does: settle a mode under a seed, and carry out the runs that branch from it, one after the other."""

import shlex
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from busim.boat.model import BoatFile
from busim.protocol.plan import WirePlan
from busim.seam import Node
from busim.sweep.branch import Branch, swept
from busim.sweep.grid import Job
from busim.sweep.modes import BY_NAME
from busim.sweep.moments import anchors, moment
from busim.sweep.outcome import SweptRun
from busim.sweep.settled import Settled, settle
from busim.sweep.touches import touched
from busim.sweep.watched import Ground


@dataclass(frozen=True)
class Setup:
    """All a process needs to know. `again`: the words of a command line that plays one run again, without its key."""

    boat: BoatFile
    plan: WirePlan
    kinds: dict[str, type[Node]]
    again: tuple[str, ...]

    def ground(self) -> Ground:
        return Ground(self.boat, self.plan, self.kinds)


class Worker:
    def __init__(self, setup: Setup) -> None:
        self.setup = setup
        self.ground = setup.ground()

    def settle(self, job: Job) -> Settled:
        script = BY_NAME[job.mode].script(self.ground.boat)
        if isinstance(script, str):
            raise ValueError(f"{job.mode}: {script}")
        return settle(self.ground, script, job.seed)

    def runs(self, jobs: Sequence[Job]) -> Iterator[SweptRun]:
        """`jobs` of one mode and seed. Nothing that one run leaves behind reaches the next."""
        settled = self.settle(jobs[0])
        for job in jobs:
            yield self.run(settled, job)[0]

    def run(self, settled: Settled, job: Job) -> tuple[SweptRun, Branch]:
        boat = self.ground.boat
        groups = anchors(boat, settled.trace, touched(boat, job.place))
        at_ns, words = moment(job.pick, settled.trace, groups, spread=job.spread)
        reproduce = shlex.join([*self.setup.again, job.key])
        return swept(self.ground, settled.script, settled.saved, job, at_ns, words, reproduce)
