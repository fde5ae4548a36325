"""A run from start to verdicts."""

from dataclasses import dataclass, field

from busim.boat.derive import limits_of
from busim.boat.model import BoatFile, Weakness
from busim.events.journal import BlockWatcher
from busim.events.situation import Situation
from busim.protocol.plan import WirePlan
from busim.requirements.requirement import Context, Requirement
from busim.requirements.table import REQUIREMENTS
from busim.requirements.verdict import ACCEPTED, FAIL, INCONCLUSIVE, NOT_EXERCISED, Verdict
from busim.run.accepted import Acceptance
from busim.run.losses import LossBook, LossOfControl
from busim.run.timeline import Line, Timeline
from busim.scenario.load import steps_of
from busim.scenario.model import ScenarioFile
from busim.seam import Node
from busim.simulator.build import build_world, power_up
from busim.units import SECOND


@dataclass(frozen=True)
class Outcome:
    """What a run came to. `frames` is how many frames were accepted."""

    seed: int
    digest: str
    frames: int
    seconds: float
    lines: list[Line]
    verdicts: list[Verdict]
    losses: list[LossOfControl]
    failed: list[str] = field(default_factory=list)
    """Requirements that failed where they should not have, or did not come out as the scenario expects."""
    open: list[str] = field(default_factory=list)
    """Requirements the scenario expects to pass that were not exercised, or not decided."""
    weaknesses: tuple[Weakness, ...] = ()
    """What the boat file lists as not met and lived with."""


def carry_out(
    boat: BoatFile,
    plan: WirePlan,
    kinds: dict[str, type[Node]],
    scenario: ScenarioFile,
    seed: int,
    keep: BlockWatcher | None = None,
) -> Outcome:
    """Run the scenario on the boat. `keep` is given each finished second, as `Journal.watch_blocks` says.

    Errors: KindError where the boat names a kind nobody has, NodeError where a node breaks the rules of the seam.
    """
    world = build_world(boat, plan, kinds, seed)
    situation = Situation(plan)
    situation.attach(world.journal)
    limits = {name: limits_of(boat, drive) for name, drive in boat.drives.items()}
    context = Context(plan, limits, situation, boat.boat.ride_through_ms, boat.boat.rearm_max_s)
    requirements = [kind(context) for kind in REQUIREMENTS]
    timeline = Timeline(boat, situation)
    losses = LossBook(situation, world.plant.hull.values)
    acceptance = Acceptance(boat.accepted_weaknesses)
    readers: list[Requirement | Timeline | LossBook | Acceptance] = [*requirements, timeline, losses, acceptance]
    for reader in readers:
        reader.attach(world.journal)
    counted: list[int] = []
    world.journal.watch_blocks(lambda frames, events, digest: counted.append(len(frames)))
    if keep is not None:
        world.journal.watch_blocks(keep)
    world.plan_steps([*power_up(world), *steps_of(scenario, boat)])
    # Whole seconds, so that the digest covers everything and a record has no loose end.
    until_ns = -(-round(scenario.lasts_s * SECOND) // SECOND) * SECOND
    world.run(until_ns)
    verdicts = [acceptance.weigh(requirement.finish(until_ns)) for requirement in requirements]
    failed, undecided = weigh(verdicts, scenario.expect)
    return Outcome(
        seed=seed,
        digest=world.journal.digest,
        frames=sum(counted),
        seconds=until_ns / SECOND,
        lines=timeline.lines,
        verdicts=verdicts,
        losses=losses.finish(until_ns),
        failed=failed,
        open=undecided,
        weaknesses=boat.accepted_weaknesses,
    )


def weigh(verdicts: list[Verdict], expect: dict[str, str]) -> tuple[list[str], list[str]]:
    """Verdicts against what a scenario expects: (failed, not shown). What is exercised and fails counts though nobody named it.

    An accepted weakness is neither: it is not met, which is why it stands in every table, and somebody lives with it.
    """
    failed, undecided = [], []
    for verdict in verdicts:
        expected = expect.get(verdict.id)
        if verdict.verdict == ACCEPTED or expected == ACCEPTED:
            if verdict.verdict != ACCEPTED or expected == NOT_EXERCISED:
                failed.append(verdict.id)
        elif verdict.verdict == FAIL:
            if expected != FAIL:
                failed.append(verdict.id)
        elif expected == FAIL:
            failed.append(verdict.id)
        elif expected == NOT_EXERCISED:
            if verdict.verdict != NOT_EXERCISED:
                failed.append(verdict.id)
        elif expected is not None and verdict.verdict in (NOT_EXERCISED, INCONCLUSIVE):
            undecided.append(verdict.id)
    return failed, undecided
