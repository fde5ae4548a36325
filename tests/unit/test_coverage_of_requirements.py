"""All scenarios of the first boat: what they expect holds, and each requirement passes in at least one of them.

The table of requirement x scenario stands at the end of the test run's output (see tests/conftest.py).
"""

from functools import cache
from pathlib import Path

import pytest

from busim.boat.load import LoadedBoat, load_boat
from busim.requirements.table import REQUIREMENTS
from busim.requirements.verdict import FAIL, PASS
from busim.run.run import Outcome, carry_out
from busim.scenario.load import LoadedScenario, load_scenario
from busim.simulator.kinds import load_kinds
from tests.conftest import COVERAGE

FOLDER = Path(__file__).parents[2] / "configs" / "first_boat"
SCENARIOS = sorted(path.stem for path in (FOLDER / "scenarios").glob("*.yaml"))


@cache
def first_boat() -> LoadedBoat:
    return load_boat(FOLDER)


@cache
def scenario(name: str) -> LoadedScenario:
    return load_scenario(FOLDER / "scenarios" / f"{name}.yaml", first_boat().boat)


@cache
def outcome(name: str) -> Outcome:
    boat = first_boat()
    return carry_out(boat.boat, boat.plan, load_kinds(), scenario(name).scenario, 1)


def verdicts(name: str) -> dict[str, str]:
    return {verdict.id: verdict.verdict for verdict in outcome(name).verdicts}


def test_there_are_scenarios() -> None:
    assert len(SCENARIOS) >= 6


@pytest.mark.parametrize("name", SCENARIOS)
def test_what_a_scenario_expects_holds(name: str) -> None:
    assert scenario(name).scenario.expect, "a scenario says what must come of it"
    found = verdicts(name)
    assert {id: found[id] for id in scenario(name).scenario.expect} == scenario(name).scenario.expect
    assert (outcome(name).failed, outcome(name).open) == ([], [])
    assert FAIL not in found.values()


def test_every_requirement_is_exercised_and_passes_somewhere(pytestconfig: pytest.Config) -> None:
    found = {name: verdicts(name) for name in SCENARIOS}
    pytestconfig.stash[COVERAGE] = found
    passed = {id for row in found.values() for id, verdict in row.items() if verdict == PASS}
    assert passed == {requirement.id for requirement in REQUIREMENTS}


@pytest.mark.parametrize("requirement", [requirement.id for requirement in REQUIREMENTS])
def test_some_scenario_expects_each_requirement_to_pass(requirement: str) -> None:
    """Else a change that no longer exercises it would go unnoticed."""
    assert any(scenario(name).scenario.expect.get(requirement) == PASS for name in SCENARIOS)
