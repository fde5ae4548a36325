"""Every row of the drive's state table is taken by a sequence of frames and sensor values, and reported with its next state."""

from collections.abc import Callable
from itertools import product

import pytest

from busim.protocol.tables import DRIVE_TABLE, Row
from busim.units import MS

from . import hand_made_frames as hand
from .drive_rig import TIMEOUT_NS, DriveRig
from .hand_made_frames import AHEAD, ASTERN, NEUTRAL
from .small_boat import BRIDGE, DWELL_MS, IDLE_WAIT_MS, SHIFT_ALLOWANCE_NS


def wake_in_gear(rig: DriveRig) -> None:
    rig.start()
    rig.sense(shift=1000, throttle=0, switch=0, rpm=800)


def other_takes(rig: DriveRig) -> None:
    rig.take(2, BRIDGE)


def lost_engaging(rig: DriveRig) -> None:
    rig.engaging()
    rig.press_neutral_now()


def lost_slowing(rig: DriveRig) -> None:
    rig.slowing()
    rig.press_neutral_now()


def lost_disengaging(rig: DriveRig) -> None:
    rig.disengaging()
    rig.press_neutral_now()


def lost_dwelling(rig: DriveRig) -> None:
    rig.dwelling()
    rig.press_neutral_now()


def lost_in_neutral(rig: DriveRig) -> None:
    rig.in_control()
    rig.press_neutral_now()


def lost_unclaimed(rig: DriveRig) -> None:
    rig.wake()
    rig.press_neutral_now()


def lost_held(rig: DriveRig) -> None:
    rig.held_idle()
    rig.press_neutral_now()


def retake(rig: DriveRig) -> None:
    rig.forced_neutral()
    rig.run_to(rig.now_ns + TIMEOUT_NS)
    rig.take(2)


def back_before_in(rig: DriveRig) -> None:
    rig.engaging()
    rig.lever(NEUTRAL)


def back_in_gear(rig: DriveRig) -> None:
    rig.slowing()
    rig.lever(AHEAD)
    rig.lever(AHEAD)


def comes_to_idle(rig: DriveRig) -> None:
    rig.slowing()
    rig.sense(throttle=0, rpm=900)


def same_again(rig: DriveRig) -> None:
    rig.dwelling()
    rig.lever(AHEAD)
    rig.lever(AHEAD)


def dwells(rig: DriveRig) -> None:
    rig.dwelling()
    rig.steer_for(DWELL_MS, NEUTRAL)


def then_other_takes(before: Callable[[DriveRig], None]) -> Callable[[DriveRig], None]:
    def sequence(rig: DriveRig) -> None:
        before(rig)
        other_takes(rig)

    return sequence


def forced_comes_to_idle(rig: DriveRig) -> None:
    rig.forced_idle()
    rig.sense(throttle=0, rpm=900)


def forced_waits(rig: DriveRig) -> None:
    rig.forced_idle()
    rig.run_for(IDLE_WAIT_MS)


def stuck_going_in(rig: DriveRig) -> None:
    rig.engaging()
    rig.steer_for(SHIFT_ALLOWANCE_NS // MS + 20, AHEAD)


def stuck_coming_out(rig: DriveRig) -> None:
    rig.disengaging()
    rig.steer_for(SHIFT_ALLOWANCE_NS // MS + 20, NEUTRAL)


def matched_in_gear(rig: DriveRig) -> None:
    rig.engaged(AHEAD, 500)
    rig.introduce(BRIDGE)
    rig.claim(2, station=BRIDGE, gear=AHEAD, throttle=520)
    rig.claim(2, station=BRIDGE, gear=AHEAD, throttle=480)


def throttle_does_not_come(rig: DriveRig) -> None:
    rig.slowing()
    rig.steer_for(IDLE_WAIT_MS // 20 * 20 + 20, NEUTRAL)


SEQUENCES: dict[int, Callable[[DriveRig], None]] = {
    1: DriveRig.wake,
    2: wake_in_gear,
    3: DriveRig.in_control,
    4: retake,
    5: DriveRig.engaging,
    6: DriveRig.engaged,
    7: back_before_in,
    8: DriveRig.slowing,
    9: back_in_gear,
    10: comes_to_idle,
    11: DriveRig.dwelling,
    12: dwells,
    13: same_again,
    14: then_other_takes(DriveRig.in_control),
    15: then_other_takes(DriveRig.dwelling),
    18: then_other_takes(DriveRig.engaged),
    19: then_other_takes(DriveRig.engaging),
    20: then_other_takes(DriveRig.slowing),
    21: then_other_takes(DriveRig.disengaging),
    22: lost_in_neutral,
    23: lost_engaging,
    24: DriveRig.forced_disengaging,
    25: lost_slowing,
    26: lost_disengaging,
    27: lost_dwelling,
    28: forced_comes_to_idle,
    29: forced_waits,
    30: DriveRig.forced_neutral,
    31: DriveRig.held_idle,
    32: then_other_takes(DriveRig.held_idle),
    33: stuck_going_in,
    34: stuck_coming_out,
    17: matched_in_gear,
    35: lost_unclaimed,
    36: lost_held,
    37: throttle_does_not_come,
}
POLICY_IDLE = {31, 32, 36}
MATCHED = {17}


def play(number: int) -> DriveRig:
    matched = {"station": {"matched_take": True}} if number in MATCHED else {}
    rig = DriveRig(on_loss="idle" if number in POLICY_IDLE else "neutral", **matched)
    SEQUENCES[number](rig)
    return rig


def test_there_is_a_sequence_for_every_row() -> None:
    assert set(SEQUENCES) == {row.number for row in DRIVE_TABLE.rows}


@pytest.mark.parametrize("row", DRIVE_TABLE.rows, ids=lambda row: str(row.number))
def test_row(row: Row) -> None:
    rig = play(row.number)
    assert row.number in rig.rows, f"{row.state}, {row.event}: took rows {rig.rows}"
    state = "waking"
    for number in rig.rows:
        assert DRIVE_TABLE.by_number[number].state == state, f"row {number} does not begin in {state}"
        state = DRIVE_TABLE.by_number[number].next_state
    assert (rig.state, rig.row) == (state, rig.rows[-1]), "the last report tells the last row"


@pytest.mark.parametrize("number", sorted(SEQUENCES))
def test_the_report_of_a_row_goes_out_with_it_and_once(number: int) -> None:
    """At once after a row; of several rows in one call the last, and never a counter that jumps by the rows between."""
    rig = play(number)
    counters = [data[1] for _, data in rig.said(hand.OBEYS)]
    assert counters == [(counters[0] + index) % 256 for index in range(len(counters))]
    moments = {now_ns for now_ns, action in rig.did if action[0] == 3}
    assert moments <= {now_ns for now_ns, _ in rig.said(hand.OBEYS)}


def test_an_event_without_a_row_changes_nothing() -> None:
    """It does not concern the state: no output, no report, no row."""
    rig = DriveRig()
    rig.wake()
    rig.forget()
    for state, event in product(range(len(DRIVE_TABLE.states)), (name for name, _ in DRIVE_TABLE.events)):
        if (state, event) not in DRIVE_TABLE.moves:
            rig.drive.state = state
            assert rig.drive._event(rig.now_ns, event) == []
            assert (rig.drive.state, rig.drive.last_row) == (state, 1)


MATCHED_CLAIMS = {
    "matched": ((AHEAD, 500), (AHEAD, 500), True, True),
    "matched at the edges": ((AHEAD, 400), (AHEAD, 600), True, True),
    "a hair too far": ((AHEAD, 500), (AHEAD, 601), True, False),
    "a hair too far at first": ((AHEAD, 399), (AHEAD, 500), True, False),
    "other gear": ((ASTERN, 500), (ASTERN, 500), True, False),
    "other gear at first": ((ASTERN, 500), (AHEAD, 500), True, False),
    "a station that may not": ((AHEAD, 500), (AHEAD, 500), False, False),
}


@pytest.mark.parametrize(("first", "second", "may", "taken"), MATCHED_CLAIMS.values(), ids=MATCHED_CLAIMS.keys())
def test_a_take_with_the_lever_matched(first: tuple[int, int], second: tuple[int, int], may: bool, taken: bool) -> None:
    """In gear, from a station that may: within 100 permille of the throttle, in both claims. Nothing moves by the take itself."""
    rig = DriveRig(station={"matched_take": may})
    rig.engaged(AHEAD, 500)
    rig.introduce(BRIDGE)
    outputs = dict(rig.outputs)
    for gear, throttle in (first, second):
        rig.claim(2, station=BRIDGE, gear=gear, throttle=throttle)
    assert rig.obeyed == ((BRIDGE, 2) if taken else (1, 1))
    assert rig.outputs == outputs


def test_after_a_matched_take_one_frame_reduces_and_two_add() -> None:
    for first, second, throttles in ((600, 600, [600]), (300, 600, [300, 600]), (600, 550, [550])):
        rig = DriveRig(station={"matched_take": True})
        rig.engaged(AHEAD, 500)
        rig.introduce(BRIDGE)
        for _ in range(2):
            rig.claim(2, station=BRIDGE, gear=AHEAD, throttle=480)
        rig.station, rig.number = BRIDGE, 2
        rig.forget()
        rig.lever(AHEAD, first)  # after a gap the first frame of a counter is not counted
        for throttle in (first, second, second):
            rig.lever(AHEAD, throttle)
        told = [action[2] for _, action in rig.did if action[1] == "throttle"]
        assert told == throttles
