"""Idle, then neutral: what counts as idle, how long it is waited for, and what happens where an actuator does not arrive."""

from collections.abc import Callable

import pytest

from busim.protocol import values as v
from busim.units import MS

from . import hand_made_frames as hand
from .drive_rig import DriveRig
from .hand_made_frames import AHEAD, ASTERN, NEUTRAL
from .small_boat import BRIDGE, IDLE_WAIT_MS, SHIFT_ALLOWANCE_NS, SHIFT_RPM

IDLE_WAIT_NS = IDLE_WAIT_MS * MS


def slowing(rig: DriveRig) -> None:
    rig.slowing()


def forced(rig: DriveRig) -> None:
    rig.forced_idle()


ON_THE_WAY = pytest.mark.parametrize(("make", "row"), [(slowing, 10), (forced, 28)])


@ON_THE_WAY
@pytest.mark.parametrize(
    ("throttle", "rpm", "idle"),
    [
        (10, SHIFT_RPM - 1, True),
        (11, SHIFT_RPM - 1, False),
        (10, SHIFT_RPM, False),
        (-30, 0, True),
        (-31, 0, False),
        (10, -1, False),  # a pick-up that reads below nothing is broken
    ],
)
def test_the_gear_stays_in_until_idle(make: Callable[[DriveRig], None], row: int, throttle: int, rpm: int, idle: bool) -> None:
    rig = DriveRig()
    make(rig)
    rig.sense(throttle=throttle)
    rig.sense(rpm=rpm)
    assert (rig.rows[-1] == row) == idle
    assert rig.outcome() == (NEUTRAL if idle else AHEAD, 0)


@pytest.mark.parametrize(("make", "row", "next_row"), [(slowing, 10, 11), (forced, 28, 30)])
def test_a_gear_that_is_out_already_is_two_rows_in_one_moment(make: Callable[[DriveRig], None], row: int, next_row: int) -> None:
    """A clutch that let go by itself: at idle it is told to come out, and found out, and neither is left out."""
    rig = DriveRig()
    make(rig)
    rig.gear_is(NEUTRAL)
    rig.sense(throttle=0)
    rig.forget()
    rig.sense(rpm=SHIFT_RPM - 1)
    assert rig.rows == [row, next_row]
    assert set(rig.told("shift")) == {(rig.now_ns, NEUTRAL)}


@ON_THE_WAY
def test_idle_wait_at_exactly_its_time_with_the_engine_fast(make: Callable[[DriveRig], None], row: int) -> None:
    """The propeller drags the engine along: throttle at its stop, rpm high."""
    rig = DriveRig()
    make(rig)
    begun_ns = rig.now_ns
    rig.sense(throttle=0, rpm=SHIFT_RPM)
    if row == 10:
        rig.steer_for(1440, NEUTRAL)
    rig.run_to(begun_ns + IDLE_WAIT_NS - 1)
    assert rig.rows[-1] == (8 if row == 10 else 24)
    rig.run_to(begun_ns + IDLE_WAIT_NS)
    assert rig.rows[-1] == row
    assert rig.outcome()[0] == NEUTRAL
    assert "engine_stop" not in rig.outputs


@pytest.mark.parametrize("fitted", [True, False])
def test_forced_neutral_comes_at_any_speed_and_asks_for_an_engine_stop(fitted: bool) -> None:
    rig = DriveRig(has_engine_stop=fitted)
    rig.forced_idle()
    begun_ns = rig.now_ns
    rig.run_to(begun_ns + IDLE_WAIT_NS - 1)
    assert rig.rows[-1] == 24
    assert "engine_stop" not in rig.outputs
    rig.run_to(begun_ns + IDLE_WAIT_NS)
    assert rig.rows[-1] == 29
    assert rig.outcome() == (NEUTRAL, 0)
    assert rig.outputs.get("engine_stop", 0) == int(fitted)


@pytest.mark.parametrize("fitted", [True, False])
def test_slowing_takes_the_gear_out_of_a_throttle_that_does_not_come(fitted: bool) -> None:
    """The lever asked for neutral: neutral it gets, at any speed, at exactly the wait, and nobody is obeyed after that."""
    rig = DriveRig(has_engine_stop=fitted)
    rig.slowing()
    begun_ns = rig.now_ns
    while rig.now_ns < begun_ns + IDLE_WAIT_NS - 20 * MS:
        rig.beat()
        rig.lever(NEUTRAL)
        rig.run_for(20)
    rig.beat()
    rig.lever(NEUTRAL)
    rig.run_to(begun_ns + IDLE_WAIT_NS - 1)
    assert rig.rows[-1] == 8
    rig.run_to(begun_ns + IDLE_WAIT_NS)
    assert rig.rows[-1] == 37
    assert rig.outcome() == (NEUTRAL, 0)
    assert (rig.obeyed[0], rig.cause) == (0, v.CAUSE_ACTUATOR)
    assert rig.outputs.get("engine_stop", 0) == int(fitted)


def test_a_take_while_slowing_does_not_begin_the_wait_anew() -> None:
    rig = DriveRig()
    rig.slowing()
    begun_ns = rig.now_ns
    rig.sense(throttle=0, rpm=SHIFT_RPM)
    rig.steer_for(1400, NEUTRAL)
    rig.take(2, BRIDGE)
    rig.run_to(begun_ns + IDLE_WAIT_NS)
    assert rig.rows[-2:] == [20, 10]


def test_a_loss_while_slowing_does_not_begin_the_wait_anew() -> None:
    rig = DriveRig()
    rig.slowing()
    begun_ns = rig.now_ns
    rig.steer_for(1400, NEUTRAL)
    rig.press_neutral_now()
    rig.run_to(begun_ns + IDLE_WAIT_NS - 1)
    assert rig.rows[-1] == 25
    rig.run_to(begun_ns + IDLE_WAIT_NS)
    assert rig.rows[-1] == 29


def test_a_gear_on_its_way_in_comes_out_at_once() -> None:
    """Lost with the gear half in and the engine too fast for a quick idle: it must not go in while idle is waited for."""
    rig = DriveRig()
    rig.engaging(ASTERN)
    rig.sense(shift=-500, switch=0, rpm=SHIFT_RPM)
    assert rig.outcome()[0] == ASTERN
    rig.press_neutral_now()
    assert rig.rows[-1] == 23
    assert rig.outcome() == (NEUTRAL, 0)


@pytest.mark.parametrize("switch", [0, 1])
def test_neutral_is_only_believed_of_feedback_and_switch_together(switch: int) -> None:
    rig = DriveRig()
    rig.forced_disengaging()
    rig.sense(shift=0, switch=switch)
    assert (rig.rows[-1] == 30) == bool(switch)


# ------------------------------------------------------------------------------------------------ what does not arrive


def test_a_gear_that_does_not_go_in_is_given_up_at_exactly_its_time() -> None:
    rig = DriveRig()
    rig.engaging(AHEAD)
    due_ns = rig.now_ns + SHIFT_ALLOWANCE_NS
    rig.steer_for(1500, AHEAD)
    rig.run_to(due_ns - 1)
    assert rig.rows[-1] == 5
    rig.sense(shift=500, switch=0, rpm=SHIFT_RPM)
    rig.run_to(due_ns)
    assert rig.rows[-1] == 33
    assert (rig.cause, rig.obeyed[0], rig.outcome()) == (v.CAUSE_ACTUATOR, 0, (NEUTRAL, 0))
    rig.run_for(40)
    assert rig.last(hand.STATE, 0, 4) == 1


def test_a_gear_that_does_not_come_out_at_exactly_its_time() -> None:
    """First it counts as lost and is tried again; then the engine is stopped."""
    rig = DriveRig()
    rig.disengaging()
    due_ns = rig.now_ns + SHIFT_ALLOWANCE_NS
    rig.steer_for(1500, NEUTRAL)
    rig.run_to(due_ns - 1)
    assert rig.rows[-1] == 10
    rig.run_to(due_ns)
    assert rig.rows[-2:] == [34, 28]
    assert rig.cause == v.CAUSE_ACTUATOR
    rig.run_to(due_ns + SHIFT_ALLOWANCE_NS - 1)
    assert "engine_stop" not in rig.outputs
    rig.run_to(due_ns + SHIFT_ALLOWANCE_NS)
    assert rig.outputs["engine_stop"] == 1
    assert rig.rows[-1] == 28
    rig.run_for(5000)
    assert len(rig.told("engine_stop")) == 1
    rig.gear_is(NEUTRAL)
    assert rig.rows[-1] == 30


def test_a_forced_gear_that_does_not_come_out_without_an_engine_stop() -> None:
    rig = DriveRig(has_engine_stop=False)
    rig.forced_disengaging()
    rig.run_to(rig.now_ns + SHIFT_ALLOWANCE_NS + 40 * MS)
    assert "engine_stop" not in rig.outputs
    assert rig.last(hand.STATE, 0, 4) == 1
