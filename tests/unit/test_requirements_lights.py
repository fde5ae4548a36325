"""light.press, fed by hand: at its limits, one beyond, and what is no press."""

from dataclasses import replace

import pytest

from busim.protocol.plan import ControlPlan, WirePlan
from busim.requirements.light_press import LightPress
from busim.requirements.verdict import FAIL, INCONCLUSIVE, NOT_EXERCISED, PASS
from busim.units import MS, SECOND

from .judge_rig import JudgeRig
from .small_boat import small_boat

LAMP, BOTH_ON, BOTH_OFF, ALL_OFF, SECOND_PAGE, TURNS = 1, 2, 3, 4, 5, 8


def lights(plan: WirePlan | None = None) -> JudgeRig:
    """The panel runs; galley is lit."""
    rig = JudgeRig(LightPress, plan)
    rig.event("start", "node_20", 0)
    rig.event("lamp", "galley", 1000)
    return rig


def touch(rig: JudgeRig, control: int, down: int = 1) -> None:
    rig.event("key", "node_20", f"touch.{control}", down)


def failed(rig: JudgeRig, control: int) -> None:
    rig.event("output", "node_20", f"field.{control}", 3)


@pytest.mark.parametrize(("after_ns", "verdict", "measured"), [(100 * MS, PASS, 100), (100 * MS + 1, FAIL, 101), (0, PASS, 0)])
def test_light_within_a_tenth_of_a_second(after_ns: int, verdict: str, measured: int) -> None:
    """0.1 s feels instant (Miller 1968; Card 1991)."""
    rig = lights()
    touch(rig, LAMP)
    rig.now_ns += after_ns
    rig.event("lamp", "cabin", 1000)
    found = rig.verdict()
    assert (found.verdict, found.measured, found.limit, found.unit) == (verdict, measured, 100, "ms")


@pytest.mark.parametrize(("after_ns", "verdict"), [(SECOND, PASS), (SECOND + 1, FAIL)])
def test_a_failure_is_said_within_a_second(after_ns: int, verdict: str) -> None:
    """1 s keeps the thought (Miller 1968; Card 1991)."""
    rig = lights()
    touch(rig, LAMP)
    rig.now_ns += after_ns
    failed(rig, LAMP)
    assert rig.says() == verdict
    if verdict == FAIL:
        assert (rig.verdict().limit, rig.verdict().measured) == (1000, 1001)


@pytest.mark.parametrize(("after_ns", "verdict"), [(SECOND, INCONCLUSIVE), (SECOND + 1, FAIL)])
def test_neither_light_nor_a_word(after_ns: int, verdict: str) -> None:
    rig = lights()
    touch(rig, LAMP)
    rig.now_ns += after_ns
    assert rig.says() == verdict


def test_a_word_about_another_field_is_none() -> None:
    rig = lights()
    touch(rig, LAMP)
    rig.after(500)
    failed(rig, BOTH_ON)
    rig.event("output", "node_21", "field.1", 3)
    rig.event("output", "node_20", "field.1", 1)
    rig.after(501)
    assert rig.says() == FAIL


@pytest.mark.parametrize(("held_ns", "verdict"), [(20 * MS - 1, NOT_EXERCISED), (20 * MS, FAIL)])
def test_a_touch_shorter_than_the_debounce_is_no_press(held_ns: int, verdict: str) -> None:
    rig = lights()
    touch(rig, LAMP)
    rig.now_ns += held_ns
    touch(rig, LAMP, 0)
    rig.after(2000)
    assert rig.says() == verdict


def test_a_release_long_after_the_light_changes_nothing() -> None:
    rig = lights()
    touch(rig, LAMP)
    rig.after(30)
    rig.event("lamp", "cabin", 1000)
    rig.after(700)
    touch(rig, LAMP, 0)
    assert rig.says() == PASS


@pytest.mark.parametrize("control", [ALL_OFF, SECOND_PAGE, 9])
def test_controls_that_are_not_judged(control: int) -> None:
    """Others than on, off and toggle; and what is on a page that does not show."""
    rig = lights()
    touch(rig, control)
    rig.after(2000)
    assert rig.says() == NOT_EXERCISED


def test_a_dead_panel_registers_nothing() -> None:
    rig = JudgeRig(LightPress)
    touch(rig, LAMP)
    rig.after(2000)
    assert rig.says() == NOT_EXERCISED


def test_what_is_lit_already_need_not_change() -> None:
    rig = lights()
    rig.event("lamp", "cabin", 1000)
    touch(rig, BOTH_ON)
    rig.after(2000)
    assert rig.says() == NOT_EXERCISED


def test_every_zone_that_must_change_is_waited_for() -> None:
    rig = lights()
    rig.event("lamp", "cabin", 1000)
    touch(rig, BOTH_OFF)
    rig.after(50)
    rig.event("lamp", "galley", 0)
    assert rig.says() == INCONCLUSIVE
    rig.after(60)
    rig.event("lamp", "cabin", 0)
    assert (rig.says(), rig.verdict().measured) == (FAIL, 110)


def test_a_lamp_going_the_wrong_way_is_no_answer() -> None:
    rig = lights()
    rig.event("lamp", "cabin", 1000)
    touch(rig, LAMP)
    rig.after(50)
    rig.event("lamp", "cabin", 500)
    rig.event("lamp", "foredeck", 0)
    rig.after(951)
    assert rig.says() == FAIL


def test_two_quick_touches_want_it_lit_and_dark_again() -> None:
    for second_done, verdict in ((True, PASS), (False, FAIL)):
        rig = lights()
        touch(rig, LAMP)
        rig.after(60)
        touch(rig, LAMP, 0)
        touch(rig, LAMP)
        rig.after(20)
        rig.event("lamp", "cabin", 1000)
        rig.after(60)
        if second_done:
            rig.event("lamp", "cabin", 0)
        rig.after(2000)
        assert rig.says() == verdict


def test_a_late_light_is_not_put_down_to_a_later_touch() -> None:
    rig = lights()
    touch(rig, LAMP)
    rig.after(110)
    touch(rig, LAMP)
    rig.after(10)
    rig.event("lamp", "cabin", 1000)
    assert (rig.says(), rig.verdict().measured) == (FAIL, 120)


def test_after_a_failed_press_what_a_later_one_makes_of_it_is_not_judged() -> None:
    rig = lights()
    touch(rig, LAMP)
    rig.after(700)
    touch(rig, LAMP)
    touch(rig, BOTH_OFF)
    rig.after(200)
    failed(rig, LAMP)
    rig.event("lamp", "galley", 0)
    rig.after(2000)
    assert (rig.says(), rig.verdict().measured) == (FAIL, 200), "the galley, which was not the failed press's, took too long"


def test_a_later_touch_of_the_same_zone_is_let_off_with_the_failed_one() -> None:
    """It was to make the zone dark again; whether the failed press lit it after all nobody knows."""
    rig = lights()
    touch(rig, LAMP)
    rig.after(700)
    touch(rig, LAMP)
    rig.after(200)
    failed(rig, LAMP)
    rig.after(2000)
    assert rig.says() == PASS


@pytest.mark.parametrize(("after_ms", "verdict"), [(1000, PASS), (1001, FAIL)])
def test_while_something_is_broken_a_press_has_a_second(after_ms: int, verdict: str) -> None:
    """1 s keeps the thought (Miller 1968; Card 1991); the panel's field shows that it waits."""
    rig = lights()
    rig.event("fault", "intermittent", "cut main", 1)
    touch(rig, LAMP)
    rig.after(after_ms)
    rig.event("lamp", "cabin", 1000)
    rig.after(100)
    assert rig.says() == verdict


@pytest.mark.parametrize(
    ("since_ms", "after_ms", "verdict"), [(2999, 1000, PASS), (2999, 1001, FAIL), (3000, 100, PASS), (3000, 101, FAIL)]
)
def test_a_fault_that_is_over_at_once_is_felt_for_a_while(since_ms: int, after_ms: int, verdict: str) -> None:
    """No event ends it: three seconds later lamps have to answer at once again."""
    rig = lights()
    rig.event("fault", "reset", "node_21", 2)
    rig.after(since_ms)
    touch(rig, LAMP)
    rig.after(after_ms)
    rig.event("lamp", "cabin", 1000)
    rig.after(100)
    assert rig.says() == verdict


@pytest.mark.parametrize(("fault", "place"), [("hang", "node_20"), ("application_dead", "node_20"), ("touch_hung", "steps")])
def test_a_panel_that_hears_of_no_touch_registers_nothing(fault: str, place: str) -> None:
    rig = lights()
    rig.event("fault", fault, place, 1)
    touch(rig, LAMP)
    rig.after(2000)
    assert rig.says() == NOT_EXERCISED
    rig.event("fault", fault, place, 0)
    touch(rig, LAMP)
    rig.after(2000)
    assert rig.says() == FAIL


@pytest.mark.parametrize(("fault", "place", "verdict"), [("hang", "node_20", FAIL), ("touch_hung", "steps", NOT_EXERCISED)])
def test_a_start_ends_a_program_that_hangs_and_no_touch_controller(fault: str, place: str, verdict: str) -> None:
    """The controller of the touch fields is a part of its own, and may hang before the program begins."""
    rig = lights()
    rig.event("fault", fault, place, 1)
    rig.event("start", "node_20", 1)
    touch(rig, LAMP)
    rig.after(2000)
    assert rig.says() == verdict


def test_a_field_of_another_page_is_judged_while_that_shows() -> None:
    rig = lights()
    rig.event("output", "node_20", "page", 1)
    touch(rig, SECOND_PAGE)
    rig.after(2000)
    assert rig.says() == FAIL


@pytest.mark.parametrize(("after_ns", "verdict"), [(20 * MS, NOT_EXERCISED), (20 * MS + 1, FAIL)])
@pytest.mark.parametrize("page", [0, 1])
def test_a_page_that_turns_takes_touches_not_yet_believed(page: int, after_ns: int, verdict: str) -> None:
    rig = lights()
    touch(rig, LAMP)
    rig.now_ns += after_ns
    rig.event("output", "node_20", "page", page)
    rig.after(2000)
    assert rig.says() == (verdict if page else FAIL)


@pytest.mark.parametrize("goes", [("power", 0), ("start", 2)])
@pytest.mark.parametrize(("after_ns", "verdict"), [(SECOND, NOT_EXERCISED), (SECOND + 1, FAIL)])
def test_a_panel_that_goes_dark_has_said_so_within_a_second(goes: tuple[str, int], after_ns: int, verdict: str) -> None:
    rig = lights()
    touch(rig, LAMP)
    touch(rig, BOTH_ON)
    rig.now_ns += after_ns
    rig.event(goes[0], "node_21", goes[1])
    rig.event(goes[0], "node_20", goes[1])
    rig.after(2000)
    rig.event("lamp", "cabin", 1000)
    assert rig.says() == verdict


def test_power_that_comes_makes_no_panel_dark() -> None:
    rig = lights()
    touch(rig, LAMP)
    rig.event("power", "node_20", 1)
    rig.after(1001)
    assert rig.says() == FAIL


@pytest.mark.parametrize("rested_ms", [0, 59, 5000])
def test_a_press_that_was_answered_is_not_lost_with_its_panel(rested_ms: int) -> None:
    rig = lights()
    touch(rig, LAMP)
    rig.after(30)
    rig.event("lamp", "cabin", 400)
    rig.after(10)
    rig.event("lamp", "cabin", 1000)
    rig.after(rested_ms)
    rig.event("power", "node_20", 0)
    rig.after(3000)
    assert (rig.says(), rig.verdict().measured) == (PASS, 30)


def test_on_another_page_the_same_place_is_another_field() -> None:
    rig = lights()
    rig.event("output", "node_20", "page", 1)
    touch(rig, LAMP)
    rig.after(2000)
    assert rig.says() == NOT_EXERCISED
    rig.event("output", "node_20", "page", 0)
    touch(rig, LAMP)
    rig.after(2000)
    assert rig.says() == FAIL


@pytest.mark.parametrize(
    ("page", "field", "verdict"), [(0, LAMP, PASS), (0, TURNS, FAIL), (1, LAMP, FAIL), (1, TURNS, PASS), (2, TURNS, FAIL)]
)
def test_of_a_page_turned_away_from_the_field_that_turns_pages_speaks(page: int, field: int, verdict: str) -> None:
    """What has the same place on the new page is the field of another lamp."""
    panel = small_boat().panels[0]
    turning = ControlPlan("back", TURNS, 1, "page", (), 0, 0, opens=0)
    rig = lights(replace(small_boat(), panels=(replace(panel, controls=(*panel.controls, turning)),)))
    touch(rig, LAMP)
    rig.after(60)
    rig.event("output", "node_20", "page", page)
    rig.after(800)
    failed(rig, field)
    rig.after(2000)
    assert rig.says() == verdict


def test_a_panel_that_starts_shows_its_first_page() -> None:
    rig = lights()
    rig.event("output", "node_20", "page", 1)
    rig.event("start", "node_20", 2)
    touch(rig, LAMP)
    rig.after(2000)
    assert rig.says() == FAIL
