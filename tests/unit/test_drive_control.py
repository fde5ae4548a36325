"""Who a drive obeys: takes of control, their numbers, the heartbeat of who takes, and what must be over first."""

from collections.abc import Callable
from typing import Any

import pytest

from busim.protocol import values as v
from busim.units import MS

from . import hand_made_frames as hand
from .drive_rig import MISSING_NS, TIMEOUT_NS, DriveRig
from .hand_made_frames import AHEAD, NEUTRAL
from .small_boat import BRIDGE, PORT, STARBOARD, WHEELHOUSE, small_boat


def known() -> DriveRig:
    """Awake, nobody in control, the wheelhouse's heartbeat and counter known."""
    rig = DriveRig()
    rig.wake()
    rig.introduce()
    rig.forget()
    return rig


def obeys(rig: DriveRig, number: int, station: int = WHEELHOUSE) -> bool:
    rig.run_for(40)
    return rig.obeyed == (station, number)


# ------------------------------------------------------------------------------------------------ two claims that agree


def test_two_claims_that_agree_take_control() -> None:
    rig = known()
    rig.claim(7)
    assert not rig.rows
    rig.claim(7)
    assert rig.rows == [3]
    assert rig.obeyed == (WHEELHOUSE, 7)


def test_a_take_begins_in_neutral_and_counts_as_a_first_lever_frame() -> None:
    rig = known()
    rig.claim(7)
    rig.claim(7)
    taken_ns = rig.now_ns
    rig.run_to(taken_ns + TIMEOUT_NS - 1)
    assert rig.rows == [3]
    rig.run_to(taken_ns + TIMEOUT_NS)
    assert rig.rows[1] == 22


DISAGREE: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
    "number": ({"number": 7}, {"number": 8}),
    "set": ({"number": 7, "wanted": 1}, {"number": 7, "wanted": 3}),
    "lever moved into gear": ({"number": 7}, {"number": 7, "gear": AHEAD}),
    "lever moved out of gear": ({"number": 7, "gear": AHEAD}, {"number": 7}),
    "lever in gear": ({"number": 7, "gear": AHEAD}, {"number": 7, "gear": AHEAD}),
    "this drive not wanted": ({"number": 7, "wanted": 2}, {"number": 7, "wanted": 2}),
    "nothing wanted": ({"number": 7, "wanted": 0}, {"number": 7, "wanted": 0}),
    "number 0": ({"number": 0}, {"number": 0}),
    "first withdrawn": ({"number": 7, "withdrawn": 1}, {"number": 7}),
    "both withdrawn": ({"number": 7, "withdrawn": 1}, {"number": 7, "withdrawn": 1}),
    "first corrupt": ({"number": 7, "spoil": True}, {"number": 7}),
    "second corrupt": ({"number": 7}, {"number": 7, "spoil": True}),
}


@pytest.mark.parametrize("what", DISAGREE)
def test_two_claims_that_do_not_agree_take_nothing(what: str) -> None:
    rig = known()
    for claim in DISAGREE[what]:
        rig.claim(**claim)
    assert not rig.did


def test_the_same_claim_twice_is_one_claim() -> None:
    """A disturbed last bit makes a sender repeat a frame already accepted (Bosch, CAN 2.0, 1991, on the end of frame)."""
    rig = known()
    can_id = hand.id_of(hand.CLAIM, WHEELHOUSE)
    data = hand.claim(WHEELHOUSE, rig.counter(can_id), 7, wanted=3)
    rig.frame(can_id, data)
    rig.frame(can_id, data)
    assert not rig.rows


def test_the_lever_for_the_other_drive_may_be_in_gear() -> None:
    rig = known()
    rig.claim(7, gear_2=AHEAD)
    rig.claim(7, gear_2=AHEAD)
    assert rig.rows == [3]
    other = DriveRig(small_boat(), STARBOARD)
    other.wake()
    other.introduce()
    other.claim(7, gear_2=AHEAD)
    other.claim(7, gear_2=AHEAD)
    assert 3 not in other.rows
    other.claim(7, gear=AHEAD)
    other.claim(7, gear=AHEAD)
    assert 3 in other.rows


# ------------------------------------------------------------------------------------------------ numbers


@pytest.mark.parametrize(
    ("held", "claimed", "newer"),
    [
        (1, 2, True),
        (2, 2, False),
        (2, 1, False),
        (1, 32768, True),  # 32767 ahead: newer (RFC 1982, s. 3.2)
        (1, 32769, False),  # half the circle: neither
        (1, 32770, False),
        (65535, 1, True),
        (65535, 32766, True),
        (65535, 32767, False),
        (40000, 65535, True),
    ],
)
def test_only_a_newer_number_takes(held: int, claimed: int, newer: bool) -> None:
    rig = DriveRig()
    rig.wake()
    rig.take(held)
    assert obeys(rig, held)
    rig.introduce(BRIDGE)
    rig.claim(claimed, station=BRIDGE)
    rig.claim(claimed, station=BRIDGE)
    assert obeys(rig, claimed, BRIDGE) == newer


def test_after_a_loss_the_old_number_is_still_old() -> None:
    rig = DriveRig()
    rig.forced_neutral()
    rig.run_to(rig.now_ns + TIMEOUT_NS)
    rig.beat()
    for _ in range(3):
        rig.claim(1)
    assert rig.state == "forced_neutral"
    for _ in range(2):
        rig.claim(2)
    assert rig.state == "neutral"


def test_frames_of_the_old_holder_move_nothing_any_more() -> None:
    rig = DriveRig()
    rig.in_control()
    rig.take(2, BRIDGE)
    rig.forget()
    for _ in range(5):
        rig.lever(AHEAD, 500, station=WHEELHOUSE, number=1)
    assert not rig.did


# ------------------------------------------------------------------------------------------------ heartbeat of who takes


def take(rig: DriveRig) -> bool:
    rig.claim(7)
    rig.claim(7)
    return rig.rows == [3]


def test_who_was_never_heard_is_missing() -> None:
    rig = DriveRig()
    rig.wake()
    rig.claim(0, wanted=0)
    rig.forget()
    assert not take(rig)


def test_one_heartbeat_is_not_enough() -> None:
    rig = DriveRig()
    rig.wake()
    rig.beat()
    rig.claim(0, wanted=0)
    rig.forget()
    assert not take(rig)


@pytest.mark.parametrize(("after_ns", "taken"), [(MISSING_NS - 1, True), (MISSING_NS, False)])
def test_a_heartbeat_is_missing_at_its_time(after_ns: int, taken: bool) -> None:
    rig = known()
    rig.run_to(rig.now_ns + after_ns)
    assert take(rig) == taken


@pytest.mark.parametrize("spoil", [False, True])
def test_another_boats_fingerprint_takes_nothing(spoil: bool) -> None:
    """Spoiled, it is no heartbeat at all: the last sound one stands."""
    rig = known()
    rig.beat(fingerprint=rig.fingerprint ^ 1, spoil=spoil)
    assert take(rig) == spoil


def test_a_station_that_may_not_is_not_even_heard() -> None:
    rig = DriveRig(stations=(WHEELHOUSE,))
    heard = {(can_id // 64, can_id % 64) for _, can_id in rig.drive.receives()}
    from_any = (hand.NEUTRAL_NOW, hand.OBEYS, hand.ALARM_ANSWER)
    assert {address for code, address in heard if code not in from_any} == {WHEELHOUSE, rig.drive.address}
    assert [code for code, address in heard if address == rig.drive.address] == [hand.HEARTBEAT], "that is somebody else's"


def test_neutral_now_acts_from_a_station_that_may_not_control_it() -> None:
    rig = DriveRig(stations=(WHEELHOUSE,))
    rig.engaged(AHEAD, 500)
    rig.press_neutral_now(BRIDGE)
    assert (rig.rows[-1], rig.cause) == (24, v.CAUSE_NEUTRAL_NOW)


# ------------------------------------------------------------------------------------------------ withdrawal


def test_a_withdrawn_take_goes_neutral_on_one_frame() -> None:
    rig = DriveRig()
    rig.engaged(AHEAD, 500)
    rig.claim(1, withdrawn=1)
    assert rig.rows[-1] == 24
    assert rig.outcome() == (AHEAD, 0)
    assert (rig.obeyed, rig.cause) == ((0, 1), v.CAUSE_WITHDRAWN)


@pytest.mark.parametrize(("station", "number"), [(WHEELHOUSE, 2), (WHEELHOUSE, 0), (BRIDGE, 1)])
def test_a_withdrawal_of_another_pair_does_not_matter(station: int, number: int) -> None:
    rig = DriveRig()
    rig.engaged(AHEAD, 500)
    rig.introduce(BRIDGE)
    rig.forget()
    rig.claim(number, station=station, withdrawn=1)
    assert not rig.did


# ------------------------------------------------------------------------------------------------ after a forced neutral


def retake(rig: DriveRig) -> bool:
    rig.beat()
    rig.claim(2)
    rig.claim(2)
    return rig.rows[-1] == 4


@pytest.mark.parametrize(("after_ns", "over"), [(TIMEOUT_NS - 1, False), (TIMEOUT_NS, True)])
@pytest.mark.parametrize("presser", [WHEELHOUSE, BRIDGE])
def test_neutral_now_must_be_over(after_ns: int, over: bool, presser: int) -> None:
    rig = DriveRig()
    rig.forced_neutral()
    rig.press_neutral_now(presser)
    rig.run_to(rig.now_ns + after_ns)
    assert retake(rig) == over


NOT_OVER: dict[str, Callable[[DriveRig], None]] = {
    "throttle off its stop": lambda rig: rig.sense(throttle=11),
    "throttle feedback off": lambda rig: rig.sense(throttle=-31),
    "gear not out": lambda rig: rig.sense(shift=101),
    "switch says no": lambda rig: rig.sense(switch=0),
}


@pytest.mark.parametrize("what", NOT_OVER)
def test_what_forced_neutral_must_be_over(what: str) -> None:
    rig = DriveRig()
    rig.forced_neutral()
    rig.run_to(rig.now_ns + TIMEOUT_NS)
    NOT_OVER[what](rig)
    assert not retake(rig)
    rig.sense(shift=0, throttle=0, switch=1)
    rig.claim(2)
    assert rig.rows[-1] == 4


@pytest.mark.parametrize("make", [DriveRig.start, DriveRig.forced_idle, DriveRig.forced_disengaging])
def test_nobody_takes_while_it_is_waking_or_being_forced(make: Callable[[DriveRig], None]) -> None:
    rig = DriveRig()
    make(rig)
    rig.introduce()
    rows = list(rig.rows)
    for _ in range(4):
        rig.claim(9)
    assert rig.rows == rows


def test_the_cause_stays_until_a_take() -> None:
    rig = DriveRig()
    rig.forced_neutral()
    rig.run_for(5000)
    assert rig.cause == v.CAUSE_NEUTRAL_NOW
    assert retake(rig)
    assert rig.cause == v.CAUSE_NONE


def test_an_engine_stop_is_taken_back_by_a_take() -> None:
    """The gear is out and the throttle at its stop by then; held on, the engine could never run again."""
    rig = DriveRig()
    rig.forced_idle()
    rig.run_for(1447)
    assert rig.outputs["engine_stop"] == 1
    rig.run_for(40)
    assert rig.last(hand.STATE, 4, 2) == v.ENGINE_STOP_ASKED
    rig.gear_is(NEUTRAL)
    rig.sense(throttle=0, rpm=0)
    rig.run_for(300)
    assert rig.outputs["engine_stop"] == 1
    assert retake(rig)
    assert rig.outputs["engine_stop"] == 0
    rig.run_for(40)
    assert rig.last(hand.STATE, 4, 2) == v.ENGINE_STOPPED


def test_a_take_from_gear_goes_to_neutral_first() -> None:
    """The new station's lever is in neutral: the old gear does not stay in."""
    rig = DriveRig()
    rig.engaged(AHEAD, 500)
    rig.take(2, BRIDGE)
    assert rig.outcome() == (AHEAD, 0)
    rig.sense(throttle=0, rpm=900)
    assert rig.outcome() == (NEUTRAL, 0)
    assert rig.drive.address == PORT
    rig.run_to(rig.now_ns + 40 * MS)
    assert rig.obeyed == (BRIDGE, 2)
