"""Engines and starters: started, cranked too short, without fuel, without permission; stopped, caught again, stalled; in gear.

A first-order lag of 0.4 s, 200 rpm of the starter and 1.2 s until it fires are the model's own assumptions, so the closed form
rpm = wanted + (before - wanted) exp(-t/0.4 s) is what they are checked against.
"""

import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busim.events.journal import Journal
from busim.plant.engine import CRANKING, ENGINE_STOP, FUEL_CUT, OFF, RUNNING, STOPPING, Engine
from busim.plant.hull import HullValues
from busim.plant.machinery import ActuatorValues, DriveValues
from busim.plant.plant import Plant
from busim.seam import OUTPUT
from busim.simulator.kernel import Loop
from busim.units import MS, SECOND
from tests.unit.test_rudder_machinery import heard, helm_world, told

ACTUATOR = ActuatorValues(1_000_000, False, 1_000_000)


class EngineRoom:
    """Two engines, off, with what happened and what the starters drew."""

    def __init__(self, *, running: bool = False) -> None:
        self.loop, self.journal = Loop(), Journal()
        values = [DriveValues(name, ACTUATOR, ACTUATOR, 650, 2200) for name in ("port", "starboard")]
        self.plant = Plant(self.loop, self.journal, values, HullValues(16_500, 4.4, 0.55, 12.9, 45.0, given=True))
        self.plant.supplies = ["start", "house"]
        self.drawn: list[tuple[int, str, bool]] = []
        self.plant.on_crank = lambda now_ns, supply, begins: self.drawn.append((now_ns, supply, begins))
        for timer in (self.plant.crossing, self.plant.motion):
            self.loop.add(timer)
        self.plant.put_engines(0, running)
        self.loop.arm(self.plant.motion, 0)
        self.engine = self.plant.drives[0].engine

    def at(self, at_ns: int) -> "EngineRoom":
        self.loop.run(at_ns)
        self.plant.advance(at_ns)
        return self

    def crank(self, at_ns: int, for_ns: int) -> None:
        self.at(at_ns).plant.crank(at_ns, 0, for_ns)

    def said(self, *kinds: str) -> list[tuple[Any, ...]]:
        return [(event[0], *event[3:]) for event in self.journal.events if event[2] in kinds]


# ------------------------------------------------------------------------------------------------ starting


def test_off_it_is_off_from_the_start_and_says_so() -> None:
    room = EngineRoom()
    room.at(SECOND)
    assert room.said("engine") == [(0, "port", 0), (0, "starboard", 0)]
    assert (room.engine.rpm, room.engine.state) == (0.0, OFF)


def test_it_fires_after_1200_ms_and_settles_at_idle() -> None:
    room = EngineRoom()
    room.crank(SECOND, 5 * SECOND)
    room.at(2 * SECOND)
    assert room.engine.state == CRANKING
    assert room.engine.rpm == pytest.approx(200 * (1 - math.exp(-1 / 0.4)), rel=0.02)
    room.at(2200 * MS - 1)
    assert room.engine.state == CRANKING
    room.at(2200 * MS)
    assert room.engine.state == RUNNING
    assert room.said("starter") == [(SECOND, "port", 1), (2200 * MS, "port", 0)]
    assert room.drawn == [(SECOND, "start", True), (2200 * MS, "start", False)]
    room.at(6 * SECOND)
    assert room.engine.rpm == pytest.approx(650, rel=0.01)
    assert room.said("engine")[2:] in ([(2200 * MS, "port", 1)], [(2300 * MS, "port", 1)])


@pytest.mark.parametrize("for_ms", [1, 500, 1199])
def test_cranked_too_short_it_does_not_fire_and_never_counts_as_running(for_ms: int) -> None:
    room = EngineRoom()
    room.crank(SECOND, for_ms * MS)
    room.at(10 * SECOND)
    assert room.said("starter") == [(SECOND, "port", 1), (SECOND + for_ms * MS, "port", 0)]
    assert room.drawn[-1] == (SECOND + for_ms * MS, "start", False)
    assert len(room.said("engine")) == 2
    assert room.engine.rpm < 1


def test_cranked_for_just_as_long_as_it_needs_it_fires() -> None:
    room = EngineRoom()
    room.crank(SECOND, 1200 * MS)
    room.at(3 * SECOND)
    assert room.engine.state == RUNNING
    assert room.drawn == [(SECOND, "start", True), (2200 * MS, "start", False)]


def test_an_engine_that_runs_or_is_cranked_is_not_cranked() -> None:
    room = EngineRoom(running=True)
    room.crank(SECOND, 3 * SECOND)
    room.at(5 * SECOND)
    assert not room.said("starter")
    room = EngineRoom()
    room.crank(SECOND, 3 * SECOND)
    room.crank(2 * SECOND, 3 * SECOND)
    room.at(9 * SECOND)
    assert room.said("starter") == [(SECOND, "port", 1), (2200 * MS, "port", 0)]


def test_it_needs_1200_ms_with_the_fuel_on() -> None:
    room = EngineRoom()
    stop = room.plant.fuel_sink(0, ENGINE_STOP)
    stop(0, 1)
    room.crank(SECOND, 10 * SECOND)
    room.at(4 * SECOND)
    assert room.engine.state == CRANKING
    stop(4 * SECOND, 0)
    room.at(4500 * MS)
    stop(4500 * MS, 1)
    room.at(5 * SECOND)
    stop(5 * SECOND, 0)
    room.at(6200 * MS - 1)
    assert room.engine.state == CRANKING
    room.at(6200 * MS)
    assert room.engine.state == RUNNING


# ------------------------------------------------------------------------------------------------ permission


def test_a_starter_nobody_interlocks_turns_and_one_that_is_refused_does_not() -> None:
    room = EngineRoom()
    permit = room.plant.start_permit_sink(0, "port")
    permit(0, 0)
    room.crank(SECOND, 3 * SECOND)
    room.at(2 * SECOND)
    assert (room.said("starter"), room.drawn) == ([(SECOND, "port", 2)], [])
    permit(2 * SECOND, 1)
    room.crank(3 * SECOND, 3 * SECOND)
    room.at(4 * SECOND)
    assert room.engine.state == CRANKING


@pytest.mark.parametrize("gone", [0, -1])
def test_permission_withdrawn_or_without_power_drops_the_starter(gone: int) -> None:
    room = EngineRoom()
    permit = room.plant.start_permit_sink(0, "port")
    permit(0, 1)
    room.crank(SECOND, 3 * SECOND)
    room.at(1500 * MS)
    permit(1500 * MS, gone)
    room.at(9 * SECOND)
    assert room.said("starter") == [(SECOND, "port", 1), (1500 * MS, "port", 0)]
    assert room.drawn[-1] == (1500 * MS, "start", False)
    assert room.engine.state == OFF


def test_of_two_that_permit_both_must() -> None:
    engine = Engine(650)
    engine.put(650, running=False)
    engine.permits = {"port": 1, "port_cutout": 0}
    assert not engine.may_crank
    engine.permits["port_cutout"] = 1
    assert engine.may_crank


# ------------------------------------------------------------------------------------------------ stopping


@pytest.mark.parametrize("cause", [ENGINE_STOP, FUEL_CUT])
def test_it_runs_down_and_stays_off_until_it_is_started_anew(cause: int) -> None:
    """650 rpm fall to 100 as exp(-t/0.4 s) in 0.75 s."""
    room = EngineRoom(running=True)
    sink = room.plant.fuel_sink(0, cause)
    room.at(SECOND)
    sink(SECOND, 1)
    assert room.engine.state == STOPPING
    room.at(4 * SECOND)
    ((stopped_ns, *_),) = room.said("engine")
    assert SECOND + 700 * MS <= stopped_ns <= SECOND + 900 * MS
    sink(4 * SECOND, 0)
    room.at(8 * SECOND)
    assert room.engine.state == OFF
    room.crank(8 * SECOND, 2 * SECOND)
    room.at(10 * SECOND)
    assert room.engine.state == RUNNING


def test_both_that_cut_the_fuel_must_let_go() -> None:
    engine = Engine(650)
    engine.cut(0, ENGINE_STOP, True)
    engine.cut(0, FUEL_CUT, True)
    engine.cut(0, ENGINE_STOP, False)
    assert not engine.fuel
    engine.cut(0, FUEL_CUT, False)
    assert engine.fuel


@pytest.mark.parametrize(("off_ms", "state"), [(100, RUNNING), (250, RUNNING), (400, OFF)])
def test_fuel_that_comes_back_while_it_still_turns_fast_lets_it_catch_again(off_ms: int, state: int) -> None:
    """650 rpm fall to 300 in 0.31 s."""
    room = EngineRoom(running=True)
    stop = room.plant.fuel_sink(0, ENGINE_STOP)
    room.at(SECOND)
    stop(SECOND, 1)
    room.at(SECOND + off_ms * MS)
    stop(SECOND + off_ms * MS, -1)  # the output's power is gone: a solenoid that has to be held lets go
    room.at(5 * SECOND)
    assert room.engine.state == state


def test_stalled_it_dies_by_itself_and_can_be_started_again() -> None:
    room = EngineRoom(running=True)
    room.at(SECOND)
    with room.plant.changing(SECOND, 0) as machinery:
        machinery.engine.stall()
    room.at(3 * SECOND)
    assert room.engine.state == OFF
    room.crank(3 * SECOND, 2 * SECOND)
    room.at(5 * SECOND)
    assert room.engine.state == RUNNING


def test_an_engine_that_will_not_stop_runs_on_without_fuel_and_stops_once_it_will() -> None:
    room = EngineRoom(running=True)
    with room.plant.changing(0, 0) as machinery:
        machinery.engine.refuse_to_stop(0, True)
    room.plant.fuel_sink(0, ENGINE_STOP)(SECOND, 1)
    room.at(9 * SECOND)
    assert room.engine.state == RUNNING
    with room.plant.changing(9 * SECOND, 0) as machinery:
        machinery.engine.refuse_to_stop(9 * SECOND, False)
    room.at(12 * SECOND)
    assert room.engine.state == OFF


@settings(max_examples=60, deadline=None)
@given(
    steps=st.lists(
        st.tuples(st.integers(0, 8000), st.sampled_from(["crank", "stop", "cut", "permit"]), st.integers(-1, 1)), max_size=12
    )
)
def test_whatever_is_done_the_starter_draws_only_while_it_turns_and_nothing_starts_by_itself(
    steps: list[tuple[int, str, int]],
) -> None:
    room = EngineRoom()
    sinks = {"stop": room.plant.fuel_sink(0, ENGINE_STOP), "cut": room.plant.fuel_sink(0, FUEL_CUT),
             "permit": room.plant.start_permit_sink(0, "port")}  # fmt: skip
    cranked = False
    for at_ms, what, value in sorted(steps, key=lambda step: step[0]):
        room.at(at_ms * MS)
        if what == "crank":
            room.plant.crank(at_ms * MS, 0, 700 * MS * (value + 2))
            cranked = True
        else:
            sinks[what](at_ms * MS, value)
        assert bool(room.drawn and room.drawn[-1][2]) is (room.engine.state == CRANKING)
    room.at(20 * SECOND)
    assert [begins for *_, begins in room.drawn] == [True, False] * (len(room.drawn) // 2)
    assert cranked or not room.engine.running


# ------------------------------------------------------------------------------------------------ in a boat


def test_cranked_in_gear_the_boat_moves(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where nobody asks for permission, which is what a neutral switch in the starter's circuit is for."""
    world = helm_world(monkeypatch, drive=[(100 * MS, ((OUTPUT, "shift", 1),))])
    drawn: list[Any] = []
    world.plant.on_crank = lambda *call: drawn.append(call)
    world.plan_steps([(0, 0, "engines", (0,)), (3 * SECOND, 0, "crank", ("port", 2000))])
    events = heard(world, "starter", "engine", "crank")
    world.run(10 * SECOND)
    assert events[:3] == [(0, "port", 0), (0, "starboard", 0), (3 * SECOND, "port", 2000)]
    assert events[3:5] == [(3 * SECOND, "port", 1), (4200 * MS, "port", 0)]
    assert [call[1:] for call in drawn] == [("start", True), ("start", False)], "the supply of the drive's node"
    # Idle thrust (650 / 2200)^2 of 1 % of the weight: 0.5 a t^2 with a = 0.01 g x 0.0873 over the 5.5 s at idle, 0.13 m.
    assert world.plant.hull.run_m == pytest.approx(0.13, rel=0.15)
    assert world.plant.hull.east > 0, "port engine alone: her bow goes to starboard"


def test_start_permission_comes_from_the_drives_node(monkeypatch: pytest.MonkeyPatch) -> None:
    world = helm_world(monkeypatch, drive=[(0, ((OUTPUT, "start_permit", 0),)), (4 * SECOND, ((OUTPUT, "start_permit", 1),))])
    world.plan_steps([(0, 0, "engines", (0,)), *[(at_s * SECOND, 0, "crank", ("port", 2000)) for at_s in (2, 5)]])
    events = heard(world, "starter")
    world.run(8 * SECOND)
    assert events == [(2 * SECOND, "port", 2), (5 * SECOND, "port", 1), (6200 * MS, "port", 0)]
    assert dict(told(world, "port", "rpm"))[0] == 0
    assert told(world, "port", "rpm")[-1][1] > 600
