"""What can go wrong with actuators, linkages, gearboxes, engines, the rudder and sensors: each fault on a boat with a whole helm.

Strokes: throttle 70 mm at 50 mm/s, 1.4 s from end to end; shift 70 mm at 40 mm/s, 875 ms from neutral to a gear; the rudder
7 degrees a second. Each effect is worked out from those by hand.
"""

from typing import Any

import pytest

from busim.boat.derive import wire_plan
from busim.faults.table import BY_NAME
from busim.host.inputs import Constant
from busim.plant.machinery import AHEAD, ASTERN, NEUTRAL, STROKE, ActuatorValues, DriveValues, Machinery
from busim.plant.positioner import Positioner
from busim.plant.spoilt import SPOILT, Reversed, Slipped, span_of
from busim.seam import OUTPUT
from busim.simulator.build import build_world
from busim.simulator.world import World
from busim.units import MS, SECOND
from tests.unit.test_rudder_machinery import KINDS, heard, helm_boat, helm_world, told

AHEAD_HALF = ((OUTPUT, "shift", 1), (OUTPUT, "throttle", 500))


def fault(name: str, at_ms: int, end_ms: int | None = None, number: int = 0, **place: Any) -> list[Any]:
    where = BY_NAME[name].place(**place)
    steps: list[Any] = [(at_ms * MS, 5, "begin_fault", (number, name, where))]
    return steps + ([(end_ms * MS, 5, "end_fault", (number, name, where))] if end_ms is not None else [])


def under_way(monkeypatch: pytest.MonkeyPatch, *steps: list[Any], drive: Any = None, **scripts: Any) -> World:
    """Both drives ahead at half throttle from the start on."""
    world = helm_world(monkeypatch, drive=drive if drive is not None else [(0, AHEAD_HALF)], **scripts)
    for some in steps:
        world.plan_steps(some)
    return world


# ------------------------------------------------------------------------------------------------ actuators


def test_jammed_it_stays_and_freed_it_goes_on(monkeypatch: pytest.MonkeyPatch) -> None:
    orders = [(0, AHEAD_HALF), (3 * SECOND, ((OUTPUT, "throttle", 0),))]
    world = under_way(monkeypatch, fault("actuator_jammed", 2000, 6000, drive="port", actuator="throttle"), drive=orders)
    world.run(6 * SECOND - 1)
    assert [drive.throttle.read(6 * SECOND - 1) for drive in world.plant.drives] == [STROKE // 2, 0]
    world.run(7 * SECOND)
    assert world.plant.drives[0].throttle.read(7 * SECOND) == 0, "half a stroke in 0.7 s"


@pytest.mark.parametrize("speed", [1000, 200, 1])
def test_slow_it_takes_so_much_longer(monkeypatch: pytest.MonkeyPatch, speed: int) -> None:
    steps = fault("actuator_slow", 0, drive="port", actuator="throttle", permille=speed) if speed < 1000 else []
    world = under_way(monkeypatch, steps)
    world.run(10 * SECOND)
    there_ns = world.plant.drives[0].throttle.ramp.there_ns
    assert there_ns == pytest.approx(700 * MS * 1000 / speed, rel=2e-3)


@pytest.mark.parametrize(("actuator", "to", "end"), [("throttle", "full", STROKE), ("throttle", "idle", 0),
                                                     ("shift", "astern", -STROKE), ("shift", "ahead", STROKE)])  # fmt: skip
def test_run_by_itself_it_ends_at_that_end_whatever_its_node_orders(
    monkeypatch: pytest.MonkeyPatch, actuator: str, to: str, end: int
) -> None:
    orders = [(0, AHEAD_HALF), (3 * SECOND, ((OUTPUT, "throttle", 200), (OUTPUT, "shift", 0)))]
    world = under_way(monkeypatch, fault("actuator_runs", 2000, 8000, drive="port", actuator=actuator, to=to), drive=orders)
    world.plan_steps([(5 * SECOND, 0, "power", ("port", 0))])
    world.run(7 * SECOND)
    drive = world.plant.drives[0]
    moved = drive.throttle if actuator == "throttle" else drive.shift
    assert moved.read(7 * SECOND) == end
    world.run(12 * SECOND)
    assert moved.read(12 * SECOND) == 0, "over: it springs to idle or neutral, as its node has no power"


def test_a_throttle_linkage_off_lets_the_engine_spring_to_idle_while_the_feedback_shows_the_actuator(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    world = under_way(monkeypatch, fault("linkage_off", 2000, 8000, drive="port", actuator="throttle"))
    stops = heard(world, "throttle_stop")
    world.run(7 * SECOND)
    assert world.hosts["port"].inputs.get("throttle_position") is None, "this node does not look at it"
    assert world.plant.drives[0].throttle.read(7 * SECOND) == STROKE // 2
    # From half to a hundredth of the stroke, 49 hundredths of 1.4 s.
    assert stops[-1] == (pytest.approx(2 * SECOND + 686 * MS, abs=2000), "port", 1)
    assert world.plant.drives[0].rpm == pytest.approx(650, rel=0.01)
    world.run(10 * SECOND)
    assert world.plant.drives[0].rpm == pytest.approx(1425, rel=0.02), "on again it is where its actuator is"


def test_a_shift_linkage_off_springs_the_gear_out_and_the_gearboxes_own_switch_shows_it(monkeypatch: pytest.MonkeyPatch) -> None:
    world = under_way(monkeypatch, fault("linkage_off", 3000, drive="port", actuator="shift"))
    gears = heard(world, "gear")
    world.run(6 * SECOND)
    assert [event[2] for event in gears if event[1] == "port"] == [AHEAD, NEUTRAL]
    assert gears[-1][0] == pytest.approx(3 * SECOND + 437_500_000, abs=2000), "half of 875 ms"
    assert told(world, "port", "shift_position")[-1][1] == 1000, "the actuator is still ahead"
    assert [value for _, value in told(world, "port", "neutral_switch")] == [1, 0, 1]


def test_a_linkage_that_comes_off_where_the_actuator_stays_leaves_the_lever_where_it_is() -> None:
    stays = ActuatorValues(1_000_000, False, 1_000_000)
    drive = Machinery(DriveValues("engine", stays, stays, 650, 2200))
    drive.command_shift(0, AHEAD)
    drive.settle(SECOND)
    drive.shift_linkage(SECOND, on=False)
    drive.command_shift(SECOND, NEUTRAL)
    drive.settle(9 * SECOND)
    assert (drive.gear, drive.shift.read(9 * SECOND)) == (AHEAD, 0)


def test_swapped_each_node_moves_the_others_actuators_and_measures_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    world = under_way(monkeypatch, fault("drives_swapped", 3000, 8000))
    world.plan_steps([(2 * SECOND, 0, "power", ("starboard", 0))])
    world.run(7 * SECOND)
    port, starboard = world.plant.drives
    assert (port.gear, starboard.gear) == (NEUTRAL, AHEAD), "port's orders reach starboard, whose node is dead"
    assert told(world, "port", "shift_position")[-1][1] == 0
    world.run(12 * SECOND)
    assert (port.gear, starboard.gear) == (AHEAD, NEUTRAL)


# ------------------------------------------------------------------------------------------------ gearbox and engine


def test_a_clutch_that_drags_pushes_her_in_neutral(monkeypatch: pytest.MonkeyPatch) -> None:
    world = under_way(monkeypatch, fault("clutch_drags", 1000, 5000, drive="port", permille=200), drive=[])
    world.run(SECOND)
    assert world.plant.hull.run_m == 0
    world.run(5 * SECOND)
    # 0.2 x (650 / 2200)^2 of 1 % of the weight, for 4 s from rest.
    expected_m = 0.2 * (650 / 2200) ** 2 * 0.01 * 9.80665 * 4**2 / 2
    assert world.plant.hull.run_m == pytest.approx(expected_m, rel=0.02)
    assert world.plant.drives[0].gear == NEUTRAL
    speed = world.plant.hull.speed_m_s
    world.run(7 * SECOND)
    assert world.plant.hull.speed_m_s <= speed


def test_a_clutch_that_does_not_take_drives_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    world = under_way(monkeypatch, fault("clutch_fails", 0, 5000, drive="port"))
    world.run(5 * SECOND - 1)
    assert [drive.gear for drive in world.plant.drives] == [NEUTRAL, AHEAD]
    assert told(world, "port", "shift_position")[-1][1] == 1000
    world.run(5 * SECOND)
    assert world.plant.drives[0].gear == AHEAD


def test_swapped_at_the_gearbox_ahead_is_astern_and_the_shift_shows_ahead(monkeypatch: pytest.MonkeyPatch) -> None:
    steps = [fault("ahead_astern_swapped", 0, drive=name, number=number) for number, name in enumerate(("port", "starboard"))]
    world = under_way(monkeypatch, *steps)
    world.run(6 * SECOND)
    assert {drive.gear for drive in world.plant.drives} == {ASTERN}
    assert world.plant.hull.speed_m_s < 0
    assert told(world, "port", "shift_position")[-1][1] == 1000


def test_an_engine_stalls_and_one_that_will_not_stop_runs_on(monkeypatch: pytest.MonkeyPatch) -> None:
    orders = [(3 * SECOND, ((OUTPUT, "engine_stop", 1),))]
    world = under_way(
        monkeypatch, fault("engine_stalls", 1000, drive="starboard"), fault("engine_will_not_stop", 2000, 6000, 1, drive="port"),
        drive=orders,
    )  # fmt: skip
    engines = heard(world, "engine")
    world.run(8 * SECOND)
    (starboard, port) = engines
    assert starboard[1:] == ("starboard", 0)
    assert SECOND < starboard[0] < 2 * SECOND
    assert port[1:] == ("port", 0)
    assert 6 * SECOND < port[0] < 7 * SECOND


# ------------------------------------------------------------------------------------------------ the rudder


def test_the_rudder_jams_is_slow_and_runs_by_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    orders = [(0, ((OUTPUT, "rudder", 700),)), (2 * SECOND, ((OUTPUT, "rudder", -700),))]
    world = helm_world(monkeypatch, rudder=orders)
    world.plan_steps(fault("rudder_jammed", 500, 4000) + fault("rudder_slow", 4500, 6500, 1, permille=100)
                     + fault("rudder_runs", 20_000, 22_000, 2, to="starboard"))  # fmt: skip
    assert world.plant.rudder is not None
    position = world.plant.rudder.position
    for at_ms, expected in [
        (500, 350), (4000, 350),  # stuck half way
        (4500, 0), (6500, -140), (7300, -700),  # free, then a tenth of the speed for 2 s, then sound again
        (20_000, -700), (22_000, 700),  # by itself for 2 s
        (24_000, -700), (30_000, -700),  # and back to where it was told
    ]:  # fmt: skip
        world.run(at_ms * MS)
        assert position.read(at_ms * MS) == expected, at_ms


# ------------------------------------------------------------------------------------------------ sensors


@pytest.mark.parametrize(
    ("how", "shows"),
    [("open", [-4375, -4375]), ("short", [4375, 4375]), ("stuck", [350, 350]), ("reversed", [-350, -700]),
     ("slipped", [450, 800])],
)  # fmt: skip
def test_a_rudder_feedback_that_is_wrong(monkeypatch: pytest.MonkeyPatch, how: str, shows: list[int]) -> None:
    """Ends at 100 and 900 permille: with its wire open or shorted it shows 35 degrees and a quarter."""
    place = {"node": "steering", "channel": "rudder_angle", **({"by": 100} if how == "slipped" else {})}
    world = helm_world(monkeypatch, rudder=[(0, ((OUTPUT, "rudder", 700),))])
    world.plan_steps(fault(f"sensor_{how}", 500, 3000, **place))
    world.run(520 * MS)
    entry = world.hosts["steering"].inputs["rudder_angle"]
    assert entry.read(500 * MS) == shows[0]
    world.run(2 * SECOND)
    assert entry.last == shows[1]
    world.run(4 * SECOND)
    assert entry.last == 700


def test_each_track_of_a_lever_and_each_feedback_is_a_sensor_of_its_own() -> None:
    boat = helm_boat()
    station = boat.stations["wheelhouse"].model_copy(update={"lever_tracks": 2})
    boat = boat.model_copy(update={"stations": {"wheelhouse": station}})
    channels = ("lever.1", "lever.1b", "lever.2", "lever.2b", "wheel")
    kinds = {**KINDS, "station": type("All", (KINDS["station"],), {"inputs": {"lever.*": 20 * MS, "wheel": 20 * MS}})}
    world = build_world(boat, wire_plan(boat), kinds, 1)
    inputs = world.hosts["wheelhouse"].inputs
    assert {channel for channel in inputs if channel not in ("take", "neutral_now")} == set(channels)
    world.move_lever(0, "wheelhouse", "port", 1000, 0)
    for channel in channels:
        sound = {other: inputs[other].read(SECOND) for other in channels}
        world.spoil_sensor(SECOND, "wheelhouse", channel, "open")
        assert {other: inputs[other].read(SECOND) for other in channels} == {**sound, channel: 0}
        world.spoil_sensor(SECOND, "wheelhouse", channel, None)
    assert (inputs["lever.1"].read(SECOND), inputs["lever.1b"].read(SECOND)) == (900, 100)


def test_a_contact_with_an_open_wire_is_heard_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    world = helm_world(monkeypatch)
    world.plan_steps(fault("sensor_open", 1000, 2000, node="port", channel="neutral_switch"))
    world.run(3 * SECOND)
    assert told(world, "port", "neutral_switch") == [(0, 1), (SECOND, 0), (2 * SECOND, 1)]


@pytest.mark.parametrize(("channel", "span"), [("lever.2b", (0, 1000)), ("shift_position", (-1250, 1250)), ("rpm", (0, 0)),
                                               ("throttle_position", (-125, 1125)), ("take", (0, 1))])  # fmt: skip
def test_what_open_and_shorted_wires_show(channel: str, span: tuple[int, int]) -> None:
    """Sliders: ends of travel at 100 and 900 of 1,000, so 0 and 1,000 lie an eighth of the travel beyond them."""
    assert span_of(channel, 3500) == span
    for how, value in zip(("open", "short"), span, strict=True):
        assert SPOILT[how](Constant(3), span, 0, 0).read(0) == value


def test_slipped_and_reversed_move_on_with_what_they_measure() -> None:
    ramp = Positioner(0, 1000)
    ramp.order(0, 1000, 1000)
    slipped, other_way = Slipped(ramp, (0, 1000), 150), Reversed(ramp, (0, 1000))
    assert (slipped.read(500 * MS), slipped.read(SECOND), slipped.still(500 * MS)) == (650, 1000, False)
    assert (other_way.read(250 * MS), other_way.still(SECOND)) == (750, True)


# ------------------------------------------------------------------------------------------------ save and restore, places


EVERYTHING = [
    ("actuator_jammed", {"drive": "port", "actuator": "shift"}), ("actuator_slow", {"drive": "port", "actuator": "throttle"}),
    ("actuator_runs", {"drive": "port", "actuator": "throttle", "to": "full"}),
    ("linkage_off", {"drive": "starboard", "actuator": "shift"}), ("drives_swapped", {}), ("clutch_drags", {"drive": "port"}),
    ("clutch_fails", {"drive": "port"}), ("ahead_astern_swapped", {"drive": "port"}), ("engine_stalls", {"drive": "port"}),
    ("engine_will_not_stop", {"drive": "port"}), ("rudder_jammed", {}), ("rudder_slow", {}), ("rudder_runs", {"to": "port"}),
    ("sensor_open", {"node": "port", "channel": "rpm"}), ("sensor_short", {"node": "wheelhouse", "channel": "wheel"}),
    ("sensor_stuck", {"node": "steering", "channel": "rudder_angle"}),
    ("sensor_slipped", {"node": "port", "channel": "shift_position", "by": 40}),
    ("sensor_reversed", {"node": "steering", "channel": "rudder_angle"}),
]  # fmt: skip


WHERE = {
    "actuator_jammed": "port shift", "actuator_slow": "port throttle, 200 permille", "actuator_runs": "port throttle to full",
    "linkage_off": "starboard shift", "drives_swapped": "both drives", "clutch_drags": "port, 150 permille",
    "rudder_jammed": "rudder", "rudder_slow": "rudder, 200 permille", "rudder_runs": "rudder to port", "sensor_open": "port, rpm",
    "sensor_short": "wheelhouse, wheel", "sensor_stuck": "steering, rudder_angle", "sensor_slipped": "port, shift_position",
    "sensor_reversed": "steering, rudder_angle",
}  # fmt: skip


@pytest.mark.parametrize(("name", "place"), EVERYTHING, ids=[name for name, _ in EVERYTHING])
def test_each_says_where_it_is_when_it_begins_and_when_it_ends(
    monkeypatch: pytest.MonkeyPatch, name: str, place: dict[str, Any]
) -> None:
    fits = BY_NAME[name].place(**place)
    assert list(BY_NAME[name].misplaced(helm_boat(), fits)) == []
    lasts = BY_NAME[name].lasts
    world = under_way(monkeypatch, fault(name, 1000, 2000 if lasts else None, **place))
    faults = heard(world, "fault")
    world.run(3 * SECOND)
    begins = (SECOND, name, WHERE.get(name, "port"), 1)
    assert faults == [begins, (2 * SECOND, *begins[1:3], 0)] if lasts else [begins]


def test_every_fault_of_machinery_and_sensors_is_tried_here() -> None:
    ours = {f"busim.faults.{name}" for name in ("machinery_actuators", "machinery_engine", "machinery_rudder", "sensors")}
    assert {name for name, each in BY_NAME.items() if type(each).__module__ in ours} - {"tracks_stuck"} == {
        name for name, _ in EVERYTHING
    }, "two tracks are tried in test_second_track"


@pytest.mark.parametrize(("name", "place"), EVERYTHING, ids=[name for name, _ in EVERYTHING])
def test_saved_in_the_middle_of_it_the_world_goes_on_the_same(
    monkeypatch: pytest.MonkeyPatch, name: str, place: dict[str, Any]
) -> None:
    digests = []
    for saves in (False, True):
        end_ms = 6000 if BY_NAME[name].lasts else None
        world = under_way(
            monkeypatch, fault(name, 1300, end_ms, **place),
            drive=[(0, AHEAD_HALF), (4 * SECOND, ((OUTPUT, "shift", 2), (OUTPUT, "throttle", 100)))],
            rudder=[(SECOND, ((OUTPUT, "rudder", 3000),)), (4500 * MS, ((OUTPUT, "rudder", -500),))],
        )  # fmt: skip
        world.plan_steps([(SECOND, 0, "move_wheel", ("wheelhouse", 600, 2000))])
        for at_ns in (2 * SECOND, 5 * SECOND, 6 * SECOND, 8 * SECOND):
            world.run(at_ns)
            if saves:
                world = World.restore(world.save(), world.boat, world.plan, world.kinds)
        world.run(10 * SECOND)
        digests.append(world.journal.digest)
    assert digests[0] == digests[1]
