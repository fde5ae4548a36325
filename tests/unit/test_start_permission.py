"""A drive's start permission: an independent neutral switch, and nothing in the way. ISO 11547 is the standard for products."""

from collections.abc import Callable

import pytest

from busim.protocol import values as v
from busim.units import MS

from . import hand_made_frames as hand
from .drive_rig import TIMEOUT_NS, DriveRig
from .small_boat import DWELL_MS, IDLE_WAIT_MS

PERMISSION = ((46, 2), (45, 1), (44, 1), (40, 4))
"""Places of instance, may_start, inhibit, cause in the frame's last 48 bits."""


def told(rig: DriveRig) -> list[int]:
    rig.run_for(100)
    return [rig.last(hand.PERMISSION, *place) for place in PERMISSION]


def permitted(rig: DriveRig) -> int:
    """The output; and the frame says the same."""
    permit = rig.outputs["start_permit"]
    assert told(rig)[1] == permit
    return permit


def back_in_forced_neutral(rig: DriveRig) -> None:
    rig.forced_neutral()
    rig.run_to(rig.now_ns + TIMEOUT_NS)


PERMITS: dict[str, Callable[[DriveRig], None]] = {
    "nobody in control": DriveRig.wake,
    "in neutral": DriveRig.in_control,
    "dwelling": DriveRig.dwelling,
    "after a forced neutral": back_in_forced_neutral,
}


@pytest.mark.parametrize("before", PERMITS.values(), ids=PERMITS.keys())
def test_it_permits_at_rest_with_the_switch_closed(before: Callable[[DriveRig], None]) -> None:
    rig = DriveRig()
    before(rig)
    assert rig.outputs["start_permit"] == 1


MOVING = (
    DriveRig.engaging, DriveRig.engaged, DriveRig.slowing, DriveRig.disengaging, DriveRig.forced_idle, DriveRig.forced_disengaging,
)  # fmt: skip


@pytest.mark.parametrize("before", MOVING)
def test_it_does_not_with_a_gear_in_going_in_or_coming_out(before: Callable[[DriveRig], None]) -> None:
    rig = DriveRig()
    before(rig)
    assert rig.outputs["start_permit"] == 0


def test_a_gear_about_to_go_in_takes_it_away_at_once() -> None:
    """Before the actuator has moved: the switch is still closed."""
    rig = DriveRig()
    rig.engaging()
    moments = [now_ns for now_ns, value in rig.told("start_permit") if not value]
    assert moments[-1] == rig.told("shift")[-1][0]


def test_without_an_independent_switch_there_is_no_permission() -> None:
    rig = DriveRig(has_neutral_switch=False)
    rig.wake()
    assert rig.outputs["start_permit"] == 0
    assert told(rig) == [1, 0, 0, v.CAUSE_GEAR_IN]


REFUSES = {
    "switch open": ({"switch": 0}, v.CAUSE_GEAR_IN),
    "feedback a hair off neutral": ({"shift": 101}, v.CAUSE_GEAR_IN),
    "throttle a hair off its stop": ({"throttle": 11}, v.CAUSE_ACTUATOR),
}


@pytest.mark.parametrize(("sensed", "cause"), REFUSES.values(), ids=REFUSES.keys())
def test_each_sensor_alone_refuses_and_says_why(sensed: dict[str, int], cause: int) -> None:
    rig = DriveRig()
    rig.wake()
    assert told(rig) == [1, 1, 0, v.CAUSE_NONE]
    rig.sense(**sensed)
    assert rig.outputs["start_permit"] == 0
    assert told(rig) == [1, 0, 0, cause]


@pytest.mark.parametrize("sensed", [{"shift": 100}, {"shift": -100}, {"throttle": 10}])
def test_at_the_edge_it_still_permits(sensed: dict[str, int]) -> None:
    rig = DriveRig()
    rig.wake()
    rig.sense(**sensed)
    assert rig.outputs["start_permit"] == 1


def test_nothing_is_permitted_until_the_sensors_were_read() -> None:
    rig = DriveRig()
    rig.start()
    rig.run_for(40)
    assert rig.outputs["start_permit"] == 0
    rig.sense(shift=0, throttle=0, switch=1)
    assert rig.outputs["start_permit"] == 0, "rpm is still unknown: it is waking"
    rig.sense(rpm=0)
    assert rig.outputs["start_permit"] == 1


def test_an_engine_stop_asked_for_inhibits_until_control_is_taken_anew() -> None:
    rig = DriveRig()
    rig.forced_idle()
    rig.run_for(IDLE_WAIT_MS)
    rig.gear_is(0)
    rig.sense(throttle=0, rpm=0)
    assert rig.outputs["engine_stop"] == 1
    assert told(rig) == [1, 0, 1, v.CAUSE_ACTUATOR]
    rig.take(2)
    assert rig.outputs["engine_stop"] == 0
    assert told(rig) == [1, 1, 0, v.CAUSE_NONE]


def test_a_fault_found_refuses_until_control_is_taken_anew() -> None:
    rig = DriveRig()
    rig.engaging()
    rig.steer_for(1600, hand.AHEAD)
    rig.gear_is(0)
    rig.run_for(DWELL_MS)
    assert rig.drive.fault == 1
    assert rig.outputs["start_permit"] == 0
    rig.take(2)
    assert rig.outputs["start_permit"] == 1


def test_permission_goes_out_every_100_ms_with_a_counter_of_its_own() -> None:
    rig = DriveRig()
    rig.wake()
    rig.run_for(1000)
    assert [now_ns for now_ns, _ in rig.said(hand.PERMISSION)] == [index * 100 * MS for index in range(11)]
    assert [data[1] for _, data in rig.said(hand.PERMISSION)] == list(range(1, 12))
    assert permitted(rig) == 1
