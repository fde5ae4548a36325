"""How long a drive waits for a gear to come out: from when its actuator was told, whoever takes or loses control since."""

from busim.units import MS
from nodes.drive_machine import DISENGAGING, FORCED_DISENGAGING

from .drive_rig import DriveRig
from .hand_made_frames import AHEAD, NEUTRAL
from .small_boat import SHIFT_MS

ALLOWANCE_MS = SHIFT_MS * 3 // 2 + 200
ALLOWANCE_NS = ALLOWANCE_MS * MS


def test_its_time_is_from_when_it_was_told() -> None:
    rig = DriveRig()
    rig.disengaging()
    assert (rig.drive.state, rig.drive.shift_due_ns) == (DISENGAGING, rig.now_ns + ALLOWANCE_NS)


def test_a_take_meanwhile_gives_it_no_more_time() -> None:
    rig = DriveRig()
    rig.disengaging()
    told_ns = rig.now_ns
    rig.steer_for(400, NEUTRAL)
    rig.take(2)
    assert (rig.drive.state, rig.drive.number) == (DISENGAGING, 2)
    assert rig.drive.shift_due_ns == told_ns + ALLOWANCE_NS
    while rig.now_ns + 20 * MS < told_ns + ALLOWANCE_NS:
        rig.steer_for(20, NEUTRAL)
    assert not rig.drive.fault
    rig.steer_for(20, NEUTRAL)
    assert rig.drive.fault == 1


def test_a_loss_meanwhile_gives_it_no_more_time() -> None:
    rig = DriveRig()
    rig.disengaging()
    told_ns = rig.now_ns
    rig.steer_for(400, NEUTRAL)
    rig.press_neutral_now()
    assert rig.drive.state == FORCED_DISENGAGING
    assert rig.drive.shift_due_ns == told_ns + ALLOWANCE_NS
    rig.run_to(told_ns + ALLOWANCE_NS - 1)
    assert not rig.drive.fault
    rig.run_to(told_ns + ALLOWANCE_NS)
    assert rig.drive.fault == 1


def test_a_gear_that_was_going_in_is_told_to_come_out_at_the_loss() -> None:
    """It waits for idle first, and its actuator is on its way meanwhile."""
    rig = DriveRig()
    rig.engaging()
    rig.sense(shift=600, switch=0, throttle=0, rpm=2000)
    rig.press_neutral_now()
    told_ns = rig.now_ns
    rig.run_for(200)
    rig.sense(rpm=800)
    assert (rig.drive.state, rig.drive.shift_due_ns) == (FORCED_DISENGAGING, told_ns + ALLOWANCE_NS)


def test_one_that_did_not_come_out_is_waited_for_once_more_before_its_engine_is_stopped() -> None:
    rig = DriveRig()
    rig.disengaging()
    while not rig.drive.fault:
        rig.steer_for(20, NEUTRAL)
    assert rig.drive.state == FORCED_DISENGAGING
    assert 0 <= rig.now_ns + ALLOWANCE_NS - rig.drive.shift_due_ns <= 20 * MS


def test_the_next_gear_has_a_time_of_its_own() -> None:
    rig = DriveRig()
    rig.disengaging()
    rig.steer_for(400, NEUTRAL)
    rig.gear_is(NEUTRAL)
    rig.steer_for(2000, NEUTRAL)
    rig.lever(AHEAD)
    rig.lever(AHEAD)
    rig.gear_is(AHEAD)
    rig.steer_for(400, AHEAD)
    rig.lever(NEUTRAL)
    rig.sense(rpm=800)
    assert (rig.drive.state, rig.drive.shift_due_ns) == (DISENGAGING, rig.now_ns + ALLOWANCE_NS)


def test_a_gear_that_goes_in_by_itself_has_its_whole_time_to_come_out_again() -> None:
    rig = DriveRig()
    rig.disengaging()
    rig.steer_for(400, NEUTRAL)
    rig.gear_is(NEUTRAL)
    rig.steer_for(3000, NEUTRAL)
    rig.gear_is(AHEAD)
    while rig.drive.state != FORCED_DISENGAGING:
        rig.steer_for(20, NEUTRAL)
    assert 0 <= rig.now_ns + ALLOWANCE_NS - rig.drive.shift_due_ns <= 20 * MS
