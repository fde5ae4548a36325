"""light.scene, light.return and bus.helm_first, fed by hand: at their limits and one beyond."""

from dataclasses import replace

import pytest

from busim.protocol.catalogue import SCENE
from busim.protocol.plan import ControlPlan, PanelPlan, ScenePlan, WirePlan
from busim.requirements.bus_helm_first import HelmFirst
from busim.requirements.light_press import LightPress
from busim.requirements.light_return import LightReturn
from busim.requirements.light_scene import LightScene
from busim.requirements.verdict import FAIL, INCONCLUSIVE, NOT_EXERCISED, PASS

from . import hand_made_frames as hand
from .judge_rig import JudgeRig
from .small_boat import DRIVER, PANEL, small_boat

FADE_MS = 400
EVENING = ScenePlan("evening", 1, FADE_MS, ((1, 500, -1, 0), (2, 0, -1, 0)))
CONTROLS = (
    ControlPlan("evening", 1, 0, "scene", (), 1, 0),
    ControlPlan("off", 2, 0, "all_off", (), 0, 0),
    ControlPlan("lamp", 3, 0, "toggle", (1,), 0, 0),
    ControlPlan("anchor", 4, 0, "condition", (), 0, 0, condition=2),
)
PANEL_NODE, DRIVER_NODE = f"node_{PANEL}", f"node_{DRIVER}"


def plan() -> WirePlan:
    return replace(small_boat(navigation=True), scenes=(EVENING,), panels=(PanelPlan("steps", PANEL, 20, CONTROLS),))


def called(control: int = 1, of: WirePlan | None = None) -> JudgeRig:
    """The panel runs, galley is lit, and a finger was on a field for 60 ms, since now."""
    rig = JudgeRig(LightScene, of or plan())
    rig.event("start", PANEL_NODE, 0)
    rig.event("lamp", "galley", 1000, 0)
    rig.event("key", PANEL_NODE, f"touch.{control}", 1)
    return rig


def arrives(rig: JudgeRig, tenth_ms: float, cabin: int = 500, galley: int = 0) -> None:
    rig.after(tenth_ms)
    rig.event("lamp", "cabin", 50, 0)
    rig.event("lamp", "galley", 900, 0)
    rig.after(400)
    rig.event("lamp", "cabin", cabin, 0)
    rig.event("lamp", "galley", galley, 0)
    rig.after(2000)


@pytest.mark.parametrize(("tenth_ms", "verdict"), [(140, PASS), (140.000001, FAIL), (20, PASS)])
def test_a_scene_begins_within_a_tenth_of_a_second_and_of_its_fade(tenth_ms: float, verdict: str) -> None:
    """100 ms feels instant (Miller 1968; Card 1991); a tenth of a fade of 400 ms is 40 more."""
    rig = called()
    arrives(rig, tenth_ms)
    assert (rig.says(), rig.verdict().limit) == (verdict, 140)


@pytest.mark.parametrize(("cabin", "verdict"), [(515, PASS), (516, FAIL), (485, PASS), (484, FAIL), (0, FAIL)])
def test_each_zone_rests_at_its_level(cabin: int, verdict: str) -> None:
    rig = called()
    arrives(rig, 30, cabin)
    assert rig.says() == verdict


@pytest.mark.parametrize(("galley", "verdict"), [(15, PASS), (16, FAIL)])
def test_a_zone_that_was_at_its_level_is_there_in_the_end(galley: int, verdict: str) -> None:
    """Dark as its driver was away, and lit by whatever came after."""
    rig = JudgeRig(LightScene, plan())
    rig.event("start", PANEL_NODE, 0)
    rig.event("key", PANEL_NODE, "touch.1", 1)
    rig.after(30)
    rig.event("lamp", "cabin", 500, 0)
    rig.event("lamp", "galley", galley, 0)
    rig.after(2000)
    assert rig.says() == verdict


@pytest.mark.parametrize(("broken", "verdict"), [("before", PASS), ("meanwhile", PASS), ("", FAIL)])
def test_while_something_is_broken_a_scene_has_as_long_as_its_panel(broken: str, verdict: str) -> None:
    rig = JudgeRig(LightScene, plan())
    rig.event("start", PANEL_NODE, 0)
    if broken == "before":
        rig.event("fault", "cut", "main at 4 m", 1)
    rig.event("key", PANEL_NODE, "touch.1", 1)
    if broken == "meanwhile":
        rig.event("fault", "cut", "main at 4 m", 1)
    rig.after(1000)
    rig.event("lamp", "cabin", 50, 0)
    rig.after(390)
    rig.event("lamp", "cabin", 500, 0)
    rig.after(2000)
    assert (rig.says(), rig.verdict().limit) == (verdict, 1040 if broken else 140)


@pytest.mark.parametrize(("lit", "verdict"), [(500, PASS), (0, FAIL)])
def test_a_driver_that_is_reset_after_it_was_done_has_as_long_again(lit: int, verdict: str) -> None:
    rig = called()
    rig.after(30)
    for cabin, galley in ((50, 900), (500, 0)):
        rig.event("lamp", "cabin", cabin, 0)
        rig.event("lamp", "galley", galley, 0)
        rig.after(300)
    rig.event("fault", "reset", DRIVER_NODE, 2)
    rig.event("lamp", "cabin", 0, 0)
    rig.after(900)
    rig.event("start", DRIVER_NODE, 2)
    rig.after(1300)
    rig.event("lamp", "cabin", lit, 0)
    rig.after(2000)
    assert rig.says() == verdict


@pytest.mark.parametrize(("lets_go", "verdict"), [(True, PASS), (False, NOT_EXERCISED)])
def test_while_a_finger_is_on_another_field_nobody_knows_what_comes_last(lets_go: bool, verdict: str) -> None:
    rig = JudgeRig(LightScene, plan())
    rig.event("start", PANEL_NODE, 0)
    rig.event("key", PANEL_NODE, "touch.3", 1)
    if lets_go:
        rig.event("key", PANEL_NODE, "touch.3", 0)
    rig.event("key", PANEL_NODE, "touch.1", 1)
    rig.after(30)
    rig.event("lamp", "cabin", 500, 0)
    rig.after(2000)
    assert rig.says() == verdict


@pytest.mark.parametrize(("value", "after_ms", "verdict"), [(3, 1000, PASS), (4, 800, PASS), (4, 1000.001, FAIL), (2, 900, FAIL)])
def test_a_panel_that_says_so_in_time_has_done_what_it_can(value: int, after_ms: float, verdict: str) -> None:
    rig = called()
    rig.after(after_ms)
    rig.event("output", PANEL_NODE, "field.1", value)
    rig.after(3000)
    assert rig.says() == verdict


@pytest.mark.parametrize(("field", "verdict"), [(1, FAIL), (8, PASS)])
def test_of_a_page_turned_away_from_the_field_that_turns_pages_speaks(field: int, verdict: str) -> None:
    controls = (*CONTROLS, ControlPlan("back", 8, 1, "page", (), 0, 0, opens=0))
    rig = called(1, replace(plan(), panels=(PanelPlan("steps", PANEL, 20, controls),)))
    rig.after(60)
    rig.event("output", PANEL_NODE, "page", 1)
    rig.after(800)
    rig.event("output", PANEL_NODE, f"field.{field}", 4)
    rig.after(3000)
    assert rig.says() == verdict


def test_a_panel_that_starts_shows_its_first_page() -> None:
    rig = JudgeRig(LightScene, plan())
    rig.event("output", PANEL_NODE, "page", 1)
    rig.event("start", PANEL_NODE, 2)
    rig.event("lamp", "galley", 1000, 0)
    rig.event("key", PANEL_NODE, "touch.1", 1)
    rig.after(3000)
    assert rig.says() == FAIL


def test_all_off_is_every_zone() -> None:
    rig = called(2)
    rig.after(50)
    rig.event("lamp", "galley", 0, 0)
    rig.after(2000)
    assert (rig.says(), rig.verdict().limit) == (PASS, 125)


def test_what_is_no_scene() -> None:
    short = called()
    short.after(19)
    short.event("key", PANEL_NODE, "touch.1", 0)
    short.after(3000)
    assert short.says() == NOT_EXERCISED
    dead = JudgeRig(LightScene, plan())
    dead.event("key", PANEL_NODE, "touch.1", 1)
    dead.after(3000)
    assert dead.says() == NOT_EXERCISED
    by_hand = called()
    by_hand.after(300)
    by_hand.event("key", PANEL_NODE, "touch.3", 1)
    by_hand.after(3000)
    assert by_hand.says() == NOT_EXERCISED, "somebody changed a light of it by hand meanwhile"
    early = called()
    early.after(500)
    assert early.says() == INCONCLUSIVE
    other_page = JudgeRig(LightScene, plan())
    other_page.event("start", PANEL_NODE, 0)
    other_page.event("output", PANEL_NODE, "page", 1)
    other_page.event("key", PANEL_NODE, "touch.1", 1)
    other_page.after(3000)
    assert other_page.says() == NOT_EXERCISED


# ------------------------------------------------------------------------------------------------ a driver that comes back


def back(*, dark: bool = True) -> JudgeRig:
    """The evening scene is on, and the driver of cabin starts anew, dark."""
    rig = JudgeRig(LightReturn, plan())
    rig.event("start", PANEL_NODE, 0)
    rig.journal.frame(rig.now_ns, 0, SCENE.can_id(PANEL), SCENE.pack(1, 1, 0, 0, 0), -1)
    rig.event("lamp", "cabin", 500, 0)
    rig.after(5000)
    if dark:
        rig.event("lamp", "cabin", 0, 0)
    rig.event("start", DRIVER_NODE, 0)
    return rig


@pytest.mark.parametrize(("after_ms", "verdict"), [(2000, PASS), (2000.001, FAIL)])
def test_it_joins_within_two_seconds(after_ms: float, verdict: str) -> None:
    rig = back()
    rig.after(after_ms)
    rig.event("lamp", "cabin", 490, 0)
    assert rig.says() == verdict


@pytest.mark.parametrize(("permille", "verdict"), [(530, INCONCLUSIVE), (531, FAIL), (1000, FAIL)])
def test_it_does_not_flash(permille: int, verdict: str) -> None:
    rig = back()
    rig.after(100)
    rig.event("lamp", "cabin", permille, 0)
    assert rig.says() == verdict


@pytest.mark.parametrize(("after_ms", "verdict"), [(1900, FAIL), (1900.001, PASS)])
def test_nor_does_it_flash_once_it_has_joined(after_ms: float, verdict: str) -> None:
    """Within its two seconds; what happens later is not its return's."""
    rig = back()
    rig.after(100)
    rig.event("lamp", "cabin", 500, 0)
    rig.after(after_ms)
    rig.event("lamp", "cabin", 1000, 0)
    assert rig.says() == verdict


@pytest.mark.parametrize("key", ["touch.3", "switch.1"])
def test_what_somebody_does_with_a_lamp_that_has_joined_is_no_flash(key: str) -> None:
    rig = back()
    rig.after(100)
    rig.event("lamp", "cabin", 500, 0)
    rig.event("key", PANEL_NODE if key.startswith("touch") else DRIVER_NODE, key, 1)
    rig.event("lamp", "cabin", 1000, 0)
    assert rig.says() == PASS


def test_who_tells_a_driver_to_join_calls_no_new_scene() -> None:
    rig = back()
    rig.journal.frame(rig.now_ns, 0, SCENE.can_id(PANEL), SCENE.pack(2, 1, 0, 0, 1), -1)
    rig.after(3000)
    assert rig.says() == FAIL, "it was told, and stays dark"


def test_nothing_to_join() -> None:
    rig = JudgeRig(LightReturn, plan())
    rig.event("start", DRIVER_NODE, 0)
    rig.after(5000)
    assert rig.says() == NOT_EXERCISED


@pytest.mark.parametrize("goes", [("start", 3), ("power", 0)])
@pytest.mark.parametrize("after_ms", [0, 500])
def test_where_every_panel_has_started_anew_there_is_no_scene_any_more(goes: tuple[str, int], after_ms: int) -> None:
    rig = back()
    rig.after(after_ms)
    rig.event(goes[0], PANEL_NODE, goes[1])
    rig.after(5000)
    assert rig.says() == NOT_EXERCISED
    rig.event("start", DRIVER_NODE, 0)
    rig.after(5000)
    assert rig.says() == NOT_EXERCISED, "nor is there one for who comes back later"


@pytest.mark.parametrize(("after_ms", "verdict"), [(2000, NOT_EXERCISED), (2001, PASS)])
def test_what_somebody_does_with_a_lamp_that_was_in_its_place_is_no_flash(after_ms: int, verdict: str) -> None:
    rig = back(dark=False)
    rig.after(after_ms)
    rig.event("key", PANEL_NODE, "touch.3", 1)
    rig.event("lamp", "cabin", 1000, 0)
    assert rig.says() == verdict


def test_a_lamp_that_goes_out_after_the_scene_had_arrived_is_not_the_scenes() -> None:
    rig = called()
    rig.after(100)
    rig.event("lamp", "cabin", 500, 0)
    rig.event("lamp", "galley", 0, 0)
    rig.after(5000)
    rig.event("lamp", "cabin", 0, 0)
    rig.after(1000)
    assert rig.says() == PASS


# ------------------------------------------------------------------------------------------------ the helm first


@pytest.mark.parametrize(("gap_ms", "verdict"), [(40, PASS), (40.001, FAIL), (20, PASS), (19, PASS)])
def test_no_lever_waits_for_a_whole_period(gap_ms: float, verdict: str) -> None:
    rig = JudgeRig(HelmFirst)
    rig.lever()
    rig.after(gap_ms)
    rig.lever()
    assert rig.says() == verdict


@pytest.mark.parametrize("what", [("fault", "cut", "main", 1), ("power", "node_1", 0), ("controller", "node_1", "main", 2, 256, 0)])
def test_what_is_broken_is_not_judged(what: tuple[str | int, ...]) -> None:
    rig = JudgeRig(HelmFirst)
    rig.lever()
    rig.event(*what)  # type: ignore[arg-type]
    rig.after(500)
    rig.lever()
    assert rig.says() == NOT_EXERCISED


@pytest.mark.parametrize("control", [4, 5])
def test_a_page_turned_meanwhile_and_a_condition_asked_for_change_no_light(control: int) -> None:
    """The scene that was called before is still owed."""
    more = (ControlPlan("cabins", 4, 0, "page", (), 0, 1), ControlPlan("at anchor", 5, 0, "condition", (), 0, 2))
    rig = called(of=replace(plan(), panels=(PanelPlan("steps", PANEL, 20, (*CONTROLS, *more)),)))
    rig.after(300)
    rig.event("key", PANEL_NODE, f"touch.{control}", 1)
    rig.after(3000)
    assert rig.says() == FAIL


@pytest.mark.parametrize(("gap_ms", "verdict"), [(40, PASS), (40.001, FAIL)])
@pytest.mark.parametrize("breaks", [False, True])
def test_one_that_never_comes_again_waits_until_the_end_or_until_something_breaks(
    gap_ms: float, verdict: str, breaks: bool
) -> None:
    """A bus that is full for good lets no second frame through that would show a gap."""
    rig = JudgeRig(HelmFirst)
    rig.lever()
    rig.after(20)
    rig.lever()
    rig.after(gap_ms)
    if breaks:
        rig.event("fault", "cut", "main", 1)
        rig.after(5000)
    assert rig.says() == verdict


@pytest.mark.parametrize("fault", ["reset", "frames_lost"])
def test_what_is_over_at_once_is_not_broken_for_ever(fault: str) -> None:
    """No event ends a fault that strikes: whatever waits after it is judged."""
    rig = JudgeRig(HelmFirst)
    rig.lever()
    rig.event("fault", fault, "node_2", 2)
    rig.after(500)
    rig.lever()
    assert rig.says() == NOT_EXERCISED, "it may have been held up by that"
    rig.after(41)
    rig.lever()
    assert rig.says() == FAIL


def test_once_everything_is_whole_again_waits_count_anew() -> None:
    rig = JudgeRig(HelmFirst)
    rig.event("fault", "cut", "main", 1)
    rig.event("fault", "mute", "node_1", 1)
    rig.event("fault", "cut", "main", 0)
    rig.lever()
    rig.after(500)
    rig.lever()
    assert rig.says() == NOT_EXERCISED, "one is on still"
    rig.event("fault", "mute", "node_1", 0)
    rig.lever()
    rig.after(41)
    rig.lever()
    assert rig.says() == FAIL


# ------------------------------------------------------------------------------------------------ light.press of a lamp that fades


def test_a_lamp_that_fades_has_answered_at_a_tenth() -> None:
    rig = JudgeRig(LightPress)
    rig.event("start", PANEL_NODE, 0)
    rig.event("key", PANEL_NODE, "touch.1", 1)
    rig.after(60)
    for step in range(1, 26):
        rig.after(10)
        rig.event("lamp", "cabin", 30 * step, 0)
    found = rig.verdict()
    assert (found.verdict, found.measured) == (PASS, 90), "75 of 750 permille are done 30 ms after it began"


def test_hand_made_ids_are_the_catalogues() -> None:
    assert hand.id_of(SCENE.code, PANEL) == SCENE.can_id(PANEL)
