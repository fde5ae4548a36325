"""Over ground: what is said of it, read back, and reported with each loss of control; and the scenario actions of the helm.

Vector sums by Pythagoras. A knot is 1852 m an hour: 2 kn are 1028.9 mm/s.
"""

import math
from pathlib import Path
from typing import Any

import pytest

from busim.boat.load import load_boat
from busim.events.ground_view import GroundView, apart_mm
from busim.events.journal import Journal
from busim.run.run import Outcome, carry_out
from busim.scenario.load import steps_of
from busim.scenario.model import ScenarioFile
from busim.simulator.kinds import load_kinds
from busim.units import MS, SECOND
from tests.unit.test_rudder_machinery import helm_boat

FIRST_BOAT = load_boat(Path(__file__).parents[2] / "configs" / "first_boat")


def view(*events: tuple[Any, ...]) -> GroundView:
    journal, ground = Journal(), GroundView()
    ground.attach(journal)
    for at_ns, kind, *fields in events:
        journal.event(at_ns, kind, *fields)
    return ground


def test_before_anything_is_said_she_runs_north() -> None:
    assert view().position_mm(5 * SECOND, 730) == (0, 730)
    assert view((9 * SECOND, "ground", 4, 5)).position_mm(5 * SECOND, 730) == (0, 730)


def test_between_two_positions_she_was_between_them() -> None:
    ground = view((SECOND, "ground", 100, 0), (2 * SECOND, "ground", 300, -50))
    assert ground.position_mm(1500 * MS, 0) == (200, -25)
    assert ground.position_mm(2 * SECOND, 0) == (300, -50)
    assert ground.position_mm(60 * SECOND, 0) == (300, -50)


def test_the_bow_and_whether_there_was_a_stream() -> None:
    assert (view().bow, view().streamed) == ((0, 1_000_000), False)
    assert view((1, "heading", 600_000, 800_000)).bow == (600_000, 800_000)
    assert not view((1, "stream", 30, 0)).streamed
    assert view((1, "stream", 30, 500), (2, "stream", 0, 0)).streamed


def test_apart_is_the_straight_line() -> None:
    assert apart_mm((1, 1), (4, 5)) == 5
    assert apart_mm((0, 0), (1000, 1000)) == 1414


def cut_under_way(stream: dict[str, Any] | None) -> Outcome:
    actions: list[dict[str, Any]] = [
        {"at_s": 1, "key": {"station": "wheelhouse", "name": "take"}},
        {"at_s": 2.5, "lever": {"station": "wheelhouse", "drive": "engine", "to_permille": 600}},
    ]
    if stream is not None:
        actions.append({"at_s": 0.5, "stream": stream})
    scenario = ScenarioFile.model_validate(
        {"scenario": "made", "lasts_s": 12, "actions": tuple(actions), "faults": ({"at_s": 8, "cut": {"bus": "main", "at_m": 8}},)}
    )
    return carry_out(FIRST_BOAT.boat, FIRST_BOAT.plan, dict(load_kinds()), scenario, 1)


def test_metres_over_ground_are_told_where_there_is_a_stream_and_only_there() -> None:
    (still,) = cut_under_way(None).losses
    assert (still.ground_mm, still.ground_to_idle_mm) == (None, None)
    (abeam,) = cut_under_way({"set_deg": 90, "kn": 2}).losses
    assert (abeam.run_mm, abeam.to_neutral_ns) == (still.run_mm, still.to_neutral_ns), "she does not feel it"
    assert still.run_mm is not None
    assert still.to_neutral_ns is not None
    drift_mm = 1028.9 * still.to_neutral_ns / SECOND
    assert abeam.ground_mm == pytest.approx(math.hypot(still.run_mm, drift_mm), rel=0.01)
    (against,) = cut_under_way({"set_deg": 180, "kn": 2}).losses
    assert against.ground_mm == pytest.approx(abs(still.run_mm - drift_mm), abs=20)


def test_each_action_becomes_its_step() -> None:
    actions = (
        {"at_s": 0, "engines": {"running": False}},
        {"at_s": 0, "stream": {"set_deg": 250, "kn": 1.5}},
        {"at_s": 2, "crank": {"drive": "port"}},
        {"at_s": 3.5, "wheel": {"station": "wheelhouse", "to_permille": -400, "over_ms": 900}},
    )
    scenario = ScenarioFile.model_validate({"scenario": "made", "lasts_s": 12, "actions": actions})
    assert steps_of(scenario, helm_boat()) == [
        (0, 0, "engines", (0,)),
        (0, 1, "stream", (250, 1.5)),
        (2 * SECOND, 2, "crank", ("port", 2000)),
        (3500 * MS, 3, "move_wheel", ("wheelhouse", -400, 900)),
    ]


def test_a_boat_begun_with_her_engine_off_is_started_and_driven() -> None:
    actions = (
        {"at_s": 0, "engines": {"running": False}},
        {"at_s": 1, "key": {"station": "wheelhouse", "name": "take"}},
        {"at_s": 2, "crank": {"drive": "engine"}},
        {"at_s": 5, "lever": {"station": "wheelhouse", "drive": "engine", "to_permille": 400}},
    )
    scenario = ScenarioFile.model_validate({"scenario": "made", "lasts_s": 12, "actions": actions})
    outcome = carry_out(FIRST_BOAT.boat, FIRST_BOAT.plan, dict(load_kinds()), scenario, 1)
    words = [line.words for line in outcome.lines]
    expected = ["engine: engine stopped", "engine: start key turned, 2 s", "engine: starter turns", "engine: starter lets go",
                "engine: engine runs", "engine: gear in, ahead"]  # fmt: skip
    assert [line for line in words if line in expected] == expected
