"""A pendant's plug: pulled it has no supply and no wire, and its bus goes on; plugged in again it boots and controls nothing."""

from pathlib import Path

from busim.boat.load import load_boat
from busim.faults.fault import NodePlace
from busim.faults.table import BY_NAME
from busim.simulator.build import build_world, power_up
from busim.simulator.kinds import load_kinds
from busim.units import MS, SECOND

MARSH_TERN = Path(__file__).parents[2] / "configs" / "marsh_tern"
PENDANT = NodePlace(node="pendant")


def test_it_takes_supply_and_wire_and_gives_both_back() -> None:
    boat = load_boat(MARSH_TERN)
    world = build_world(boat.boat, boat.plan, load_kinds(), 1)
    world.plan_steps(power_up(world))
    world.run(SECOND)
    host, bus = world.hosts["pendant"], world.bus("pendant_line")
    fault = BY_NAME["unplugged"]
    memory = fault.begin(world, SECOND, PENDANT)
    assert not host.powered
    assert bus.wiring.loose == {host.controllers[bus.index].place}
    assert len(bus.segments) == 2
    world.run(2 * SECOND)
    fault.end(world, 2 * SECOND, PENDANT, memory)
    assert bus.wiring.loose == set()
    assert len(bus.segments) == 1
    world.run(2 * SECOND + host.boot_ns + 10 * MS)
    assert host.running


def test_only_what_has_a_plug_can_be_unplugged() -> None:
    boat = load_boat(MARSH_TERN).boat
    fault = BY_NAME["unplugged"]
    assert list(fault.misplaced(boat, PENDANT)) == []
    assert [key for key, _ in fault.misplaced(boat, NodePlace(node="wheelhouse"))] == ["node"]
