"""Faults of wires, hosts and supplies: when each begins and ends, where it can be, what it leaves behind, a world saved in it."""

from typing import Any

import pytest

from busim.boat.load import load_boat
from busim.boat.shipped import shipped_folder
from busim.faults.accepted_by_some import SomePlace
from busim.faults.babbling import BabblingPlace
from busim.faults.brown_out import BrownOutPlace
from busim.faults.clock_off import ClockPlace
from busim.faults.corrupted import CorruptedPlace
from busim.faults.cranking_dip import CrankingPlace
from busim.faults.cut import CutPlace
from busim.faults.delayed import DelayedPlace
from busim.faults.duplicate_address import DuplicatePlace
from busim.faults.fault import NodePlace, TapPlace
from busim.faults.hang import HangPlace
from busim.faults.intermittent import IntermittentPlace
from busim.faults.noise_burst import BurstPlace
from busim.faults.noise_rate import NoisePlace
from busim.faults.queue_held import HeldPlace
from busim.faults.replayed import ReplayedPlace
from busim.faults.sent_twice import TwicePlace
from busim.faults.short import ShortPlace
from busim.faults.supply_lost import SupplyPlace
from busim.faults.table import BY_NAME, FAULTS
from busim.faults.terminator_lost import TerminatorPlace
from busim.faults.truncated import TruncatedPlace
from busim.scenario.load import steps_of
from busim.scenario.model import FaultEntry, ScenarioFile
from busim.simulator.kinds import load_kinds
from busim.simulator.world import World
from busim.units import MS, SECOND

from .boat_under_way import UNDER_WAY_NS, Boat, boat_under_way
from .first_boat_world import boat, press

AT_8_M = CutPlace(bus="main", at_m=8.0)


@pytest.fixture
def under_way() -> Boat:
    return boat_under_way()


PLACES: dict[str, Any] = {
    "cut": AT_8_M,
    "power_lost": NodePlace(node="wheelhouse"),
    "reset": NodePlace(node="wheelhouse"),
    "hang": HangPlace(node="wheelhouse"),
    "corrupted": CorruptedPlace(node="wheelhouse"),
    "stale_mailbox": NodePlace(node="wheelhouse"),
    "unplugged": NodePlace(node="wheelhouse"),
    "wire_open": AT_8_M,
    "short": ShortPlace(bus="main"),
    "terminator_lost": TerminatorPlace(bus="main"),
    "drop_open": TapPlace(node="wheelhouse", bus="main"),
    "intermittent": IntermittentPlace(on_ms=100, off_ms=50, cut=AT_8_M),
    "noise_rate": NoisePlace(bus="main"),
    "noise_burst": BurstPlace(bus="main", every_us=50_000),
    "accepted_by_some": SomePlace(bus="main", nodes=("engine_room",), every=1),
    "sent_twice": TwicePlace(node="wheelhouse", bus="main", every=2),
    "babbling": BabblingPlace(node="wheelhouse", bus="main"),
    "stuck_dominant": TapPlace(node="wheelhouse", bus="main"),
    "deaf": TapPlace(node="wheelhouse", bus="main"),
    "dumb": TapPlace(node="wheelhouse", bus="main"),
    "bus_off_forced": TapPlace(node="wheelhouse", bus="main"),
    "supply_lost": SupplyPlace(supply="house"),
    "brown_out": BrownOutPlace(supply="house"),
    "cranking_dip": CrankingPlace(supply="house", for_ms=200),
    "application_dead": NodePlace(node="wheelhouse"),
    "frozen_data": NodePlace(node="wheelhouse"),
    "clock_off": ClockPlace(node="wheelhouse"),
    "byte_swapped": NodePlace(node="wheelhouse"),
    "truncated": TruncatedPlace(node="wheelhouse"),
    "queue_held": HeldPlace(node="wheelhouse", bus="main"),
    "delayed": DelayedPlace(node="wheelhouse"),
    "replayed": ReplayedPlace(node="wheelhouse"),
    "duplicate_address": DuplicatePlace(node="companionway", has_address_of="wheelhouse"),
    "other_boat_file": NodePlace(node="wheelhouse"),
}
WORDS = {
    "cut": "main at 8 m",
    "corrupted": "wheelhouse, byte 5",
    "wire_open": "main at 8 m",
    "queue_held": "wheelhouse on main",
    "short": "main, high to low",
    "terminator_lost": "main",
    "drop_open": "wheelhouse on main",
    "intermittent": "cut main at 8 m, 100 ms in 150",
    "noise_rate": "main",
    "noise_burst": "main",
    "accepted_by_some": "main, not by engine_room",
    "sent_twice": "wheelhouse on main",
    "babbling": "wheelhouse on main, frames",
    "stuck_dominant": "wheelhouse on main",
    "deaf": "wheelhouse on main",
    "dumb": "wheelhouse on main",
    "bus_off_forced": "wheelhouse on main",
    "supply_lost": "house",
    "brown_out": "house",
    "cranking_dip": "house",
    "clock_off": "wheelhouse, +10000 ppm",
    "truncated": "wheelhouse, 7 bytes",
    "delayed": "wheelhouse, by 400 ms",
    "replayed": "wheelhouse, the same 200 ms",
    "duplicate_address": "companionway as wheelhouse",
}


@pytest.mark.parametrize("name", PLACES)
def test_it_begins_and_ends_when_it_was_planned_and_says_where(under_way: Boat, name: str) -> None:
    lasts = BY_NAME[name].lasts
    under_way.with_fault(name, PLACES[name], for_ns=500 * MS if lasts else None).run(7 * SECOND)
    words = WORDS.get(name, "wheelhouse")
    assert under_way.told("fault", name, words, 1 if lasts else 2) == [UNDER_WAY_NS]
    assert under_way.told("fault", name, words, 0) == ([UNDER_WAY_NS + 500 * MS] if lasts else [])
    assert bool(under_way.world.faults) != lasts, "what is over is not remembered"


@pytest.mark.slow
@pytest.mark.parametrize("name", [name for name in PLACES if BY_NAME[name].lasts])
def test_a_fault_that_is_over_leaves_the_boat_as_usable_as_before(under_way: Boat, name: str) -> None:
    """Control can be taken again with the lever in neutral, and a gear goes in."""
    under_way.with_fault(name, PLACES[name], for_ns=SECOND)
    lever = [(at_s * SECOND, 0, "move_lever", ("wheelhouse", "engine", to, 300)) for at_s, to in ((11, 0), (14, 400))]
    under_way.world.plan_steps([*lever, *press(12_500, "wheelhouse", "take")])
    under_way.run(18 * SECOND)
    assert [at_ns for at_ns in under_way.told("gear", "engine", 1) if at_ns > 14 * SECOND]


@pytest.mark.slow
@pytest.mark.parametrize("name", PLACES)
def test_a_world_saved_in_the_middle_of_it_goes_on_the_same(under_way: Boat, name: str) -> None:
    loaded = under_way.loaded
    under_way.with_fault(name, PLACES[name], for_ns=SECOND if BY_NAME[name].lasts else None).run(UNDER_WAY_NS + 300 * MS)
    branch = World.restore(under_way.world.save(), loaded.boat, loaded.plan, dict(load_kinds()))
    for world in (branch, under_way.world):
        world.run(9 * SECOND)
    assert branch.journal.digest == under_way.world.journal.digest


def test_a_scenario_can_say_every_fault_and_gives_its_steps() -> None:
    """The table is the only place that names them."""
    loaded = boat()
    assert [name for name in FaultEntry.model_fields if name not in ("at_s", "for_s")] == [fault.name for fault in FAULTS]
    for name, place in PLACES.items():
        entry = {"at_s": 1.5, name: place.model_dump()} | ({"for_s": 0.25} if BY_NAME[name].lasts else {})
        scenario = ScenarioFile.model_validate({"scenario": "x", "lasts_s": 3.0, "faults": (entry,)})
        steps = steps_of(scenario, loaded.boat)
        assert steps[0] == (1500 * MS, 0, "begin_fault", (0, name, place))
        assert steps[1:] == ([(1750 * MS, 0, "end_fault", (0, name, place))] if BY_NAME[name].lasts else [])


def test_names_are_there_once_each_with_words_and_effect() -> None:
    assert len(BY_NAME) == len(FAULTS)
    assert PLACES.keys() <= BY_NAME.keys()
    for fault in FAULTS:
        assert fault.words
        assert fault.effect


@pytest.mark.parametrize("fault", [BY_NAME[name] for name in PLACES], ids=lambda fault: fault.name)
def test_each_says_what_it_is_and_what_it_does(fault: Any) -> None:
    assert isinstance(PLACES[fault.name], fault.place)
    assert fault.words
    assert fault.effect
    complaints = list(fault.misplaced(boat().boat, PLACES[fault.name]))
    assert [key for key, _ in complaints] == (["node"] if fault.name == "unplugged" else []), "the first boat has no plug"


@pytest.mark.parametrize(("at_m", "wrong"), [(0.0, False), (12.0, False), (12.001, True), (5000.0, True)])
def test_a_cut_is_on_the_trunk(at_m: float, wrong: bool) -> None:
    found = list(BY_NAME["cut"].misplaced(boat().boat, CutPlace(bus="main", at_m=at_m)))
    assert [key for key, _ in found] == (["at_m"] if wrong else [])


def test_faults_that_share_a_handle_say_so() -> None:
    """Of two that hold the same thing of a node, the end of one would end the other: no scenario may have both at a time."""
    holders: dict[str, set[str]] = {}
    for fault in FAULTS:
        if fault.acts_on is not None and fault.name in PLACES:
            holders.setdefault(fault.acts_on, set()).add(fault.name)
    assert holders == {
        "frames": {
            "corrupted", "byte_swapped", "truncated", "stale_mailbox", "frozen_data", "queue_held", "delayed", "replayed",
            "duplicate_address", "other_boat_file",
        },
        "program": {"hang", "application_dead"},
        "supply": {"power_lost", "unplugged"},
        "babble": {"babbling"},
        "clock": {"clock_off"},
        "receiver": {"deaf"},
        "transmitter": {"dumb"},
    }  # fmt: skip


@pytest.mark.parametrize("folder", ["first_boat", "marsh_tern"])
def test_every_fault_says_where_it_can_be_on_a_boat(folder: str) -> None:
    """Each place is one that a scenario could name, once; the one without any says so by `misplaced`."""
    boat_file = load_boat(shipped_folder() / folder).boat
    nowhere = set()
    for fault in FAULTS:
        places = [place for place in fault.places(boat_file) if not any(fault.misplaced(boat_file, place))]
        assert all(type(place) is fault.place for place in places), fault.name
        assert len({place.model_dump_json() for place in places}) == len(places), fault.name
        entry = [FaultEntry.model_validate_json(f'{{"at_s": 1.0, "{fault.name}": {place.model_dump_json()}}}') for place in places]
        assert [getattr(each, fault.name) for each in entry] == places
        if not places:
            nowhere.add(fault.name)
    without = {"unplugged", "tracks_stuck", "drives_swapped", "rudder_jammed", "rudder_slow", "rudder_runs"}
    assert nowhere == (without if folder == "first_boat" else set())
