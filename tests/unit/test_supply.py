"""Supplies: what hangs on them, brown-out, a cranking dip and its ramp, by themselves and as faults of the first boat.

The ramp is a straight line, so when it passes brown-out is worked out by hand. That a 12 V supply may fall to about half while a
starter turns is from memory of what vehicle standards test with (ISO 16750-2, ISO 7637-2), not looked up.
"""

from pathlib import Path
from typing import Any

import pytest

from busim.boat.load import load_boat
from busim.faults.brown_out import BrownOutPlace
from busim.faults.cranking_dip import CrankingPlace
from busim.faults.fault import NodePlace
from busim.faults.supply_lost import SupplyPlace
from busim.faults.table import BY_NAME
from busim.host.supply import Supply
from busim.reading.problem import InputError
from busim.seam import BROWN_OUT_RESET, POWER_ON
from busim.simulator.build import build_world, power_up
from busim.simulator.kinds import load_kinds
from busim.simulator.world import Step
from busim.units import MS, SECOND
from tests.unit.small_bus import SmallBus

from .boat_under_way import UNDER_WAY_NS, Boat, boat_under_way
from .conftest import Edited
from .first_boat_world import boat

CONFIGS = Path(__file__).parents[2] / "configs"


def fed(names: str = "ab") -> tuple[SmallBus, Supply]:
    small = SmallBus(3)
    supply = Supply("house", 12_000, 8_000, small.loop, [small.hosts[name] for name in names])
    small.loop.add(supply.ramp)
    return small, supply


def starts(small: SmallBus) -> list[tuple[int, str, int]]:
    return [(event[0], event[3], event[4]) for event in small.events("start") if event[0]]


def test_a_lost_supply_takes_all_that_hang_on_it_and_nobody_else() -> None:
    small, supply = fed()
    small.run(MS)
    supply.lose(MS)
    small.run(2 * MS)
    assert [small.hosts[name].running for name in "abc"] == [False, False, True]
    supply.restore(2 * MS)
    small.run(3 * MS)
    assert starts(small) == [(2 * MS, "a", POWER_ON), (2 * MS, "b", POWER_ON)]
    assert [(event[0], event[3], event[4]) for event in small.events("power") if event[0]] == [
        (MS, "a", 0), (MS, "b", 0), (2 * MS, "a", 1), (2 * MS, "b", 1),
    ]  # fmt: skip


@pytest.mark.parametrize(("to_mv", "resets"), [(8_000, False), (7_999, True)])
def test_below_brown_out_they_are_held_in_reset_and_told_so_afterwards(to_mv: int, resets: bool) -> None:
    small, supply = fed("a")
    supply.hold_down(MS, to_mv)
    assert small.hosts["a"].running is not resets
    supply.let_go(2 * MS, to_mv)
    small.run(3 * MS)
    assert starts(small) == ([(2 * MS, "a", BROWN_OUT_RESET)] if resets else [])


def test_a_supply_that_was_gone_altogether_is_a_power_on() -> None:
    small, supply = fed("a")
    supply.hold_down(MS, 5_000)
    supply.lose(2 * MS)
    supply.restore(3 * MS)
    supply.let_go(4 * MS, 5_000)
    small.run(5 * MS)
    assert starts(small) == [(4 * MS, "a", POWER_ON)]


def test_after_cranking_it_rises_in_a_straight_line_and_they_start_as_it_passes_brown_out() -> None:
    """From 6 V to 12 V in 300 ms: 8 V after a third of the way, 100 ms."""
    small, supply = fed("a")
    small.run(SECOND)
    supply.on_crank(SECOND, True, 6_000, 300 * MS)
    small.run(2 * SECOND)
    assert supply.volts_mv(2 * SECOND) == 6_000
    supply.on_crank(2 * SECOND, False, 6_000, 300 * MS)
    assert [supply.volts_mv(2 * SECOND + at_ms * MS) for at_ms in (0, 100, 150, 299, 300)] == [6000, 8000, 9000, 11_980, 12_000]
    small.run(3 * SECOND)
    assert starts(small) == [(2 * SECOND + 100 * MS, "a", BROWN_OUT_RESET)]


def test_two_things_that_hold_it_down_end_one_by_one_and_the_lowest_counts() -> None:
    small, supply = fed("a")
    supply.on_crank(MS, True, 6_000, 300 * MS)
    supply.hold_down(2 * MS, 7_000)
    supply.on_crank(10 * MS, False, 6_000, 300 * MS)
    small.run(SECOND)
    assert not small.hosts["a"].running
    assert supply.volts_mv(SECOND) == 7_000
    supply.let_go(SECOND, 7_000)
    small.run(2 * SECOND)
    assert starts(small) == [(SECOND, "a", BROWN_OUT_RESET)]


def test_a_second_engine_cranked_during_the_ramp_of_the_first() -> None:
    small, supply = fed("a")
    supply.on_crank(0, True, 6_000, 300 * MS)
    supply.on_crank(100 * MS, False, 6_000, 300 * MS)
    small.run(150 * MS)
    supply.on_crank(150 * MS, True, 6_000, 300 * MS)
    supply.on_crank(250 * MS, False, 6_000, 300 * MS)
    small.run(SECOND)
    assert starts(small) == [(350 * MS, "a", BROWN_OUT_RESET)]


def test_a_switch_and_a_supply_are_both_needed() -> None:
    small, supply = fed("a")
    supply.lose(MS)
    small.power(2 * MS, "a", False)
    supply.restore(3 * MS)
    assert not small.hosts["a"].powered
    supply.lose(4 * MS)
    small.power(5 * MS, "a", True)
    assert not small.hosts["a"].powered
    supply.restore(6 * MS)
    assert small.hosts["a"].powered


# ------------------------------------------------------------------------------------------------ as faults


@pytest.fixture
def under_way() -> Boat:
    return boat_under_way()


BOOT_NS = range(300 * MS, 350 * MS + 1)
NODES = ("wheelhouse", "companionway", "lamp_driver", "engine_room")


def test_supply_lost_stops_everything_on_it(under_way: Boat) -> None:
    under_way.with_fault("supply_lost", SupplyPlace(supply="house"), for_ns=SECOND).run(9 * SECOND)
    for node in NODES:
        assert under_way.told("power", node, 0) == [UNDER_WAY_NS]
        (start_ns,) = under_way.told("start", node, POWER_ON)
        assert start_ns - UNDER_WAY_NS - SECOND in BOOT_NS
    assert not [frame for frame in under_way.frames if UNDER_WAY_NS < frame[0] < UNDER_WAY_NS + SECOND + 300 * MS]


UNDER_WAY_LIGHTS = {"masthead", "sidelights", "sternlight"}
FEED = ("supply_lost", SupplyPlace(supply="masts"))
SWITCHER = ("power_lost", NodePlace(node="mast_lights"))


@pytest.mark.parametrize(("faults", "lit"), [((FEED,), set()), ((SWITCHER,), UNDER_WAY_LIGHTS), ((FEED, FEED), set())])
def test_navigation_lights_burn_by_the_supply_of_their_node(faults: tuple[tuple[str, Any], ...], lit: set[str]) -> None:
    """Their relays stay where they are when the node alone has no power, and when the supply is back. Two causes are two."""
    loaded = load_boat(CONFIGS / "marsh_tern")
    world = build_world(loaded.boat, loaded.plan, load_kinds(), 1)
    begin: list[Step] = [(5 * SECOND, 0, "begin_fault", (number, *fault)) for number, fault in enumerate(faults)]
    end: list[Step] = [((6 + number) * SECOND, 0, "end_fault", (number, *fault)) for number, fault in enumerate(faults)]
    world.plan_steps([*power_up(world), *begin, *end])

    def lit_at(now_ns: int) -> set[str]:
        world.run(now_ns)
        return {name for name in loaded.boat.navigation_lights if world.plant.lamp(name, 1).shown[0]}

    assert lit_at(5 * SECOND - 1) == UNDER_WAY_LIGHTS
    assert lit_at(5 * SECOND) == lit
    assert lit_at(end[-1][0] - 1) == lit
    assert lit_at(end[-1][0]) == UNDER_WAY_LIGHTS
    assert lit_at(9 * SECOND) == UNDER_WAY_LIGHTS


def test_brown_out_tells_them_why_they_start(under_way: Boat) -> None:
    under_way.with_fault("brown_out", BrownOutPlace(supply="house"), for_ns=SECOND).run(9 * SECOND)
    for node in NODES:
        assert under_way.told("start", node, BROWN_OUT_RESET)
    assert under_way.world.supplies["house"].volts_mv(UNDER_WAY_NS + 1) == 12_000, "it is over"


def test_a_sag_that_stays_above_brown_out_is_none(under_way: Boat) -> None:
    under_way.with_fault("brown_out", BrownOutPlace(supply="house", to_v=8.0), for_ns=SECOND).run(9 * SECOND)
    assert under_way.told("power") == []


@pytest.mark.parametrize("for_ns", [None, 5 * SECOND])
def test_a_cranking_dip_ends_by_itself(under_way: Boat, for_ns: int | None) -> None:
    """Left out, the lowest is half of 12 V: 8 V a third of the ramp's 300 ms later."""
    place = CrankingPlace(supply="house", for_ms=500, ramp_ms=300)
    under_way.with_fault("cranking_dip", place, for_ns=for_ns).run(12 * SECOND)
    for node in NODES:
        assert under_way.told("power", node, 1) == [UNDER_WAY_NS + 600 * MS]
        assert under_way.told("start", node, BROWN_OUT_RESET)


def test_a_cranking_dip_may_be_ended_early(under_way: Boat) -> None:
    place = CrankingPlace(supply="house", for_ms=500, ramp_ms=0)
    under_way.with_fault("cranking_dip", place, for_ns=200 * MS).run(12 * SECOND)
    assert under_way.told("power", "wheelhouse", 1) == [UNDER_WAY_NS + 200 * MS]


@pytest.mark.parametrize(("name", "place"), [("brown_out", BrownOutPlace), ("cranking_dip", CrankingPlace)])
def test_a_sag_to_more_than_there_is_is_refused(name: str, place: type[BrownOutPlace] | type[CrankingPlace]) -> None:
    found = list(BY_NAME[name].misplaced(boat().boat, place(supply="house", to_v=12.0)))
    assert found == [("to_v", "12 V is no sag: house has 12 V")]


# ------------------------------------------------------------------------------------------------ a starter


@pytest.mark.parametrize(("line", "resets"), [("crank_v: 6", True), ("crank_v: 8.5", False), ("crank_ramp_ms: 100", False)])
def test_a_starter_on_a_supply_draws_it_down_to_what_the_boat_file_says(edited: Edited, line: str, resets: bool) -> None:
    """6 V of 12: the nodes are back as the ramp of 200 ms passes 8 V, after 66.67 ms, from the moment the starter lets go."""
    loaded = load_boat(edited(("    brown_out_v: 8 ", f"    {line}\n    brown_out_v: 8 ")).path)
    world = build_world(loaded.boat, loaded.plan, load_kinds(), 1)
    events: list[tuple[object, ...]] = []
    for kind in ("power", "starter"):
        world.journal.watch_events(kind, lambda event: events.append((event[0], *event[2:])))
    world.plan_steps([*power_up(world), (0, 0, "engines", (0,)), (3 * SECOND, 0, "crank", ("engine", 1000))])
    world.run(6 * SECOND)
    turns, lets_go = (event[0] for event in events if event[1] == "starter")
    dips = [event for event in events if event[1] == "power" and event[0]]
    if not resets:
        assert dips == []
        return
    assert {event[0] for event in dips if event[3] == 0} == {turns}
    assert {event[0] for event in dips if event[3] == 1} == {lets_go + -(-200 * MS * 2 // 6)}


def test_a_starter_that_does_not_draw_it_down_is_refused(edited: Edited) -> None:
    with pytest.raises(InputError, match=r"a starter draws house down: 12 V is not below its 12 V"):
        load_boat(edited(("    brown_out_v: 8 ", "    crank_v: 12\n    brown_out_v: 8 ")).path)
