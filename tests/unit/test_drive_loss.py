"""A drive that loses its station: when it notices, idle, then neutral, and what it does where something does not arrive."""

from collections.abc import Callable

import pytest

from busim.protocol import values as v
from busim.seam import BUS_OFF, ERROR_ACTIVE, ERROR_PASSIVE, EXTERNAL_RESET
from busim.units import MS

from . import hand_made_frames as hand
from .drive_rig import MISSING_NS, TIMEOUT_NS, DriveRig
from .hand_made_frames import AHEAD, NEUTRAL
from .small_boat import BRIDGE, IDLE_WAIT_MS, small_boat

IDLE_WAIT_NS = IDLE_WAIT_MS * MS

# ------------------------------------------------------------------------------------------------ when it notices


def test_control_timeout_at_exactly_its_time() -> None:
    rig = DriveRig()
    rig.engaged(AHEAD, 500)
    base_ns = rig.now_ns
    rig.beat()
    rig.run_to(base_ns + TIMEOUT_NS - 1)
    assert rig.rows[-1] == 6
    rig.run_to(base_ns + TIMEOUT_NS)
    assert rig.rows[-1] == 24
    assert (rig.obeyed, rig.cause, rig.outcome()) == ((0, 1), v.CAUSE_LEVER_LOST, (AHEAD, 0))


def test_a_frame_at_the_very_moment_comes_before_the_timeout() -> None:
    rig = DriveRig()
    rig.engaged(AHEAD, 500)
    rig.beat()
    due_ns = rig.now_ns + TIMEOUT_NS
    rig.run_to(due_ns - 1)
    rig.now_ns = due_ns
    rig.lever(AHEAD, 500)
    rig.run_to(due_ns)
    assert rig.rows[-1] == 6


def test_heartbeat_missing_at_exactly_its_time() -> None:
    rig = DriveRig()
    rig.engaged(AHEAD, 500)
    rig.beat()
    last_ns = rig.now_ns
    while rig.now_ns < last_ns + MISSING_NS - 10 * MS:
        rig.lever(AHEAD, 500)
        rig.run_for(20)
    rig.run_to(last_ns + MISSING_NS - 1)
    assert rig.rows[-1] == 6
    rig.run_to(last_ns + MISSING_NS)
    assert rig.rows[-1] == 24
    assert rig.cause == v.CAUSE_HEARTBEAT_LOST


def test_a_corrupt_heartbeat_is_none() -> None:
    rig = DriveRig()
    rig.engaged(AHEAD, 500)
    rig.beat()
    last_ns = rig.now_ns
    while rig.now_ns < last_ns + MISSING_NS:
        rig.lever(AHEAD, 500)
        rig.run_for(20)
        rig.beat(spoil=True)
    assert rig.cause == v.CAUSE_HEARTBEAT_LOST


def test_another_boats_fingerprint_loses_at_once() -> None:
    rig = DriveRig()
    rig.engaged(AHEAD, 500)
    rig.beat(BRIDGE, fingerprint=1)
    rig.beat(BRIDGE, fingerprint=1)
    assert rig.rows[-1] == 6, "only the one in control matters"
    rig.beat(fingerprint=rig.fingerprint ^ 0x8000)
    assert rig.rows[-1] == 24
    assert rig.cause == v.CAUSE_OTHER_BOAT_FILE


def test_a_lever_fault_loses_on_one_frame() -> None:
    rig = DriveRig()
    rig.engaged(AHEAD, 500)
    rig.lever(AHEAD, 500, fault=1)
    assert rig.rows[-1] == 24
    assert rig.cause == v.CAUSE_LEVER_FAULT


@pytest.mark.parametrize("station", [1, BRIDGE])
def test_neutral_now_acts_whoever_is_in_control(station: int) -> None:
    """On the first frame whose CRC is right: its counter does not matter, it can only reduce."""
    rig = DriveRig()
    rig.engaged(AHEAD, 500)
    rig.press_neutral_now(station, pressed=0)
    rig.press_neutral_now(station, spoil=True)
    assert rig.rows[-1] == 6
    rig.press_neutral_now(station)
    assert rig.rows[-1] == 24
    assert rig.cause == v.CAUSE_NEUTRAL_NOW


CONTROLLERS = [
    ((ERROR_ACTIVE,), v.CAUSE_LEVER_LOST), ((ERROR_PASSIVE,), v.CAUSE_LEVER_LOST), ((BUS_OFF,), v.CAUSE_CONTROLLER),
    ((BUS_OFF, ERROR_ACTIVE), v.CAUSE_LEVER_LOST),
]  # fmt: skip


@pytest.mark.parametrize(("states", "cause"), CONTROLLERS)
def test_bus_off_of_its_only_bus_is_the_loss_of_all_once_the_timeout_is_over(states: tuple[int, ...], cause: int) -> None:
    """A bus that is back before costs nothing (ride through); the cause says what took the lever away."""
    rig = DriveRig()
    rig.engaged(AHEAD, 500)
    rig.beat()
    rig.lever(AHEAD, 500)
    heard_ns = rig.now_ns
    for state in states:
        assert rig.note(rig.drive.on_controller(rig.now_ns, 0, state)) == ()
    rig.run_to(heard_ns + TIMEOUT_NS - 1)
    assert rig.rows[-1] == 6
    rig.run_to(heard_ns + TIMEOUT_NS)
    assert rig.rows[-1] == 24
    assert rig.cause == cause


def test_a_bus_that_is_back_in_time_is_ridden_through() -> None:
    rig = DriveRig()
    rig.engaged(AHEAD, 500)
    rig.note(rig.drive.on_controller(rig.now_ns, 0, BUS_OFF))
    rig.run_for(200)
    rig.note(rig.drive.on_controller(rig.now_ns, 0, ERROR_ACTIVE))
    for _ in range(40):
        rig.beat()
        rig.lever(AHEAD, 500)
        rig.run_for(20)
    assert rig.rows[-1] == 6


def test_bus_off_of_one_of_two_is_not() -> None:
    rig = DriveRig(small_boat(buses=2))
    rig.engaged(AHEAD, 500)
    for bus in (0, 1):
        assert rig.drive.on_controller(rig.now_ns, bus, BUS_OFF) == ()
        assert not rig.drive.bus_off
    frames = [action for _, action in rig.did if action[0] == 0]
    assert [action[2:] for action in frames if action[1] == 0] == [action[2:] for action in frames if action[1] == 1]


def test_waking_has_nothing_to_lose() -> None:
    rig = DriveRig()
    rig.start()
    rig.note(rig.drive.on_controller(rig.now_ns, 0, BUS_OFF))
    rig.press_neutral_now()
    assert not rig.rows


# ------------------------------------------------------------------------------------------------ policy: stay engaged


def lever_lost(rig: DriveRig) -> None:
    rig.beat()
    rig.run_to(rig.now_ns + TIMEOUT_NS)


def bus_gone(rig: DriveRig) -> None:
    rig.note(rig.drive.on_controller(rig.now_ns, 0, BUS_OFF))
    lever_lost(rig)


def heartbeat_lost(rig: DriveRig) -> None:
    rig.beat()
    last_ns = rig.now_ns
    while rig.now_ns < last_ns + MISSING_NS:
        rig.lever(AHEAD)
        rig.run_for(10)


LOSSES: dict[int, Callable[[DriveRig], None]] = {
    v.CAUSE_LEVER_LOST: lever_lost,
    v.CAUSE_HEARTBEAT_LOST: heartbeat_lost,
    v.CAUSE_OTHER_BOAT_FILE: lambda rig: rig.beat(fingerprint=1) and None,
    v.CAUSE_LEVER_FAULT: lambda rig: rig.lever(AHEAD, fault=1) and None,
    v.CAUSE_CONTROLLER: bus_gone,
}
WISHES: dict[int, Callable[[DriveRig], None]] = {
    v.CAUSE_NEUTRAL_NOW: lambda rig: rig.press_neutral_now() and None,
    v.CAUSE_WITHDRAWN: lambda rig: rig.claim(1, withdrawn=1) and None,
}


@pytest.mark.parametrize("cause", LOSSES)
def test_policy_idle_stays_in_gear_when_the_helm_is_lost(cause: int) -> None:
    rig = DriveRig(on_loss="idle")
    rig.engaged()
    LOSSES[cause](rig)
    assert (rig.state, rig.cause, rig.outcome()) == ("held_idle", cause, (AHEAD, 0))
    rig.run_for(10_000)
    assert rig.state == "held_idle"


@pytest.mark.parametrize("cause", WISHES)
def test_policy_idle_goes_neutral_where_somebody_wants_that(cause: int) -> None:
    rig = DriveRig(on_loss="idle")
    rig.engaged()
    WISHES[cause](rig)
    assert (rig.state, rig.cause, rig.outcome()) == ("forced_disengaging", cause, (NEUTRAL, 0))


def test_neutral_now_gets_a_held_gear_out() -> None:
    rig = DriveRig(on_loss="idle")
    rig.held_idle()
    rig.press_neutral_now()
    assert rig.rows[-2:] == [36, 28]
    assert rig.outcome() == (NEUTRAL, 0)


def forced_idle_by(rig: DriveRig, cause: int) -> None:
    """The helm is lost with the throttle open, and is still closing."""
    rig.engaged(AHEAD, 500)
    LOSSES[cause](rig)
    assert (rig.state, rig.cause) == ("forced_idle", cause)


@pytest.mark.parametrize("cause", LOSSES)
def test_neutral_now_while_a_lost_helm_goes_idle_gets_the_gear_out(cause: int) -> None:
    rig = DriveRig(on_loss="idle")
    forced_idle_by(rig, cause)
    rig.press_neutral_now(BRIDGE)
    rig.run_for(200)
    rig.sense(throttle=0, rpm=800)
    assert (rig.state, rig.outcome()) == ("forced_disengaging", (NEUTRAL, 0))
    rig.run_for(40)
    assert rig.cause == cause, "what came first is what is told"


@pytest.mark.parametrize(("waited_ms", "state"), [(400, "held_idle"), (600, "forced_disengaging")])
def test_a_throttle_that_does_not_close_in_time_is_no_case_for_staying_in_gear(waited_ms: int, state: str) -> None:
    """Half a second without getting there is a fault of the actuator, whatever was lost first."""
    rig = DriveRig(on_loss="idle")
    forced_idle_by(rig, v.CAUSE_LEVER_FAULT)
    rig.run_for(waited_ms)
    rig.sense(throttle=0, rpm=800)
    assert rig.state == state


def test_a_wish_for_neutral_is_over_with_the_next_take() -> None:
    rig = DriveRig(on_loss="idle")
    forced_idle_by(rig, v.CAUSE_LEVER_FAULT)
    rig.press_neutral_now(BRIDGE)
    rig.sense(throttle=0, rpm=800)
    rig.gear_is(NEUTRAL)
    rig.run_for(1000)
    rig.take(2)
    rig.steer_for(1000, NEUTRAL)
    rig.lever(AHEAD)
    rig.lever(AHEAD)
    rig.gear_is(AHEAD)
    rig.lever(AHEAD, fault=1)
    assert (rig.state, rig.outcome()) == ("held_idle", (AHEAD, 0))


def test_policy_idle_holds_no_gear_that_is_not_in() -> None:
    rig = DriveRig(on_loss="idle")
    rig.in_control()
    rig.run_to(rig.now_ns + TIMEOUT_NS)
    assert rig.state == "forced_neutral"
    rig = DriveRig(on_loss="idle")
    rig.engaging()
    rig.sense(shift=899, switch=0)
    rig.run_to(rig.now_ns + TIMEOUT_NS)
    assert rig.state == "forced_disengaging"


def test_policy_idle_does_not_hold_on_to_a_stuck_actuator() -> None:
    rig = DriveRig(on_loss="idle")
    rig.disengaging()
    rig.steer_for(1600, NEUTRAL)
    assert (rig.state, rig.cause) == ("forced_disengaging", v.CAUSE_ACTUATOR)


def test_policy_idle_with_the_throttle_stuck_disengages_all_the_same() -> None:
    rig = DriveRig(on_loss="idle")
    rig.engaged(AHEAD, 500)
    rig.run_to(rig.now_ns + TIMEOUT_NS + IDLE_WAIT_NS)
    assert rig.rows[-1] == 29
    assert rig.outputs["engine_stop"] == 1


# ------------------------------------------------------------------------------------------------ waking


@pytest.mark.parametrize(
    "sensors",
    [
        {"shift": 101, "throttle": 0, "switch": 1},
        {"shift": 0, "throttle": 11, "switch": 1},
        {"shift": 0, "throttle": -31, "switch": 1},
        {"shift": 0, "throttle": 0, "switch": 0},
        {"shift": -1000, "throttle": 0, "switch": 0},
    ],
)
@pytest.mark.parametrize("policy", ["neutral", "idle"])
def test_waking_off_neutral_goes_idle_then_neutral(sensors: dict[str, int], policy: str) -> None:
    rig = DriveRig(on_loss=policy)
    rig.start(EXTERNAL_RESET)
    rig.sense(rpm=800, **sensors)
    assert rig.rows[0] == 2
    assert rig.cause == v.CAUSE_WOKE_OFF_NEUTRAL
    rig.run_for(100)
    assert rig.last(hand.HEARTBEAT, 44, 4) == v.NODE_STARTING
    rig.sense(throttle=0)
    assert rig.rows[1] == 28
    rig.gear_is(NEUTRAL)
    assert rig.rows[2:] == [30]
    rig.run_for(200)
    assert rig.last(hand.HEARTBEAT, 44, 4) == v.NODE_WORKING
    assert rig.last(hand.HEARTBEAT, 40, 4) == EXTERNAL_RESET


@pytest.mark.parametrize("silent", ["shift", "throttle", "switch", "rpm"])
def test_a_sensor_not_read_in_200_ms_counts_as_off_neutral(silent: str) -> None:
    rig = DriveRig()
    rig.start()
    readings = {"shift": 0, "throttle": 0, "switch": 1, "rpm": 800}
    del readings[silent]
    rig.sense(**readings)
    rig.run_to(200 * MS - 1)
    assert not rig.rows
    rig.run_to(200 * MS)
    assert rig.rows[0] == 2


def test_no_sensor_read_at_all_never_engages_and_never_claims_to_be_at_idle() -> None:
    rig = DriveRig()
    rig.start()
    rig.run_to(200 * MS)
    assert rig.rows == [2]
    rig.run_to(200 * MS + IDLE_WAIT_NS)
    assert rig.rows == [2, 29]
    assert rig.outputs["engine_stop"] == 1
    rig.run_for(60_000)
    assert rig.rows == [2, 29]
    assert rig.last(hand.STATE, 42, 2) == hand.BETWEEN
    assert rig.last(hand.STATE, 40, 2) == v.SWITCH_FAULTY
    assert rig.last(hand.STATE, 4, 2) == v.ENGINE_STOP_ASKED


# ------------------------------------------------------------------------------------------------ a program that was late


@pytest.mark.parametrize("late_ms", [1, 39, 40, 41, 260, 5000])
def test_a_late_deadline_catches_up_with_all_that_was_due(late_ms: int) -> None:
    """A program that hung goes on: what it missed is skipped, and control that was lost meanwhile stays lost."""
    rig = DriveRig()
    rig.engaged(AHEAD, 500)
    rig.beat()
    now_ns = rig.drive.deadline_ns + late_ms * MS
    rig.now_ns = now_ns
    rig.note(rig.drive.on_deadline(now_ns))
    assert rig.drive.deadline_ns > now_ns
    assert (rig.rows[-1] == 24) == (late_ms >= 250)
