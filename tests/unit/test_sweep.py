"""The sweep on the first boat: modes, grid, moments, a branch with observers against a rerun, records, what is resumed."""

import json
from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from busim.faults.table import BY_NAME, FAULTS
from busim.host.host import NodeError
from busim.reading.problem import InputError
from busim.requirements.verdict import ACCEPTED
from busim.run.run import carry_out
from busim.scenario.load import load_scenario, steps_of
from busim.scenario.write import plain_scenario, scenario_text
from busim.simulator.kinds import load_kinds
from busim.sweep import durations as d
from busim.sweep.branch import Branch
from busim.sweep.grid import CHUNK, Grid, Job, chunks_of, spots_of, wanted
from busim.sweep.modes import BY_NAME as MODES
from busim.sweep.moments import SPREAD, Anchor, anchors, moment, share
from busim.sweep.outcome import NODE_PROGRAM, RUNS, STREAMED, SweptRun, line_of, read_head, read_runs
from busim.sweep.plan import Asked, Plan, plan_sweep, whole_grid
from busim.sweep.replay import job_of, play
from busim.sweep.rows import badness, gather
from busim.sweep.settled import FAILS_UNDISTURBED, LEFT_OUT, SWEPT, Settled, look_at_mode
from busim.sweep.severity import ADRIFT, DANGER, severity_of
from busim.sweep.store import Store
from busim.sweep.summary import summary_of
from busim.sweep.touches import touched
from busim.sweep.watched import begun, restored
from busim.sweep.work import Setup, Worker
from busim.units import MS, SECOND
from nodes.drive import Drive
from tests.twins.drives import ReversesAtOnce

from .first_boat_world import FOLDER, boat

ASKED = Asked(1, False, ())


@pytest.fixture(scope="module")
def setup() -> Setup:
    loaded = boat()
    return Setup(loaded.boat, loaded.plan, load_kinds(), ("busim", "sweep", "first_boat", "--again"))


@pytest.fixture(scope="module")
def worker(setup: Setup) -> Worker:
    return Worker(setup)


@pytest.fixture(scope="module")
def grid(setup: Setup) -> Grid:
    return whole_grid(setup.boat, ASKED)


@pytest.fixture(scope="module")
def settled(worker: Worker, grid: Grid) -> dict[str, Settled]:
    """Of two modes, with the first seed."""
    return {name: worker.settle(replace(grid.jobs[0], mode=name, seed=1)) for name in ("astern", "shift")}


def job_for(grid: Grid, fault: str, mode: str, duration: str) -> Job:
    found = next(job for job in grid.jobs if job.fault == fault and job.mode == mode)
    return replace(found, duration=duration, seed=1)


# ------------------------------------------------------------------------------------------------ modes


def test_modes_are_reached_or_left_out_and_said(setup: Setup) -> None:
    ground = setup.ground()
    found = {name: look_at_mode(ground, MODES[name], 1)[0] for name in ("idle", "moored", "power_up", "shift", "night", "transfer")}
    assert {mode.state for name, mode in found.items() if name != "transfer"} == {SWEPT}, found
    assert (found["transfer"].state, found["transfer"].why) == (LEFT_OUT, "she has one place to drive her from")


def test_a_boat_that_fails_undisturbed_is_not_swept(setup: Setup) -> None:
    """Planted: a drive that goes from ahead to astern without waiting."""
    hasty = replace(setup, kinds={**setup.kinds, "drive": ReversesAtOnce})
    plan = plan_sweep(hasty.ground(), "boat.yaml", {}, Asked(1, False, ("hang/reversal", "hang/shift")))
    assert [(mode.mode, mode.state) for mode in plan.failing] == [("reversal", FAILS_UNDISTURBED)]
    assert "drive.reversal_dwell" in plan.failing[0].why


class Keeper(Drive):
    """A builder's node that keeps something no state can be saved with."""

    __slots__ = ("asks",)

    def __init__(self, plan: Any, address: int, build: int = 1) -> None:
        super().__init__(plan, address, build)
        self.asks = lambda: 0


def test_a_node_that_can_t_be_saved_is_named(setup: Setup) -> None:
    keeping = replace(setup, kinds={**setup.kinds, "drive": Keeper})
    with pytest.raises(NodeError, match=r"engine_room \(Keeper\): it keeps something that can't be saved"):
        plan_sweep(keeping.ground(), "boat.yaml", {}, Asked(1, False, ("hang/idle",)))


# ------------------------------------------------------------------------------------------------ grid


def test_the_grid_has_every_cell_and_every_duration_of_every_fault(setup: Setup, grid: Grid) -> None:
    spots = spots_of(setup.boat)
    names = {spot.name for spot in spots}
    assert len(names) == len(spots)
    cells = Counter(job.key.rpartition("/")[0].rpartition("/")[0] for job in grid.jobs)
    swept = [mode for mode in MODES.values() if not isinstance(mode.script(setup.boat), str)]
    everywhere = [spot for spot in spots if spot.helm and not spot.fault.from_start]
    assert set(cells) >= {f"{spot.name}/{mode.name}" for spot in everywhere for mode in swept}
    assert sum(each.cells for each in grid.empty if each.mode or not each.fault) + len(cells) == grid.cells
    for spot in everywhere:
        used = {job.duration for job in grid.jobs if job.key.startswith(f"{spot.name}/")}
        assert used == set(d.durations_of(spot.fault)), spot.name
    assert [job.run for job in grid.jobs] == list(range(len(grid.jobs)))
    assert len({job.key for job in grid.jobs}) == len(grid.jobs)


def test_only_picks_and_renumbers_nothing(setup: Setup, grid: Grid) -> None:
    some = whole_grid(setup.boat, Asked(1, False, ("cut/astern", "hang: lamp_driver", "/moored"))).jobs
    assert set(some) < set(grid.jobs)
    assert {job.mode for job in some if job.fault == "cut"} == {"astern", "moored"}
    assert all(wanted(job, ()) for job in some)


def test_chunks_branch_from_one_state_and_keep_the_order(grid: Grid) -> None:
    chunks = chunks_of(grid.jobs)
    assert [job for chunk in chunks for job in chunk] == list(grid.jobs)
    for chunk in chunks:
        assert len({(job.mode, job.seed) for job in chunk}) == 1
        assert len(chunk) <= CHUNK


def test_marsh_tern_by_default_is_no_more_than_a_night(setup: Setup) -> None:
    from busim.boat.load import load_boat

    jobs = whole_grid(load_boat(FOLDER.parent / "marsh_tern").boat, ASKED).jobs
    assert 10_000 < len(jobs) <= 35_000
    assert {job.fault for job in jobs} == {fault.name for fault in FAULTS}
    assert {job.mode for job in jobs} == set(MODES)


# ------------------------------------------------------------------------------------------------ durations, moments


@pytest.mark.parametrize(
    ("duration", "spans"),
    [
        (d.PERMANENT, ((0, None),)), ("0.5 timeout", ((0, 125 * MS),)), ("0.9 timeout", ((0, 225 * MS),)),
        ("1.1 timeouts", ((0, 275 * MS),)), ("3 timeouts", ((0, 750 * MS),)), (d.FRAME, ((0, 528_000),)),
        (d.REPEATING, tuple((n * 300 * MS, n * 300 * MS + 150 * MS) for n in range(5))),
    ],
)  # fmt: skip
def test_durations_by_the_control_timeout(setup: Setup, duration: str, spans: d.Spans) -> None:
    """250 ms of control timeout; a frame of 132 bits at 250 kbit/s, worked out by hand."""
    fault = BY_NAME["hang"]
    assert d.spans(setup.boat, fault, next(fault.places(setup.boat)), duration) == spans


def test_a_reset_is_once_or_a_loop(setup: Setup) -> None:
    fault = BY_NAME["reset"]
    assert d.durations_of(fault) == (d.ONCE, d.REPEATING)
    assert len(d.spans(setup.boat, fault, None, d.REPEATING)) == 5


def test_moments_are_before_during_and_after_what_the_fault_can_touch(setup: Setup, settled: dict[str, Settled]) -> None:
    trace = settled["shift"].trace
    place = next(BY_NAME["hang"].places(setup.boat))
    groups = anchors(setup.boat, trace, touched(setup.boat, place))
    said = {moment(number, trace, groups, spread=False)[1] for number in range(3000)}
    for what in ("lever of wheelhouse", "heartbeat of wheelhouse", "gear engine 1"):
        assert {f"{phase} {each}" for phase in ("before", "during", "after") for each in said if each.endswith(what)}, what
        assert {words.split()[0] for words in said if what in words} == {"before", "during", "after"}
    assert not any("lamp_driver" in words and "start" not in words for words in said), "what it can't touch"
    at_ns, words = moment(7, trace, groups, spread=True)
    assert words == SPREAD
    assert trace.begin_ns <= at_ns <= trace.end_ns
    frame = next(anchor for group in groups[0] for anchor in group if anchor.what == "lever of wheelhouse")
    assert 400_000 < frame.end_ns - frame.begin_ns < 560_000, "8 bytes at 250 kbit/s: 108 to 132 bits of 4 us"
    assert frame.at_ns(0) < frame.begin_ns < frame.at_ns(1) < frame.end_ns < frame.at_ns(2)
    assert Anchor("x", 5 * MS, 5 * MS).at_ns(0) == 3 * MS


def test_consecutive_numbers_spread_evenly() -> None:
    for axis in range(3):
        counts = Counter(share(number, axis, 8) for number in range(800))
        assert all(90 <= counts[place] <= 110 for place in range(8)), counts


# ------------------------------------------------------------------------------------------------ a branch is a rerun


def test_observers_saved_with_the_world_judge_on_as_if_nothing_had_been(setup: Setup) -> None:
    ground, loaded = setup.ground(), boat()
    scenario = load_scenario(FOLDER / "scenarios" / "cut_healed.yaml", loaded.boat).scenario
    end_ns = round(scenario.lasts_s) * SECOND
    whole = begun(ground, 3, steps_of(scenario, loaded.boat))
    whole.world.run(end_ns)
    branch = begun(ground, 3, steps_of(scenario, loaded.boat))
    for at_ns in range(1_234_567_891, end_ns, 2_345_678_912):
        branch.world.run(at_ns)
        branch = restored(branch.save(ground), ground)
    branch.world.run(end_ns)
    assert branch.world.journal.digest == whole.world.journal.digest
    for one, other in zip(whole.requirements, branch.requirements, strict=True):
        assert one.finish(end_ns) == other.finish(end_ns), one.id
    assert whole.losses.finish(end_ns) == branch.losses.finish(end_ns)
    assert whole.acceptance.begun == branch.acceptance.begun
    assert (whole.witness.found, whole.witness.rows) == (branch.witness.found, branch.witness.rows)


RERUN = [
    ("cut", "astern", "3 timeouts"), ("reset", "shift", d.REPEATING), ("touch_ghost", "astern", d.PERMANENT),
    ("clock_off", "shift", d.REPEATING),
]  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize(("fault", "mode", "duration"), RERUN)
def test_a_swept_run_is_a_scenario_that_comes_out_the_same(
    fault: str, mode: str, duration: str, worker: Worker, setup: Setup, settled: dict[str, Settled], tmp_path: Path
) -> None:
    """Read from the file that --write leaves: the same second by second, so that whoever plays it sees what the sweep saw."""
    grid = whole_grid(setup.boat, Asked(1, True, (fault,)))
    run, branch = worker.run(settled[mode], job_for(grid, fault, mode, duration))
    file = tmp_path / "run.yaml"
    file.write_text(scenario_text(plain_scenario(branch.scenario())), encoding="utf-8")
    scenario = load_scenario(file, setup.boat).scenario
    digests: list[str] = []
    keep = lambda some, others, digest: digests.append(digest)  # noqa: E731
    outcome = carry_out(setup.boat, setup.plan, setup.kinds, scenario, run.seed, keep)
    seconds = branch.watched.world.now_ns // SECOND
    assert digests[seconds - 1] == run.digest
    if fault == "cut":
        assert [(loss.to_neutral_ns, loss.run_mm) for loss in outcome.losses] == [
            (loss.to_neutral_ns, loss.run_mm) for loss in run.losses
        ]


def test_what_is_broken_is_found_lost_and_had_again(worker: Worker, grid: Grid, settled: dict[str, Settled]) -> None:
    """Three timeouts of a cut trunk, going astern: the drive notices, the gear goes out in time, and thrust comes back."""
    run, _ = worker.run(settled["astern"], job_for(grid, "cut", "astern", "3 timeouts"))
    assert run.failed == ()
    assert run.ended_ns == run.at_ns + 750 * MS
    assert "drive.loss_to_neutral" in run.passed
    assert {finding.who for finding in run.found} >= {"engine_room", "wheelhouse"}
    assert 250 * MS <= run.found[0].after_ns + 25 * MS <= 300 * MS, "the control timeout, less a lever's period"
    assert run.to_neutral_ns is not None
    assert run.to_neutral_ns <= 2592 * MS, "4 m at 3 kn"
    assert run.thrust_lost_ns is not None
    assert (run.works, run.works_not, run.taken_at) == (("thrust engine", "lights"), (), "wheelhouse")
    assert run.thrust_again_ns is not None
    assert ("drive", 24) in run.rows
    assert run.severity.in_gear == ()
    assert severity_of(run) == ADRIFT
    assert severity_of(replace(run, failed=(NODE_PROGRAM,))) == DANGER


def test_a_hang_that_nobody_watches_stays_in_gear_and_is_not_met(worker: Worker, setup: Setup, settled: dict[str, Settled]) -> None:
    grid = whole_grid(setup.boat, Asked(1, False, ("hang",)))
    job = next(job for job in grid.jobs if "engine_room" in job.key and "nothing to reset it" in job.key and job.mode == "astern")
    run, _ = worker.run(settled["astern"], replace(job, duration=d.PERMANENT, seed=1))
    accepted = {verdict.id: verdict.weakness for verdict in run.verdicts if verdict.verdict == ACCEPTED}
    assert (accepted["drive.self_loss"], run.failed) == ("a drive that stands still with nothing to reset it", ())
    assert run.severity.in_gear == ("engine",)
    assert "thrust engine" in run.works_not


def test_a_node_whose_program_fails_is_a_finding_and_not_the_end(setup: Setup, settled: dict[str, Settled]) -> None:
    ground = setup.ground()
    branch = Branch(ground, settled["astern"].script, settled["astern"].saved, 9_100 * MS, None)
    branch.watched.world.hosts["engine_room"].node.deadline_ns = "soon"  # type: ignore[assignment]
    branch.carry_out()
    found = branch.verdicts()[-1]
    assert (found.id, found.verdict) == (NODE_PROGRAM, "fail")


# ------------------------------------------------------------------------------------------------ on disk


RUNS_OF_TINY = 10
"""Three stretches of trunk, two runs each; and four nodes from another boat file, one each."""


def tiny(setup: Setup) -> Plan:
    return plan_sweep(setup.ground(), "boat.yaml", {}, Asked(1, False, ("cut/shift", "other_boat_file/idle")))


def runs_of(plan: Plan, setup: Setup) -> list[SweptRun]:
    worker = Worker(setup)
    return [run for chunk in chunks_of(plan.jobs) for run in worker.runs(chunk)]


@pytest.mark.slow
def test_kept_torn_and_resumed_is_the_same_as_in_one_piece(setup: Setup, tmp_path: Path) -> None:
    plan = tiny(setup)
    runs = runs_of(plan, setup)
    assert len(runs) == plan.head.runs == RUNS_OF_TINY
    whole, torn = tmp_path / "whole", tmp_path / "torn"
    for folder in (whole, torn):
        folder.mkdir()
    store = Store.begun(whole, plan.head)
    for run in reversed(runs):
        store.keep(run)
    store.finish()
    assert [run.run for run in read_runs(whole / RUNS)] == sorted(run.run for run in runs)
    assert list(read_runs(whole / RUNS)) == sorted(runs, key=lambda run: run.run), "what is read is what was written"
    store = Store.begun(torn, plan.head)
    for run in runs[:5]:
        store.keep(run)
    store.close()
    with (torn / STREAMED).open("a", encoding="utf-8") as file:
        file.write(line_of(runs[5])[:100])
    store = Store.resumed(torn, plan.head)
    assert store.done == {run.run for run in runs[:5]}
    for run in runs[5:]:
        store.keep(run)
    store.finish()
    assert (torn / RUNS).read_bytes() == (whole / RUNS).read_bytes()
    assert read_head(torn) == plan.head
    assert not (torn / STREAMED).exists()
    summary = summary_of(plan.head, store.runs())
    assert summary.runs == RUNS_OF_TINY
    rows = [row.whole for row in gather(store.runs())]
    assert {row.fault for row in rows} == {"cut", "other_boat_file"}
    for row in rows:
        assert row.worst is not None
        worst = max(badness(run, severity_of(run)) for run in runs if run.fault == row.fault)
        assert badness(row.worst, row.worst_severity) == worst


def test_another_sweep_or_a_damaged_one_is_not_resumed(setup: Setup, tmp_path: Path) -> None:
    plan = tiny(setup)
    Store.begun(tmp_path, plan.head).close()
    with pytest.raises(InputError, match="another seed"):
        Store.resumed(tmp_path, replace(plan.head, seed=2))
    (tmp_path / STREAMED).write_text("nonsense\n", encoding="utf-8")
    with pytest.raises(InputError, match="line 1 is damaged"):
        Store.resumed(tmp_path, plan.head)
    (tmp_path / "head.json").write_text(json.dumps({"sweep": 99}), encoding="utf-8")
    with pytest.raises(InputError, match="another version"):
        read_head(tmp_path)


def test_a_run_is_found_by_its_key_again(setup: Setup, grid: Grid) -> None:
    key = grid.jobs[50].key
    found = job_of(setup, key, 1)
    assert isinstance(found, Job)
    assert (found.key, found.seed) == (key, grid.jobs[50].seed)
    assert isinstance(job_of(setup, key + "x", 1), str)
    run, _ = play(setup, replace(found, mode="moored", key=key))
    assert run.key == key


def test_whoever_takes_control_waits_for_the_display(worker: Worker, setup: Setup, settled: dict[str, Settled]) -> None:
    """Claims get lost: the drive obeys the station under an older number, and no lever is moved before the new one counts."""
    grid = whole_grid(setup.boat, Asked(1, False, ("frames_lost",)))
    job = next(job for job in grid.jobs if "a frame claim" in job.key and job.mode == "astern")
    run, _ = worker.run(settled["astern"], replace(job, duration=d.REPEATING, seed=1))
    assert (run.failed, run.works_not, run.taken_at) == ((), (), "wheelhouse")
