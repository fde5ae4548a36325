"""One swept run: from a settled state on, a fault, what comes of it, what people do then, and the record of it all.

It goes until the gear is out and everything is quiet; from there the coast is in closed form (`busim.run.losses`). What was broken
for a while is then mended; recovery is tried either way.
"""

from dataclasses import replace
from typing import Any, Final

from busim.boat.model import BoatFile
from busim.faults.table import BY_NAME
from busim.host.host import NodeError
from busim.requirements.verdict import ACCEPTED, FAIL, INCONCLUSIVE, NOT_EXERCISED, Verdict
from busim.run.losses import LossOfControl
from busim.scenario.model import Action, FaultEntry, ScenarioFile
from busim.simulator.world import Step
from busim.sweep.durations import Spans, spans
from busim.sweep.grid import Job
from busim.sweep.modes import Script
from busim.sweep.outcome import NODE_PROGRAM, Finding, Severity, SweptLoss, SweptRun, SweptVerdict
from busim.sweep.people import LOOK_NS, People, Tried, actuators_rest, settle_ms
from busim.sweep.watched import Ground, Watched, restored
from busim.sweep.witness import in_control
from busim.units import MS, SECOND

QUIET_NS: Final = 1500 * MS
"""Alarms are due within 1,350 ms: what is quiet by then, with every gear out, stays so."""


class Branch:
    """A settled state, and one run from it. `fault` None: nothing breaks. `under`: what is broken from the settled state on."""

    def __init__(
        self,
        ground: Ground,
        script: Script,
        saved: bytes,
        at_ns: int,
        fault: tuple[str, Any, Spans] | None,
        under: tuple[str, Any] | None = None,
    ) -> None:
        self.ground = ground
        self.script = script
        self.at_ns = at_ns
        self.fault = fault
        self.under = under
        self.watched: Watched = restored(saved, ground)
        self.from_ns = self.watched.world.now_ns
        self.people: People | None = None
        self.tried = Tried()
        self.severity = Severity(0, (), (), (), 0, ())
        self.ended_ns: int | None = None
        self.crash = ""

    def carry_out(self) -> None:
        try:
            self._carry_out()
        except NodeError as error:
            self.crash = str(error)

    def _carry_out(self) -> None:
        watched, world = self.watched, self.watched.world
        steps = self.fault_steps()
        world.plan_steps(steps)
        ends = [step[0] for step in steps if step[2] == "end_fault"]
        self.ended_ns = max(ends) if ends else None
        if self.under is not None:
            world.run(self.at_ns - 1)
            watched.witness.forget()
        world.run(self.at_ns)
        if self.fault is None:
            watched.witness.begin(self.at_ns)
        self._settle(max([self.at_ns, *(step[0] for step in steps)]))
        self.severity = self._severity()
        watched.witness.quiet = False
        over = bool(ends) or (self.fault is not None and not BY_NAME[self.fault[0]].lasts)
        self.people = People(self.ground.boat, self.script, watched, over=over)
        self.tried = self.people.try_everything()
        self._let_go()
        if self.tried.in_gear or self.tried.off_idle:
            in_gear = tuple(sorted({*self.severity.in_gear, *self.tried.in_gear}))
            off_idle = tuple(sorted({*self.severity.off_idle, *self.tried.off_idle}))
            self.severity = replace(self.severity, in_gear=in_gear, off_idle=off_idle)

    def fault_steps(self) -> list[Step]:
        if self.fault is None:
            return []
        name, place, times = self.fault
        steps: list[Step] = []
        if self.under is not None:
            steps.append((self.from_ns + 1, len(self.script.actions) + 999, "begin_fault", (len(times), *self.under)))
        for number, (begins_ns, ends_ns) in enumerate(times):
            order = len(self.script.actions) + 1000 + number
            steps.append((self.at_ns + begins_ns, order, "begin_fault", (number, name, place)))
            if ends_ns is not None:
                steps.append((self.at_ns + ends_ns, order, "end_fault", (number, name, place)))
        return steps

    def _settle(self, last_ns: int) -> None:
        """Until all that the fault sets off is over: with every gear out and quiet, or when the longest limit has passed."""
        world, boat = self.watched.world, self.ground.boat
        window_ns = (self.script.settled_ms + self.script.window_ms) * MS
        limit_ns = max(last_ns + settle_ms(boat, self.ground.limits) * MS, window_ns)
        quiet_ns = max(last_ns + QUIET_NS, window_ns)
        world.run(quiet_ns)
        rested_ns = None
        while world.now_ns < limit_ns:
            if not actuators_rest(boat, self.watched):
                rested_ns = None
            elif rested_ns is None:
                rested_ns = world.now_ns
            elif world.now_ns - rested_ns >= 6 * LOOK_NS:
                return
            world.run(min(world.now_ns + LOOK_NS, limit_ns))

    def _let_go(self) -> None:
        """A drive that has lost control once more since is given the time in which it has to be safe."""
        situation, world = self.watched.situation, self.watched.world
        limit_ns = world.now_ns + settle_ms(self.ground.boat, self.ground.limits) * MS

        def lost() -> bool:
            moving = [drive for drive in situation.drives.values() if drive.true_gear or drive.true_at_stop is False]
            return any(not in_control(situation, drive, world.now_ns) for drive in moving)

        while world.now_ns < limit_ns and lost():
            world.run(min(world.now_ns + LOOK_NS, limit_ns))

    def _severity(self) -> Severity:
        situation, witness, now_ns = self.watched.situation, self.watched.witness, self.watched.world.now_ns
        turning = [drive for drive in situation.drives.values() if situation.engines.of[drive.name].running is not False]
        alone = [drive for drive in turning if not in_control(situation, drive, now_ns)]
        rudder = situation.rudder
        moved_cdeg = abs(rudder.true_cdeg(now_ns) - witness.rudder_cdeg) if rudder is not None else 0
        return Severity(
            speed_mm_s=witness.speed_mm_s,
            in_gear=tuple(drive.name for drive in alone if drive.true_gear),
            off_idle=tuple(drive.name for drive in alone if drive.true_at_stop is False),
            wrong_way=tuple(drive.name for drive in turning if self._wrong_way(drive.name, drive.true_gear or 0)),
            rudder_cdeg=moved_cdeg,
            dark=witness.dark(),
        )

    def _wrong_way(self, drive: str, gear: int) -> bool:
        """Its gear is in against the lever that has it, as the hand has put that lever."""
        station, world = self.script.station, self.watched.world
        lever = world.levers.get((station, drive))
        if not gear or lever is None:
            return False
        first = self.ground.boat.stations[station].lever_gear_permille * 1000
        hand = lever.hand.read(world.now_ns)
        return hand <= -first if gear == 1 else hand >= first

    # ------------------------------------------------------------------------------------------------ the record

    def verdicts(self) -> list[Verdict]:
        now_ns = self.watched.world.now_ns
        found = [self.watched.acceptance.weigh(requirement.finish(now_ns)) for requirement in self.watched.requirements]
        if self.crash:
            found.append(Verdict(NODE_PROGRAM, FAIL, None, None, "", "plant", now_ns, self.crash))
        return found

    def scenario(self) -> ScenarioFile:
        """The same run as a scenario: `busim run` plays it to the same end."""
        faults = []
        if self.under is not None:
            faults.append(FaultEntry(**{"at_s": (self.from_ns + 1) / SECOND, self.under[0]: self.under[1]}))
        if self.fault is not None:
            name, place, times = self.fault
            for begins_ns, ends_ns in times:
                entry: dict[str, Any] = {"at_s": (self.at_ns + begins_ns) / SECOND, name: place}
                if ends_ns is not None:
                    entry["for_s"] = (ends_ns - begins_ns) / SECOND
                faults.append(FaultEntry(**entry))
        actions: tuple[Action, ...] = (*self.script.actions, *(self.people.actions if self.people is not None else ()))
        lasts_s = -(-self.watched.world.now_ns // SECOND)
        return ScenarioFile(scenario="a swept run", lasts_s=float(lasts_s), actions=actions, faults=tuple(faults))


def swept(
    ground: Ground, script: Script, saved: bytes, job: Job, at_ns: int, moment: str, reproduce: str
) -> tuple[SweptRun, Branch]:
    """The run of `job`, and the branch it was."""
    boat = ground.boat
    times = spans(boat, BY_NAME[job.fault], job.place, job.duration)
    branch = Branch(ground, script, saved, at_ns, (job.fault, job.place, times), job.under)
    branch.carry_out()
    return _record(boat, branch, job, moment, reproduce), branch


def _record(boat: BoatFile, branch: Branch, job: Job, moment: str, reproduce: str) -> SweptRun:
    watched, tried, began_ns = branch.watched, branch.tried, branch.at_ns
    verdicts = branch.verdicts()
    open_ones = [verdict for verdict in verdicts if verdict.verdict in (FAIL, ACCEPTED, INCONCLUSIVE)]
    witness = watched.witness
    return SweptRun(
        run=job.run,
        key=job.key,
        fault=job.fault,
        place=BY_NAME[job.fault].place_words(job.place),
        place_json=job.place.model_dump_json(),
        mode=job.mode,
        moment=moment,
        duration=job.duration,
        at_ns=began_ns,
        ended_ns=branch.ended_ns,
        seed=job.seed,
        failed=tuple(verdict.id for verdict in verdicts if verdict.verdict == FAIL),
        verdicts=tuple(_verdict(verdict) for verdict in open_ones),
        not_exercised=tuple(verdict.id for verdict in verdicts if verdict.verdict == NOT_EXERCISED),
        passed=tuple(verdict.id for verdict in verdicts if verdict.verdict not in (FAIL, ACCEPTED, INCONCLUSIVE, NOT_EXERCISED)),
        found=tuple(Finding(who, what, at_ns - began_ns) for who, what, at_ns in witness.found),
        losses=tuple(_loss(loss) for loss in watched.losses.finish(watched.world.now_ns)),
        thrust_lost_ns=None if witness.thrust_lost_ns is None else witness.thrust_lost_ns - began_ns,
        thrust_again_ns=tried.thrust_again_ns,
        works=tuple(tried.works),
        works_not=tuple(tried.works_not),
        taken_at=tried.taken_at,
        rows=tuple(witness.rows),
        severity=branch.severity,
        simulated_ns=watched.world.now_ns - branch.from_ns,
        digest=watched.world.journal.digest,
        reproduce=reproduce,
        under="" if job.under is None else f"{job.under[0]}: {BY_NAME[job.under[0]].place_words(job.under[1])}",
    )


def _verdict(verdict: Verdict) -> SweptVerdict:
    return SweptVerdict(
        verdict.id,
        verdict.verdict,
        verdict.limit,
        verdict.measured,
        verdict.unit,
        verdict.source,
        verdict.at_ns,
        verdict.evidence,
        verdict.weakness,
    )


def _loss(loss: LossOfControl) -> SweptLoss:
    return SweptLoss(
        loss.drive,
        loss.base_ns,
        loss.to_idle_ns,
        loss.to_neutral_ns,
        loss.run_to_idle_mm,
        loss.run_mm,
        loss.ground_mm,
        None if loss.way_off_s is None else round(loss.way_off_s * 1000),
        None if loss.way_off_m is None else round(loss.way_off_m * 100) * 10,
    )
