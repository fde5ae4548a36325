"""What a drive and a rudder alarm, by why they were forced and by what they found wrong."""

from types import SimpleNamespace

import pytest

from busim.protocol.alarms import BY_NUMBER
from busim.protocol.values import CAUSES, DRIVE_FAULTS
from busim.units import MS, NEVER, SECOND
from nodes.drive_alarms import causes_of

from . import hand_made_frames as hand
from .drive_rig import DriveRig
from .hand_made_frames import AHEAD
from .small_boat import PORT, small_boat

WANTED_OR_ELSEWHERE = {"none", "neutral now was pressed", "an actuator did not do as it was told"}
OF_FAULT = {
    "none": None,
    "shift does not arrive": "shift_fault",
    "throttle does not arrive": "throttle_fault",
    "shift feedback and switch disagree": "sensor_fault",
    "throttle feedback implausible": "sensor_fault",
    "rpm unlike command": "throttle_fault",
}


def names(cause: int = 0, fault: int = 0) -> list[str]:
    drive = SimpleNamespace(cause=cause, fault=fault, unequal_ns=-NEVER)
    found = causes_of(SECOND, drive)  # type: ignore[arg-type]
    return [BY_NUMBER[number].name for number in found]


@pytest.mark.parametrize(("cause", "words"), CAUSES)
def test_every_cause_that_took_control_away_is_alarmed(cause: int, words: str) -> None:
    """A failure of remote control is alarmed (HSC Code 2000, 11.2)."""
    assert names(cause=cause) == ([] if words in WANTED_OR_ELSEWHERE else ["control_lost"])


@pytest.mark.parametrize(("fault", "words"), DRIVE_FAULTS)
def test_every_fault_is_alarmed(fault: int, words: str) -> None:
    name = OF_FAULT[words]
    assert names(fault=fault) == ([] if name is None else [name])


def test_both_at_once() -> None:
    assert names(cause=2, fault=4) == ["control_lost", "sensor_fault"]


def test_unequal_orders_by_two_buses_are_alarmed_while_they_come_and_for_a_second() -> None:
    rig = DriveRig(small_boat(buses=2))
    rig.engaged(AHEAD, 500)
    can_id = hand.id_of(hand.LEVER, rig.station)
    for step in range(100):
        counter = rig.counter(can_id)
        for bus, throttle in ((0, 500), (1, 300 if step < 50 else 500)):
            rig.frame(can_id, hand.lever(rig.station, counter, rig.number, AHEAD, throttle, drive=rig.instance), bus)
        if step == 49:
            last_ns = rig.now_ns
        rig.sense(throttle=rig.outputs["throttle"])
        rig.beat()
        rig.run_for(20)
    rig.run_for(100)
    unequal = [(now_ns, hand.part(data, 32, 2)) for now_ns, data in rig.said(hand.ALARM) if hand.part(data, 40, 8) == 19]
    assert {state for now_ns, state in unequal if now_ns < last_ns + SECOND} == {1}
    gone_ns = [now_ns for now_ns, state in unequal if not state]
    assert last_ns + SECOND <= gone_ns[0] <= last_ns + SECOND + 40 * MS


def said(rig: DriveRig) -> list[tuple[int, int, int]]:
    """(which, about, state) of its alarm frames."""
    return [tuple(hand.part(data, *place) for place in ((40, 8), (34, 6), (32, 2))) for _, data in rig.said(hand.ALARM)]  # type: ignore[misc]


def test_a_drive_alarms_its_loss_until_control_is_taken_anew() -> None:
    rig = DriveRig()
    rig.engaged()
    rig.run_for(1000)
    assert set(said(rig)) == {(1, PORT, 1)}


def test_neutral_now_raises_nothing() -> None:
    rig = DriveRig()
    rig.engaged()
    rig.frame(hand.id_of(hand.NEUTRAL_NOW, 1), hand.neutral_now(1, 1))
    rig.run_for(200)
    assert said(rig) == []
