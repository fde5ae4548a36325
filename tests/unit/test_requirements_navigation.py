"""light.navigation, fed by hand: at its limits and one beyond."""

from dataclasses import replace

import pytest

from busim.protocol.catalogue import CONDITION, NOTICE
from busim.protocol.plan import ControlPlan, PanelPlan
from busim.requirements.light_navigation import LightNavigation
from busim.requirements.verdict import FAIL, INCONCLUSIVE, NOT_EXERCISED, PASS

from .judge_rig import JudgeRig
from .small_boat import MASTHEAD, PANEL, WHEELHOUSE, small_boat

PANEL_NODE, MAST = f"node_{PANEL}", f"node_{MASTHEAD}"
AT_ANCHOR = PanelPlan("steps", PANEL, 20, (ControlPlan("anchor", 4, 0, "condition", (), 0, 0, condition=2),))


class Mast(JudgeRig):
    def __init__(self) -> None:
        super().__init__(LightNavigation, replace(small_boat(navigation=True), panels=(AT_ANCHOR,)))
        self.event("start", MAST, 0)

    def condition(self, condition: int, number: int, mask: int = -1) -> None:
        can_id = CONDITION.can_id(WHEELHOUSE)
        data = CONDITION.pack(can_id, self.counter(CONDITION.code, WHEELHOUSE), condition, number)
        self.journal.frame(self.now_ns, 0, can_id, data, mask)


@pytest.mark.parametrize(("after_ms", "verdict"), [(200, PASS), (200.001, FAIL)])
def test_lights_follow_the_condition_in_time(after_ms: float, verdict: str) -> None:
    rig = Mast()
    rig.condition(1, 1)
    rig.after(after_ms)
    rig.event("lamp", "side_lights", 1000, 0)
    assert rig.says() == verdict


@pytest.mark.parametrize(("after_ms", "verdict"), [(200, PASS), (200.001, FAIL), (None, FAIL)])
def test_what_another_bus_brought_first_is_heard_when_their_own_brings_it(after_ms: float | None, verdict: str) -> None:
    """The condition goes out on every bus of its station; of a node the time counts from the first frame that reaches it."""
    rig = Mast()
    rig.condition(1, 1, mask=rig.all_but(MASTHEAD))
    rig.after(5000)
    rig.condition(1, 1)
    if after_ms is not None:
        rig.after(after_ms)
        rig.event("lamp", "side_lights", 1000, 0)
    rig.after(3000)
    assert rig.says() == verdict


@pytest.mark.parametrize(
    ("stands", "after_ms", "verdict"), [((0, 10), 4500, PASS), ((0, 10), 4500.001, FAIL), ((2, 11), 9000, PASS)]
)
def test_a_condition_that_was_shown_done_comes_to_stand(stands: tuple[int, int], after_ms: float, verdict: str) -> None:
    """A station that began anew may count from below what stands: that is forgotten within 3.5 s, or given the number after."""
    rig = Mast()
    rig.condition(0, 10)
    rig.event("key", PANEL_NODE, "touch.4", 1)
    rig.condition(2, 1)
    rig.event("output", PANEL_NODE, "field.4", 2)
    rig.after(100)
    rig.condition(*stands)
    rig.event("lamp", "anchor_light", 1000 if stands[0] else 0, 0)
    rig.after(after_ms - 100)
    assert rig.says() == verdict


def test_what_a_page_shows_as_it_opens_is_of_before() -> None:
    rig = Mast()
    rig.condition(0, 10)
    rig.event("output", PANEL_NODE, "page", 1)
    rig.event("output", PANEL_NODE, "page", 0)
    rig.event("output", PANEL_NODE, "field.4", 2)
    rig.after(9000)
    assert rig.says() == PASS


def test_another_press_takes_the_place_of_one_that_was_shown_done() -> None:
    rig = Mast()
    rig.condition(0, 10)
    rig.event("output", PANEL_NODE, "field.4", 2)
    rig.event("key", PANEL_NODE, "touch.4", 1)
    rig.after(9000)
    assert rig.says() == PASS


@pytest.mark.parametrize(("after_ms", "verdict"), [(1200, PASS), (1200.001, FAIL)])
def test_who_started_after_the_change_has_it_by_the_second_frame_it_hears(after_ms: float, verdict: str) -> None:
    rig = Mast()
    rig.condition(1, 1, mask=rig.all_but(MASTHEAD))
    rig.after(100)
    rig.event("start", MAST, 0)
    rig.after(400)
    rig.condition(1, 1)
    rig.after(1000)
    rig.condition(1, 1)
    rig.after(after_ms - 1000)
    rig.event("lamp", "side_lights", 1000, 0)
    assert rig.says() == verdict


def test_who_never_heard_of_it_can_not_follow() -> None:
    rig = Mast()
    rig.condition(1, 1, mask=rig.all_but(MASTHEAD))
    rig.after(5000)
    assert rig.says() == NOT_EXERCISED


@pytest.mark.parametrize(("silent_ms", "verdict"), [(3499.9, FAIL), (3500, PASS)])
def test_stations_that_began_anew_count_from_one(silent_ms: float, verdict: str) -> None:
    """The written page: what nobody said for 3.5 s gives way to any number."""
    rig = Mast()
    rig.condition(1, 10)
    rig.event("lamp", "side_lights", 1000, 0)
    rig.after(silent_ms)
    rig.condition(2, 1)
    rig.after(40)
    rig.event("lamp", "side_lights", 0, 0)
    rig.event("lamp", "anchor_light", 1000, 0)
    assert rig.says() == verdict


@pytest.mark.parametrize(("name", "permille"), [("side_lights", 400), ("anchor_light", 1000), ("side_lights", 0)])
def test_nothing_but_the_condition(name: str, permille: int) -> None:
    """Never dimmed (COLREGs, note to Annex I s. 8), never lit or dark against it."""
    rig = Mast()
    rig.condition(1, 1)
    rig.event("lamp", "side_lights", 1000, 0)
    rig.after(5000)
    rig.event("lamp", name, permille, 0)
    assert rig.says() == FAIL


def test_a_wired_switch_may_light_its_lamp() -> None:
    rig = Mast()
    rig.condition(1, 1)
    rig.event("lamp", "side_lights", 1000, 0)
    rig.event("key", MAST, "switch.2", 1)
    rig.event("lamp", "anchor_light", 1000, 0)
    rig.event("key", MAST, "switch.2", 0)
    rig.event("lamp", "anchor_light", 0, 0)
    assert rig.says() == PASS


def test_without_the_supply_they_burn_by_they_are_dark_whatever_a_node_does() -> None:
    rig = Mast()
    rig.condition(1, 1)
    rig.event("lamp", "side_lights", 1000, 0)
    rig.after(1000)
    rig.event("feed", "side_lights", 0)
    rig.event("lamp", "side_lights", 0, 0)
    rig.after(1000)
    rig.condition(2, 2)
    rig.event("lamp", "anchor_light", 1000, 0)
    rig.after(1000)
    rig.event("feed", "side_lights", 1)
    rig.event("lamp", "side_lights", 1000, 0)
    rig.after(400)
    rig.event("lamp", "side_lights", 0, 0)
    assert rig.says() == PASS


def test_a_light_that_its_node_puts_out_as_it_starts_is_dark_against_the_condition() -> None:
    rig = Mast()
    rig.condition(1, 1)
    rig.event("lamp", "side_lights", 1000, 0)
    rig.event("feed", "side_lights", 0)
    rig.event("lamp", "side_lights", 0, 0)
    rig.after(1000)
    rig.event("feed", "side_lights", 1)
    rig.event("lamp", "side_lights", 1000, 0)
    rig.after(1)
    rig.event("lamp", "side_lights", 0, 0)
    assert rig.says() == FAIL


@pytest.mark.parametrize(("off_first", "verdict"), [(True, NOT_EXERCISED), (False, PASS)])
def test_a_light_without_supply_has_no_condition_to_follow(off_first: bool, verdict: str) -> None:
    """It waited to be lit as its supply went; or was lit already."""
    rig = Mast()
    rig.condition(1, 1)
    if not off_first:
        rig.event("lamp", "side_lights", 1000, 0)
    rig.event("feed", "side_lights", 0)
    rig.after(2000)
    rig.condition(1, 2)
    rig.after(2000)
    assert rig.says() == verdict


def test_channels_of_a_builders_own_say_nothing() -> None:
    rig = Mast()
    rig.event("output", PANEL_NODE, "field.of_mine", 2)
    rig.event("key", PANEL_NODE, "touch.of_mine", 1)
    assert rig.says() == NOT_EXERCISED


def test_an_older_condition_changes_nothing() -> None:
    rig = Mast()
    rig.condition(1, 10)
    rig.event("lamp", "side_lights", 1000, 0)
    rig.condition(2, 9)
    rig.after(5000)
    assert rig.says() == PASS


@pytest.mark.parametrize(
    ("after_ms", "which", "verdict"), [(1000, 40, PASS), (1000.001, 40, FAIL), (None, 40, FAIL), (1000, 41, FAIL)]
)
def test_a_failed_lamp_is_said(after_ms: float | None, which: int, verdict: str) -> None:
    rig = Mast()
    rig.condition(1, 1)
    rig.event("lamp", "side_lights", 1000, 0)
    rig.event("fault", "lamp_open", "side_lights", 1)
    rig.event("lamp", "side_lights", 0, 0)
    if after_ms is not None:
        rig.after(after_ms)
        rig.journal.frame(rig.now_ns, 0, NOTICE.can_id(MASTHEAD), NOTICE.pack(which, 1, 1, 1, 1), -1)
    rig.after(3000)
    assert rig.says() == verdict


@pytest.mark.parametrize(("after_ms", "verdict"), [(1000, PASS), (1000.001, FAIL)])
def test_a_lamp_that_is_put_right_makes_up_for_no_silence(after_ms: float, verdict: str) -> None:
    rig = Mast()
    rig.condition(1, 1)
    rig.event("lamp", "side_lights", 1000, 0)
    rig.event("fault", "lamp_open", "side_lights", 1)
    rig.event("lamp", "side_lights", 0, 0)
    rig.after(after_ms)
    rig.event("fault", "lamp_open", "side_lights", 0)
    rig.after(3000)
    assert rig.says() == verdict


@pytest.mark.parametrize(("after_ms", "verdict"), [(200, NOT_EXERCISED), (200.001, FAIL)])
def test_a_supply_that_goes_makes_up_for_no_light_that_was_late(after_ms: float, verdict: str) -> None:
    rig = Mast()
    rig.condition(1, 1)
    rig.after(after_ms)
    rig.event("feed", "side_lights", 0)
    rig.after(3000)
    assert rig.says() == verdict


def test_what_is_not_over_its_time_when_the_run_ends_is_open() -> None:
    rig = Mast()
    rig.condition(1, 1)
    rig.after(200)
    assert rig.says() == INCONCLUSIVE
    rig.event("lamp", "side_lights", 1000, 0)
    rig.event("fault", "lamp_open", "side_lights", 1)
    rig.after(1000)
    assert rig.says() == INCONCLUSIVE
    rig.after(0.001)
    assert rig.says() == FAIL
