"""One rehearsal: the boat's world, what reads it, and what people do to it while it runs.

Time is whatever `advance` is told: who calls it waits as it likes. Everything that is done goes through `do`, `break_` and
`mend`, and is written down.
"""

from copy import deepcopy
from typing import Any, Final

from busim import screen_labels as labels
from busim.boat.derive import limits_of
from busim.boat.model import BoatFile, Section
from busim.events.journal import BlockWatcher
from busim.events.situation import Situation
from busim.faults.table import BY_NAME
from busim.protocol.plan import WirePlan
from busim.rehearsal.listener import Listener
from busim.rehearsal.script import Script
from busim.requirements.requirement import Context, Requirement
from busim.requirements.table import REQUIREMENTS
from busim.requirements.verdict import Verdict
from busim.run.accepted import Acceptance
from busim.run.timeline import Timeline
from busim.scenario.load import steps_of
from busim.scenario.model import ScenarioFile
from busim.seam import Node
from busim.simulator.build import build_world, power_up
from busim.units import SECOND

LONGEST_NS: Final = 86_400 * SECOND


class Rehearsal:
    def __init__(
        self,
        boat: BoatFile,
        plan: WirePlan,
        kinds: dict[str, type[Node]],
        seed: int,
        keep: BlockWatcher | None = None,
        begins_with: ScenarioFile | None = None,
    ) -> None:
        self.boat = boat
        self.plan = plan
        self.seed = seed
        self.world = build_world(boat, plan, kinds, seed)
        journal = self.world.journal
        self.situation = Situation(plan)
        self.situation.attach(journal)
        limits = {name: limits_of(boat, drive) for name, drive in boat.drives.items()}
        context = Context(plan, limits, self.situation, boat.boat.ride_through_ms, boat.boat.rearm_max_s)
        self.requirements = [kind(context) for kind in REQUIREMENTS]
        self._shared = {id(self.situation): self.situation, id(context): context, id(plan): plan}
        self.timeline = Timeline(boat, self.situation)
        self.listener = Listener(plan)
        self.acceptance = Acceptance(boat.accepted_weaknesses)
        readers: list[Any] = [self.acceptance, *self.requirements, self.timeline, self.listener]
        for reader in readers:
            reader.attach(journal)
        if keep is not None:
            journal.watch_blocks(keep)
        self.script = Script("rehearsal")
        self.judged: tuple[Verdict, ...] = ()
        """As if the run had ended when each was asked last: see `judge_some`."""
        self._next = 0
        self.on: dict[int, tuple[str, Section]] = {}
        """Faults that are on: number -> (name, place)."""
        self.world.plan_steps(power_up(self.world))
        if begins_with is not None:
            self.world.plan_steps(steps_of(begins_with, boat))

    @property
    def now_ns(self) -> int:
        return self.world.now_ns

    def advance(self, until_ns: int) -> None:
        """Carry on to this moment, where it lies ahead. NodeError where a node breaks the rules of the seam."""
        if self.now_ns < until_ns <= LONGEST_NS:
            self.world.run(until_ns)

    # ------------------------------------------------------------------------------------------------ what people do

    def do(self, kind: str, what: Section) -> None:
        """Somebody does something: an action of a scenario, its kind and what it is."""
        self.world.plan_steps(self.script.act(self.now_ns, kind, what, self.boat))

    def break_(self, name: str, place: Section) -> str:
        """A fault begins. Returns what is wrong with its place, in words; empty where it began."""
        fault = BY_NAME[name]
        wrong = next(iter(fault.misplaced(self.boat, place)), None)
        if wrong is not None:
            return wrong[1]
        if fault.acts_on is not None and any(
            BY_NAME[other].acts_on == fault.acts_on and BY_NAME[other].holds(at) == fault.holds(place)
            for other, at in self.on.values()
        ):
            return labels.FAULT_TWICE.format(what=fault.acts_on)
        number, step = self.script.begin(self.now_ns, name, place)
        self.world.plan_steps([step])
        if fault.lasts:
            self.on[number] = (name, place)
        return ""

    def mend(self, number: int) -> None:
        """A fault ends."""
        name, place = self.on.pop(number)
        self.world.plan_steps([self.script.end(self.now_ns, number, name, place)])

    def unplugged(self) -> dict[int, str]:
        """Number of the fault -> the node whose plug is out."""
        return {number: str(getattr(place, "node", "")) for number, (name, place) in self.on.items() if name == "unplugged"}

    # ------------------------------------------------------------------------------------------------ looking at it

    def verdicts(self) -> list[Verdict]:
        """As if the run ended now. Requirements are asked in a copy: what is undecided now may be decided later."""
        return [self._judge(requirement) for requirement in self.requirements]

    def judge_some(self, count: int) -> None:
        """Ask the next `count` requirements, in turn, so that `judged` is at most one round old and no moment costs much."""
        if not self.judged:
            self.judged = tuple(self.verdicts())
            return
        judged = list(self.judged)
        for _ in range(count):
            judged[self._next] = self._judge(self.requirements[self._next])
            self._next = (self._next + 1) % len(judged)
        if tuple(judged) != self.judged:
            self.judged = tuple(judged)

    def _judge(self, requirement: Requirement) -> Verdict:
        return self.acceptance.weigh(deepcopy(requirement, dict(self._shared)).finish(self.now_ns))

    def scenario(self) -> ScenarioFile:
        """What was done so far, as a scenario that ends with the last whole second."""
        return self.script.scenario(max(self.now_ns // SECOND, 1))


def place_from(name: str, values: dict[str, Any]) -> Section:
    """A fault's place from plain values. ValidationError where they don't make one."""
    return BY_NAME[name].place.model_validate(values)
