"""When a station lets control go: another pair reported, an echo too old, a drive that acts on old frames; and its alarm."""

import pytest

from busim.units import MS

from . import hand_made_frames as hand
from .small_boat import BRIDGE, PORT, RUDDER, STARBOARD, WHEELHOUSE, small_boat
from .station_rig import StationRig
from .test_station_node import ASKING, HERE, once_more, silence

AGE_MAX_NS = 300 * MS


@pytest.mark.parametrize(("station", "number"), [(0, 1), (WHEELHOUSE, 1), (BRIDGE, 2), (WHEELHOUSE, 2)])
@pytest.mark.parametrize("drive", [PORT, STARBOARD])
def test_control_ends_when_one_drive_reports_another_pair(drive: int, station: int, number: int) -> None:
    """Where one drive that obeys nobody is enough to let go of both."""
    rig = StationRig(small_boat(on_other_lost="neutral"))
    rig.settled()
    rig.drive_says(drive, station, number, ahead=0)
    rig.drive_says(drive, station, number, spoil=True)
    assert rig.state == "holding", "a corrupt report is none, and the same again is none"
    rig.drive_says(drive, station, number)
    assert rig.rows[-1] == 7
    assert rig.sounds == int(station != WHEELHOUSE), "a hand-over is shown, it is no alarm"
    rig.run_for(20)
    assert rig.last(hand.LEVER, 32, 16) == 0


def test_a_silent_drive_is_let_go_when_its_echo_is_too_old() -> None:
    rig = StationRig()
    rig.settled()
    heard_ns = rig.now_ns
    rig.run_to(heard_ns + AGE_MAX_NS)
    assert rig.state == "holding", "exactly age_max_ms old is not older"
    rig.run_for(20)
    assert rig.rows[-1] == 8
    assert rig.sounds == 1


@pytest.mark.parametrize(("drive", "other"), [(PORT, STARBOARD), (STARBOARD, PORT)])
def test_the_drive_that_is_left_is_held_on_where_the_policy_is_to_carry_on(drive: int, other: int) -> None:
    rig = StationRig()
    rig.settled()
    rig.drive_says(drive, 0, 1)
    assert rig.state == "holding"
    assert rig.sounds == 1
    for _ in range(20):
        rig.run_for(20)
        rig.drive_says(other, BRIDGE, 1)
    assert rig.last(hand.LEVER, 32, 16) == 1, "the one that is left is steered on"
    rig.drive_says(other, 0, 1)
    assert rig.rows[-1] == 7, "with the last one control is let go"


@pytest.mark.parametrize(("drive", "other"), [(PORT, STARBOARD), (STARBOARD, PORT)])
def test_a_newer_take_of_one_drive_ends_control_of_both(drive: int, other: int) -> None:
    rig = StationRig()
    rig.settled()
    rig.drive_says(drive, WHEELHOUSE, 2)
    assert rig.rows[-1] == 7
    rig.run_for(20)
    assert rig.last(hand.LEVER, 32, 16) == 0


def test_one_drive_that_falls_silent_is_let_go_alone() -> None:
    rig = StationRig()
    rig.settled()
    for _ in range(20):
        rig.run_for(40)
        rig.drive_says(PORT, BRIDGE, 1)
    assert rig.state == "holding"
    assert rig.sounds == 1
    assert rig.station.held == [PORT]


@pytest.mark.parametrize(("mute", "heard"), [(STARBOARD, PORT), (PORT, STARBOARD)])
def test_a_drive_that_was_let_go_of_is_asked_for_neutral_whatever_its_lever_says(mute: int, heard: int) -> None:
    """It may only be mute: it hears the lever, and nobody hears whether it obeys."""
    instance = {PORT: 1, STARBOARD: 2}
    rig = StationRig()
    rig.settled()
    rig.lever(900, 1)
    rig.lever(900, 2)
    for _ in range(4):
        rig.drives_say(BRIDGE, 1)
        rig.run_for(20)
    gear, throttle = rig.lever_says(instance[mute])
    assert gear
    assert throttle > 0
    for _ in range(20):
        rig.drive_says(heard, BRIDGE, 1)
        rig.run_for(20)
    assert rig.lever_says(instance[mute]) == (0, 0)
    assert rig.lever_says(instance[heard]) == (gear, throttle), "the one that is left follows its lever"
    assert rig.last(hand.LEVER, 32, 16) == 1


def report_late(rig: StationRig, frames: int) -> None:
    for _ in range(5):
        rig.run_for(40)
        rig.drive_says(PORT, BRIDGE, 1)
        rig.drive_says(STARBOARD, BRIDGE, 1, late=frames)


@pytest.mark.parametrize(("frames", "holds"), [(0, True), (13, True), (14, False), (15, False), (200, False)])
def test_a_drive_that_acts_on_old_frames_is_let_go(frames: int, holds: bool) -> None:
    """Judged when the next lever frames leave: 13 frames ago then becomes 15 of 20 ms before the next report, 300 ms."""
    rig = StationRig(small_boat(on_other_lost="neutral"))
    rig.settled()
    report_late(rig, frames)
    assert (rig.state == "holding") == holds


def test_what_a_drive_acted_on_before_the_take_is_not_held_against_it() -> None:
    rig = StationRig()
    rig.introduce()
    rig.run_for(2000)
    rig.drives_say(0, 0)
    rig.press()
    rig.run_for(0)
    rig.drives_say(BRIDGE, 1, late=100)
    rig.run_for(200)
    rig.drives_say(BRIDGE, 1, late=100)
    assert rig.state == "holding"
    rig.run_for(100)
    assert rig.state == "holding"
    rig.run_for(20)
    assert rig.rows[-1] == 8


def standing(rig: StationRig) -> list[int]:
    """What it let go of, as its list has it."""
    return [about for _, which, about in (key for key, entry in rig.station.alarms.entries.items() if entry.stands) if which == 18]


def test_the_alarm_stays_until_control_is_taken_anew() -> None:
    rig = StationRig()
    silence(rig)
    rig.hear(2000, 0, 1)
    assert (rig.sounds, standing(rig)) == (1, [PORT])
    rig.press()
    rig.hear(200, 0, 1)
    assert (rig.rows[-1], standing(rig)) == (1, [PORT])
    rig.hear(400, BRIDGE, rig.number)
    assert (rig.rows[-1], standing(rig)) == (3, [])


@pytest.mark.parametrize("station", [WHEELHOUSE, BRIDGE])
def test_or_until_another_station_is_obeyed_and_then_it_does_not_come_back(station: int) -> None:
    rig = StationRig()
    silence(rig)
    rig.hear(400, station, 2)
    rig.hear(400, 0, 2)
    assert standing(rig) == ([] if station == WHEELHOUSE else [PORT])


@pytest.mark.parametrize(("station", "stands"), [(WHEELHOUSE, []), (0, [RUDDER])])
def test_of_the_rudder_too_until_another_station_steers(station: int, stands: list[int]) -> None:
    rig = StationRig(small_boat(rudder={}))
    can_id = hand.id_of(hand.RUDDER_STATE, RUDDER)

    def hear(for_ms: int, drives: tuple[int, int], rudder: tuple[int, int]) -> None:
        for _ in range(for_ms // 40):
            rig.run_for(40)
            rig.drives_say(*drives)
            rig.frame(can_id, hand.rudder_state(RUDDER, rig.counter(can_id), *rudder))

    rig.introduce()
    rig.input("wheel", 500)
    hear(80, (0, 0), (0, 0))
    rig.press()
    me = (rig.address, rig.number)
    hear(800, me, me)
    hear(400, me, (0, me[1]))
    assert standing(rig) == [RUDDER]
    hear(400, (0, me[1]), (0, me[1]))
    hear(400, (WHEELHOUSE, me[1] + 1), (station, me[1] + 1))
    assert standing(rig) == stands


def test_taking_anew_what_it_holds() -> None:
    rig = StationRig()
    once_more(rig)
    assert rig.number == 2
    assert rig.shows == ASKING
    rig.drives_say(BRIDGE, 2)
    assert rig.state == "holding"
    assert rig.shows == HERE


def test_who_holds_one_drive_lets_go_of_that_one() -> None:
    rig = StationRig(drives=(2,))
    rig.wake()
    for _ in range(2):
        rig.drive_says(STARBOARD, 0, 0)
    rig.press()
    rig.run_for(0)
    rig.drive_says(STARBOARD, BRIDGE, 1)
    assert rig.state == "holding"
    rig.drive_says(STARBOARD, 0, 1)
    assert rig.rows[-1] == 7


# ------------------------------------------------------------------------------------------------ withdrawing


def test_the_time_of_a_withdrawal_counts_from_its_beginning() -> None:
    rig = StationRig()
    rig.claiming()
    rig.run_to(300 * MS)
    rig.drive_says(PORT, BRIDGE, 1)
    rig.drive_says(STARBOARD, WHEELHOUSE, 2)
    assert rig.rows == [1, 4]
    rig.run_to(800 * MS - 1)
    assert rig.rows == [1, 4]
    rig.run_to(800 * MS)
    assert rig.rows == [1, 4, 6]
    sent = len(rig.said(hand.CLAIM))
    rig.run_for(2000)
    assert len(rig.said(hand.CLAIM)) == sent, "and then it is quiet"


def test_as_long_as_one_drive_has_the_number_it_goes_on() -> None:
    rig = StationRig()
    rig.claiming()
    rig.drive_says(PORT, BRIDGE, 1)
    rig.drive_says(STARBOARD, WHEELHOUSE, 2)
    rig.drive_says(STARBOARD, WHEELHOUSE, 3)
    assert rig.state == "withdrawing"
    rig.drive_says(PORT, WHEELHOUSE, 3)
    assert rig.state == "watching"


def test_its_rows_have_no_cause() -> None:
    rig = StationRig()
    once_more(rig)
    assert {action[3] for _, action in rig.did if action[0] == 3} == {0}
