"""What a drive does with lever frames: which count, one to reduce and two to add, and engaging only at idle."""

import pytest

from busim.protocol import values as v
from busim.units import MS

from . import hand_made_frames as hand
from .drive_rig import TIMEOUT_NS, DriveRig
from .hand_made_frames import AHEAD, ASTERN, BETWEEN, NEUTRAL
from .small_boat import BRIDGE, DWELL_MS, IDLE_WAIT_MS, PORT, SHIFT_RPM, STARBOARD, WHEELHOUSE, small_boat


def engaged(throttle: int = 0) -> DriveRig:
    rig = DriveRig()
    rig.engaged(AHEAD, throttle)
    rig.forget()
    return rig


def feeds_the_timeout(rig: DriveRig, act: object) -> bool:
    """Does what `act` does 1 ns before the control timeout keep control?"""
    rig.lever(AHEAD)
    base_ns = rig.now_ns
    rig.run_to(base_ns + TIMEOUT_NS - 1)
    rig.beat()
    act()  # type: ignore[operator]
    rig.run_to(base_ns + TIMEOUT_NS)
    return rig.obeyed[0] != 0


# ------------------------------------------------------------------------------------------------ which frames count


def test_a_valid_frame_feeds_the_timeout_and_is_echoed() -> None:
    rig = engaged()
    assert feeds_the_timeout(rig, lambda: rig.lever(AHEAD))
    rig.run_for(40)
    assert rig.acted_on == rig.counters[hand.id_of(hand.LEVER, WHEELHOUSE)]


def wrong_crc(rig: DriveRig) -> None:
    can_id = hand.id_of(hand.LEVER, WHEELHOUSE)
    rig.frame(can_id, hand.spoiled(hand.lever(WHEELHOUSE, rig.counter(can_id), rig.number, AHEAD)))


def too_short(rig: DriveRig) -> None:
    can_id = hand.id_of(hand.LEVER, WHEELHOUSE)
    rig.frame(can_id, hand.lever(WHEELHOUSE, rig.counter(can_id), rig.number, AHEAD)[:7])


def meant_for_another_id(rig: DriveRig) -> None:
    """The very bytes of the bridge's frame, under the wheelhouse's id: the CRC covers the id."""
    can_id = hand.id_of(hand.LEVER, WHEELHOUSE)
    rig.frame(can_id, hand.lever(BRIDGE, rig.counter(can_id), rig.number, AHEAD))


BAD = {
    "wrong CRC": wrong_crc,
    "seven bytes": too_short,
    "another id's CRC": meant_for_another_id,
    "duplicate": lambda rig: rig.lever(AHEAD, ahead=0),
    "gap of max_gap + 1": lambda rig: rig.lever(AHEAD, ahead=4),
    "counter back by one": lambda rig: rig.lever(AHEAD, ahead=-1),
    "old number": lambda rig: rig.lever(AHEAD, number=rig.number - 1),
    "next number": lambda rig: rig.lever(AHEAD, number=rig.number + 1),
    "gear 3": lambda rig: rig.lever(BETWEEN),
    "throttle 1001": lambda rig: rig.lever(AHEAD, 1001),
    "throttle 1023": lambda rig: rig.lever(AHEAD, 1023),
    "another station": lambda rig: rig.lever(AHEAD, station=BRIDGE),
}


@pytest.mark.parametrize("what", BAD)
def test_a_frame_that_does_not_count_moves_nothing_and_feeds_no_timeout(what: str) -> None:
    rig = engaged(300)
    rig.lever(AHEAD, 300)
    rig.forget()
    BAD[what](rig)
    assert not rig.did
    assert not feeds_the_timeout(rig, lambda: BAD[what](rig)), what
    assert rig.cause == v.CAUSE_LEVER_LOST


@pytest.mark.parametrize("ahead", [1, 2, 3])
def test_up_to_max_gap_counts(ahead: int) -> None:
    rig = engaged()
    assert feeds_the_timeout(rig, lambda: rig.lever(AHEAD, ahead=ahead))


def test_after_a_gap_the_second_of_two_in_a_row_counts() -> None:
    rig = engaged()
    rig.lever(NEUTRAL, ahead=50)
    assert not rig.rows
    rig.lever(NEUTRAL)
    assert rig.rows == [8]


def test_the_highest_throttle_counts() -> None:
    rig = engaged()
    rig.lever(AHEAD, 1000)
    rig.lever(AHEAD, 1000)
    assert rig.outcome() == (AHEAD, 1000)


def test_what_is_asked_of_the_other_drive_does_not_matter() -> None:
    rig = engaged(300)
    rig.lever(AHEAD, 300, other=(BETWEEN, 1023))
    assert not rig.did
    assert feeds_the_timeout(rig, lambda: rig.lever(AHEAD, 300, other=(BETWEEN, 1023)))


def test_the_second_drive_reads_its_own_fields() -> None:
    rig = DriveRig(small_boat(), STARBOARD)
    rig.engaged(ASTERN, 250)
    assert rig.outcome() == (ASTERN, 250)
    rig.lever(ASTERN, 250, other=(AHEAD, 900))
    assert rig.outcome() == (ASTERN, 250)
    rig.run_for(40)
    assert rig.last(hand.OBEYS, 0, 2) == rig.last(hand.STATE, 46, 2) == 2
    assert rig.said(hand.OBEYS)[0][1][0] == hand.crc_of(hand.id_of(hand.OBEYS, STARBOARD), rig.said(hand.OBEYS)[0][1][1:])


# ------------------------------------------------------------------------------------------------ one to reduce, two to add


def test_two_frames_add_thrust_the_lower_of_the_two() -> None:
    rig = engaged(200)
    rig.lever(AHEAD, 600)
    assert rig.outcome() == (AHEAD, 200)
    rig.lever(AHEAD, 800)
    assert rig.outcome() == (AHEAD, 600)
    rig.lever(AHEAD, 800)
    assert rig.outcome() == (AHEAD, 800)


def test_one_frame_reduces() -> None:
    rig = engaged(600)
    rig.lever(AHEAD, 150)
    assert rig.outcome() == (AHEAD, 150)
    rig.lever(AHEAD, 600)
    assert rig.outcome() == (AHEAD, 150)


@pytest.mark.parametrize("gear", [NEUTRAL, ASTERN])
def test_one_frame_of_another_gear_goes_idle(gear: int) -> None:
    rig = engaged(600)
    rig.lever(gear, 600)
    assert rig.rows == [8]
    assert rig.outcome() == (AHEAD, 0), "the gear stays until the throttle is at its stop"


def test_one_frame_engages_nothing() -> None:
    rig = DriveRig()
    rig.in_control()
    rig.lever(AHEAD)
    assert rig.outcome()[0] == NEUTRAL
    rig.lever(ASTERN)
    assert rig.outcome()[0] == NEUTRAL
    rig.lever(AHEAD)
    assert rig.outcome()[0] == NEUTRAL
    rig.lever(AHEAD)
    assert rig.outcome() == (AHEAD, 0)


def test_the_throttle_stays_at_its_stop_until_the_gear_is_in() -> None:
    rig = DriveRig()
    rig.engaging()
    rig.steer_for(400, AHEAD, 700)
    assert rig.outcome() == (AHEAD, 0)
    rig.gear_is(AHEAD)
    assert rig.outcome() == (AHEAD, 0)
    rig.lever(AHEAD, 700)
    assert rig.outcome() == (AHEAD, 700)


def test_one_frame_back_stops_a_gear_going_in() -> None:
    for gear in (NEUTRAL, ASTERN):
        rig = DriveRig()
        rig.engaging(AHEAD)
        rig.lever(gear)
        assert rig.rows[-1] == 7
        assert rig.outcome() == (NEUTRAL, 0)


def test_slowing_goes_back_in_gear_only_on_two_frames_of_that_gear() -> None:
    rig = DriveRig()
    rig.slowing()
    rig.forget()
    rig.lever(ASTERN)
    rig.lever(ASTERN)
    rig.lever(AHEAD)
    assert not rig.rows
    rig.lever(AHEAD)
    assert rig.rows == [9]


# ------------------------------------------------------------------------------------------------ only at idle


@pytest.mark.parametrize(
    ("throttle", "rpm", "engages"),
    [
        (10, 800, True),
        (11, 800, False),
        (0, SHIFT_RPM, True),
        (0, SHIFT_RPM + 1, False),
        (-30, 800, True),
        (-31, 800, False),  # a feedback wire off reads far below the stop
        (0, 0, True),
        (0, -1, False),
    ],
)
def test_a_gear_goes_in_only_at_idle(throttle: int, rpm: int, engages: bool) -> None:
    rig = DriveRig()
    rig.in_control()
    rig.sense(throttle=throttle, rpm=rpm)
    rig.steer_for(100, AHEAD, 500)
    assert (5 in rig.rows) == engages
    assert rig.outcome() == (AHEAD if engages else NEUTRAL, 0)
    rig.sense(throttle=0, rpm=800)
    rig.lever(AHEAD, 500)
    assert rig.outcome()[0] == AHEAD, "and as soon as it is at idle, if the lever still asks"


@pytest.mark.parametrize(("shift", "switch"), [(101, 1), (-101, 1), (0, 0), (500, 0), (1000, 0)])
def test_a_gear_goes_in_only_from_a_sensed_neutral(shift: int, switch: int) -> None:
    rig = DriveRig()
    rig.in_control()
    rig.sense(shift=shift, switch=switch)
    rig.steer_for(100, AHEAD)
    assert rig.outcome()[0] == NEUTRAL


@pytest.mark.parametrize("shift", [100, -100])
def test_neutral_is_sensed_within_a_tenth(shift: int) -> None:
    rig = DriveRig()
    rig.in_control()
    rig.sense(shift=shift)
    rig.lever(AHEAD)
    rig.lever(AHEAD)
    assert rig.outcome()[0] == AHEAD


@pytest.mark.parametrize(
    ("gear", "shift", "is_in"), [(AHEAD, 900, True), (AHEAD, 899, False), (ASTERN, -900, True), (ASTERN, -899, False)]
)
def test_a_gear_is_in_from_nine_tenths(gear: int, shift: int, is_in: bool) -> None:
    rig = DriveRig()
    rig.engaging(gear)
    rig.sense(shift=shift, switch=0)
    assert (6 in rig.rows) == is_in


def test_without_a_switch_the_feedback_alone_tells() -> None:
    rig = DriveRig(has_neutral_switch=False)
    rig.start()
    rig.sense(shift=0, throttle=0, switch=0, rpm=800)
    assert rig.rows == [1]
    rig.run_for(0)
    assert rig.last(hand.STATE, 40, 2) == v.SWITCH_NOT_FITTED


# ------------------------------------------------------------------------------------------------ the dwell


def tries_astern(rig: DriveRig, for_ns: int) -> int | None:
    """Ask for astern in every millisecond from now on: when the drive began to engage it."""
    began_ns = rig.now_ns
    while rig.now_ns < began_ns + for_ns:
        rig.beat()
        rig.lever(ASTERN)
        if rig.outcome()[0] == ASTERN:
            return rig.now_ns
        rig.run_for(1)
    return None


def test_the_opposite_gear_waits_for_the_dwell() -> None:
    rig = DriveRig()
    rig.dwelling()
    out_ns = rig.now_ns
    rig.steer_for(980, ASTERN)
    rig.run_to(out_ns + DWELL_MS * MS - 1)
    rig.lever(ASTERN)
    assert rig.outcome()[0] == NEUTRAL
    rig.run_to(out_ns + DWELL_MS * MS)
    assert rig.rows[-1] == 12
    rig.lever(ASTERN)
    assert rig.outcome()[0] == ASTERN


def test_the_same_gear_need_not_wait() -> None:
    rig = DriveRig()
    rig.dwelling()
    rig.lever(AHEAD)
    rig.lever(AHEAD)
    assert rig.rows[-1] == 13
    assert rig.outcome()[0] == AHEAD


def test_a_take_does_not_begin_the_dwell_anew() -> None:
    rig = DriveRig()
    rig.dwelling()
    out_ns = rig.now_ns
    rig.steer_for(400, NEUTRAL)
    rig.take(2, BRIDGE)
    assert tries_astern(rig, 2 * DWELL_MS * MS) == out_ns + DWELL_MS * MS


def test_a_loss_and_a_take_do_not_shorten_the_dwell() -> None:
    """Gear out by a forced neutral, control taken at once, lever to the other side."""
    rig = DriveRig()
    rig.forced_disengaging()
    rig.run_for(IDLE_WAIT_MS)
    rig.gear_is(NEUTRAL)
    out_ns = rig.now_ns
    rig.take(2)
    assert rig.state == "neutral"
    assert tries_astern(rig, 2 * DWELL_MS * MS) == out_ns + DWELL_MS * MS


def test_after_a_start_no_gear_is_the_same() -> None:
    """Power may have been gone for half a second, with astern in before: nobody knows which gear was the last."""
    rig = DriveRig()
    rig.wake()
    out_ns = rig.now_ns
    rig.take()
    assert tries_astern(rig, 2 * DWELL_MS * MS) == out_ns + DWELL_MS * MS


def test_reports_say_asked_and_sensed_apart() -> None:
    rig = DriveRig()
    rig.engaging(ASTERN)
    rig.sense(shift=-450, switch=0)
    rig.run_for(40)
    state = rig.said(hand.STATE)[-1][1]
    asked, sensed, switch, shift = (hand.part(state, *place) for place in ((44, 2), (42, 2), (40, 2), (16, 8)))
    assert (asked, sensed, switch, shift) == (ASTERN, BETWEEN, v.SWITCH_OPEN, 256 - 45)
    assert [data[1] for _, data in rig.said(hand.STATE)][:3] == [1, 2, 3], "its counter goes on by one, whatever else was sent"
    assert rig.drive.address == PORT


@pytest.mark.parametrize(
    ("position", "gear"),
    [
        (899, BETWEEN), (900, AHEAD), (1000, AHEAD), (1150, AHEAD), (1151, BETWEEN), (1250, BETWEEN), (-1150, ASTERN),
        (-1151, BETWEEN),
    ],
)
def test_a_feedback_beyond_its_ends_shows_no_gear(position: int, gear: int) -> None:
    """What an open or a shorted sensor reads is none of its places."""
    rig = DriveRig()
    rig.start()
    rig.input("neutral_switch", 0)
    rig.input("shift_position", position)
    assert rig.drive.sensed_gear() == gear
