"""Each fault on the first boat under way: what it does to the boat, when it begins and ends, where it can be.

Times follow from the boat file by hand: shift 70 mm astern to ahead at 40 mm/s by motor and by spring, so half of it in 875 ms,
and to the clutch's letting go, half way to neutral (model assumption), in 437.5 ms.
"""

from dataclasses import dataclass
from typing import Any

import pytest

from busim.boat.load import LoadedBoat
from busim.events import bits
from busim.events.journal import Event, Frame
from busim.faults.corrupted import CorruptedPlace, FlipBits
from busim.faults.cut import CutPlace
from busim.faults.fault import NodePlace
from busim.faults.stale_mailbox import FirstAgain
from busim.faults.table import BY_NAME, FAULTS
from busim.scenario.load import steps_of
from busim.scenario.model import FaultEntry, ScenarioFile
from busim.seam import EXTERNAL_RESET, POWER_ON, WATCHDOG_RESET
from busim.simulator.build import build_world, power_up
from busim.simulator.kinds import load_kinds
from busim.simulator.world import World
from busim.units import MS, NEVER, SECOND

from .first_boat_world import boat, press

UNDER_WAY_NS = 6 * SECOND
"""In control since 1 s, lever at 80 % ahead since 2 s: gear in and throttle open."""
WHEELHOUSE, ENGINE_ROOM, PANEL, LAMP_DRIVER = 1, 2, 20, 21
HALF_SHIFT_TO_LETTING_GO_NS = 437_500_000
BOOT_NS = range(300 * MS, 350 * MS + 1)

AT_8_M = CutPlace(bus="main", at_m=8.0)


@dataclass
class Boat:
    """A world under way, and everything since."""

    world: World
    loaded: LoadedBoat
    frames: list[Frame]
    events: list[Event]

    def run(self, until_ns: int) -> "Boat":
        self.world.run(until_ns)
        return self

    def with_fault(self, name: str, place: Any, *, for_ns: int | None = None, at_ns: int = UNDER_WAY_NS, number: int = 0) -> "Boat":
        steps = [(at_ns, number, "begin_fault", (number, name, place))]
        if for_ns is not None:
            steps.append((at_ns + for_ns, number, "end_fault", (number, name, place)))
        self.world.plan_steps(steps)
        return self

    def sent_by(self, address: int, begin_ns: int, end_ns: int) -> list[Frame]:
        return [frame for frame in self.frames if frame[2] & 0x3F == address and begin_ns < frame[0] <= end_ns]

    def told(self, kind: str, *fields: Any) -> list[int]:
        """Moments of the events of a kind whose first fields are these."""
        return [event[0] for event in self.events if event[2] == kind and event[3 : 3 + len(fields)] == fields]

    def host_bit(self, name: str) -> int:
        return 1 << self.world.hosts[name].index


@pytest.fixture(scope="module")
def saved() -> tuple[LoadedBoat, bytes]:
    loaded = boat()
    world = build_world(loaded.boat, loaded.plan, load_kinds(), 1)
    lever = (2 * SECOND, 0, "move_lever", ("wheelhouse", "engine", 800, 300))
    world.plan_steps([*power_up(world), *press(1000, "wheelhouse", "take"), *press(3000, "companionway", "touch.1"), lever])
    world.run(UNDER_WAY_NS - 1)
    return loaded, world.save()


@pytest.fixture
def under_way(saved: tuple[LoadedBoat, bytes]) -> Boat:
    loaded, state = saved
    world = World.restore(state, loaded.boat, loaded.plan, dict(load_kinds()))
    found = Boat(world, loaded, [], [])

    def keep(frames: list[Frame], events: list[Event], digest: str) -> None:
        found.frames += frames
        found.events += events

    world.journal.watch_blocks(keep)
    machinery = world.plant.drives[0]
    assert (machinery.gear, machinery.at_stop, world.plant.lamps) == (1, False, {"cabin_lamp": 1000})
    return found


# ---------------------------------------------------------------------------------------------------- cut


def test_cut_both_sides_go_on_and_hear_nothing_of_each_other(under_way: Boat) -> None:
    under_way.with_fault("cut", AT_8_M, for_ns=2 * SECOND).run(10 * SECOND)
    begin, end = UNDER_WAY_NS + MS, UNDER_WAY_NS + 2 * SECOND
    assert under_way.sent_by(ENGINE_ROOM, begin, end) == [], "nobody is left beside it to acknowledge"
    aboard = [under_way.host_bit(name) for name in ("wheelhouse", "companionway", "lamp_driver")]
    for sender, address in zip(aboard, (WHEELHOUSE, PANEL, LAMP_DRIVER), strict=True):
        frames = under_way.sent_by(address, begin, end)
        assert frames
        assert {frame[4] for frame in frames} == {sum(aboard) - sender}, "everyone forward of the cut, and nobody beyond it"
    assert under_way.sent_by(ENGINE_ROOM, end, 10 * SECOND), "the wire touches again"
    assert {frame[4] for frame in under_way.sent_by(WHEELHOUSE, end + 100 * MS, 10 * SECOND)} == {0b1111 - aboard[0]}


@pytest.mark.parametrize("at_m", [0.0, 12.0])
def test_cut_beyond_every_node_parts_nobody(under_way: Boat, at_m: float) -> None:
    under_way.with_fault("cut", CutPlace(bus="main", at_m=at_m)).run(7 * SECOND)
    assert len({frame[4] for frame in under_way.frames}) == 4, "each sender reaches all others"
    assert all(frame[4].bit_count() == 3 for frame in under_way.frames)


def test_two_cuts_one_of_which_heals(under_way: Boat) -> None:
    under_way.with_fault("cut", AT_8_M).with_fault("cut", CutPlace(bus="main", at_m=3.0), for_ns=SECOND, number=1).run(9 * SECOND)
    first = {frame[4] for frame in under_way.sent_by(WHEELHOUSE, UNDER_WAY_NS + MS, 7 * SECOND)}
    assert first == {under_way.host_bit("companionway")}
    later = {frame[4] for frame in under_way.sent_by(WHEELHOUSE, 7 * SECOND + 100 * MS, 9 * SECOND)}
    assert later == {under_way.host_bit("companionway") | under_way.host_bit("lamp_driver")}


# ---------------------------------------------------------------------------------------------------- power lost


def test_power_lost_of_a_drive_springs_its_gear_out_and_leaves_its_throttle(under_way: Boat) -> None:
    throttle = under_way.world.plant.drives[0].throttle
    open_at = throttle.read(UNDER_WAY_NS - 1)
    under_way.with_fault("power_lost", NodePlace(node="engine_room"), for_ns=3 * SECOND).run(8 * SECOND)
    assert under_way.told("power", "engine_room", 0) == [UNDER_WAY_NS]
    assert under_way.sent_by(ENGINE_ROOM, UNDER_WAY_NS, 9 * SECOND) == []
    assert not [frame for frame in under_way.frames if frame[0] > UNDER_WAY_NS and frame[4] & under_way.host_bit("engine_room")]
    (out_ns,) = under_way.told("gear", "engine", 0)
    assert abs(out_ns - UNDER_WAY_NS - HALF_SHIFT_TO_LETTING_GO_NS) <= 1000, "to the resolution of a position"
    assert throttle.read(8 * SECOND) == open_at > 0, "a worm gear holds"
    under_way.run(11 * SECOND)
    assert under_way.told("power", "engine_room", 1) == [9 * SECOND]
    (start_ns,) = under_way.told("start", "engine_room", POWER_ON)
    assert start_ns - 9 * SECOND in BOOT_NS
    assert under_way.sent_by(ENGINE_ROOM, 9 * SECOND, 11 * SECOND)[0][0] > start_ns


def test_power_lost_of_a_zone_driver_is_dark_at_once(under_way: Boat) -> None:
    under_way.with_fault("power_lost", NodePlace(node="lamp_driver"), for_ns=SECOND).run(9 * SECOND)
    assert under_way.told("lamp", "cabin_lamp", 0) == [UNDER_WAY_NS]
    assert under_way.world.plant.lamps["cabin_lamp"] == 0, "it does not know what it was before"


def test_power_lost_of_a_station_takes_its_levers_with_it(under_way: Boat) -> None:
    under_way.with_fault("power_lost", NodePlace(node="wheelhouse")).run(10 * SECOND)
    assert under_way.sent_by(WHEELHOUSE, UNDER_WAY_NS, 10 * SECOND) == []
    assert under_way.told("gear", "engine", 0), "the drive found neutral by itself"


# ---------------------------------------------------------------------------------------------------- reset


def test_reset_forgets_everything_and_starts_again(under_way: Boat) -> None:
    before = under_way.world.hosts["engine_room"].node
    under_way.with_fault("reset", NodePlace(node="engine_room")).run(10 * SECOND)
    host = under_way.world.hosts["engine_room"]
    assert type(host.node) is type(before)
    assert host.node is not before
    (start_ns,) = under_way.told("start", "engine_room", EXTERNAL_RESET)
    assert start_ns - UNDER_WAY_NS in BOOT_NS
    assert under_way.told("power", "engine_room") == [], "its supply stays"
    assert under_way.sent_by(ENGINE_ROOM, UNDER_WAY_NS, start_ns) == []
    assert under_way.sent_by(ENGINE_ROOM, start_ns, 10 * SECOND)
    # Its outputs dropped: the spring began to take the gear out before the program was back.
    (out_ns,) = under_way.told("gear", "engine", 0)
    assert abs(out_ns - UNDER_WAY_NS - HALF_SHIFT_TO_LETTING_GO_NS) <= 1000
    assert under_way.told("gear", "engine", 1) == [], "though the lever is still ahead"


def test_reset_of_a_node_without_supply_does_nothing(under_way: Boat) -> None:
    under_way.with_fault("power_lost", NodePlace(node="lamp_driver"))
    under_way.with_fault("reset", NodePlace(node="lamp_driver"), at_ns=7 * SECOND, number=1).run(9 * SECOND)
    assert under_way.told("start", "lamp_driver") == []


# ---------------------------------------------------------------------------------------------------- hang


@pytest.fixture
def without_watchdogs(under_way: Boat) -> Boat:
    for host in under_way.world.hosts.values():
        assert host.watchdog_ns == 200 * MS, "as the boat file says"
        host.watchdog_ns = NEVER
    return under_way


def test_hang_is_ended_by_an_external_watchdog(under_way: Boat) -> None:
    under_way.with_fault("hang", NodePlace(node="engine_room")).run(9 * SECOND)
    (start_ns,) = under_way.told("start", "engine_room", WATCHDOG_RESET)
    assert start_ns - UNDER_WAY_NS - 200 * MS in BOOT_NS
    assert under_way.told("gear", "engine", 0), "its outputs dropped, and the spring took the gear out"
    assert under_way.told("gear", "engine", 1) == []
    assert under_way.sent_by(ENGINE_ROOM, start_ns, 9 * SECOND)


def test_hang_acknowledges_and_does_nothing_else(without_watchdogs: Boat) -> None:
    under_way = without_watchdogs
    throttle = under_way.world.plant.drives[0].throttle
    open_at = throttle.read(UNDER_WAY_NS - 1)
    under_way.with_fault("hang", NodePlace(node="engine_room"), for_ns=2 * SECOND).run(8 * SECOND - 1)
    under_way.run(8 * SECOND)
    # What waits in its controller at that moment still goes out; each id has one mailbox.
    assert len(under_way.sent_by(ENGINE_ROOM, UNDER_WAY_NS, 8 * SECOND)) <= 3
    assert under_way.sent_by(ENGINE_ROOM, UNDER_WAY_NS + 5 * MS, 8 * SECOND) == []
    heard = under_way.sent_by(WHEELHOUSE, UNDER_WAY_NS, 8 * SECOND)
    assert len(heard) >= 100
    assert all(frame[4] & under_way.host_bit("engine_room") for frame in heard)
    assert under_way.told("gear", "engine") == under_way.told("throttle_stop", "engine") == []
    assert throttle.read(8 * SECOND) == open_at > 0, "outputs stay as they are"


def test_hang_over_the_program_goes_on_where_it_was_and_finds_out(without_watchdogs: Boat) -> None:
    """To the program no time has passed but on its clock: the last lever is too old, so it goes idle and neutral by itself."""
    under_way = without_watchdogs
    before = under_way.world.hosts["engine_room"].node
    under_way.with_fault("hang", NodePlace(node="engine_room"), for_ns=2 * SECOND).run(12 * SECOND)
    assert under_way.world.hosts["engine_room"].node is before
    assert under_way.told("start", "engine_room") == []
    rows = under_way.told("row", "engine_room", "drive")
    assert 8 * SECOND <= rows[0] <= 8 * SECOND + 50 * MS
    assert under_way.told("gear", "engine", 0)
    assert under_way.sent_by(ENGINE_ROOM, 8 * SECOND, 9 * SECOND)


def test_hang_of_a_panel_leaves_a_touch_unanswered(without_watchdogs: Boat) -> None:
    under_way = without_watchdogs
    under_way.with_fault("hang", NodePlace(node="companionway"))
    under_way.world.plan_steps(press(7000, "companionway", "touch.1"))
    under_way.run(10 * SECOND)
    assert under_way.told("lamp", "cabin_lamp") == []
    assert under_way.told("output", "companionway") == []


# ---------------------------------------------------------------------------------------------------- corrupted, stale


def test_corrupted_changes_one_byte_above_the_controller(under_way: Boat) -> None:
    """The wire is in order (every frame is acknowledged) and the CRC over id and data is not."""
    under_way.with_fault("corrupted", CorruptedPlace(node="wheelhouse", byte=5, flip=0x30), for_ns=200 * MS).run(8 * SECOND)
    end = UNDER_WAY_NS + 200 * MS
    wrong = under_way.sent_by(WHEELHOUSE, UNDER_WAY_NS + 2 * MS, end)
    assert len(wrong) >= 10
    for _, _, can_id, data, mask in wrong:
        assert mask.bit_count() == 3
        assert not bits.sound(can_id, data)
        assert bits.sound(can_id, data[:5] + bytes([data[5] ^ 0x30]) + data[6:]), "that byte and no other"
    after, others = under_way.sent_by(WHEELHOUSE, end + 5 * MS, 8 * SECOND), under_way.sent_by(ENGINE_ROOM, UNDER_WAY_NS, end)
    for frames in (after, others):
        safety = [frame for frame in frames if frame[2] >> 6 <= 15]
        assert safety
        assert all(bits.sound(can_id, data) for _, _, can_id, data, _ in safety)


@pytest.mark.parametrize("data", [b"", b"1", b"12345"])
def test_corrupted_leaves_alone_what_is_too_short(data: bytes) -> None:
    assert FlipBits(5, 0xFF).change(0x100, data) == data


@pytest.mark.parametrize(("byte", "flip", "changed"), [(0, 0x01, "0102"), (1, 0x80, "0082")])
def test_corrupted_flips_the_bits_asked_for(byte: int, flip: int, changed: str) -> None:
    assert FlipBits(byte, flip).change(0x100, bytes([0, 2])).hex() == changed


def test_stale_mailbox_sends_on_time_and_always_the_same(under_way: Boat) -> None:
    under_way.with_fault("stale_mailbox", NodePlace(node="wheelhouse"), for_ns=SECOND).run(9 * SECOND)
    end = UNDER_WAY_NS + SECOND
    levers = [frame for frame in under_way.sent_by(WHEELHOUSE, UNDER_WAY_NS + 2 * MS, end) if frame[2] >> 6 == bits.CODE_LEVER]
    assert 49 <= len(levers) <= 51, "one every 20 ms"
    assert len({frame[3] for frame in levers}) == 1
    assert bits.sound(levers[0][2], levers[0][3]), "sound in itself: only its counter tells"
    rows = under_way.told("row", "engine_room", "drive")
    assert UNDER_WAY_NS + 250 * MS <= rows[0] <= UNDER_WAY_NS + 275 * MS, "a duplicate does not feed the timeout"
    fresh = [frame[3] for frame in under_way.sent_by(WHEELHOUSE, end + 5 * MS, 9 * SECOND) if frame[2] >> 6 == bits.CODE_LEVER]
    assert len(set(fresh)) == len(fresh) > 50


def test_stale_mailbox_keeps_one_frame_of_each_id() -> None:
    stale = FirstAgain()
    assert [stale.change(can_id, data) for can_id, data in ((1, b"a"), (2, b"b"), (1, b"c"), (2, b"d"), (3, b"e"))] == [
        b"a", b"b", b"a", b"b", b"e",
    ]  # fmt: skip


# ---------------------------------------------------------------------------------------------------- begin, end, place

PLACES: dict[str, Any] = {
    "cut": AT_8_M,
    "power_lost": NodePlace(node="wheelhouse"),
    "reset": NodePlace(node="wheelhouse"),
    "hang": NodePlace(node="wheelhouse"),
    "corrupted": CorruptedPlace(node="wheelhouse"),
    "stale_mailbox": NodePlace(node="wheelhouse"),
    "unplugged": NodePlace(node="wheelhouse"),
}
WORDS = {"cut": "main at 8 m", "corrupted": "wheelhouse, byte 5"}


@pytest.mark.parametrize("name", BY_NAME)
def test_it_begins_and_ends_when_it_was_planned_and_says_where(under_way: Boat, name: str) -> None:
    lasts = BY_NAME[name].lasts
    under_way.with_fault(name, PLACES[name], for_ns=500 * MS if lasts else None).run(7 * SECOND)
    words = WORDS.get(name, "wheelhouse")
    assert under_way.told("fault", name, words, 1) == [UNDER_WAY_NS]
    assert under_way.told("fault", name, words, 0) == ([UNDER_WAY_NS + 500 * MS] if lasts else [])
    assert bool(under_way.world.faults) != lasts, "what is over is not remembered"


@pytest.mark.parametrize("name", [fault.name for fault in FAULTS if fault.lasts])
def test_a_fault_that_is_over_leaves_the_boat_as_usable_as_before(under_way: Boat, name: str) -> None:
    """Control can be taken again with the lever in neutral, and a gear goes in."""
    under_way.with_fault(name, PLACES[name], for_ns=SECOND)
    lever = [(at_s * SECOND, 0, "move_lever", ("wheelhouse", "engine", to, 300)) for at_s, to in ((11, 0), (14, 400))]
    under_way.world.plan_steps([*lever, *press(12_500, "wheelhouse", "take")])
    under_way.run(18 * SECOND)
    assert [at_ns for at_ns in under_way.told("gear", "engine", 1) if at_ns > 14 * SECOND]


@pytest.mark.parametrize("name", BY_NAME)
def test_a_world_saved_in_the_middle_of_it_goes_on_the_same(saved: tuple[LoadedBoat, bytes], under_way: Boat, name: str) -> None:
    loaded, _ = saved
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


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.name)
def test_each_says_what_it_is_and_what_it_does(fault: Any) -> None:
    assert PLACES.keys() == BY_NAME.keys()
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
        if fault.acts_on is not None:
            holders.setdefault(fault.acts_on, set()).add(fault.name)
    assert holders == {"frames": {"corrupted", "stale_mailbox"}, "program": {"hang"}, "supply": {"power_lost", "unplugged"}}
