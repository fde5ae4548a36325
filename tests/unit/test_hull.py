"""The hull against closed forms, and the closed forms against a fine numeric integration done here.

Sources: reference values: hull speed 1.34 x sqrt(waterline in feet) knots; stopping with constant astern thrust T and drag
k v^2: S = m/2k ln(1 + k v^2/T). Coasting, dv/dt = -(k/m) v^2, is solved by separation of variables. A knot is 1852 m an hour,
a foot 0.3048 m, both exact.
"""

import math
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busim.plant.engine import STEP_S
from busim.plant.hull import Hull, HullValues, coast, hull_speed_kn, stopping_distance_m
from busim.plant.machinery import AHEAD, ASTERN, NEUTRAL, ActuatorValues, DriveValues, Machinery

KNOT_M_S = 1852 / 3600


def values(mass_kg: float = 7800, top_speed_m_s: float = 7.5 * KNOT_M_S, astern_share: float = 0.6) -> HullValues:
    return HullValues(mass_kg, top_speed_m_s, astern_share, waterline_m=9.0, turning_diameter_m=31.5, given=True)


BOAT = values()


def integrated(force_n: Callable[[float], float], mass_kg: float, speed_m_s: float, until_m_s: float) -> tuple[float, float]:
    """Seconds and metres until the speed has fallen to `until_m_s`: classical Runge-Kutta of fourth order, 1 ms steps; the
    last step is cut in proportion."""
    step_s = 0.001
    time_s = run_m = 0.0
    while speed_m_s > until_m_s:
        a1 = force_n(speed_m_s) / mass_kg
        a2 = force_n(speed_m_s + a1 * step_s / 2) / mass_kg
        a3 = force_n(speed_m_s + a2 * step_s / 2) / mass_kg
        a4 = force_n(speed_m_s + a3 * step_s) / mass_kg
        slower = speed_m_s + (a1 + 2 * a2 + 2 * a3 + a4) * step_s / 6
        share = 1.0 if slower >= until_m_s else (speed_m_s - until_m_s) / (speed_m_s - slower)
        run_m += (speed_m_s + max(slower, until_m_s)) / 2 * step_s * share
        time_s += step_s * share
        speed_m_s = slower
    return time_s, run_m


@pytest.mark.parametrize(("feet", "knots"), [(25, 6.7), (36, 8.04), (49, 9.38), (64, 10.72), (100, 13.4)])
def test_hull_speed(feet: float, knots: float) -> None:
    """1.34 times 5, 6, 7, 8 and 10."""
    assert hull_speed_kn(feet * 0.3048) == pytest.approx(knots, rel=1e-12)


@pytest.mark.parametrize("knots", [1, 3, 5, 8])
@pytest.mark.parametrize("thrust_n", [300.0, 900.0])
def test_the_stopping_distance_is_what_integration_gives(knots: float, thrust_n: float) -> None:
    speed = knots * KNOT_M_S
    _, run_m = integrated(lambda v: -thrust_n - BOAT.drag_kg_m * v * v, BOAT.mass_kg, speed, 0.0)
    assert stopping_distance_m(BOAT.mass_kg, BOAT.drag_kg_m, thrust_n, speed) == pytest.approx(run_m, rel=1e-4)


def test_with_next_to_no_drag_the_stopping_distance_is_that_of_constant_deceleration() -> None:
    """v^2 / 2a, a = T/m."""
    assert stopping_distance_m(8000, 1e-6, 400, 2.0) == pytest.approx(2.0**2 / (2 * 400 / 8000), rel=1e-6)


@pytest.mark.parametrize("knots", [1, 3, 7.5])
def test_coasting_is_what_integration_gives(knots: float) -> None:
    seconds, metres = coast(BOAT, knots * KNOT_M_S)
    time_s, run_m = integrated(lambda v: -BOAT.drag_kg_m * v * v, BOAT.mass_kg, knots * KNOT_M_S, 0.5 * KNOT_M_S)
    assert seconds == pytest.approx(time_s, rel=1e-4)
    assert metres == pytest.approx(run_m, rel=1e-4)


def test_coasting_astern_is_the_same_and_below_half_a_knot_way_is_off() -> None:
    assert coast(BOAT, -2.0) == coast(BOAT, 2.0)
    assert coast(BOAT, 0.5 * KNOT_M_S) == coast(BOAT, 0.0) == (0.0, 0.0)


def machinery(gear: int, rpm: float) -> Machinery:
    actuator = ActuatorValues(700_000, False, 700_000)
    drive = Machinery(DriveValues("engine", actuator, actuator, 800, 3200))
    drive.gear, drive.engine.rpm = gear, rpm
    return drive


def test_full_ahead_settles_at_the_top_speed_with_one_engine_and_with_two() -> None:
    for engines in (1, 2):
        hull = Hull(BOAT, [machinery(AHEAD, 3200)] * engines)
        for _ in range(int(300 / STEP_S)):
            hull.step()
        assert hull.speed_m_s == pytest.approx(BOAT.top_speed_m_s, rel=1e-3)


@pytest.mark.slow
@settings(max_examples=20, deadline=None)
@given(knots=st.floats(0.8, 8), mass_kg=st.floats(2000, 40000))
def test_steps_of_coasting_keep_to_the_closed_form(knots: float, mass_kg: float) -> None:
    boat = values(mass_kg, 8 * KNOT_M_S)
    hull = Hull(boat, [machinery(NEUTRAL, 800)])
    hull.speed_m_s = knots * KNOT_M_S
    steps = 0
    while hull.speed_m_s > 0.5 * KNOT_M_S:
        hull.step()
        steps += 1
    seconds, metres = coast(boat, knots * KNOT_M_S)
    assert steps * STEP_S == pytest.approx(seconds, rel=0.01, abs=STEP_S)
    assert hull.run_m == pytest.approx(metres, rel=0.01, abs=0.5 * KNOT_M_S * STEP_S)


@pytest.mark.parametrize("knots", [2, 3, 5, 7.5])
def test_steps_of_stopping_astern_keep_to_the_closed_form(knots: float) -> None:
    hull = Hull(BOAT, [machinery(ASTERN, 2400)])
    hull.speed_m_s = knots * KNOT_M_S
    thrust_n = 0.6 * 0.02 * 7800 * 9.80665 * (2400 / 3200) ** 2
    while hull.speed_m_s > 0:
        hull.step()
    assert hull.run_m == pytest.approx(stopping_distance_m(BOAT.mass_kg, BOAT.drag_kg_m, thrust_n, knots * KNOT_M_S), rel=0.01)


def test_astern_is_ahead_in_the_mirror_with_less_thrust() -> None:
    ahead, astern = (Hull(values(7800, 4.0, 1.0), [machinery(gear, 2000)]) for gear in (AHEAD, ASTERN))
    for _ in range(500):
        ahead.step()
        astern.step()
    assert (astern.speed_m_s, astern.run_m) == (-ahead.speed_m_s, -ahead.run_m)
    assert ahead.speed_m_s > 0


def test_a_boat_without_engines_lies_still() -> None:
    hull = Hull(BOAT, [])
    hull.step()
    assert (hull.speed_m_s, hull.run_m) == (0.0, 0.0)


def test_drag_at_top_speed_is_two_percent_of_the_weight() -> None:
    """The model's own assumption (common practice, no source), standard gravity 9.80665 m/s2."""
    assert BOAT.drag_kg_m * BOAT.top_speed_m_s**2 == pytest.approx(0.02 * 7800 * 9.80665)
    assert math.isfinite(BOAT.drag_kg_m)
