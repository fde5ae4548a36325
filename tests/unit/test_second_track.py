"""A lever's second sensor: wired where it is fitted, runs the other way, and a stuck one of the two is found."""

from pathlib import Path

from busim.boat.load import load_boat
from busim.faults.sensors import SensorPlace
from busim.faults.table import BY_NAME
from busim.host.inputs import Constant
from busim.simulator.build import build_world, power_up
from busim.simulator.kinds import load_kinds
from busim.simulator.world import World
from busim.units import MS, SECOND

MARSH_TERN = Path(__file__).parents[2] / "configs" / "marsh_tern"


def marsh_tern() -> World:
    boat = load_boat(MARSH_TERN)
    world = build_world(boat.boat, boat.plan, load_kinds(), 1)
    world.plan_steps(power_up(world))
    world.run(SECOND)
    return world


def test_it_is_there_where_it_is_fitted_and_adds_up() -> None:
    world = marsh_tern()
    inputs = world.hosts["wheelhouse"].inputs
    assert {"lever.1", "lever.1b", "lever.2", "lever.2b"} <= set(inputs)
    assert "lever.1b" not in world.hosts["upper_deck"].inputs
    world.move_lever(SECOND, "wheelhouse", "port", 700, 400)
    for at_ns in range(SECOND, 2 * SECOND, 37 * MS):
        assert inputs["lever.1"].read(at_ns) + inputs["lever.1b"].read(at_ns) == 1000
    world.run(2 * SECOND)
    assert (inputs["lever.1"].last, inputs["lever.1b"].last) == (780, 220)
    station = world.hosts["wheelhouse"].node
    assert station.lever_faults == 0  # type: ignore[attr-defined]
    assert station.gears[0] == 1  # type: ignore[attr-defined]


def test_a_track_that_sticks_while_the_lever_moves_is_a_fault_and_neutral() -> None:
    world = marsh_tern()
    world.hosts["wheelhouse"].inputs["lever.1b"].replaced = Constant(500)
    world.move_lever(SECOND, "wheelhouse", "port", 700, 400)
    world.run(2 * SECOND)
    station = world.hosts["wheelhouse"].node
    assert station.lever_faults == 1  # type: ignore[attr-defined]
    assert station.gears[:2] == (0, 0)  # type: ignore[attr-defined]


def test_both_tracks_stuck_together_agree_and_are_believed() -> None:
    """A residual hazard: nothing on the lever can tell, and it ends when the fault ends."""
    world = marsh_tern()
    fault = BY_NAME["tracks_stuck"]
    place = SensorPlace(node="wheelhouse", channel="lever.1")
    assert not list(fault.misplaced(world.boat, place))
    assert list(fault.misplaced(world.boat, SensorPlace(node="upper_deck", channel="lever.1")))
    fault.begin(world, SECOND, place)
    world.move_lever(SECOND, "wheelhouse", "port", 700, 400)
    world.run(2 * SECOND)
    station = world.hosts["wheelhouse"].node
    assert (station.lever_faults, station.gears[0]) == (0, 0)  # type: ignore[attr-defined]
    fault.end(world, 2 * SECOND, place, None)
    world.run(3 * SECOND)
    assert station.gears[0] == 1  # type: ignore[attr-defined]
