"""Tests of the requirements' own teeth: each broken twin fails the requirement it is for, and nothing unrelated."""

from pathlib import Path

import pytest

from busim.requirements.table import BY_ID
from busim.requirements.verdict import FAIL
from busim.run.run import carry_out
from busim.scenario.load import load_scenario
from busim.simulator.kinds import load_kinds
from busim.units import SECOND
from tests.cli.command_line import ROOT, run_busim
from tests.twins.shorten import SHORTEST
from tests.twins.table import TWINS, Twin

from .test_coverage_of_requirements import scenario, shipped, verdicts

pytestmark = pytest.mark.xdist_group("scenarios")

MOST_STEPS = 6
"""Actions and faults of a twin's shortest scenario; for alarm.flood it takes more alarms than a list has lines."""

EVERY_TWIN = pytest.mark.parametrize(
    "twin",
    [pytest.param(twin, id=twin.name, marks=[] if twin.boat == "first_boat" else [pytest.mark.slow]) for twin in TWINS],
)


@EVERY_TWIN
def test_a_twin_fails_its_requirement_and_no_other(twin: Twin) -> None:
    boat = shipped(twin.boat)
    outcome = carry_out(boat.boat, boat.plan, load_kinds({twin.kind: twin.place}), scenario(twin.boat, twin.scenario).scenario, 1)
    wrong = {verdict.id for verdict in outcome.verdicts if verdict.verdict == FAIL}
    assert wrong == {twin.requirement, *twin.also}
    assert set(outcome.failed) == wrong
    for verdict in outcome.verdicts:
        if verdict.verdict == FAIL:
            assert verdict.at_ns is not None
            assert verdict.evidence


@EVERY_TWIN
def test_the_sound_node_passes_where_its_twin_fails(twin: Twin) -> None:
    found = verdicts(twin.boat, twin.scenario)
    for requirement in (twin.requirement, *twin.also):
        assert found[requirement] != FAIL


def test_every_requirement_has_a_twin() -> None:
    assert {twin.requirement for twin in TWINS} == set(BY_ID)


def test_twins_name_what_there_is() -> None:
    assert len({twin.name for twin in TWINS}) == len(TWINS)
    for twin in TWINS:
        assert set(twin.also) <= set(BY_ID) - {twin.requirement}


ONE_OF_EACH_KIND = {twin.kind: twin for twin in reversed(TWINS)}


@pytest.mark.slow
@pytest.mark.parametrize("twin", ONE_OF_EACH_KIND.values(), ids=ONE_OF_EACH_KIND)
def test_the_command_line_ends_with_1(twin: Twin, tmp_path: Path) -> None:
    boat = ROOT / "configs" / twin.boat
    ended = run_busim("run", str(boat), "--scenario", twin.scenario, "--kind", f"{twin.kind}={twin.place}", folder=tmp_path)
    assert ended.status == 1, ended.err
    assert ended.err == ""
    assert f"FAILED: {twin.requirement}" in ended.out


def test_the_command_line_ends_with_0_where_nothing_is_broken(tmp_path: Path) -> None:
    ended = run_busim("run", str(ROOT / "configs" / "first_boat"), folder=tmp_path)
    assert (ended.status, ended.err) == (0, "")


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(1, 13))
def test_a_drive_that_rearms_itself_fails_exactly_where_its_gear_goes_in_again(seed: int) -> None:
    """Whether the defect shows hangs on phases: in some seeds the station lets go first. The judge follows what happened."""
    loaded, brief_cut = shipped("first_boat"), scenario("first_boat", "brief_cut").scenario
    kinds = load_kinds({"drive": "tests.twins.drives:RearmsItself"})
    outcome = carry_out(loaded.boat, loaded.plan, kinds, brief_cut, seed)
    again = [line for line in outcome.lines if line.words.startswith("engine: gear in") and line.at_ns > 6 * SECOND]
    assert ("drive.rearm" in outcome.failed) == bool(again)


@pytest.mark.slow
@pytest.mark.parametrize("twin", TWINS, ids=lambda twin: twin.name)
def test_a_twin_fails_in_a_few_lines_in_which_the_sound_node_does_not(twin: Twin) -> None:
    """`python -m tests.twins.shorten` makes them of the scenarios above."""
    boat = shipped(twin.boat)
    path = SHORTEST / f"{twin.name}.yaml"
    short = load_scenario(path, boat.boat).scenario
    assert len(short.actions) + len(short.faults) <= (13 if twin.requirement == "alarm.flood" else MOST_STEPS)
    verdicts_of = [
        {verdict.id: verdict.verdict for verdict in carry_out(boat.boat, boat.plan, kinds, short, 1).verdicts}
        for kinds in (load_kinds({twin.kind: twin.place}), load_kinds())
    ]
    assert verdicts_of[0][twin.requirement] == FAIL
    assert verdicts_of[1][twin.requirement] != FAIL
