"""All scenarios of all boats that ship: what they expect holds, and each requirement passes in at least one of them.

The tables of requirement x scenario stand at the end of the test run's output (see tests/conftest.py).
"""

from functools import cache
from pathlib import Path

import pytest

from busim.boat.load import LoadedBoat, load_boat
from busim.requirements.table import REQUIREMENTS
from busim.requirements.verdict import FAIL, PASS, SELF_REPORTED
from busim.run.run import Outcome, carry_out
from busim.scenario.load import LoadedScenario, load_scenario
from busim.simulator.kinds import load_kinds
from tests.conftest import COVERAGE

pytestmark = pytest.mark.xdist_group("scenarios")

CONFIGS = Path(__file__).parents[2] / "configs"
BOATS = sorted(path.parent.name for path in CONFIGS.glob("*/boat.yaml"))
SCENARIOS = sorted((path.parents[1].name, path.stem) for path in CONFIGS.glob("*/scenarios/*.yaml"))
SEEDS = (1, 2, 3)


@cache
def shipped(name: str) -> LoadedBoat:
    return load_boat(CONFIGS / name)


@cache
def scenario(boat_name: str, name: str) -> LoadedScenario:
    return load_scenario(CONFIGS / boat_name / "scenarios" / f"{name}.yaml", shipped(boat_name).boat)


@cache
def outcome(boat_name: str, name: str, seed: int = 1) -> Outcome:
    loaded = shipped(boat_name)
    return carry_out(loaded.boat, loaded.plan, load_kinds(), scenario(boat_name, name).scenario, seed)


def verdicts(boat_name: str, name: str) -> dict[str, str]:
    return {verdict.id: verdict.verdict for verdict in outcome(boat_name, name).verdicts}


def test_there_are_boats_and_scenarios() -> None:
    assert {"first_boat", "marsh_tern"} <= set(BOATS)
    assert all(len([1 for boat_name, _ in SCENARIOS if boat_name == name]) >= 6 for name in BOATS)


FAST = ("cold_start_then_cut", "two_takes", "red_night_from_upper_deck", "cut_in_a_turn")
"""Played by the fast tests too."""
PLAYED = [
    pytest.param(boat, name, seed, marks=[] if seed == 1 and (boat == "first_boat" or name in FAST) else [pytest.mark.slow])
    for boat, name in SCENARIOS
    for seed in SEEDS
]


@pytest.mark.parametrize(("boat_name", "name", "seed"), PLAYED)
def test_what_a_scenario_expects_holds(boat_name: str, name: str, seed: int) -> None:
    """Whatever phases and clock errors the seed draws."""
    assert scenario(boat_name, name).scenario.expect, "a scenario says what must come of it"
    found = outcome(boat_name, name, seed)
    assert (found.failed, found.open) == ([], [])
    assert FAIL not in [verdict.verdict for verdict in found.verdicts]


@pytest.mark.slow
def test_every_requirement_is_exercised_and_passes_somewhere(pytestconfig: pytest.Config) -> None:
    found = {place: verdicts(*place) for place in SCENARIOS}
    pytestconfig.stash[COVERAGE] = found
    passed = {id for row in found.values() for id, verdict in row.items() if verdict in (PASS, SELF_REPORTED)}
    assert passed == {requirement.id for requirement in REQUIREMENTS}


@pytest.mark.parametrize("requirement", [requirement.id for requirement in REQUIREMENTS])
def test_some_scenario_expects_each_requirement_to_pass(requirement: str) -> None:
    """Else a change that no longer exercises it would go unnoticed."""
    assert any(scenario(*place).scenario.expect.get(requirement) == PASS for place in SCENARIOS)
