"""Pairs of faults: which are drawn, that a pair is a scenario like any other, and that what was done is kept."""

from dataclasses import replace
from pathlib import Path

import pytest

from busim import sweep_labels as words
from busim.boat.load import load_boat
from busim.boat.shipped import shipped_folder
from busim.reading.problem import InputError
from busim.run.run import carry_out
from busim.simulator.kinds import load_kinds
from busim.sweep.grid import Job, spots_of
from busim.sweep.outcome import line_of
from busim.sweep.pairs import BETWEEN, PAIRS, PairsFile, pair_jobs, pair_of
from busim.sweep.pairs_words import MOST_PAIRS, told_of, worst_of
from busim.sweep.replay import job_of, play
from busim.sweep.rows import FaultRow, gather
from busim.sweep.work import Setup
from busim.units import SECOND

from .swept_runs import QUIET, found, run

MODES = ("moored", "ahead_slow", "astern")


@pytest.fixture(scope="module")
def setup() -> Setup:
    loaded = load_boat(shipped_folder() / "first_boat")
    return Setup(loaded.boat, loaded.plan, load_kinds(), ("busim", "sweep", "first_boat", "--again"))


def latent(fault: str, place: str) -> list[FaultRow]:
    return gather([run(fault=fault, place=place), run(fault="cut", place="main at 8 m", found=found(9))])


# ------------------------------------------------------------------------------------------------ which there are


def test_latent_faults_come_first_and_others_when_those_are_used_up(setup: Setup) -> None:
    rows = latent("bus_off_forced", "wheelhouse on main")
    jobs = pair_jobs(setup.boat, MODES, rows, 20, 1)
    assert {job.under for job in jobs} == {("bus_off_forced", jobs[0].under[1])}  # type: ignore[index]
    many = pair_jobs(setup.boat, MODES[:1], rows, 400, 1)
    assert len(many) == 400
    assert len({job.under[0] for job in many if job.under is not None}) > 5


def test_without_a_latent_fault_any_are_paired(setup: Setup) -> None:
    jobs = pair_jobs(setup.boat, MODES, [], 50, 1)
    assert len({job.key for job in jobs}) == 50
    assert len({job.mode for job in jobs}) == len(MODES)


def test_the_same_pairs_each_time_and_others_under_another_seed(setup: Setup) -> None:
    one, again, other = (pair_jobs(setup.boat, MODES, [], 30, seed) for seed in (1, 1, 2))
    assert one == again
    assert {job.key for job in one} != {job.key for job in other}


def test_they_are_numbered_in_the_order_in_which_they_are_done(setup: Setup) -> None:
    jobs = pair_jobs(setup.boat, MODES, [], 30, 1)
    assert [job.run for job in jobs] == list(range(30))
    assert jobs == sorted(jobs, key=lambda job: (job.mode, job.state))


def test_no_fault_is_paired_with_itself_nor_with_one_in_its_way(setup: Setup) -> None:
    spots = {spot.name: spot for spot in spots_of(setup.boat)}
    for job in pair_jobs(setup.boat, MODES, [], 400, 1):
        first, _, rest = job.key.partition(BETWEEN)
        second = rest[: rest.index(f"/{job.mode}/")]
        assert first != second
        one, other = spots[first], spots[second]
        assert not one.fault.from_start
        assert one.fault.acts_on is None or one.fault.acts_on != other.fault.acts_on or one.place != other.place


@pytest.mark.parametrize(
    ("only", "faults", "modes"),
    [(["cut"], {"cut"}, set(MODES)), (["cut/idle", "short/idle"], {"cut", "short"}, {"idle"}), (["/idle"], None, {"idle"})],
)
def test_what_a_sweep_is_of_only_are_the_second_faults_with_any_first(
    only: list[str], faults: set[str] | None, modes: set[str], setup: Setup
) -> None:
    jobs = pair_jobs(setup.boat, (*MODES, "idle"), [], 60, 1, only)
    assert len(jobs) == 60
    assert len({job.under[0] for job in jobs if job.under is not None}) > 5
    assert {job.mode for job in jobs} <= modes | {"idle"}
    struck = {job.fault for job in jobs}
    assert struck == faults if faults is not None else len(struck) > 5


@pytest.mark.parametrize(("modes", "count"), [((), 5), (MODES, 0)])
def test_nothing_to_pair_is_no_pair(modes: tuple[str, ...], count: int, setup: Setup) -> None:
    assert pair_jobs(setup.boat, modes, [], count, 1) == []


# ------------------------------------------------------------------------------------------------ one again


def test_a_pair_is_known_by_its_key_alone(setup: Setup) -> None:
    for job in pair_jobs(setup.boat, MODES, [], 40, 3):
        assert pair_of(setup.boat, job.key, 3) == replace(job, run=0)


@pytest.mark.parametrize("key", ["cut: main at 8 m + cut: main at 8 m/moored/permanent/pair", "a + b/moored/permanent/pair", " + "])
def test_what_is_no_pair_is_not_played(key: str, setup: Setup) -> None:
    assert pair_of(setup.boat, key, 1) is None
    assert isinstance(job_of(setup, key, 1), str)


def job_like(setup: Setup, first: str, second: str, mode: str) -> Job:
    names = [spot.name for spot in spots_of(setup.boat)]
    one = next(name for name in names if name.startswith(first))
    other = next(name for name in names if name.startswith(second))
    job = job_of(setup, f"{one}{BETWEEN}{other}/{mode}/permanent/pair", 1)
    assert isinstance(job, Job)
    return job


def test_a_pair_is_a_scenario_that_comes_out_the_same(setup: Setup) -> None:
    swept, branch = play(setup, job_like(setup, "bus_off_forced: wheelhouse", "cut: main", "astern"))
    assert swept.under == "bus_off_forced: wheelhouse on main"
    digests: list[str] = []
    keep = lambda some, others, digest: digests.append(digest)  # noqa: E731
    carry_out(setup.boat, setup.plan, setup.kinds, branch.scenario(), swept.seed, keep)
    assert digests[branch.watched.world.now_ns // SECOND - 1] == swept.digest
    assert swept.to_neutral_ns is not None


def test_who_tells_of_the_first_fault_tells_no_news_of_the_second(setup: Setup) -> None:
    """A switch that broke long before has been shown; only what is said from the second on counts."""
    swept, _ = play(setup, job_like(setup, "sensor_open: engine_room, rpm", "lamp_open", "astern"))
    assert all(finding.after_ns >= 0 for finding in swept.found)


# ------------------------------------------------------------------------------------------------ kept, and told


def test_what_was_done_is_kept_and_a_torn_line_is_not(tmp_path: Path, setup: Setup) -> None:
    jobs = pair_jobs(setup.boat, MODES, [], 3, 1)
    file = PairsFile(tmp_path)
    for job in jobs[:2]:
        file.keep(run(key=job.key, under="x"))
    file.close()
    with (tmp_path / PAIRS).open("a", encoding="utf-8") as torn:
        torn.write(line_of(run(key=jobs[2].key))[:50])
    again = PairsFile(tmp_path)
    assert set(again.kept) == {job.key for job in jobs[:2]}
    again.keep(run(key=jobs[2].key))
    again.close()
    last = PairsFile(tmp_path)
    assert [each.key for each in last.runs(jobs)] == [job.key for job in jobs]
    last.close()


def test_a_damaged_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / PAIRS).write_text("nonsense\n")
    with pytest.raises(InputError, match="damaged"):
        PairsFile(tmp_path)


def test_the_worst_pairs_are_told_and_quiet_ones_counted() -> None:
    harmless = [run(key=str(number), found=found(5)) for number in range(30)]
    assert worst_of(harmless) == []
    assert list(told_of(harmless)) == [words.PAIRS_TITLE.format(pairs=30, quiet=0), words.PAIRS_NONE]
    in_gear = run(key="worst", severity=replace(QUIET, in_gear=("port",)))
    lost = [run(key=f"lost {number}", works_not=("lights",)) for number in range(30)]
    assert [each.key for each in worst_of([*harmless, *lost, in_gear])][:2] == ["worst", "lost 0"]
    assert len(worst_of(lost)) == MOST_PAIRS
