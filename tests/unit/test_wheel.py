"""A station's wheel: its sensor, its frames, the take that is of the rudder too, and what is shown of who steers."""

from dataclasses import replace
from typing import Any

import pytest

from busim.protocol import values as v
from busim.protocol.plan import WirePlan
from busim.seam import Actions
from busim.units import MS
from nodes.station_display import (
    SHOWS_ANOTHER,
    SHOWS_ASKING,
    SHOWS_DIVIDED,
    SHOWS_HERE,
    SHOWS_LOST,
    SHOWS_NOBODY,
    SHOWS_NOT_STEERING,
    SHOWS_NOTHING_HEARD,
)

from . import hand_made_frames as hand
from .small_boat import BRIDGE, PORT, RUDDER, STARBOARD, WHEELHOUSE, small_boat
from .station_rig import StationRig

MISSING_NS = 350 * MS


class WheelRig(StationRig):
    """A station that steers. The rudder says the same as the drives unless a test has it say something else."""

    rudder_too = True

    def __init__(self, plan: WirePlan | None = None, **more: Any) -> None:
        super().__init__(plan if plan is not None else small_boat(rudder={}), **more)

    def wake(self) -> None:
        super().wake()
        self.input("wheel", 500)

    def rudder_says(self, station: int, number: int, *, ahead: int = 1, spoil: bool = False, **more: int) -> Actions:
        can_id = hand.id_of(hand.RUDDER_STATE, RUDDER)
        data = hand.rudder_state(RUDDER, self.counter(can_id, ahead), station, number, **more)
        return self.frame(can_id, hand.spoiled(data) if spoil else data)

    def drives_say(self, station: int, number: int, *, late: int = 0) -> None:
        super().drives_say(station, number, late=late)
        if self.rudder_too:
            self.rudder_says(station, number)

    def drives_alone_say(self, for_ms: int, station: int, number: int) -> None:
        """The drives go on, and nothing is heard of the rudder."""
        self.rudder_too = False
        self.hear(for_ms, station, number)

    @property
    def wanted(self) -> int:
        return self.last(hand.CLAIM, 29, 3)

    @property
    def wheel_number(self) -> int:
        """Of the next wheel frame."""
        self.run_for(40)
        return self.last(hand.WHEEL, 32, 16)

    def wheel_says(self) -> tuple[int, int, int]:
        """(angle, kind, fault) of the next wheel frame."""
        self.run_for(40)
        angle = self.last(hand.WHEEL, 18, 14)
        return angle - 2**14 if angle >= 2**13 else angle, self.last(hand.WHEEL, 16, 2), self.last(hand.WHEEL, 15, 1)


# ------------------------------------------------------------------------------------------------ the sensor and its frames


@pytest.mark.parametrize(
    ("permille", "angle"),
    [(500, 0), (900, 3500), (100, -3500), (930, 3500), (70, -3500), (700, 1750), (300, -1750), (501, 8), (499, -8)],
)
def test_what_the_sensor_means(permille: int, angle: int) -> None:
    """Straight between the ends: 400 permille are 35 degrees."""
    rig = WheelRig()
    rig.wake()
    rig.input("wheel", permille)
    assert rig.wheel_says() == (angle, v.WHEEL_ANGLE, 0)


@pytest.mark.parametrize("permille", [69, 931, 0, 1000, -5, 2**40])
def test_a_sensor_out_of_range_is_a_fault_and_moves_nothing(permille: int) -> None:
    rig = WheelRig()
    rig.wake()
    rig.input("wheel", 600)
    rig.input("wheel", permille)
    assert rig.wheel_says() == (875, v.WHEEL_ANGLE, 1)
    rig.input("wheel", 500)
    assert rig.wheel_says() == (0, v.WHEEL_ANGLE, 0)


def test_a_sensor_never_read_is_a_fault() -> None:
    rig = WheelRig()
    rig.start()
    assert rig.wheel_says() == (0, v.WHEEL_ANGLE, 1)


def test_frames_come_every_40_ms_with_a_counter_that_goes_on() -> None:
    rig = WheelRig()
    rig.wake()
    rig.run_for(400)
    frames = rig.said(hand.WHEEL)
    assert [now_ns for now_ns, _ in frames] == [40 * MS * step for step in range(11)]
    assert [data[1] for _, data in frames] == list(range(1, 12))
    assert {hand.part(data, 32, 16) for _, data in frames} == {0}


def test_who_does_not_steer_sends_none() -> None:
    rig = StationRig()
    rig.wake()
    rig.input("wheel", 600)
    rig.run_for(400)
    assert rig.said(hand.WHEEL) == []
    plan = small_boat(rudder={})
    drives_only = replace(plan, stations=tuple(replace(station, steers=False) for station in plan.stations))
    other = StationRig(drives_only)
    other.wake()
    other.run_for(400)
    assert other.said(hand.WHEEL) == []


# ------------------------------------------------------------------------------------------------ taking


def test_a_take_is_of_the_rudder_too_and_complete_only_with_it() -> None:
    rig = WheelRig()
    rig.claiming()
    assert (rig.number, rig.wanted, rig.wheel_number) == (1, 7, 1)
    rig.rudder_too = False
    rig.drives_say(BRIDGE, 1)
    assert (rig.state, rig.shows) == ("claiming", SHOWS_ASKING)
    rig.rudder_says(BRIDGE, 1)
    assert (rig.state, rig.shows, rig.sounds, rig.wheel_number) == ("holding", SHOWS_HERE, 0, 1)


def test_a_rudder_that_does_not_follow_in_time_withdraws_the_take() -> None:
    rig = WheelRig()
    rig.claiming()
    rig.drives_alone_say(480, BRIDGE, 1)
    assert rig.state == "claiming"
    rig.run_for(20)
    assert (rig.state, rig.wheel_number) == ("withdrawing", 0)
    rig.rudder_says(BRIDGE, 1)
    rig.drives_say(0, 1)
    assert rig.state == "withdrawing", "the rudder has still to say that it heard"
    rig.rudder_says(0, 1)
    assert rig.state == "watching"


def test_a_rudder_that_follows_another_take_outbids() -> None:
    rig = WheelRig()
    rig.claiming()
    rig.rudder_says(WHEELHOUSE, 2)
    assert rig.state == "withdrawing"


@pytest.mark.parametrize("number", [5, 0xFFFF])
def test_the_rudders_number_counts_for_the_next_take(number: int) -> None:
    rig = WheelRig()
    rig.introduce()
    rig.rudder_says(0, number)
    rig.press()
    assert rig.number == (number + 1 if number != 0xFFFF else 1)


CANT_STEER = {
    "never heard": lambda rig: None,
    "wrong": lambda rig: [rig.rudder_says(0, 0, spoil=True) for _ in range(3)],
    "silent": lambda rig: [rig.rudder_says(0, 0), rig.rudder_says(0, 0), rig.drives_alone_say(360, 0, 0)],
    "stopped": lambda rig: [rig.rudder_says(0, 0), rig.rudder_says(0, 0, fault=v.RUDDER_MOVED_UNASKED)],
    "wheel broken": lambda rig: [rig.rudder_says(0, 0), rig.rudder_says(0, 0), rig.input("wheel", 0)],
}


@pytest.mark.parametrize("why", CANT_STEER)
def test_where_the_rudder_can_not_be_had_the_drives_can(why: str) -> None:
    """A rudder node that is dead must not keep the engines from being used: they may be what is left to steer by."""
    rig = WheelRig()
    rig.rudder_too = False
    rig.introduce()
    CANT_STEER[why](rig)
    rig.press()
    assert (rig.number, rig.wanted) == (1, 3)
    rig.drives_say(BRIDGE, 1)
    assert (rig.state, rig.shows, rig.sounds) == ("holding", SHOWS_NOT_STEERING, 1), "and it is said plainly"


@pytest.mark.parametrize("fault", [v.RUDDER_DOES_NOT_ARRIVE, v.RUDDER_FEEDBACK_IMPLAUSIBLE])
def test_a_rudder_that_may_still_steer_is_taken(fault: int) -> None:
    rig = WheelRig()
    rig.introduce()
    rig.rudder_says(0, 0, fault=fault)
    rig.press()
    rig.run_for(0)
    assert rig.wanted == 7


def test_the_rudder_is_wanted_or_not_for_the_whole_take() -> None:
    """Two claims have to agree in what they want."""
    rig = WheelRig()
    rig.claiming()
    rig.input("wheel", 0)
    rig.run_for(200)
    assert {hand.part(data, 29, 3) for _, data in rig.said(hand.CLAIM)} == {7}


# ------------------------------------------------------------------------------------------------ losing the rudder alone


@pytest.mark.parametrize(("station", "number", "shows"), [(0, 1, SHOWS_NOT_STEERING), (WHEELHOUSE, 2, SHOWS_DIVIDED)])
def test_a_rudder_lost_alone_is_alarmed_and_the_drives_are_kept(station: int, number: int, shows: int) -> None:
    rig = WheelRig()
    rig.settled()
    rig.rudder_says(station, number)
    assert (rig.state, rig.shows, rig.sounds) == ("holding", shows, 1), "at once: not for a moment is it in control here"
    rig.rudder_too = False
    rig.hear(400, BRIDGE, 1)
    assert rig.state == "holding"


def test_a_rudder_that_falls_silent_is_alarmed_at_the_time_it_is_missing() -> None:
    rig = WheelRig()
    rig.settled()
    heard_ns = rig.now_ns
    rig.drives_alone_say(340, BRIDGE, 1)
    assert (rig.shows, rig.sounds) == (SHOWS_HERE, 0)
    rig.run_to(heard_ns + MISSING_NS + 20 * MS)
    assert (rig.state, rig.shows, rig.sounds) == ("holding", SHOWS_NOT_STEERING, 1)


def test_the_edge_of_silence() -> None:
    rig = WheelRig()
    rig.settled()
    wheel = rig.station.wheel
    assert wheel is not None
    assert wheel.heard(wheel.heard_ns + MISSING_NS - 1)
    assert not wheel.heard(wheel.heard_ns + MISSING_NS)
    assert wheel.steered_by(wheel.heard_ns + MISSING_NS) == 0


def test_the_rudder_is_lost_once() -> None:
    """An alarm that was answered does not come back for the same loss."""
    rig = WheelRig()
    rig.settled()
    wheel = rig.station.wheel
    assert wheel is not None
    rig.rudder_says(0, 1)
    for _ in range(3):
        assert not wheel.lost(rig.now_ns, (BRIDGE, 1), holding=True, taken=False)


@pytest.mark.parametrize("more", [{"spoil": True}, {"ahead": 0}, {"ahead": 4}])
def test_a_report_that_does_not_count_changes_nothing(more: dict[str, Any]) -> None:
    rig = WheelRig()
    rig.settled()
    rig.rudder_says(0, 1, **more)
    assert (rig.shows, rig.sounds) == (SHOWS_HERE, 0)


def test_a_rudder_lost_alone_comes_back_with_a_take() -> None:
    rig = WheelRig()
    rig.settled()
    rig.rudder_says(0, 1)
    rig.press()
    assert (rig.number, rig.wanted) == (2, 7)
    rig.drives_say(BRIDGE, 2)
    assert (rig.state, rig.shows, rig.sounds) == ("holding", SHOWS_HERE, 0)


def test_a_rudder_that_comes_back_by_itself_is_shown() -> None:
    """After a silence: it obeyed all the time."""
    rig = WheelRig()
    rig.settled()
    rig.drives_alone_say(400, BRIDGE, 1)
    assert rig.shows == SHOWS_NOT_STEERING
    rig.rudder_says(BRIDGE, 1, ahead=3)
    assert (rig.shows, rig.sounds) == (SHOWS_HERE, 1), "and the alarm stays until somebody answers by a take"


# ------------------------------------------------------------------------------------------------ losing the drives


def test_a_station_whose_drives_went_neutral_goes_on_steering() -> None:
    """Neutral now from somewhere else: she still makes way."""
    rig = WheelRig()
    rig.settled()
    rig.rudder_too = False
    rig.drives_say(0, 1)
    rig.rudder_says(BRIDGE, 1)
    assert (rig.state, rig.shows, rig.wheel_number) == ("watching", SHOWS_NOBODY, 1)
    assert rig.last(hand.LEVER, 32, 16) == 0, "its levers are dead"


def test_a_station_that_hears_no_drive_any_more_goes_on_steering() -> None:
    rig = WheelRig()
    rig.settled()
    for _ in range(20):
        rig.run_for(40)
        rig.rudder_says(BRIDGE, 1)
    assert (rig.state, rig.shows, rig.wheel_number) == ("watching", SHOWS_NOTHING_HEARD, 1)


def relieved(rig: WheelRig, for_ms: int, *, says: tuple[int, int] = (WHEELHOUSE, 2), drives: tuple[int, ...] = (PORT,)) -> None:
    """These drives obey the other station, and the rudder still this one."""
    for _ in range(for_ms // 20):
        for drive in drives:
            rig.drive_says(drive, *says)
        rig.rudder_says(BRIDGE, 1)
        rig.run_for(20)


def test_a_take_that_may_still_be_withdrawn_does_not_cost_the_steering() -> None:
    """The page: it must not cost the steering of whoever has it. Of the other one's take only port has heard."""
    rig = WheelRig()
    rig.settled()
    relieved(rig, 540)
    assert (rig.state, rig.wheel_number) == ("watching", 1)
    relieved(rig, 2000, says=(0, 2))
    assert (rig.wheel_number, rig.shows, rig.sounds) == (1, SHOWS_NOBODY, 0)


@pytest.mark.parametrize("drives", [(PORT,), (STARBOARD,), (PORT, STARBOARD)])
def test_a_take_that_is_not_withdrawn_in_its_time_is_complete(drives: tuple[int, ...]) -> None:
    """500 ms (transfer_ms), and 50 ms twice for a claim that is lost and the next (claim_ms); looked at every 20 ms.

    It is a take that leaves the rudder out, as the taker's wheel is broken: who drives must not be steered from elsewhere.
    """
    rig = WheelRig()
    rig.settled()
    rig.run_for(20)
    begun_ns = rig.now_ns
    relieved(rig, 600, drives=drives)
    assert {hand.part(data, 32, 16) for now_ns, data in rig.said(hand.WHEEL) if begun_ns <= now_ns < begun_ns + 600 * MS} == {1}
    relieved(rig, 60, drives=drives)
    assert (rig.wheel_number, rig.sounds) == (0, 0)
    relieved(rig, 60, says=(0, 2), drives=drives)
    assert rig.wheel_number == 0, "once over, it stays over"


def test_a_drive_that_fell_silent_under_another_station_takes_no_steering() -> None:
    """What it said last is old: nobody can say whether that take became complete."""
    rig = WheelRig()
    rig.settled()
    relieved(rig, 200)
    relieved(rig, 1000, drives=())
    assert rig.wheel_number == 1


def test_the_rudder_itself_says_who_steers() -> None:
    rig = WheelRig()
    rig.settled()
    relieved(rig, 100)
    rig.rudder_says(WHEELHOUSE, 2)
    assert (rig.wheel_number, rig.sounds) == (0, 0), "a hand-over is no alarm"


@pytest.mark.parametrize("silent", [False, True])
def test_the_rudder_lost_in_a_hand_over_that_may_come_to_nothing_is_an_alarm(silent: bool) -> None:
    rig = WheelRig()
    rig.settled()
    relieved(rig, 100)
    if not silent:
        rig.rudder_says(0, 1)
    else:
        for _ in range(20):
            rig.drive_says(PORT, WHEELHOUSE, 2)
            rig.run_for(20)
    assert (rig.wheel_number, rig.sounds) == (0, 1)


def test_who_steers_on_is_relieved_too() -> None:
    rig = WheelRig()
    rig.settled()
    relieved(rig, 100, says=(0, 1), drives=(PORT, STARBOARD))
    assert rig.wheel_number == 1
    relieved(rig, 640, drives=(PORT, STARBOARD))
    assert rig.wheel_number == 0


def test_a_take_of_its_own_leaves_it_steering_until_the_rudder_follows() -> None:
    """It failed, and the old take steers on: the rudder never lost its station."""
    rig = WheelRig()
    rig.settled()
    relieved(rig, 100, says=(0, 1), drives=(PORT, STARBOARD))
    rig.press()
    while rig.state != "watching":
        relieved(rig, 20, says=(0, 1), drives=(PORT, STARBOARD))
    assert rig.rows[-3:] == [1, 5, 6]
    assert (rig.number, rig.wheel_number) == (2, 1)
    assert {hand.part(data, 32, 16) for _, data in rig.said(hand.WHEEL)[-20:]} == {1}


def test_once_the_rudder_follows_the_new_take_the_wheel_has_its_number() -> None:
    rig = WheelRig()
    rig.settled()
    rig.press()
    assert (rig.state, rig.wheel_number) == ("claiming", 1)
    rig.drive_says(PORT, BRIDGE, 2)
    rig.rudder_says(BRIDGE, 2)
    assert (rig.state, rig.wheel_number) == ("claiming", 2)
    rig.drive_says(STARBOARD, BRIDGE, 2)
    assert (rig.state, rig.wheel_number, rig.sounds) == ("holding", 2, 0)


@pytest.mark.parametrize("station", [0, WHEELHOUSE])
def test_who_steers_on_and_loses_the_rudder_lets_go_of_the_wheel(station: int) -> None:
    rig = WheelRig()
    rig.settled()
    rig.rudder_too = False
    rig.drives_say(WHEELHOUSE, 2)
    rig.drives_say(0, 2)
    assert rig.sounds == 0
    rig.rudder_says(station, 2)
    assert (rig.wheel_number, rig.sounds) == (0, int(station == 0)), "taken over by another station it is no loss"


def test_who_steers_on_and_hears_the_rudder_no_more_lets_go_of_it() -> None:
    rig = WheelRig()
    rig.settled()
    rig.rudder_too = False
    rig.drives_say(0, 1)
    rig.run_for(340)
    assert rig.last(hand.WHEEL, 32, 16) == 1
    rig.run_for(60)
    assert rig.last(hand.WHEEL, 32, 16) == 0


def test_a_take_that_was_withdrawn_steers_nothing_though_the_rudder_says_so() -> None:
    rig = WheelRig()
    rig.claiming()
    rig.rudder_too = False
    rig.rudder_says(BRIDGE, 1)
    rig.drive_says(PORT, BRIDGE, 1)
    rig.run_for(1100)
    rig.rudder_says(BRIDGE, 1)
    assert (rig.state, rig.wheel_number) == ("watching", 0)


# ------------------------------------------------------------------------------------------------ the display

DISPLAY = [
    # (drives obey, rudder obeys) as (station, number); what the bridge shows, which holds its take 1
    ((BRIDGE, 1), (BRIDGE, 1), SHOWS_HERE),
    ((BRIDGE, 1), (0, 1), SHOWS_NOT_STEERING),
    ((BRIDGE, 1), (WHEELHOUSE, 2), SHOWS_DIVIDED),
    ((WHEELHOUSE, 2), (WHEELHOUSE, 2), SHOWS_ANOTHER),
    ((WHEELHOUSE, 2), (0, 1), SHOWS_ANOTHER),
    ((WHEELHOUSE, 2), (BRIDGE, 1), SHOWS_DIVIDED),
    ((0, 1), (0, 1), SHOWS_NOBODY),
    ((0, 1), (WHEELHOUSE, 2), SHOWS_NOBODY),
    ((0, 1), (BRIDGE, 1), SHOWS_NOBODY),
]


@pytest.mark.parametrize(("drives", "rudder", "shows"), DISPLAY)
def test_what_is_shown(drives: tuple[int, int], rudder: tuple[int, int], shows: int) -> None:
    """One location in control at a time, shown at each (SOLAS II-1/31)."""
    rig = WheelRig()
    rig.settled()
    rig.rudder_too = False
    for _ in range(5):
        rig.drives_say(*drives)
        rig.rudder_says(*rudder)
        rig.run_for(40)
    assert rig.shows == shows


def test_a_hand_over_is_not_shown_as_divided() -> None:
    """Port changes first, then starboard, then the rudder, all within the time a good take needs."""
    rig = WheelRig()
    rig.settled()
    rig.forget()
    rig.drive_says(PORT, WHEELHOUSE, 2)
    rig.run_for(50)
    rig.drive_says(STARBOARD, WHEELHOUSE, 2)
    rig.run_for(49)
    rig.rudder_says(WHEELHOUSE, 2)
    assert {value for _, value in rig.told("shows")} == {SHOWS_ANOTHER}


def test_a_station_that_holds_no_more_never_says_in_control_here() -> None:
    rig = WheelRig()
    rig.settled()
    rig.run_for(320)
    assert rig.state == "watching"
    rig.drives_say(BRIDGE, 1)
    assert rig.shows == SHOWS_LOST


# ------------------------------------------------------------------------------------------------ a wheel alone


def wheel_alone() -> WheelRig:
    plan = small_boat(rudder={})
    stations = tuple(replace(each, drives=()) if each.address == BRIDGE else each for each in plan.stations)
    rig = WheelRig(replace(plan, stations=stations))
    rig.introduce()
    return rig


def test_a_station_of_a_wheel_alone_takes_and_loses_the_rudder() -> None:
    rig = wheel_alone()
    assert rig.shows == SHOWS_NOBODY
    rig.press()
    assert (rig.number, rig.wanted) == (1, 4)
    rig.rudder_says(BRIDGE, 1)
    assert (rig.state, rig.shows) == ("holding", SHOWS_HERE)
    rig.rudder_says(0, 1)
    assert (rig.state, rig.shows, rig.sounds) == ("watching", SHOWS_NOBODY, 1)


def test_a_station_of_a_wheel_alone_takes_nothing_without_a_rudder() -> None:
    rig = wheel_alone()
    rig.input("wheel", 0)
    rig.press()
    rig.rudder_says(0, 3)
    assert rig.state == "claiming"
    rig.run_for(1100)
    assert (rig.state, rig.shows) == ("watching", SHOWS_NOTHING_HEARD)
