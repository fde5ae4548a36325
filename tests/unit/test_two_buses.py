"""The first boat with her one bus doubled, as a whole: either bus may be cut, and nothing of a sound drive's is lost."""

import pytest

from busim.boat.load import load_boat
from busim.events.journal import Event
from busim.faults.cut import CutPlace
from busim.faults.noise_burst import BurstPlace
from busim.faults.queue_held import HeldPlace, QueueHeld
from busim.faults.short import ShortPlace
from busim.faults.supply_lost import SupplyPlace
from busim.simulator.build import build_world, power_up
from busim.simulator.kinds import load_kinds
from busim.simulator.world import Step, World
from busim.units import MS, SECOND

from .conftest import Edited
from .first_boat_world import fault, press

DOUBLED = [
    ("\nbuses:\n", "\nbuses:\n  spare: {bit_rate: 250000, trunk_m: 12, terminators_m: [0, 12], twin_of: main}\n"),
    ("{at_m: 0.5, drop_m: 0.3}}", "{at_m: 0.5, drop_m: 0.3}, spare: {at_m: 0.5}}"),
    ("{at_m: 11, drop_m: 0.3}}", "{at_m: 11, drop_m: 0.3}, spare: {at_m: 11}}"),
]
UNDER_WAY: list[Step] = [*press(1000, "wheelhouse", "take"), (2500 * MS, 0, "move_lever", ("wheelhouse", "engine", 700, 500))]


def run(edited: Edited, *faults: list[Step], rows: list[Event] | None = None) -> World:
    """`rows`: filled with the rows that nodes took."""
    loaded = load_boat(edited(*DOUBLED).path)
    world = build_world(loaded.boat, loaded.plan, load_kinds(), 1)
    if rows is not None:
        world.journal.watch_events("row", rows.append)
    world.plan_steps([*power_up(world), *UNDER_WAY, *(step for each in faults for step in each)])
    world.run(12 * SECOND)
    return world


def cut(number: int, bus: str, begin_ms: int, end_ms: int) -> list[Step]:
    return fault(number, begin_ms, end_ms, ("cut", CutPlace(bus=bus, at_m=6.0)))


def gear(world: World) -> int:
    return world.plant.drives[0].gear


@pytest.mark.parametrize("bus", ["main", "spare"])
def test_either_bus_cut_leaves_her_under_way(edited: Edited, bus: str) -> None:
    world = run(edited, cut(1, bus, 6000, 20_000))
    assert gear(world) == 1
    assert world.hosts["engine_room"].node.obeyed == 1  # type: ignore[attr-defined]


def test_both_cut_is_a_loss(edited: Edited) -> None:
    world = run(edited, cut(1, "main", 6000, 20_000), cut(2, "spare", 6500, 20_000))
    assert gear(world) == 0


def test_one_cut_after_the_other_and_healed_in_turn_is_none(edited: Edited) -> None:
    world = run(edited, cut(1, "main", 5000, 7000), cut(2, "spare", 7100, 9000), cut(3, "main", 9100, 10_000))
    assert gear(world) == 1
    rows = [event[5] for event in world.journal.events if event[2] == "row" and event[3] == "engine_room"]
    assert not rows, "nothing of its table was taken in the last second"


@pytest.mark.parametrize("bus", ["main", "spare"])
@pytest.mark.parametrize("wires", ["high_to_low", "to_battery"])
def test_either_bus_shorted_leaves_her_under_way(edited: Edited, bus: str, wires: str) -> None:
    world = run(edited, fault(1, 6000, 20_000, ("short", ShortPlace(bus=bus, wires=wires))))
    assert gear(world) == 1


def test_noise_on_one_and_a_short_of_the_other_in_turn(edited: Edited) -> None:
    burst = ("noise_burst", BurstPlace(bus="main", burst_us=400_000))
    world = run(edited, fault(1, 5000, 6000, burst), fault(2, 7000, 9000, ("short", ShortPlace(bus="spare"))))
    assert gear(world) == 1


def test_one_supply_for_both_is_one_point_of_failure(edited: Edited) -> None:
    world = run(edited, fault(1, 6000, 6050, ("supply_lost", SupplyPlace(supply="house"))))
    assert gear(world) == 0


@pytest.mark.parametrize("bus", ["main", "spare"])
@pytest.mark.parametrize("held_ms", [4400, 4900, 5200])
def test_a_queue_held_on_one_of_them_brings_no_old_lever_back(edited: Edited, bus: str, held_ms: int) -> None:
    """Ahead for the first second of what is held. The counter of what comes out looks newer than what is acted on, but for 5200 ms:
    those begin behind it, a whole turn ago."""
    begin_ms, end_ms = 4000, 4000 + held_ms
    lever: Step = ((begin_ms + 1000) * MS, 0, "move_lever", ("wheelhouse", "engine", 0, 50))
    rows: list[Event] = []
    world = run(edited, fault(1, begin_ms, end_ms, ("queue_held", HeldPlace(node="wheelhouse", bus=bus))), [lever], rows=rows)
    last_ns = max(at_ns for at_ns, _, _, node, *_ in rows if node == "engine_room")
    assert begin_ms * MS < last_ns < end_ms * MS, "the gear came out, its dwell is over, and nothing happened since"
    assert gear(world) == 0
    assert world.hosts["engine_room"].node.obeyed == 1  # type: ignore[attr-defined]


def test_a_sweep_holds_a_queue_on_each_of_a_pair_alone(edited: Edited) -> None:
    boat = load_boat(edited(*DOUBLED).path).boat
    places = list(QueueHeld().places(boat))
    assert [place.bus for place in places if place.node == "engine_room"] == [None, "main", "spare"]
    assert [key for place in places for key, _ in QueueHeld().misplaced(boat, place)] == []
    complaints = [list(QueueHeld().misplaced(boat, HeldPlace(node=name, bus="spare"))) for name in boat.nodes]
    assert [bool(each) for each in complaints] == ["spare" not in node.taps for node in boat.nodes.values()]
