"""station.one_shown, fed by hand: two displays at once, at the limit and one beyond, and whose display counts."""

from dataclasses import replace

import pytest

from busim.requirements.station_one_shown import OneShown
from busim.requirements.verdict import FAIL, NOT_EXERCISED, PASS

from . import hand_made_frames as hand
from .judge_rig import JudgeRig
from .small_boat import BRIDGE, PORT, STARBOARD, WHEELHOUSE, small_boat

NOBODY, HERE, ANOTHER, NOTHING_HEARD, ASKING, DIVIDED, LOST, NOT_STEERING = range(1, 9)
OVERLAP_MS = 600
ONE, OTHER = f"node_{WHEELHOUSE}", f"node_{BRIDGE}"


def shows(rig: JudgeRig, node: str, value: int) -> None:
    rig.event("output", node, "shows", value)


def in_control() -> JudgeRig:
    rig = JudgeRig(OneShown)
    rig.event("start", ONE, 0)
    rig.event("start", OTHER, 0)
    shows(rig, ONE, HERE)
    return rig


def test_nobody_in_control_shows_nothing() -> None:
    rig = JudgeRig(OneShown)
    for value in (NOBODY, ANOTHER, NOTHING_HEARD, ASKING, DIVIDED, LOST):
        shows(rig, ONE, value)
        shows(rig, OTHER, value)
        rig.after(5000)
    assert rig.says() == NOT_EXERCISED


def test_one_that_shows_it_is_a_pass() -> None:
    rig = in_control()
    rig.after(5000)
    assert rig.says() == PASS
    assert rig.verdict().measured == 0


@pytest.mark.parametrize(("for_ms", "verdict"), [(OVERLAP_MS, PASS), (OVERLAP_MS + 1, FAIL)])
@pytest.mark.parametrize("first_to_let_go", [ONE, OTHER])
@pytest.mark.parametrize("value", [HERE, NOT_STEERING])
def test_both_at_once(for_ms: int, verdict: str, first_to_let_go: str, value: int) -> None:
    rig = in_control()
    rig.after(3000)
    shows(rig, OTHER, value)
    rig.after(for_ms)
    shows(rig, first_to_let_go, ANOTHER)
    rig.after(5000)
    assert (rig.says(), rig.verdict().measured) == (verdict, for_ms)


@pytest.mark.parametrize(("for_ms", "verdict"), [(OVERLAP_MS, PASS), (OVERLAP_MS + 1, FAIL)])
def test_both_when_the_run_ends(for_ms: int, verdict: str) -> None:
    rig = in_control()
    shows(rig, OTHER, HERE)
    rig.after(for_ms)
    assert rig.says() == verdict


def test_saying_it_again_does_not_begin_anew() -> None:
    rig = in_control()
    shows(rig, OTHER, HERE)
    for _ in range(7):
        rig.after(100)
        shows(rig, ONE, NOT_STEERING)
        shows(rig, OTHER, HERE)
    assert rig.says() == FAIL


@pytest.mark.parametrize("event", [("power", ONE, 0), ("start", ONE, 2), ("fault", "hang", ONE, 1)])
def test_a_display_that_is_dark_or_frozen_counts_no_more(event: tuple[str, ...]) -> None:
    """Frozen: its program hangs, and is for its watchdog."""
    rig = in_control()
    rig.after(1000)
    rig.event(*event)
    shows(rig, OTHER, HERE)
    rig.after(5000)
    assert rig.says() == PASS


@pytest.mark.parametrize(("for_ms", "verdict"), [(OVERLAP_MS, PASS), (OVERLAP_MS + 1, FAIL)])
def test_a_display_that_goes_on_as_it_was_counts_again(for_ms: int, verdict: str) -> None:
    """A program that hung and goes on says nothing new where it shows the same."""
    rig = in_control()
    rig.after(1000)
    rig.event("fault", "hang", ONE, 1)
    shows(rig, OTHER, HERE)
    rig.after(5000)
    rig.event("fault", "hang", ONE, 0)
    rig.after(for_ms)
    assert rig.says() == verdict
    shows(rig, ONE, ANOTHER)
    rig.after(5000)
    assert rig.says() == verdict


LIMIT_MS = 500
"""350 ms after which a node counts as missing, and 150: as in station.nobody_shown."""


def obeyed(by: tuple[int, ...] = (PORT, STARBOARD), shown: int = ANOTHER) -> JudgeRig:
    """Both run, and the drives say that they obey the wheelhouse: twice, as of a sender never heard the first does not count."""
    rig = JudgeRig(OneShown)
    rig.event("start", ONE, 0)
    rig.event("start", OTHER, 0)
    shows(rig, ONE, shown)
    for drive in by * 2:
        rig.obeys(WHEELHOUSE, 7, drive=drive)
    return rig


def go_on(rig: JudgeRig, for_ms: float, number: int = 7) -> None:
    """The drives report every 100 ms, and at the very end."""
    while for_ms > 0:
        rig.after(min(for_ms, 100))
        for_ms -= 100
        for drive in (PORT, STARBOARD):
            rig.obeys(WHEELHOUSE, number, drive=drive)


@pytest.mark.parametrize("wrong", [NOBODY, ANOTHER, NOTHING_HEARD, LOST])
@pytest.mark.parametrize(("after_ms", "verdict"), [(LIMIT_MS, PASS), (LIMIT_MS + 1, FAIL)])
def test_who_is_in_control_shows_it_in_time(wrong: int, after_ms: int, verdict: str) -> None:
    rig = obeyed(shown=wrong)
    go_on(rig, after_ms)
    shows(rig, ONE, HERE)
    assert rig.says() == verdict


def test_who_never_shows_it_fails_before_the_end() -> None:
    rig = obeyed()
    go_on(rig, LIMIT_MS)
    assert rig.says() == NOT_EXERCISED
    go_on(rig, 1)
    assert rig.says() == FAIL


@pytest.mark.parametrize("value", [HERE, DIVIDED, NOT_STEERING])
def test_what_shows_it(value: int) -> None:
    rig = obeyed(shown=value)
    go_on(rig, 3000)
    assert rig.says() != FAIL


@pytest.mark.parametrize(("shown", "verdict"), [(5, NOT_EXERCISED), (6, NOT_EXERCISED), (1, FAIL), (4, FAIL), (7, FAIL)])
def test_who_asks_or_sees_them_apart_shows_that(shown: int, verdict: str) -> None:
    """A take is complete once the rudder follows, too."""
    rig = obeyed(shown=shown)
    go_on(rig, 3000)
    assert rig.says() == verdict


@pytest.mark.parametrize(("for_ms", "verdict"), [(500, NOT_EXERCISED), (501, FAIL)])
def test_a_take_that_is_withdrawn_is_shown_so_while_drives_have_not_heard_of_it(for_ms: int, verdict: str) -> None:
    rig = obeyed(shown=5)
    go_on(rig, 1000)
    shows(rig, ONE, 1)
    go_on(rig, for_ms)
    assert rig.says() == verdict


def test_who_hears_only_one_drive_obey_is_not_in_control() -> None:
    rig = obeyed((PORT,))
    for _ in range(30):
        rig.after(100)
        rig.obeys(WHEELHOUSE, 7)
    assert rig.says() == NOT_EXERCISED
    rig.obeys(WHEELHOUSE, 8, drive=STARBOARD)
    for _ in range(30):
        rig.after(100)
        rig.obeys(WHEELHOUSE, 7)
        rig.obeys(WHEELHOUSE, 8, drive=STARBOARD)
    assert rig.says() == NOT_EXERCISED, "under two numbers"


@pytest.mark.parametrize(
    ("place", "verdict"),
    [(ONE, NOT_EXERCISED), (f"{ONE}, by 400 ms", NOT_EXERCISED), (f"node_{STARBOARD}", NOT_EXERCISED), (OTHER, FAIL)],
)
def test_whose_frames_come_late_lets_go_before_the_drives_hear_of_it(place: str, verdict: str) -> None:
    rig = obeyed(shown=NOBODY)
    rig.event("fault", "delayed", place, 1)
    go_on(rig, 1000)
    assert rig.says() == verdict


def test_reports_that_do_not_count_tell_a_station_nothing() -> None:
    """Heard once in a while, with a gap in their counters each time."""
    rig = obeyed()
    for _ in range(10):
        rig.after(300)
        for drive in (PORT, STARBOARD):
            rig.counter(hand.OBEYS, drive, 10)
            rig.obeys(WHEELHOUSE, 7, drive=drive)
    assert rig.says() == NOT_EXERCISED


def test_drives_that_fall_silent_report_nothing_more() -> None:
    """What they said last may be so or not."""
    rig = obeyed()
    go_on(rig, 400)
    rig.after(5000)
    assert rig.says() == NOT_EXERCISED


def test_a_report_that_it_did_not_hear_tells_a_station_nothing() -> None:
    rig = obeyed(())
    for _ in range(30):
        rig.after(100)
        for drive in (PORT, STARBOARD):
            rig.obeys(WHEELHOUSE, 7, drive=drive, mask=rig.all_but(WHEELHOUSE))
    assert rig.says() == NOT_EXERCISED


@pytest.mark.parametrize("event", [("power", ONE, 0), ("fault", "hang", ONE, 1)])
def test_who_is_dark_or_hangs_owes_nothing(event: tuple[str | int, ...]) -> None:
    rig = obeyed()
    rig.event(*event)  # type: ignore[arg-type]
    go_on(rig, 3000)
    assert rig.says() == NOT_EXERCISED


def test_other_nodes_outputs_and_other_channels_are_no_displays() -> None:
    rig = in_control()
    rig.event("output", f"node_{PORT}", "shows", HERE)
    rig.event("output", OTHER, "alarms", HERE)
    rig.after(5000)
    assert rig.says() == PASS


def test_stations_of_different_drives_are_no_rivals() -> None:
    plan = small_boat()
    apart = tuple(replace(station, drives=(number,)) for number, station in enumerate(plan.stations, 1))
    rig = JudgeRig(OneShown, replace(plan, stations=apart))
    shows(rig, ONE, HERE)
    shows(rig, OTHER, HERE)
    rig.after(5000)
    assert rig.says() == PASS
