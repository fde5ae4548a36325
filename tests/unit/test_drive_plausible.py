"""What a drive finds implausible, at the edge of each limit, and what follows: control given up, neutral, an engine stop.

Failure modes are those of a public mining regulation (output unlike command, conflicting ahead and astern) and of HSC Code 2000,
annex 4 (fails to act, uncontrolled output). Limits are the drive's own; common practice where no source is named.
"""

from collections.abc import Callable

import pytest

from busim.protocol import values as v
from busim.units import MS, SECOND

from . import hand_made_frames as hand
from .drive_rig import DriveRig
from .hand_made_frames import AHEAD, ASTERN, NEUTRAL
from .small_boat import IDLE_WAIT_MS, SHIFT_MS, SHIFT_RPM, THROTTLE_MS

DISAGREE_NS = OUT_OF_RANGE_NS = 200 * MS
PROGRESS_NS = 500 * MS
RACING_NS = 2 * SECOND
ASTRAY, LATE, DISAGREES, IMPLAUSIBLE, UNLIKE = 1, 2, 3, 4, 5


def see_at(rig: DriveRig, moment_ns: int) -> None:
    """The drive looks at this very moment: an input of no meaning, between its reports."""
    rig.run_to(moment_ns)
    rig.input("rpm", rig.drive.rpm)


def keep(rig: DriveRig, for_ns: int, gear: int, throttle: int = 0) -> None:
    """The station in control goes on for so long, and the drive looks at the very end."""
    end_ns = rig.now_ns + for_ns
    while rig.now_ns + 20 * MS < end_ns:
        rig.beat()
        rig.lever(gear, throttle)
        rig.run_for(20)
    see_at(rig, end_ns)


def reported(rig: DriveRig) -> int:
    rig.run_for(40)
    return rig.last(hand.STATE, 0, 4)


# ------------------------------------------------------------------------------------------------ shift and switch


@pytest.mark.parametrize(
    ("shift", "switch"), [(1000, 1), (-1000, 1), (500, 1), (-500, 1), (100, 0), (-100, 0), (0, 0)], ids=str
)
def test_feedback_and_switch_that_disagree_are_found_after_200_ms(shift: int, switch: int) -> None:
    rig = DriveRig()
    rig.engaged()
    rig.sense(shift=shift, switch=switch)
    since_ns = rig.now_ns
    keep(rig, DISAGREE_NS - 1, AHEAD)
    assert rig.drive.fault == 0
    see_at(rig, since_ns + DISAGREE_NS)
    assert (rig.drive.fault, rig.obeyed[0], rig.cause) == (DISAGREES, 0, v.CAUSE_ACTUATOR)
    assert reported(rig) == DISAGREES


@pytest.mark.parametrize(("shift", "switch"), [(1000, 0), (-1000, 0), (499, 1), (-499, 1), (101, 0), (-101, 0), (0, 1)], ids=str)
def test_what_agrees_or_is_on_its_way_is_believed(shift: int, switch: int) -> None:
    rig = DriveRig()
    rig.disengaging()
    rig.sense(shift=shift, switch=switch)
    keep(rig, SECOND, NEUTRAL)
    assert rig.drive.fault == 0


@pytest.mark.parametrize("gear", [AHEAD, ASTERN])
@pytest.mark.parametrize(("travel", "fault"), [(1000, 0), (750, 0), (749, ASTRAY), (-1000, ASTRAY)])
def test_a_shift_that_leaves_its_gear_by_itself_is_found_after_200_ms(gear: int, travel: int, fault: int) -> None:
    """An output that is shorted may run it right through to the opposite gear."""
    rig = DriveRig()
    rig.engaged(gear)
    rig.sense(shift=travel if gear == AHEAD else -travel)
    since_ns = rig.now_ns
    keep(rig, DISAGREE_NS - 1, gear)
    assert rig.drive.fault == 0
    see_at(rig, since_ns + DISAGREE_NS)
    assert rig.drive.fault == fault
    assert rig.outcome()[0] == (NEUTRAL if fault else gear)


@pytest.mark.parametrize("before", [DriveRig.wake, DriveRig.in_control, DriveRig.dwelling])
def test_a_gear_that_goes_in_with_nobody_having_asked_gives_control_up(before: Callable[[DriveRig], None]) -> None:
    rig = DriveRig()
    before(rig)
    rig.gear_is(AHEAD)
    since_ns = rig.now_ns
    see_at(rig, since_ns + DISAGREE_NS - 1)
    assert rig.drive.fault == 0
    see_at(rig, since_ns + DISAGREE_NS)
    assert (rig.drive.fault, rig.state, rig.cause) == (ASTRAY, "forced_disengaging", v.CAUSE_ACTUATOR)
    rig.run_for(SHIFT_MS * 3 // 2 + 240)
    assert rig.outputs["engine_stop"] == 1, "it does not come out again"


def test_after_a_forced_neutral_such_a_gear_stops_the_engine_at_once() -> None:
    rig = DriveRig()
    rig.forced_neutral()
    rig.gear_is(AHEAD)
    since_ns = rig.now_ns
    see_at(rig, since_ns + DISAGREE_NS - 1)
    assert "engine_stop" not in rig.outputs
    see_at(rig, since_ns + DISAGREE_NS)
    assert rig.outputs["engine_stop"] == 1
    assert reported(rig) == ASTRAY


def test_a_disagreement_that_comes_and_goes_is_not_added_up() -> None:
    rig = DriveRig()
    rig.engaged()
    for _ in range(10):
        rig.sense(switch=1)
        keep(rig, DISAGREE_NS - 1, AHEAD)
        rig.sense(switch=0)
        keep(rig, 20 * MS, AHEAD)
    assert rig.drive.fault == 0


def test_without_a_switch_nothing_can_disagree() -> None:
    rig = DriveRig(has_neutral_switch=False)
    rig.disengaging()
    rig.sense(shift=101)
    keep(rig, SECOND, NEUTRAL)
    rig.sense(shift=0)
    keep(rig, SECOND, NEUTRAL)
    assert rig.drive.fault == 0


def test_a_linkage_that_came_off_with_the_gear_out_ends_in_neutral_and_the_engine_runs_on() -> None:
    """The gearbox sprang to neutral: feedback ahead, switch closed. The actuator comes back, and both agree."""
    rig = DriveRig()
    rig.engaged()
    rig.sense(switch=1)
    keep(rig, DISAGREE_NS, AHEAD)
    assert rig.outcome() == (NEUTRAL, 0)
    rig.gear_is(NEUTRAL)
    assert rig.state == "forced_neutral"
    assert "engine_stop" not in rig.outputs
    assert reported(rig) == DISAGREES, "kept until control is taken anew"


def test_an_actuator_that_arrived_with_the_gear_still_in_stops_the_engine_at_once() -> None:
    """Linkage off and the gear stayed ahead: feedback neutral, switch open. Nothing else takes the thrust away."""
    rig = DriveRig()
    rig.engaged()
    rig.press_neutral_now()
    assert rig.state == "forced_disengaging"
    rig.sense(shift=0)
    since_ns = rig.now_ns
    see_at(rig, since_ns + DISAGREE_NS - 1)
    assert "engine_stop" not in rig.outputs
    see_at(rig, since_ns + DISAGREE_NS)
    assert rig.outputs["engine_stop"] == 1
    assert rig.state == "forced_disengaging", "neutral is not confirmed by the actuator alone"


def test_a_gear_that_does_not_come_out_at_the_levers_wish_goes_the_same_way() -> None:
    rig = DriveRig()
    rig.disengaging()
    rig.sense(shift=0)
    keep(rig, DISAGREE_NS, NEUTRAL)
    assert rig.rows[-2:] == [26, 28]
    assert rig.outputs["engine_stop"] == 1


# ------------------------------------------------------------------------------------------------ throttle


@pytest.mark.parametrize("throttle", [-31, 1031, -1000, 3000])
def test_a_throttle_feedback_out_of_range_is_found_after_200_ms(throttle: int) -> None:
    rig = DriveRig()
    rig.engaged(AHEAD, 500)
    rig.sense(throttle=throttle)
    since_ns = rig.now_ns
    keep(rig, OUT_OF_RANGE_NS - 1, AHEAD, 500)
    assert rig.drive.fault == 0
    see_at(rig, since_ns + OUT_OF_RANGE_NS)
    assert (rig.drive.fault, rig.cause) == (IMPLAUSIBLE, v.CAUSE_ACTUATOR)
    assert rig.outputs["throttle"] == 0


def test_a_throttle_that_nothing_is_known_of_is_not_waited_for() -> None:
    """Out of range it shows no idle: the gear comes out at once, and the engine is stopped."""
    rig = DriveRig()
    rig.engaged(AHEAD, 500)
    rig.sense(throttle=-100)
    keep(rig, OUT_OF_RANGE_NS, AHEAD, 500)
    assert (rig.rows[-2:], rig.outputs["engine_stop"], rig.outcome()) == ([24, 29], 1, (NEUTRAL, 0))


def test_a_throttle_that_runs_to_full_by_itself_is_not_waited_for_either() -> None:
    rig = DriveRig()
    rig.engaged(AHEAD, 500)
    throttle = 500
    while throttle < 1000 and not rig.drive.fault:
        throttle += 14
        rig.sense(throttle=throttle)
        keep(rig, 20 * MS, AHEAD, 500)
    assert rig.drive.fault == IMPLAUSIBLE
    assert (rig.rows[-2:], rig.outputs["engine_stop"], rig.outcome()) == ([24, 29], 1, (NEUTRAL, 0))


def half_speed(for_ns: int) -> int:
    """Permille a throttle goes in this time at half its speed, rounded up."""
    return -(-1000 * for_ns // (2 * THROTTLE_MS * MS))


@pytest.mark.parametrize(
    ("came", "fault"),
    [(half_speed(PROGRESS_NS), 0), (half_speed(PROGRESS_NS) - 1, LATE), (0, LATE), (-30, LATE), (-31, IMPLAUSIBLE)],
)
def test_a_throttle_has_to_come_at_half_its_speed_at_least(came: int, fault: int) -> None:
    """It is told to open from 400 to 900, and shows this much of the way after 500 ms."""
    rig = DriveRig()
    rig.engaged(AHEAD, 400)
    rig.lever(AHEAD, 900)
    rig.lever(AHEAD, 900)
    rig.input("rpm", 1600)
    since_ns = rig.now_ns
    keep(rig, PROGRESS_NS - 1, AHEAD, 900)
    assert rig.drive.fault == 0
    rig.sense(throttle=400 + came)
    assert rig.drive.fault == 0
    see_at(rig, since_ns + PROGRESS_NS)
    assert rig.drive.fault == fault
    assert rig.outputs["throttle"] == (0 if fault else 900)


@pytest.mark.parametrize(("apart", "fault"), [(100, 0), (101, LATE)])
def test_a_throttle_within_100_permille_of_where_it_was_told_to_be_has_arrived(apart: int, fault: int) -> None:
    rig = DriveRig()
    rig.engaged(AHEAD, 500)
    rig.sense(throttle=500 - apart)
    keep(rig, PROGRESS_NS, AHEAD, 500)
    assert rig.drive.fault == fault


def test_a_throttle_that_follows_a_moving_lever_is_believed() -> None:
    """At its own speed after a lever that goes back and forth faster than it can."""
    rig = DriveRig()
    rig.engaged(AHEAD, 500)
    throttle = 500
    for step in range(400):
        wanted = 1000 if step // 20 % 2 else 0
        rig.beat()
        rig.lever(AHEAD, wanted)
        way = 20 * 1000 // THROTTLE_MS
        throttle += max(-way, min(way, rig.drive.asked_throttle - throttle))
        rig.sense(throttle=throttle)
        rig.run_for(20)
    assert rig.drive.fault == 0


def test_jammed_at_full_ahead_it_is_reported_in_half_a_second_and_the_engine_stopped_when_the_wait_is_over() -> None:
    """The lever comes back to neutral: the rows are those of a throttle that does not come to idle."""
    rig = DriveRig()
    rig.engaged(AHEAD, 1000)
    rig.lever(NEUTRAL)
    since_ns = rig.now_ns
    keep(rig, PROGRESS_NS + 60 * MS, NEUTRAL)
    assert (rig.state, reported(rig)) == ("slowing", LATE)
    rig.steer_for(IDLE_WAIT_MS, NEUTRAL)
    assert rig.rows[-1] == 37
    assert rig.outputs["engine_stop"] == 1
    assert rig.told("engine_stop")[0][0] == since_ns + IDLE_WAIT_MS * MS


@pytest.mark.parametrize(("above", "stopped"), [(0, 0), (1, 1)])
def test_a_throttle_that_shows_idle_after_it_was_found_late_does_not_hide_an_engine_that_runs_on(above: int, stopped: int) -> None:
    """Frozen feedback: the gear comes out after the wait, and an engine still above the speed to shift at is stopped."""
    rig = DriveRig()
    rig.engaged(AHEAD, 500)
    rig.lever(AHEAD, 900)
    rig.lever(AHEAD, 900)
    keep(rig, PROGRESS_NS + 40 * MS, AHEAD, 900)
    assert rig.drive.fault == LATE
    rig.sense(throttle=0, rpm=SHIFT_RPM + above)
    rig.run_for(IDLE_WAIT_MS)
    rig.input("rpm", SHIFT_RPM + above)
    assert rig.outputs.get("engine_stop", 0) == stopped
    assert rig.state == "forced_disengaging"


def test_at_idle_after_a_fault_the_engine_runs_on() -> None:
    rig = DriveRig()
    rig.engaged(AHEAD, 500)
    rig.sense(throttle=300)
    keep(rig, PROGRESS_NS + 40 * MS, AHEAD, 500)
    rig.sense(throttle=0, rpm=800)
    rig.gear_is(NEUTRAL)
    rig.run_for(IDLE_WAIT_MS)
    assert rig.state == "forced_neutral"
    assert "engine_stop" not in rig.outputs


# ------------------------------------------------------------------------------------------------ engine speed


@pytest.mark.parametrize(("rpm", "fault"), [(SHIFT_RPM * 3 // 2, 0), (SHIFT_RPM * 3 // 2 + 1, UNLIKE)])
def test_an_engine_that_races_in_neutral_with_its_throttle_shut_is_stopped_after_two_seconds(rpm: int, fault: int) -> None:
    rig = DriveRig()
    rig.in_control()
    rig.sense(rpm=rpm)
    since_ns = rig.now_ns
    keep(rig, RACING_NS - 1, NEUTRAL)
    assert rig.drive.fault == 0
    see_at(rig, since_ns + RACING_NS)
    assert rig.drive.fault == fault
    rig.run_for(IDLE_WAIT_MS)
    rig.input("rpm", rpm)
    assert rig.outputs.get("engine_stop", 0) == int(fault != 0)


def test_with_the_gear_in_engine_speed_shows_nothing() -> None:
    """A boat under way drives her engine through the propeller."""
    rig = DriveRig()
    rig.engaged()
    rig.sense(rpm=3000)
    keep(rig, 5 * SECOND, AHEAD)
    assert rig.drive.fault == 0


@pytest.mark.parametrize(("rpm", "doubt"), [(SHIFT_RPM // 2, 0), (SHIFT_RPM // 2 + 1, UNLIKE)])
def test_an_engine_that_runs_on_five_seconds_after_its_stop_was_asked_for_is_found(rpm: int, doubt: int) -> None:
    rig = DriveRig()
    rig.forced_idle()
    rig.run_for(IDLE_WAIT_MS)
    assert rig.outputs["engine_stop"] == 1
    rig.gear_is(NEUTRAL)
    rig.sense(throttle=0, rpm=rpm)
    asked_ns = rig.now_ns
    see_at(rig, asked_ns + 5 * SECOND - 1)
    assert rig.drive.doubts.doubt == 0
    see_at(rig, asked_ns + 5 * SECOND)
    assert rig.drive.doubts.doubt == doubt


# ------------------------------------------------------------------------------------------------ and after


def test_control_can_not_be_taken_while_the_doubt_stands() -> None:
    rig = DriveRig()
    rig.engaged()
    rig.sense(switch=1)
    keep(rig, DISAGREE_NS, AHEAD)
    rig.gear_is(NEUTRAL)
    rig.run_for(1000)
    rig.sense(rpm=SHIFT_RPM * 2)
    rig.run_for(2100)
    rig.take(2)
    assert rig.obeyed == (0, 1)
    rig.sense(rpm=800)
    rig.take(3)
    assert rig.obeyed == (1, 3)
    assert rig.drive.fault == 0


def test_the_first_fault_found_is_the_one_reported() -> None:
    rig = DriveRig()
    rig.engaged()
    rig.sense(shift=0)
    keep(rig, DISAGREE_NS, AHEAD)
    rig.run_for(3000)
    assert reported(rig) == DISAGREES
