"""The rudder's machinery: speed, ends, power, feedback, what can go wrong with it; and how it is wired to a node and a wheel.

Times are distance over speed; 35 degrees to each side at 7 degrees a second are 5 s midships to hard over (common practice for
small craft: hard over to hard over in 10 to 12 s).
"""

import json
from collections.abc import Mapping
from typing import Any, ClassVar

import pytest

from busim.boat.derive import wire_plan
from busim.boat.model import BoatFile
from busim.plant.rudder import Rudder, RudderAngle, RudderValues
from busim.seam import OUTPUT, RECHECK, Actions, Node
from busim.simulator.build import build_world, power_up
from busim.simulator.world import World
from busim.units import MS, NEVER, SECOND

VALUES = RudderValues(3500, 700)
ACTUATOR = {"stroke_mm": 70, "speed_mm_s": 50, "without_power": "springs_to_idle"}
SHIFT = {"stroke_mm": 70, "speed_mm_s": 40, "without_power": "springs_to_neutral"}


class Scripted(Node):
    """Does what its class's script says, at moments of its own clock, and keeps what it is told."""

    __slots__ = ("left", "told")
    script: ClassVar[list[tuple[int, Actions]]] = []

    def __init__(self, plan: Any, address: int, build: int) -> None:
        super().__init__()
        self.told: list[tuple[int, str, int]] = []
        self.left = list(self.script)

    def on_start(self, now_ns: int, reset_cause: int) -> Actions:
        self.deadline_ns = self.left[0][0] if self.left else NEVER
        return RECHECK

    def on_input(self, now_ns: int, channel: str, value: int) -> Actions:
        self.told.append((now_ns, channel, value))
        return ()

    def on_deadline(self, now_ns: int) -> Actions:
        _, actions = self.left.pop(0)
        self.deadline_ns = self.left[0][0] if self.left else NEVER
        return actions


class RudderNode(Scripted):
    __slots__ = ()
    inputs: ClassVar[Mapping[str, int]] = {"rudder_angle": 20 * MS}


class WheelNode(Scripted):
    __slots__ = ()
    inputs: ClassVar[Mapping[str, int]] = {"wheel": 20 * MS}


class CutoutNode(Scripted):
    __slots__ = ()
    inputs: ClassVar[Mapping[str, int]] = {"gear_switch": 0, "speed": 100 * MS}


class DriveNode(Scripted):
    __slots__ = ()
    inputs: ClassVar[Mapping[str, int]] = {"neutral_switch": 0, "rpm": 20 * MS, "shift_position": 20 * MS}


KINDS: dict[str, type[Node]] = {"station": WheelNode, "drive": DriveNode, "rudder": RudderNode, "cutout": CutoutNode}


def helm_boat() -> BoatFile:
    """Two drives, a rudder, a cutout, one station that steers: the least that has everything of a helm."""
    names = {"wheelhouse": "station", "port": "drive", "starboard": "drive", "steering": "rudder", "port_cutout": "cutout"}
    drive = {"throttle": ACTUATOR, "shift": SHIFT, "idle_rpm": 650, "full_rpm": 2200, "neutral_switch": True, "engine_stop": True,
             "stop_without_bus": "pull-cable"}  # fmt: skip
    boat = {
        "busim": 1,
        "boat": {"name": "Made", "waterline_m": 12.9, "mass_kg": 16500, "docking_speed_kn": 3, "max_run_m": 5},
        "buses": {"helm": {"bit_rate": 250_000, "trunk_m": 18, "terminators_m": [0, 18]}},
        "supplies": {"house": {"nominal_v": 24}, "start": {"nominal_v": 24}},
        "nodes": {
            name: {"kind": kind, "address": index + 1, "taps": {"helm": {"at_m": 2 * index}},
                   "supply": "start" if name == "port" else "house"}
            for index, (name, kind) in enumerate(names.items())
        },
        "stations": {"wheelhouse": {"node": "wheelhouse", "may_take": ["port", "starboard"], "steers": True}},
        "drives": {
            "port": {"node": "port", "instance": 1, "offset_m": -1.1, **drive},
            "starboard": {"node": "starboard", "instance": 2, "offset_m": 1.1, **drive},
        },
        "cutouts": {"port_cutout": {"node": "port_cutout", "drive": "port"}},
        "rudder": {"node": "steering", "hard_over_deg": 35, "speed_deg_s": 7},
        "hull": {"top_speed_kn": 8.5},
    }  # fmt: skip
    return BoatFile.model_validate_json(json.dumps(boat))


def helm_world(monkeypatch: pytest.MonkeyPatch, **scripts: list[tuple[int, Actions]]) -> World:
    """Scripts by kind of node. Clocks are exact, programs start at once and answer at once."""
    for kind, node_class in KINDS.items():
        monkeypatch.setattr(node_class, "script", scripts.get(kind, []), raising=False)
    boat = helm_boat()
    world = build_world(boat, wire_plan(boat), KINDS, 1)
    for host in world.hosts.values():
        host.rate, host.boot_ns, host.delay_ns = 1 << 32, 0, 0
    world.plan_steps(power_up(world))
    return world


def heard(world: World, *kinds: str) -> list[tuple[Any, ...]]:
    """A list that fills with events of these kinds: the moment and the fields."""
    events: list[tuple[Any, ...]] = []
    for kind in kinds:
        world.journal.watch_events(kind, lambda event: events.append((event[0], *event[3:])))
    return events


def told(world: World, node: str, channel: str) -> list[tuple[int, int]]:
    return [(at_ns, value) for at_ns, name, value in world.hosts[node].node.told if name == channel]  # type: ignore[attr-defined]


# ------------------------------------------------------------------------------------------------ by itself


@pytest.mark.parametrize("target", [3500, -3500, 1234, -1])
def test_it_takes_distance_over_speed(target: int) -> None:
    rudder = Rudder(VALUES)
    rudder.steer(SECOND, target)
    there_ns = SECOND + -(-abs(target) * SECOND // 700)
    assert rudder.crossing_ns == there_ns
    assert rudder.position.read(there_ns) == target
    assert abs(rudder.position.read((SECOND + there_ns) // 2) * 2 - target) <= 2


@pytest.mark.parametrize(("target", "end"), [(9000, 3500), (-9000, -3500)])
def test_hard_over_is_as_far_as_it_goes(target: int, end: int) -> None:
    rudder = Rudder(VALUES)
    rudder.steer(0, target)
    assert rudder.position.read(60 * SECOND) == end


def test_without_power_it_stops_where_it_is_stays_and_forgets_where_it_was_to_go() -> None:
    rudder = Rudder(VALUES)
    rudder.steer(0, 3500)
    rudder.power(2 * SECOND, False)
    assert rudder.position.read(10 * SECOND) == 1400
    rudder.steer(10 * SECOND, -3500)
    rudder.power(11 * SECOND, True)
    assert rudder.position.read(30 * SECOND) == 1400
    rudder.steer(30 * SECOND, 0)
    assert rudder.position.read(32 * SECOND) == 0


def test_it_runs_by_itself_whatever_it_is_told_until_its_power_is_taken_away() -> None:
    rudder = Rudder(VALUES)
    rudder.runs(0, -1)
    rudder.steer(SECOND, 3500)
    assert rudder.position.read(2 * SECOND) == -1400
    rudder.power(2 * SECOND, False)
    assert rudder.position.read(10 * SECOND) == -1400
    rudder.power(10 * SECOND, True)
    assert rudder.position.read(11 * SECOND) == -2100, "the fault is still there"
    rudder.runs(11 * SECOND, None)
    assert rudder.position.read(20 * SECOND) == -2100


def test_jammed_it_stays_and_freed_it_goes_on_to_where_it_was_told() -> None:
    rudder = Rudder(VALUES)
    rudder.position.jam(0, True)
    rudder.steer(0, 700)
    assert rudder.position.read(10 * SECOND) == 0
    rudder.position.jam(10 * SECOND, False)
    assert (rudder.position.read(10_500 * MS), rudder.position.read(11 * SECOND)) == (350, 700)


def test_its_feedback_is_its_angle() -> None:
    rudder = Rudder(VALUES)
    angle = RudderAngle(rudder)
    rudder.steer(0, -700)
    assert (angle.read(500 * MS), angle.still(500 * MS)) == (-350, False)
    assert (angle.read(SECOND), angle.still(SECOND)) == (-700, True)


# ------------------------------------------------------------------------------------------------ wired to a node


def test_an_output_moves_it_the_node_measures_it_and_each_change_of_motion_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    world = helm_world(
        monkeypatch, rudder=[(100 * MS, ((OUTPUT, "rudder", 700),)), (3 * SECOND, ((OUTPUT, "rudder", -1),)),
                             (3500 * MS, ((OUTPUT, "rudder_power", 0),))]
    )  # fmt: skip
    events = heard(world, "rudder")
    world.run(5 * SECOND - 1)
    assert events == [
        (100 * MS, 0, 700), (1100 * MS, 700, 700), (3 * SECOND, 700, -1), (3500 * MS, 350, 350),
    ]  # fmt: skip
    angles = dict(told(world, "steering", "rudder_angle"))
    assert angles[0] == 0
    assert angles[600 * MS] == 350
    assert angles[1100 * MS] == 700
    assert all(at_ns % (20 * MS) == 0 for at_ns in angles)
    assert list(angles.values())[-1] == 350


def test_a_target_of_minus_one_hundredth_is_a_target_and_no_loss_of_power(monkeypatch: pytest.MonkeyPatch) -> None:
    world = helm_world(monkeypatch, rudder=[(100 * MS, ((OUTPUT, "rudder", 300),)), (SECOND, ((OUTPUT, "rudder", -1),))])
    events = heard(world, "rudder")
    world.run(3 * SECOND - 1)
    assert events[-1][1:] == (-1, -1)


def test_when_its_node_loses_power_it_stays_where_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    """Also where the node never says anything of its power."""
    world = helm_world(monkeypatch, rudder=[(0, ((OUTPUT, "rudder", 3500),))])
    world.plan_steps([(2 * SECOND, 0, "power", ("steering", 0))])
    world.run(9 * SECOND)
    assert world.plant.rudder is not None
    assert world.plant.rudder.position.read(9 * SECOND) == 1400


def test_an_order_at_the_moment_of_arrival_does_not_hide_the_arrival(monkeypatch: pytest.MonkeyPatch) -> None:
    world = helm_world(monkeypatch, rudder=[(0, ((OUTPUT, "rudder", 700),)), (SECOND, ((OUTPUT, "rudder", 1400),))])
    events = heard(world, "rudder")
    world.run(3 * SECOND - 1)
    assert events == [(0, 0, 700), (SECOND, 700, 700), (SECOND, 700, 1400), (2 * SECOND, 1400, 1400)]


def test_the_boat_turns_by_it(monkeypatch: pytest.MonkeyPatch) -> None:
    ahead = ((OUTPUT, "shift", 1), (OUTPUT, "throttle", 500))
    world = helm_world(monkeypatch, drive=[(0, ahead)], rudder=[(5 * SECOND, ((OUTPUT, "rudder", 3500),))])
    world.run(20 * SECOND)
    assert world.plant.hull.east > 0.2


# ------------------------------------------------------------------------------------------------ the wheel


def test_the_wheels_sensor_goes_from_100_at_full_port_to_900_at_full_starboard(monkeypatch: pytest.MonkeyPatch) -> None:
    world = helm_world(monkeypatch)
    moves = [(1, -1000, 0), (2, 1000, 1000), (4, 250, 100)]
    world.plan_steps([(at_s * SECOND, 0, "move_wheel", ("wheelhouse", to, over_ms)) for at_s, to, over_ms in moves])
    world.run(5 * SECOND)
    values = told(world, "wheelhouse", "wheel")
    assert values[:2] == [(0, 500), (SECOND + 20 * MS, 100)] or values[:2] == [(0, 500), (SECOND, 100)]
    assert dict(values)[2500 * MS] == 500
    assert dict(values)[3 * SECOND] == 900
    assert values[-1][1] == 600
    with pytest.raises(KeyError):
        world.move_wheel(5 * SECOND, "upper_deck", 0, 0)


def test_a_boat_without_rudder_has_no_wheel_and_refuses_to_steer() -> None:
    boat = helm_boat()
    stations = {"wheelhouse": boat.stations["wheelhouse"].model_copy(update={"steers": False})}
    nodes = {name: node for name, node in boat.nodes.items() if name != "steering"}
    bare = boat.model_copy(update={"rudder": None, "stations": stations, "nodes": nodes})
    world = build_world(bare, wire_plan(bare), KINDS, 1)
    assert not world.wheels
    with pytest.raises(ValueError, match="there is no rudder that the bus moves"), world.plant.changing_rudder(0):
        pass


# ------------------------------------------------------------------------------------------------ cutouts


def test_a_cutout_has_its_own_switch_and_speed_pick_up_and_stops_its_engine(monkeypatch: pytest.MonkeyPatch) -> None:
    world = helm_world(
        monkeypatch, drive=[(500 * MS, ((OUTPUT, "shift", 1), (OUTPUT, "throttle", 1000)))],
        cutout=[(6 * SECOND, ((OUTPUT, "fuel_cut", 1),))],
    )  # fmt: skip
    world.run(9 * SECOND - 1)
    (first, opened) = told(world, "port_cutout", "gear_switch")
    assert first == (0, 1)
    assert opened[1] == 0
    assert opened == told(world, "port", "neutral_switch")[1], "both on the one gearbox"
    speeds = told(world, "port_cutout", "speed")
    assert all(at_ns % (100 * MS) == 0 and value % 8 == 0 for at_ns, value in speeds)
    assert max(value for _, value in speeds) > 2000
    assert not world.plant.drives[0].engine.running
    assert world.plant.drives[1].engine.running


# ------------------------------------------------------------------------------------------------ save and restore


def test_a_branch_in_the_middle_of_a_turn_is_a_rerun(monkeypatch: pytest.MonkeyPatch) -> None:
    script = {
        "drive": [(0, ((OUTPUT, "shift", 1), (OUTPUT, "throttle", 600)))],
        "rudder": [(2 * SECOND, ((OUTPUT, "rudder", 3000),)), (5 * SECOND, ((OUTPUT, "rudder_power", 0),))],
        "cutout": [(7 * SECOND, ((OUTPUT, "fuel_cut", 1),)), (9 * SECOND, ((OUTPUT, "fuel_cut", 0),))],
    }
    steps = [(0, 0, "stream", (200, 1.5)), (10_500 * MS, 0, "crank", ("port", 3000)),
             (3 * SECOND, 0, "move_wheel", ("wheelhouse", 300, 4000))]  # fmt: skip
    whole = helm_world(monkeypatch, **script)
    whole.plan_steps(steps)
    whole.run(15 * SECOND)
    for at_ns in (3333 * MS, 4 * SECOND, 8 * SECOND, 11 * SECOND):
        world = helm_world(monkeypatch, **script)
        world.plan_steps(steps)
        world.run(at_ns)
        branch = World.restore(world.save(), world.boat, world.plan, world.kinds)
        branch.run(15 * SECOND)
        assert branch.journal.digest == whole.journal.digest
        assert branch.plant.hull.east_m == whole.plant.hull.east_m
