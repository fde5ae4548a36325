"""A take with one of two drives dead or refusing, on a boat that carries on with the one that is left."""

from typing import Any

import pytest

from busim.units import MS, SECOND
from nodes.alarm_lines import LET_GO

from . import hand_made_frames as hand
from .small_boat import BRIDGE, PORT, STARBOARD, WHEELHOUSE, small_boat
from .station_rig import INSTANCE, StationRig
from .test_station_node import ASKING, DIVIDED, HERE, MISSING_NS, NOBODY, NOTHING_HEARD, TRANSFER_NS

OTHER = {PORT: STARBOARD, STARBOARD: PORT}
BOTH = 3
DRIVES = pytest.mark.parametrize("live", [PORT, STARBOARD])


def wanted(rig: StationRig) -> int:
    """Of the claim sent last."""
    rig.run_for(0)
    return rig.last(hand.CLAIM, 29, 3)


def alone(rig: StationRig, live: int, for_ms: int, station: int, number: int) -> None:
    """Only this drive is heard, every 20 ms."""
    for _ in range(for_ms // 20):
        rig.run_for(20)
        rig.drive_says(live, station, number)


def with_one_dead(live: int, **more: Any) -> StationRig:
    """Both were heard; the other has fallen silent for longer than that takes to be missed."""
    rig = StationRig(small_boat(**more))
    rig.introduce()
    alone(rig, live, 400, 0, 0)
    return rig


def with_one_that_refuses(live: int, **more: Any) -> StationRig:
    """Both are heard, one follows the take and the other goes on obeying nobody: the take is withdrawn."""
    rig = StationRig(small_boat(**more))
    rig.claiming()
    while rig.state == "claiming":
        echo(rig, live, (BRIDGE, 1), (0, 0))
    assert (rig.rows, wanted(rig)) == ([1, 5], BOTH)
    echo(rig, live, (0, 1), (0, 0))
    assert rig.rows == [1, 5, 6]
    return rig


def echo(rig: StationRig, live: int, says: tuple[int, int], other_says: tuple[int, int]) -> None:
    """Both report, and 20 ms pass."""
    rig.drive_says(live, *says)
    rig.drive_says(OTHER[live], *other_says)
    rig.run_for(20)


# ------------------------------------------------------------------------------------------------ a drive that is dead


@DRIVES
def test_the_drive_that_is_left_can_be_taken(live: int) -> None:
    rig = with_one_dead(live)
    rig.press()
    assert wanted(rig) == INSTANCE[live]
    rig.drive_says(live, BRIDGE, 1)
    assert (rig.state, rig.station.held) == ("holding", [live])
    rig.run_for(20)
    assert rig.last(hand.LEVER, 32, 16) == 1
    assert rig.sounds == 1, "the boat answers on one engine: that is alarmed"
    alone(rig, live, 120, BRIDGE, 1)
    assert rig.shows == DIVIDED, "and not shown as control of all of it"
    assert HERE not in [value for _, value in rig.told("shows")]


@DRIVES
def test_the_lever_of_the_drive_left_out_asks_for_neutral(live: int) -> None:
    """It may only be mute."""
    rig = with_one_dead(live)
    rig.press()
    rig.run_for(0)
    rig.drive_says(live, BRIDGE, 1)
    for instance in (1, 2):
        rig.input(f"lever.{instance}", 900)
    rig.run_for(20)
    assert rig.lever_says(INSTANCE[live]) == (hand.AHEAD, 1000)
    assert rig.lever_says(INSTANCE[OTHER[live]]) == (hand.NEUTRAL, 0)


@pytest.mark.parametrize(("silent_ns", "takes"), [(MISSING_NS - 1, BOTH), (MISSING_NS, 1)])
def test_a_drive_is_wanted_up_to_the_moment_at_which_it_is_missing(silent_ns: int, takes: int) -> None:
    rig = StationRig()
    rig.introduce()
    heard_ns = rig.now_ns
    alone(rig, PORT, 340, 0, 0)
    rig.run_to(heard_ns + silent_ns)
    rig.press()
    assert wanted(rig) == takes


@pytest.mark.parametrize("drives", [(), (PORT,)])
def test_where_none_is_heard_all_are_wanted(drives: tuple[int, ...]) -> None:
    rig = StationRig()
    rig.wake()
    for drive in drives:
        rig.drive_says(drive, 0, 0)
        rig.drive_says(drive, 0, 0)
    rig.run_for(360)
    assert rig.shows == NOTHING_HEARD
    rig.press()
    assert wanted(rig) == BOTH


def test_a_drive_never_heard_is_as_one_that_fell_silent() -> None:
    rig = StationRig()
    rig.wake()
    for _ in range(2):
        rig.drive_says(STARBOARD, 0, 0)
    rig.press()
    assert wanted(rig) == 2


@DRIVES
def test_all_or_nothing_stays_where_that_is_the_policy(live: int) -> None:
    rig = with_one_dead(live, on_other_lost="neutral")
    rig.press()
    assert wanted(rig) == BOTH
    alone(rig, live, 520, BRIDGE, 1)
    assert rig.rows == [1, 5]
    alone(rig, live, 20, 0, 1)
    rig.press()
    assert wanted(rig) == BOTH


@DRIVES
def test_one_that_is_heard_again_is_wanted_by_the_next_take(live: int) -> None:
    rig = with_one_dead(live)
    rig.press()
    rig.run_for(0)
    rig.drive_says(live, BRIDGE, 1)
    echo(rig, live, (BRIDGE, 1), (0, 0))
    assert rig.state == "holding", "it obeys nobody, and that changes nothing"
    rig.press()
    assert (rig.rows[-1], wanted(rig)) == (9, BOTH)
    rig.drives_say(BRIDGE, 2)
    assert (rig.state, rig.shows, rig.sounds) == ("holding", HERE, 0)


def test_the_set_is_that_of_the_press_until_the_take_is_over() -> None:
    """Two claims have to agree in it."""
    rig = with_one_dead(PORT)
    rig.press()
    for _ in range(20):
        rig.run_for(20)
        rig.drives_say(0, 0)
        rig.press()
    assert {hand.part(data, 29, 3) for _, data in rig.said(hand.CLAIM)} == {1}
    assert rig.rows == [1], "pressed again while it asks, nothing happens"


@DRIVES
def test_the_one_drive_it_holds_lost_is_control_lost(live: int) -> None:
    rig = with_one_dead(live)
    rig.press()
    rig.run_for(0)
    rig.drive_says(live, BRIDGE, 1)
    rig.drive_says(live, 0, 1)
    assert (rig.state, rig.shows) == ("watching", NOBODY)


# ------------------------------------------------------------------------------------------------ a drive that refuses


@DRIVES
def test_pressed_again_the_drive_that_refused_is_left_out(live: int) -> None:
    rig = with_one_that_refuses(live)
    rig.press()
    assert (rig.number, wanted(rig)) == (2, INSTANCE[live])
    echo(rig, live, (BRIDGE, 2), (0, 0))
    assert (rig.state, rig.station.held, rig.sounds) == ("holding", [live], 1)
    for _ in range(6):
        echo(rig, live, (BRIDGE, 2), (0, 0))
    assert rig.shows == DIVIDED


@pytest.mark.parametrize(("after_ns", "takes"), [(10 * SECOND - 1, 1), (10 * SECOND, BOTH)])
def test_a_failure_counts_for_ten_seconds(after_ns: int, takes: int) -> None:
    """From the moment at which the take was withdrawn."""
    rig = StationRig()
    rig.claiming()
    pressed_ns = rig.now_ns
    while rig.state == "claiming":
        echo(rig, PORT, (BRIDGE, 1), (0, 0))
    failed_ns = pressed_ns + TRANSFER_NS
    assert rig.now_ns == failed_ns
    while rig.now_ns + 20 * MS < failed_ns + after_ns:
        echo(rig, PORT, (0, 1), (0, 0))
    rig.run_to(failed_ns + after_ns)
    rig.press()
    assert wanted(rig) == takes


@DRIVES
def test_a_take_after_that_wants_all_again(live: int) -> None:
    for taken in (True, False):
        rig = with_one_that_refuses(live)
        rig.press()
        rig.run_for(0)
        if taken:
            echo(rig, live, (BRIDGE, 2), (0, 0))
            assert rig.state == "holding"
        else:
            while rig.state == "claiming":
                echo(rig, live, (0, 1), (0, 0))
            echo(rig, live, (0, 2), (0, 0))
        rig.press()
        assert (rig.number, wanted(rig)) == (3, BOTH)


def test_taken_anew_while_it_holds_all_are_wanted() -> None:
    """Held with one let go of: a take that fails from there leaves that one out of the next."""
    rig = StationRig()
    rig.settled()
    echo(rig, PORT, (BRIDGE, 1), (0, 1))
    rig.press()
    assert (rig.rows[-1], wanted(rig)) == (9, BOTH)
    while rig.state == "claiming":
        echo(rig, PORT, (BRIDGE, 2), (0, 1))
    echo(rig, PORT, (0, 2), (0, 1))
    rig.press()
    assert wanted(rig) == 1


def test_where_none_followed_none_is_left_out() -> None:
    rig = StationRig()
    rig.claiming()
    while rig.state == "claiming":
        rig.run_for(20)
        rig.drives_say(0, 0)
    rig.drives_say(0, 0)
    rig.press()
    assert wanted(rig) == BOTH


def test_a_take_that_another_station_outbid_leaves_nobody_out() -> None:
    rig = StationRig()
    rig.claiming()
    rig.drive_says(PORT, BRIDGE, 1)
    rig.drive_says(STARBOARD, WHEELHOUSE, 2)
    rig.drive_says(PORT, WHEELHOUSE, 2)
    assert rig.rows == [1, 4, 6]
    rig.press()
    assert wanted(rig) == BOTH


def test_one_that_died_in_the_take_and_is_back_is_wanted() -> None:
    """It did not refuse: silent it need not be left out, and back it is another case."""
    rig = StationRig()
    rig.claiming()
    alone(rig, PORT, 520, BRIDGE, 1)
    assert rig.rows == [1, 5]
    rig.drives_say(0, 1)
    rig.press()
    assert wanted(rig) == BOTH


def test_left_out_and_the_other_one_silent_it_is_asked_all_the_same() -> None:
    rig = with_one_that_refuses(PORT)
    alone(rig, STARBOARD, 400, 0, 0)
    rig.press()
    assert wanted(rig) == 2


def test_a_refused_press_uses_up_no_leave() -> None:
    """A lever off neutral: no take began."""
    rig = with_one_that_refuses(PORT)
    rig.lever(900)
    rig.press()
    assert rig.rows[-1] == 2
    rig.lever(500)
    rig.drives_say(0, 1)
    rig.press()
    assert wanted(rig) == 1


def test_who_may_take_one_drive_leaves_out_none() -> None:
    rig = StationRig(drives=(2,))
    rig.wake()
    for _ in range(2):
        rig.drive_says(STARBOARD, 0, 0)
        rig.drive_says(PORT, 0, 0)
    for number in (1, 2):
        rig.press()
        assert (rig.number, wanted(rig)) == (number, 2)
        alone(rig, STARBOARD, 1100, 0, 0)
        assert rig.rows[-3:] == [1, 5, 6]


# ------------------------------------------------------------------------------------------------ other stations


@pytest.mark.parametrize(
    ("station", "number", "holds"),
    [
        (WHEELHOUSE, 2, False),
        (WHEELHOUSE, 1, False),
        (WHEELHOUSE, 0, True),
        (15, 2, False),
        (15, 1, True),
        (0, 2, True),
        (0, 1, True),
    ],
)
def test_the_drive_left_out_taken_elsewhere_ends_control_of_the_other(station: int, number: int, holds: bool) -> None:
    """Two engines that obey two stations turn the boat on the spot: the older take gives way; of one number, the higher address."""
    rig = with_one_dead(PORT)
    rig.press()
    assert rig.number == 1
    rig.drive_says(PORT, BRIDGE, 1)
    rig.drive_says(STARBOARD, station, number)
    assert (rig.state == "holding") == holds
    if not holds:
        assert (rig.rows[-1], rig.sounds) == (7, 0), "a hand-over is shown, it is no alarm"
        rig.run_for(20)
        assert rig.last(hand.LEVER, 32, 16) == 0


@pytest.mark.parametrize(("station", "outbid"), [(WHEELHOUSE, True), (0, False)])
def test_the_drive_left_out_taken_elsewhere_outbids(station: int, outbid: bool) -> None:
    """One that obeys nobody says nothing of the drive that is wanted."""
    rig = with_one_dead(PORT)
    rig.press()
    rig.run_for(0)
    rig.drive_says(STARBOARD, station, 2)
    assert rig.rows == ([1, 4] if outbid else [1])
    if not outbid:
        assert rig.shows == ASKING


def test_what_the_dead_drive_said_last_outbids_nothing() -> None:
    """It died under the wheelhouse."""
    rig = StationRig()
    rig.introduce(WHEELHOUSE, 4)
    alone(rig, PORT, 400, WHEELHOUSE, 4)
    rig.press()
    assert (rig.number, wanted(rig)) == (5, 1)
    rig.drive_says(PORT, BRIDGE, 5)
    assert rig.state == "holding"
    alone(rig, PORT, 2000, BRIDGE, 5)
    assert rig.state == "holding"
    entries = rig.station.alarms.entries
    assert (0, LET_GO, STARBOARD) in entries, "it is alarmed whatever that drive said last"


@pytest.mark.parametrize("live", [PORT, STARBOARD])
def test_a_drive_that_followed_a_moment_too_late_is_asked_again(live: int) -> None:
    """Its report came as the take was being withdrawn: it refuses nothing."""
    rig = StationRig()
    rig.claiming()
    while rig.state == "claiming":
        echo(rig, live, (BRIDGE, 1), (0, 0))
    echo(rig, live, (BRIDGE, 1), (BRIDGE, 1))
    for _ in range(20):
        echo(rig, live, (0, 1), (0, 1))
    assert rig.state == "watching"
    rig.press()
    assert wanted(rig) == BOTH
