"""A boat's world as it is run in real time: who is left out of it, what is read of it, what people do to it meanwhile. No I/O.

What is done is written down as in a rehearsal. What a guest sends is not: a run with guests can't be run again.
"""

from typing import Any, Final

from busim.bench.guest import Seat, new_seat, seat_of
from busim.boat.model import BoatFile, Section
from busim.events.journal import BlockWatcher
from busim.events.situation import Situation
from busim.protocol.plan import WirePlan
from busim.rehearsal.script import Script
from busim.run.timeline import Line, Timeline
from busim.scenario.load import steps_of
from busim.scenario.model import ScenarioFile
from busim.seam import Node
from busim.simulator.build import build_world, power_up
from busim.units import SECOND

LONGEST_NS: Final = 86_400 * SECOND


class LiveBoat:
    def __init__(
        self,
        boat: BoatFile,
        plan: WirePlan,
        kinds: dict[str, type[Node]],
        seed: int,
        scenario: ScenarioFile | None = None,
        keep: BlockWatcher | None = None,
    ) -> None:
        self.boat = boat
        self.plan = plan
        self.world = build_world(boat, plan, kinds, seed)
        self.situation = Situation(plan)
        self.situation.attach(self.world.journal)
        self.timeline = Timeline(boat, self.situation)
        self.timeline.attach(self.world.journal)
        self.frames = 0
        self.world.journal.watch_blocks(self._count)
        if keep is not None:
            self.world.journal.watch_blocks(keep)
        self.script = Script("plug")
        self.world.plan_steps(power_up(self.world))
        if scenario is not None:
            self.world.plan_steps(steps_of(scenario, boat))

    def _count(self, frames: list[Any], events: list[Any], digest: str) -> None:
        self.frames += len(frames)

    # ------------------------------------------------------------------------------------------------ guests

    def seat(self, bus: str, name: str, left_out: str | None = None) -> Seat:
        """A seat on this bus, in place of the node `left_out` or beside all nodes, as the host `name`."""
        number = list(self.boat.buses).index(bus)
        return seat_of(self.world, left_out, number) if left_out is not None else new_seat(self.world, name, number)

    # ------------------------------------------------------------------------------------------------ time

    @property
    def now_ns(self) -> int:
        return self.world.now_ns

    @property
    def next_ns(self) -> int:
        return self.world.loop.next_ns()

    @property
    def digest(self) -> str:
        return self.world.journal.digest

    def advance(self, until_ns: int) -> None:
        """Carry on to this moment. NodeError where a node breaks the rules of the seam."""
        if self.now_ns < until_ns:
            self.world.run(until_ns)

    def end_second(self) -> None:
        """To the end of the second that was begun, so that the run code stands for all that was."""
        self.advance(-(-self.now_ns // SECOND) * SECOND)

    # ------------------------------------------------------------------------------------------------ people

    def do(self, kind: str, what: Section) -> None:
        """Somebody does something: an action of a scenario, its kind and what it is."""
        self.world.plan_steps(self.script.act(self.now_ns, kind, what, self.boat))

    def news(self) -> list[Line]:
        """What happened since this was asked last."""
        new = sorted(self.timeline.said, key=lambda line: line.at_ns)
        self.timeline.said.clear()
        return new
