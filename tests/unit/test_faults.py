"""Each fault on the first boat under way: what it does to the boat, when it begins and ends, where it can be.

Times follow from the boat file by hand: shift 70 mm astern to ahead at 40 mm/s by motor and by spring, so half of it in 875 ms,
and to the clutch's letting go, half way to neutral (model assumption), in 437.5 ms.
"""


import pytest

from busim.events import bits
from busim.faults.corrupted import CorruptedPlace, FlipBits
from busim.faults.cut import CutPlace
from busim.faults.fault import NodePlace
from busim.faults.hang import HangPlace
from busim.faults.stale_mailbox import FirstAgain
from busim.seam import EXTERNAL_RESET, POWER_ON, WATCHDOG_RESET
from busim.units import MS, NEVER, SECOND

from .boat_under_way import ENGINE_ROOM, LAMP_DRIVER, PANEL, UNDER_WAY_NS, WHEELHOUSE, Boat, boat_under_way
from .first_boat_world import press

HALF_SHIFT_TO_LETTING_GO_NS = 437_500_000
BOOT_NS = range(300 * MS, 350 * MS + 1)

AT_8_M = CutPlace(bus="main", at_m=8.0)


@pytest.fixture
def under_way() -> Boat:
    return boat_under_way()


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
    assert under_way.world.plant.lamps["cabin_lamp"].look()[0] == 0, "it does not know what it was before"


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
    under_way.with_fault("hang", HangPlace(node="engine_room")).run(9 * SECOND)
    (start_ns,) = under_way.told("start", "engine_room", WATCHDOG_RESET)
    assert start_ns - UNDER_WAY_NS - 200 * MS in BOOT_NS
    assert under_way.told("gear", "engine", 0), "its outputs dropped, and the spring took the gear out"
    assert under_way.told("gear", "engine", 1) == []
    assert under_way.sent_by(ENGINE_ROOM, start_ns, 9 * SECOND)


def test_hang_acknowledges_and_does_nothing_else(without_watchdogs: Boat) -> None:
    under_way = without_watchdogs
    throttle = under_way.world.plant.drives[0].throttle
    open_at = throttle.read(UNDER_WAY_NS - 1)
    under_way.with_fault("hang", HangPlace(node="engine_room"), for_ns=2 * SECOND).run(8 * SECOND - 1)
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
    under_way.with_fault("hang", HangPlace(node="engine_room"), for_ns=2 * SECOND).run(12 * SECOND)
    assert under_way.world.hosts["engine_room"].node is before
    assert under_way.told("start", "engine_room") == []
    rows = under_way.told("row", "engine_room", "drive")
    assert 8 * SECOND <= rows[0] <= 8 * SECOND + 50 * MS
    assert under_way.told("gear", "engine", 0)
    assert under_way.sent_by(ENGINE_ROOM, 8 * SECOND, 9 * SECOND)


def test_hang_of_a_panel_leaves_a_touch_unanswered(without_watchdogs: Boat) -> None:
    under_way = without_watchdogs
    under_way.with_fault("hang", HangPlace(node="companionway"))
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
