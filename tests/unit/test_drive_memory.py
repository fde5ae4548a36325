"""What a drive remembers and what it must forget; and that each of its limits is met for its own sake, with nothing else due."""

import pytest

from busim.protocol import values as v
from busim.units import MS

from . import hand_made_frames as hand
from .drive_rig import MISSING_NS, TIMEOUT_NS, DriveRig
from .hand_made_frames import AHEAD, ASTERN, NEUTRAL
from .small_boat import BRIDGE, DWELL_MS, IDLE_WAIT_MS, SHIFT_ALLOWANCE_NS, SHIFT_RPM, small_boat

# ------------------------------------------------------------------------------------------------ each limit by itself


def seldom() -> DriveRig:
    """A drive that reports and beats every 9.973 s only: what happens earlier has a deadline of its own."""
    return DriveRig(small_boat(timing={"drive_ms": 9973, "heartbeat_ms": 9973}))


def test_sensors_are_waited_for_200_ms() -> None:
    rig = seldom()
    rig.start()
    rig.run_to(200 * MS - 1)
    assert not rig.rows
    rig.run_to(200 * MS)
    assert rig.rows == [2]


def test_control_timeout() -> None:
    rig = seldom()
    rig.wake()
    rig.take()
    base_ns = rig.now_ns
    rig.run_to(base_ns + TIMEOUT_NS)
    assert rig.drive.cause == v.CAUSE_LEVER_LOST
    assert [now_ns for now_ns, action in rig.did if action[:3] == (3, "drive", 22)] == [base_ns + TIMEOUT_NS]


def test_heartbeat() -> None:
    rig = seldom()
    rig.wake()
    rig.take()
    base_ns = rig.now_ns
    for _ in range(17):
        rig.run_for(20)
        rig.lever(NEUTRAL)
    rig.run_to(base_ns + MISSING_NS)
    assert [(now_ns, action[3]) for now_ns, action in rig.did if action[0] == 3][-3] == (
        base_ns + MISSING_NS,
        v.CAUSE_HEARTBEAT_LOST,
    )


def test_dwell() -> None:
    rig = seldom()
    rig.dwelling()
    out_ns = rig.now_ns
    rig.steer_for(DWELL_MS, NEUTRAL)
    assert [now_ns for now_ns, action in rig.did if action[:3] == (3, "drive", 12)] == [out_ns + DWELL_MS * MS]


def test_idle_wait() -> None:
    rig = seldom()
    rig.forced_idle()
    begun_ns = rig.now_ns
    rig.run_to(begun_ns + IDLE_WAIT_MS * MS)
    assert rig.rows[-1] == 29


@pytest.mark.parametrize(("going_in", "row"), [(True, 33), (False, 34)])
def test_shift(going_in: bool, row: int) -> None:
    rig = seldom()
    begun_ns = 0
    if going_in:
        rig.engaging()
        begun_ns = rig.now_ns
        rig.sense(shift=500, switch=0, rpm=SHIFT_RPM)
    else:
        rig.disengaging()
        begun_ns = rig.now_ns
    rig.steer_for(SHIFT_ALLOWANCE_NS // MS // 20 * 20, AHEAD if going_in else NEUTRAL)
    assert row not in rig.rows
    rig.run_to(begun_ns + SHIFT_ALLOWANCE_NS)
    assert row in rig.rows


# ------------------------------------------------------------------------------------------------ what a take forgets


def test_the_counter_begins_anew_with_a_take_of_the_same_station() -> None:
    """Of the first frame after it only the counter is learned."""
    rig = DriveRig()
    rig.in_control()
    rig.run_for(40)
    acted_on = rig.acted_on
    rig.number = 2
    rig.claim(2)
    rig.claim(2)
    rig.lever(NEUTRAL)
    rig.run_for(40)
    assert rig.acted_on == acted_on
    rig.lever(NEUTRAL)
    rig.run_for(40)
    assert rig.acted_on == (acted_on + 2) % 256


def test_what_the_old_holder_asked_for_does_not_count_as_the_first_of_two() -> None:
    rig = DriveRig()
    rig.engaged(AHEAD, 500)
    rig.take(2, BRIDGE)
    rig.lever(AHEAD, 500)
    assert rig.rows[-1] == 18
    rig.lever(AHEAD, 500)
    assert rig.rows[-1] == 9


def test_a_fault_it_found_is_over_with_a_take() -> None:
    rig = DriveRig()
    rig.engaging()
    rig.steer_for(1600, AHEAD)
    assert rig.last(hand.STATE, 0, 4) == 1
    rig.gear_is(NEUTRAL)
    rig.take(2)
    rig.run_for(40)
    assert rig.last(hand.STATE, 0, 4) == 0


def test_after_a_loss_the_old_lever_is_not_even_echoed() -> None:
    """The number is still the last one: a station whose echo went on would believe itself obeyed."""
    rig = DriveRig()
    rig.forced_idle()
    acted_on = rig.acted_on
    for _ in range(4):
        rig.lever(AHEAD, 500)
        rig.run_for(40)
    assert rig.acted_on == acted_on
    rig = DriveRig()
    rig.disengaging()
    rig.steer_for(1600, NEUTRAL)
    acted_on = rig.acted_on
    rig.steer_for(100, NEUTRAL)
    assert (rig.acted_on, rig.row) == (acted_on, 28)


# ------------------------------------------------------------------------------------------------ what it asks for


def asked(rig: DriveRig) -> tuple[int, int]:
    """(gear, throttle in steps of 4 permille) as reported."""
    rig.run_for(40)
    return rig.last(hand.STATE, 44, 2), rig.last(hand.STATE, 32, 8)


def test_what_it_reports_as_asked_is_what_it_commands() -> None:
    rig = DriveRig()
    rig.engaged(ASTERN, 500)
    assert asked(rig) == (ASTERN, 125)
    rig.lever(NEUTRAL)
    assert asked(rig) == (ASTERN, 0)
    rig.sense(throttle=0, rpm=900)
    assert asked(rig) == (NEUTRAL, 0)
    rig.gear_is(NEUTRAL)
    assert asked(rig) == (NEUTRAL, 0)


def test_back_in_gear_the_same_throttle_is_commanded_again() -> None:
    rig = DriveRig()
    rig.slowing(500)
    assert rig.outcome() == (AHEAD, 0)
    rig.lever(AHEAD, 500)
    rig.lever(AHEAD, 500)
    rig.lever(AHEAD, 500)
    assert rig.outcome() == (AHEAD, 500)


def test_a_gear_given_up_on_its_way_in_is_not_held_though_it_arrives() -> None:
    """The policy is to stay engaged; but this gear was not in when control was lost."""
    rig = DriveRig(on_loss="idle")
    rig.engaging()
    rig.sense(shift=899, switch=0, rpm=SHIFT_RPM)
    rig.run_to(rig.now_ns + TIMEOUT_NS)
    assert rig.rows[-1] == 23
    rig.gear_is(AHEAD)
    assert asked(rig) == (NEUTRAL, 0)
    rig.run_for(IDLE_WAIT_MS)
    assert rig.rows[-1] == 28


def test_a_row_is_reported_once_and_then_only_in_its_time() -> None:
    rig = DriveRig()
    rig.in_control()
    rig.run_for(1)
    assert rig.input("rpm", 801) == ()
    assert rig.lever(NEUTRAL) == ()


# ------------------------------------------------------------------------------------------------ what it senses, as reported

PLACES = {"throttle_position": (24, 8), "shift_position": (16, 8), "rpm": (6, 10)}


@pytest.mark.parametrize(
    ("channel", "value", "raw"),
    [
        ("throttle_position", 500, 125),
        ("throttle_position", 1000, 250),
        ("throttle_position", 5000, 255),
        ("throttle_position", -5000, 0),
        ("shift_position", 1000, 100),
        ("shift_position", -1000, 256 - 100),
        ("shift_position", 5000, 127),
        ("shift_position", -5000, 256 - 128),
        ("rpm", 800, 100),
        ("rpm", 8000, 1000),
        ("rpm", 90_000, 1023),
        ("rpm", -1, 0),
    ],
)
def test_a_reading_is_reported_in_its_steps_and_never_beyond_its_field(channel: str, value: int, raw: int) -> None:
    """Steps of 4 permille, 10 permille and 8 rpm."""
    rig = DriveRig()
    rig.wake()
    rig.input(channel, value)
    rig.run_for(40)
    assert rig.last(hand.STATE, *PLACES[channel]) == raw


@pytest.mark.parametrize(("rpm", "engine"), [(99, v.ENGINE_STOPPED), (100, v.ENGINE_RUNNING), (None, v.ENGINE_NOT_KNOWN)])
def test_the_engine_runs_from_100_rpm(rpm: int | None, engine: int) -> None:
    rig = DriveRig()
    rig.start()
    rig.sense(rpm=rpm)
    rig.run_for(40)
    assert rig.last(hand.STATE, 4, 2) == engine
