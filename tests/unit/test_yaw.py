"""How she turns and drifts: against the closed form of Nomoto's first-order model, the geometry of a turn, and vector sums.

Sources: T r' + r = K delta (Nomoto, Taguchi, Honda and Hirano, On the steering qualities of ships, 1957; from memory), whose
answer to a step is r = K delta (1 - exp(-t/T)), with T a length run at her speed (T' = 1, the model's own assumption). A body
that moves at v and turns at r goes round a circle of diameter 2 v / r. Radius of gyration a quarter of the length: common
practice. A knot is 1852 m an hour.
"""

import math
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busim.events.journal import Journal
from busim.plant.compass import PARTS, UNIT_VECTORS
from busim.plant.engine import STEP_S
from busim.plant.hull import Hull, HullValues
from busim.plant.machinery import AHEAD, ASTERN, NEUTRAL, ActuatorValues, DriveValues, Machinery
from busim.plant.plant import EngineSpeed, Plant
from busim.plant.rudder import RudderValues
from busim.simulator.kernel import Loop
from busim.units import MS, SECOND

KNOT_M_S = 1852 / 3600
LENGTH_M = 12.9
DIAMETER_M = 40.0
BOAT = HullValues(16_500, 8.5 * KNOT_M_S, 0.55, LENGTH_M, DIAMETER_M, given=True)
ACTUATOR = ActuatorValues(700_000, False, 700_000)


def machinery(offset_m: float, gear: int = AHEAD, rpm: float = 2200) -> Machinery:
    drive = Machinery(DriveValues("engine", ACTUATOR, ACTUATOR, 650, 2200, offset_m))
    drive.gear, drive.engine.rpm = gear, rpm
    return drive


def twins(port: int, starboard: int, rpm: float = 2200) -> Hull:
    return Hull(BOAT, [machinery(-1.1, port, rpm), machinery(1.1, starboard, rpm)])


def steps(hull: Hull, seconds: float, rudder_share: float = 0.0) -> None:
    for _ in range(round(seconds / STEP_S)):
        hull.step(rudder_share)


# ------------------------------------------------------------------------------------------------ the compass


def test_the_compass_is_the_sine_and_cosine_of_each_degree() -> None:
    assert len(UNIT_VECTORS) == 360
    for degree, (east, north) in enumerate(UNIT_VECTORS):
        assert abs(east - PARTS * math.sin(math.radians(degree))) <= 0.5 + 1e-6
        assert abs(north - PARTS * math.cos(math.radians(degree))) <= 0.5 + 1e-6


# ------------------------------------------------------------------------------------------------ the rudder


@pytest.mark.parametrize("side", [-1, 1])
@pytest.mark.parametrize("rpm", [1000, 2200])
def test_hard_over_she_goes_round_a_circle_of_the_diameter_given(side: int, rpm: float) -> None:
    """Three points of her track over ground, a third of a circle apart as near as may be, lie on it; so do 2 v / r."""
    hull = twins(AHEAD, AHEAD, rpm)
    steps(hull, 120, float(side))
    assert 2 * hull.speed_m_s / abs(hull.yaw_rad_s) == pytest.approx(DIAMETER_M, rel=0.03)
    assert (hull.yaw_rad_s > 0) is (side > 0), "starboard rudder turns her to starboard"
    third_s = 2 * math.pi / abs(hull.yaw_rad_s) / 3
    points = []
    for _ in range(3):
        points.append((hull.east_m, hull.north_m))
        steps(hull, third_s, float(side))
    (ax, ay), (bx, by), (cx, cy) = points
    twice_area = abs((bx - ax) * (cy - ay) - (cx - ax) * (by - ay))
    sides = math.dist(points[0], points[1]) * math.dist(points[1], points[2]) * math.dist(points[2], points[0])
    assert sides / twice_area == pytest.approx(DIAMETER_M, rel=0.03), "circumscribed circle: d = abc / 2A"


@pytest.mark.parametrize("share", [-1.0, -0.3, 0.5, 1.0])
@pytest.mark.parametrize("knots", [3, 6])
def test_a_step_of_the_rudder_at_constant_speed_is_answered_as_nomoto_says(knots: float, share: float) -> None:
    speed = knots * KNOT_M_S
    gain_rad_s, time_s = speed / (DIAMETER_M / 2) * share, LENGTH_M / speed
    hull = Hull(BOAT, [machinery(0.0, NEUTRAL)])
    for step in range(1, round(3 * time_s / STEP_S)):
        hull.speed_m_s = speed
        hull.step(share)
        expected = gain_rad_s * (1 - math.exp(-step * STEP_S / time_s))
        assert hull.yaw_rad_s == pytest.approx(expected, rel=0.01, abs=0.01 * abs(gain_rad_s))


def test_without_way_the_wash_of_a_propeller_ahead_turns_her_and_a_propeller_astern_does_not() -> None:
    ahead, astern = Hull(BOAT, [machinery(0.0, AHEAD)]), Hull(BOAT, [machinery(0.0, ASTERN)])
    for hull in (ahead, astern):
        hull.step(1.0)
    assert ahead.yaw_rad_s > 0
    assert astern.yaw_rad_s == 0


def test_with_way_astern_the_rudder_acts_the_other_way_round() -> None:
    hull = Hull(BOAT, [machinery(0.0, NEUTRAL)])
    hull.speed_m_s = -2.0
    steps(hull, 2, 1.0)
    assert hull.yaw_rad_s < 0


# ------------------------------------------------------------------------------------------------ thrust off the centre line


@pytest.mark.parametrize(
    ("port", "starboard", "side"),
    [
        (AHEAD, NEUTRAL, 1), (NEUTRAL, AHEAD, -1), (ASTERN, NEUTRAL, -1), (NEUTRAL, ASTERN, 1), (AHEAD, ASTERN, 1),
        (ASTERN, AHEAD, -1),
    ],
)
def test_she_turns_away_from_the_propeller_that_pushes(port: int, starboard: int, side: int) -> None:
    hull = twins(port, starboard)
    steps(hull, 5)
    assert (hull.yaw_rad_s > 0) is (side > 0)
    assert (hull.east > 0) is (side > 0), "her bow was north: to starboard is east"


@pytest.mark.parametrize("gear", [AHEAD, ASTERN])
def test_both_alike_she_goes_straight(gear: int) -> None:
    hull = twins(gear, gear)
    steps(hull, 60)
    assert (hull.yaw_rad_s, hull.east, hull.north) == (0.0, 0.0, 1.0)
    assert hull.north_m == pytest.approx(hull.run_m)


def test_opposite_thrust_turns_her_on_the_spot() -> None:
    """One round takes well under two minutes, and she stays within half a length where thrust astern is as good as ahead."""
    even = HullValues(16_500, 8.5 * KNOT_M_S, 1.0, LENGTH_M, DIAMETER_M, given=True)
    hull = Hull(even, [machinery(-1.1, AHEAD, 1200), machinery(1.1, ASTERN, 1200)])
    furthest_m, rounds, before = 0.0, 0, hull.east
    while rounds < 2:  # of half a turn, bow through north or south
        hull.step()
        furthest_m = max(furthest_m, math.hypot(hull.east_m, hull.north_m))
        rounds += (hull.east > 0) is not (before > 0) and before != 0
        before = hull.east
        assert hull.run_m < LENGTH_M / 2
    assert furthest_m < LENGTH_M / 2
    assert hull.speed_m_s == 0.0


def test_the_moment_on_a_boat_at_rest_is_thrust_times_arm_over_inertia() -> None:
    """Newton; the thrust of one of two engines at full is 1 % of the weight (half of the model's 2 %)."""
    hull = twins(AHEAD, NEUTRAL)
    hull.step()
    moment_nm, inertia_kg_m2 = 0.01 * 16_500 * 9.80665 * 1.1, 16_500 * (LENGTH_M / 4) ** 2
    assert hull.yaw_rad_s == pytest.approx(moment_nm / inertia_kg_m2 * STEP_S)


# ------------------------------------------------------------------------------------------------ energy and the unit vector


@settings(max_examples=60, deadline=None)
@given(
    speed=st.floats(-8, 8),
    yaw=st.floats(-0.5, 0.5),
    shares=st.lists(st.floats(-1, 1), min_size=1, max_size=5),
    length_m=st.floats(4, 20),
)
def test_without_thrust_energy_only_falls_whatever_the_rudder_does(
    speed: float, yaw: float, shares: list[float], length_m: float
) -> None:
    """m v^2 / 2 + I r^2 / 2; a step of 20 ms may be wrong by a ten-thousandth of what there is."""
    values = HullValues(9000, 8 * KNOT_M_S, 0.6, length_m, 3.5 * length_m, given=True)
    hull = Hull(values, [machinery(0.0, NEUTRAL)])
    hull.speed_m_s, hull.yaw_rad_s, hull.turned = speed, yaw, True

    def energy() -> float:
        return values.mass_kg * hull.speed_m_s**2 / 2 + values.mass_kg * (length_m / 4) ** 2 * hull.yaw_rad_s**2 / 2

    before = energy()
    for share in shares:
        for _ in range(100):
            hull.step(share)
            assert energy() <= before * (1 + 1e-4)
            before = energy()


def test_without_thrust_and_rudder_way_and_turn_die_away() -> None:
    hull = Hull(BOAT, [machinery(0.0, NEUTRAL)])
    hull.speed_m_s, hull.yaw_rad_s, hull.turned = 3.0, 0.3, True
    for _ in range(3000):
        speed, yaw = hull.speed_m_s, hull.yaw_rad_s
        hull.step()
        assert 0 < hull.speed_m_s < speed
        assert 0 < hull.yaw_rad_s < yaw
    assert hull.yaw_rad_s < 0.01


def test_the_bow_stays_a_unit_vector_and_turns_by_the_yaw() -> None:
    hull = twins(AHEAD, ASTERN)
    turned = 0.0
    for _ in range(20_000):
        hull.step(0.3)
        turned += hull.yaw_rad_s * STEP_S
        assert math.hypot(hull.east, hull.north) == pytest.approx(1, abs=1e-12)
    assert math.sin(turned) == pytest.approx(hull.east, abs=0.02)
    assert math.cos(turned) == pytest.approx(hull.north, abs=0.02)


# ------------------------------------------------------------------------------------------------ the stream


@pytest.mark.parametrize("set_deg", [0, 37, 90, 180, 251, 359])
def test_lying_still_she_drifts_with_the_stream(set_deg: int) -> None:
    hull = twins(NEUTRAL, NEUTRAL)
    hull.set_stream(set_deg, 1000)
    steps(hull, 100)
    assert hull.run_m == 0.0
    assert hull.east_m == pytest.approx(100 * math.sin(math.radians(set_deg)), abs=1e-3)
    assert hull.north_m == pytest.approx(100 * math.cos(math.radians(set_deg)), abs=1e-3)


def test_over_ground_is_through_the_water_and_the_stream_added() -> None:
    still, drifting = twins(AHEAD, NEUTRAL, 1500), twins(AHEAD, NEUTRAL, 1500)
    drifting.set_stream(135, 700)
    steps(still, 40, -0.4)
    steps(drifting, 40, -0.4)
    assert (drifting.run_m, drifting.yaw_rad_s) == (still.run_m, still.yaw_rad_s), "she does not feel it"
    assert drifting.east_m - still.east_m == pytest.approx(28 / math.sqrt(2), abs=1e-3)
    assert drifting.north_m - still.north_m == pytest.approx(-28 / math.sqrt(2), abs=1e-3)


# ------------------------------------------------------------------------------------------------ in the plant


def plant_of(rudder: bool = True) -> tuple[Loop, Journal, Plant]:
    loop, journal = Loop(), Journal()
    values = [DriveValues(name, ACTUATOR, ACTUATOR, 650, 2200, offset) for name, offset in (("port", -1.1), ("starboard", 1.1))]
    plant = Plant(loop, journal, values, BOAT, RudderValues(3500, 700) if rudder else None)
    for timer in (plant.crossing, plant.motion):
        loop.add(timer)
    loop.arm(plant.motion, 0)
    return loop, journal, plant


def said(journal: Journal, kind: str) -> list[tuple[Any, ...]]:
    return [(event[0], *event[3:]) for event in journal.events if event[2] == kind]


def test_heading_and_ground_are_said_every_100_ms_once_she_turns_and_not_before() -> None:
    loop, journal, plant = plant_of()
    for sink in (plant.shift_sink(0), plant.shift_sink(1)):
        sink(0, AHEAD)
    loop.run(5 * SECOND)
    assert plant.hull.speed_m_s > 0
    assert not said(journal, "heading")
    assert not said(journal, "ground")
    plant.throttle_sink(0)(5 * SECOND, 400)
    loop.run(10 * SECOND)
    for kind in ("heading", "ground"):
        moments = [event[0] for event in said(journal, kind)]
        assert moments[0] <= 5200 * MS
        assert all(later - earlier == 100 * MS for earlier, later in pairwise(moments[10:]))
    for _, east, north in said(journal, "heading"):
        assert abs(math.hypot(east, north) - 1e6) <= 2
    assert said(journal, "ground")[-1][1:] == (int(plant.hull.east_m * 1000), int(plant.hull.north_m * 1000))


def test_with_a_stream_the_ground_is_said_though_she_lies_still() -> None:
    loop, journal, plant = plant_of(rudder=False)
    loop.run(SECOND)
    plant.set_stream(SECOND, 90, 500)
    loop.run(2 * SECOND)
    assert said(journal, "ground")[-1][1:] == (500, 0) or said(journal, "ground")[-1][1:] == (499, 0)
    assert not said(journal, "motion")


orders = st.lists(
    st.tuples(st.integers(0, 6 * SECOND), st.sampled_from(["throttle", "shift", "rudder", "stream", "crank"]), st.integers(0, 359)),
    max_size=10,
)


@settings(max_examples=30, deadline=None)
@given(orders=orders, every_ms=st.integers(3, 45))
def test_what_happens_does_not_depend_on_who_looks_or_when(orders: list[tuple[int, str, int]], every_ms: int) -> None:
    runs = []
    for looked in (False, True):
        loop, journal, plant = plant_of()
        plant.put_engines(0, running=bool(len(orders) % 2))
        todo: list[tuple[int, int, Any]] = [(order[0], number, order) for number, order in enumerate(orders)]
        if looked:
            todo += [(at_ns, -1, None) for at_ns in range(0, 8 * SECOND, every_ms * MS)]
        for at_ns, _, order in sorted(todo, key=lambda step: step[:2]):
            loop.run(at_ns)
            if order is None:
                EngineSpeed(plant, 0).read(at_ns)
                assert plant.rudder is not None
                plant.rudder.position.read(at_ns)
                continue
            _, what, value = order
            if what == "throttle":
                plant.throttle_sink(value % 2)(at_ns, value)
            elif what == "shift":
                plant.shift_sink(value % 2)(at_ns, value % 3)
            elif what == "stream":
                plant.set_stream(at_ns, value, 600)
            elif what == "crank":
                plant.crank(at_ns, value % 2, value * 10 * MS)
            else:
                with plant.changing_rudder(at_ns) as rudder:
                    rudder.steer(at_ns, (value - 180) * 20)
        loop.run(10 * SECOND)
        hull = plant.hull
        runs.append((journal.events, hull.run_m, hull.yaw_rad_s, hull.east, hull.east_m, [d.rpm for d in plant.drives]))
    assert runs[0] == runs[1]
