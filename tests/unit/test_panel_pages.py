"""A panel's pages, held touches, colours, scenes, conditions; and which panel tells a driver that comes back."""

from dataclasses import replace
from typing import Any

import pytest

from busim.boat.load import load_boat
from busim.boat.shipped import shipped_folder
from busim.protocol.catalogue import CONDITION, HEARTBEAT, PRESS, SCENE, SCENE_STATE, ZONE_STATE
from busim.protocol.plan import ControlPlan, PanelPlan, ScenePlan, WirePlan
from busim.protocol.values import (
    PRESS_COLOUR,
    PRESS_CONDITION,
    PRESS_DIM_DOWN,
    PRESS_DIM_STOP,
    PRESS_DIM_UP,
    PRESS_KELVIN,
    PRESS_LEVEL,
    PRESS_TOGGLE,
    SCENE_ALL_OFF,
)
from busim.seam import OUTPUT
from busim.units import MS
from nodes.panel import FIELD_DONE, FIELD_FAILED, FIELD_PARTLY, FIELD_QUIET, FIELD_WAITS, Panel

from . import hand_made_frames as hand
from .node_rig import NodeRig
from .small_boat import DRIVER, OTHER_DRIVER, PANEL, WHEELHOUSE, small_boat

OTHER_PANEL = PANEL - 1
SCENES = (
    ScenePlan("evening", 1, 1000, ((1, 400, -1, 0), (2, 300, -1, 0), (3, 0, -1, 0))),
    ScenePlan("fore", 2, 0, ((1, 100, -1, 0),)),
)
CONTROLS = (
    ControlPlan("dim", 1, 0, "dim", (1,), 0, 0),
    ControlPlan("evening", 2, 0, "scene", (), 1, 0),
    ControlPlan("off", 3, 0, "all_off", (), 0, 0),
    ControlPlan("more", 8, 0, "page", (), 0, 0, opens=1),
    ControlPlan("half", 1, 1, "level", (2,), 0, 500),
    ControlPlan("blue", 2, 1, "colour", (1,), 0, 0, colour=0x0000FF),
    ControlPlan("cool", 3, 1, "colour", (1,), 0, 0, kelvin=5500),
    ControlPlan("anchor", 4, 1, "condition", (), 0, 0, condition=2),
    ControlPlan("back", 8, 1, "page", (), 0, 0, opens=0),
)


def plan() -> WirePlan:
    boat = small_boat(navigation=True)
    panels = (PanelPlan("steps", PANEL, 20, CONTROLS), PanelPlan("bunk", OTHER_PANEL, 20, CONTROLS))
    nodes = tuple(sorted((*boat.nodes, (OTHER_PANEL, "bunk_node", "panel"))))
    buses = tuple((name, rate, tuple(sorted((*members, OTHER_PANEL)))) for name, rate, members in boat.buses)
    return replace(boat, panels=panels, scenes=SCENES, nodes=nodes, buses=buses)


class Rig(NodeRig):
    def __init__(self, address: int = PANEL) -> None:
        self.plan = plan()
        super().__init__(Panel(self.plan, address))
        self.address = address
        self.start()
        self.run_for(1)

    def touch(self, field: int, for_ms: float = 60) -> None:
        self.input(f"touch.{field}", 1)
        self.run_for(for_ms)
        self.input(f"touch.{field}", 0)
        self.run_for(1)

    def sent(self, can_id: int) -> None:
        """A frame of its own was acknowledged."""
        assert self.node.on_sent is not None
        self.note(self.node.on_sent(self.now_ns, 0, can_id))

    def current(self) -> int:
        """The scene that it would tell."""
        return self.node.keeper.current  # type: ignore[attr-defined,no-any-return]

    def presses(self) -> list[tuple[int, ...]]:
        return [PRESS.unpack(int.from_bytes(data, "big")) for _, data in self.said(PRESS.code)]

    def scenes(self) -> list[tuple[int, ...]]:
        return [SCENE.unpack(int.from_bytes(data, "big")) for _, data in self.said(SCENE.code)]

    def zone_says(self, zone: int, number: int, panel: int | None = None) -> None:
        driver = OTHER_DRIVER if zone == 2 else DRIVER
        self.frame(ZONE_STATE.can_id(driver), hand.zone_state(zone, 500, self.address if panel is None else panel, number))

    def driver_says(self, driver: int, scene: int, number: int, *, panel: int | None = None, fault: int = 0, **more: Any) -> None:
        revision = more.get("revision", self.plan.scene_revision)
        asked_by = self.address if panel is None else panel
        self.frame(SCENE_STATE.can_id(driver), SCENE_STATE.pack(scene, revision, asked_by, number, fault))


# ------------------------------------------------------------------------------------------------ pages


def test_a_page_changes_what_fields_mean_at_once() -> None:
    rig = Rig()
    rig.touch(8)
    assert rig.outputs["page"] == 1
    assert all(rig.outputs[f"field.{number}"] == FIELD_QUIET for number in (1, 2, 3, 4, 8))
    rig.touch(1)
    assert rig.presses()[-1][1:4] == (2, PRESS_LEVEL, 500)
    rig.touch(8)
    assert rig.outputs["page"] == 0
    assert not [action for action in rig.presses() if action[2] == PRESS_TOGGLE]


@pytest.mark.parametrize("fields", [(8, 1), (1, 8), (8, 1, 2, 3)])
def test_several_fields_touched_at_one_moment_with_the_one_that_changes_the_page(fields: tuple[int, ...]) -> None:
    """A wet hand: those believed before the page changes act, the others are gone with their page."""
    rig = Rig()
    for field in fields:
        rig.input(f"touch.{field}", 1)
    rig.run_for(60)
    assert rig.outputs["page"] == 1
    for field in fields:
        rig.input(f"touch.{field}", 0)
    rig.run_for(2000)
    asked = {press[5] for press in rig.presses()}
    assert asked == set(fields[: fields.index(8)])


def test_a_finger_that_stays_while_the_page_changes_touches_nothing_on_the_new_one() -> None:
    rig = Rig()
    rig.input("touch.1", 1)
    rig.run_for(5)
    rig.input("touch.8", 1)
    rig.run_for(14)
    rig.run_for(6)
    assert rig.outputs["page"] == 1
    rig.input("touch.1", 0)
    rig.run_for(1000)
    assert PRESS_LEVEL not in {press[2] for press in rig.presses()}


@pytest.mark.parametrize(("answers", "shows"), [((), FIELD_FAILED), ((DRIVER,), FIELD_PARTLY)])
def test_what_failed_on_a_page_turned_away_from_shows_where_the_way_leads_back(answers: tuple[int, ...], shows: int) -> None:
    """Not at the field that has its place on the new page: another lamp is fed from there."""
    rig = Rig()
    rig.touch(2)
    rig.touch(8)
    rig.touch(1)
    rig.zone_says(2, 2)
    for driver in answers:
        rig.driver_says(driver, 1, 1)
    rig.run_for(900)
    assert [rig.outputs[f"field.{number}"] for number in (1, 2, 8)] == [FIELD_DONE, FIELD_QUIET, shows]
    rig.touch(8)
    assert [rig.outputs[f"field.{number}"] for number in (1, 2, 8)] == [FIELD_QUIET, shows, FIELD_QUIET]
    rig.touch(8)
    assert [rig.outputs[f"field.{number}"] for number in (1, 2, 8)] == [FIELD_QUIET, FIELD_QUIET, FIELD_QUIET], "it was seen"


def test_a_press_still_waits_on_its_own_page_when_that_is_open_again() -> None:
    rig = Rig()
    rig.touch(2)
    rig.touch(8)
    assert rig.outputs["field.2"] == FIELD_QUIET
    rig.touch(8)
    assert rig.outputs["field.2"] == FIELD_WAITS
    rig.touch(8)
    rig.driver_says(DRIVER, 1, 1)
    rig.driver_says(OTHER_DRIVER, 1, 1)
    assert [rig.outputs[f"field.{number}"] for number in (2, 8)] == [FIELD_QUIET, FIELD_QUIET]
    rig.touch(8)
    assert rig.outputs["field.2"] == FIELD_DONE


def test_a_scene_that_another_took_the_place_of_waits_no_more() -> None:
    rig = Rig()
    rig.touch(2)
    rig.touch(3)
    assert [rig.outputs[f"field.{number}"] for number in (2, 3)] == [FIELD_QUIET, FIELD_WAITS]
    rig.touch(3)
    assert rig.outputs["field.3"] == FIELD_WAITS
    rig.touch(8)
    rig.touch(8)
    assert [rig.outputs[f"field.{number}"] for number in (2, 3)] == [FIELD_QUIET, FIELD_WAITS]


def test_a_hand_that_dims_while_the_page_turns_shows_on_its_own_page() -> None:
    rig = Rig()
    rig.input("touch.1", 1)
    rig.run_for(500)
    assert rig.presses()[-1][2] == PRESS_DIM_DOWN
    rig.zone_says(1, 1)
    rig.touch(8)
    rig.input("touch.1", 0)
    rig.run_for(1)
    assert (rig.presses()[-1][2], rig.outputs["field.1"]) == (PRESS_DIM_STOP, FIELD_QUIET)


def test_the_worst_of_several_failures_elsewhere_shows() -> None:
    rig = Rig()
    rig.touch(2)
    rig.driver_says(DRIVER, 1, 1)
    rig.touch(1)
    rig.touch(8)
    rig.run_for(900)
    assert rig.outputs["field.8"] == FIELD_FAILED, "the scene came in part, the lamp not at all"
    rig.touch(8)
    assert [rig.outputs[f"field.{number}"] for number in (1, 2, 8)] == [FIELD_FAILED, FIELD_PARTLY, FIELD_QUIET]


@pytest.mark.parametrize(("field", "action", "colour"), [(2, PRESS_COLOUR, 0x0000FF), (3, PRESS_KELVIN, 5500)])
def test_colours_and_whites_are_asked_for(field: int, action: int, colour: int) -> None:
    rig = Rig()
    rig.touch(8)
    rig.touch(field)
    assert (rig.presses()[-1][2], rig.presses()[-1][4]) == (action, colour)


# ------------------------------------------------------------------------------------------------ a hand that stays


@pytest.mark.parametrize(("held_ms", "actions"), [(419.999999, [PRESS_TOGGLE]), (420, [PRESS_DIM_DOWN, PRESS_DIM_STOP])])
def test_a_short_touch_toggles_and_a_held_one_dims(held_ms: float, actions: list[int]) -> None:
    """Held for 400 ms after the debounce of 20 ms."""
    rig = Rig()
    rig.touch(1, held_ms)
    rig.run_for(1)
    rig.zone_says(1, 1)
    rig.run_for(100)
    assert list(dict.fromkeys(press[2] for press in rig.presses())) == actions


@pytest.mark.parametrize(("held_ms", "actions"), [(300, [PRESS_TOGGLE]), (900, [PRESS_DIM_DOWN, PRESS_DIM_STOP])])
def test_a_finger_that_rests_while_another_turns_the_page_works_its_own_field(held_ms: int, actions: list[int]) -> None:
    """The field of the same number on the new page is another one."""
    rig = Rig()
    rig.input("touch.1", 1)
    rig.run_for(60)
    rig.touch(8)
    assert rig.node.page == 1  # type: ignore[attr-defined]
    rig.run_for(held_ms - 120)
    rig.zone_says(1, 1)
    rig.input("touch.1", 0)
    rig.run_for(100)
    done = {press[0]: press for press in rig.presses()}.values()
    assert [press[1:3] for press in done] == [(1, action) for action in actions]


def test_it_dims_down_and_up_in_turn() -> None:
    rig = Rig()
    for number in (1, 3, 5):
        rig.touch(1, 1000)
        rig.zone_says(1, number)
        rig.run_for(20)
        rig.zone_says(1, number + 1)
    wanted = [PRESS_DIM_DOWN, PRESS_DIM_UP, PRESS_DIM_DOWN]
    assert list(dict.fromkeys((press[0], press[2]) for press in rig.presses() if press[2] != PRESS_DIM_STOP)) == [
        (number, action) for number, action in zip((1, 3, 5), wanted, strict=True)
    ]


def test_fields_of_one_number_on_two_pages_dim_each_in_turn() -> None:
    """Up or down goes with the field and not with its number."""
    rig = Rig()
    other = replace(CONTROLS[4], action="dim", level_permille=0)
    rig.node.me = replace(rig.node.me, controls=(*(each for each in CONTROLS if each is not CONTROLS[4]), other))  # type: ignore[attr-defined]
    rig.touch(1, 1000)
    rig.zone_says(1, 1)
    rig.run_for(20)
    rig.zone_says(1, 2)
    rig.touch(8)
    rig.touch(1, 1000)
    assert next(press[2] for press in rig.presses() if press[0] == 3) == PRESS_DIM_DOWN


def test_a_stop_is_asked_for_until_it_is_answered() -> None:
    rig = Rig()
    rig.touch(1, 1000)
    rig.zone_says(1, 1)
    rig.forget()
    rig.run_for(200)
    assert {press[2] for press in rig.presses()} == {PRESS_DIM_STOP}
    assert len(rig.presses()) >= 4


# ------------------------------------------------------------------------------------------------ scenes


def test_a_scene_is_asked_of_every_driver_it_has_zones_of() -> None:
    rig = Rig()
    rig.touch(2)
    assert rig.scenes()[-1] == (1, 1, rig.plan.scene_revision, 100, 0)
    assert rig.outputs["field.2"] == FIELD_WAITS
    rig.driver_says(DRIVER, 1, 1)
    assert rig.outputs["field.2"] == FIELD_WAITS
    rig.driver_says(OTHER_DRIVER, 1, 1)
    assert rig.outputs["field.2"] == FIELD_DONE
    rig.forget()
    rig.run_for(1000)
    assert not rig.scenes()


def zones_failed(rig: Rig) -> list[int]:
    return sorted(int(channel.removeprefix("failed.")) for channel, value in rig.outputs.items() if "failed." in channel and value)


def test_a_panel_that_starts_anew_shows_nothing_of_before() -> None:
    """Its screen may still show what it showed when it was reset: a press that waits, for ever."""
    rig = Rig()
    rig.touch(1, 1000)
    rig.touch(2)
    rig.run_for(900)
    rig.touch(3)
    rig.outputs["tables_differ"] = 1
    rig.node = Panel(rig.plan, PANEL)
    rig.now_ns = 0
    rig.start()
    assert {channel: rig.outputs[channel] for channel in ("page", "field.1", "field.2", "field.3", "tables_differ")} == {
        "page": 0, "field.1": FIELD_QUIET, "field.2": FIELD_QUIET, "field.3": FIELD_QUIET, "tables_differ": 0,
    }  # fmt: skip
    assert zones_failed(rig) == []


@pytest.mark.parametrize(("answers", "shows", "failed"), [((), FIELD_FAILED, (1, 2, 3)), ((DRIVER,), FIELD_PARTLY, (2,))])
def test_who_did_not_join_is_said(answers: tuple[int, ...], shows: int, failed: tuple[int, ...]) -> None:
    rig = Rig()
    rig.touch(2)
    for driver in answers:
        rig.driver_says(driver, 1, 1)
    rig.run_for(900)
    assert rig.outputs["field.2"] == shows
    assert zones_failed(rig) == list(failed)
    rig.touch(2)
    assert zones_failed(rig) == [], "the last press for them is this one"


def test_a_driver_with_another_table_leaves_a_scene_partly_done() -> None:
    rig = Rig()
    rig.touch(2)
    rig.driver_says(DRIVER, 1, 1, fault=4, revision=1)
    rig.driver_says(OTHER_DRIVER, 1, 1)
    assert rig.outputs["field.2"] == FIELD_PARTLY
    assert rig.outputs["tables_differ"] == 1
    rig.driver_says(DRIVER, 1, 1)
    assert rig.outputs["tables_differ"] == 0


def test_all_off_asks_every_driver() -> None:
    rig = Rig()
    rig.touch(3)
    assert rig.scenes()[-1][1] == SCENE_ALL_OFF
    for driver in (DRIVER, OTHER_DRIVER):
        rig.driver_says(driver, SCENE_ALL_OFF, 1)
    assert rig.outputs["field.3"] == FIELD_DONE


def test_the_last_scene_asked_for_stands() -> None:
    rig = Rig()
    rig.touch(2)
    rig.touch(3)
    rig.forget()
    rig.run_for(300)
    assert {scene[1] for scene in rig.scenes()} == {SCENE_ALL_OFF}


def other_asks(rig: Rig, number: int, scene: int, *, joining: int = 0) -> None:
    rig.frame(SCENE.can_id(OTHER_PANEL), SCENE.pack(number, scene, rig.plan.scene_revision, 0, joining))


def test_a_scene_that_another_panel_asks_for_later_takes_the_place_of_one_that_waits() -> None:
    """A driver that is away would else join whichever of the two it hears last once it is back."""
    rig = Rig()
    rig.touch(2)
    rig.sent(SCENE.can_id(PANEL))
    rig.driver_says(DRIVER, 1, 1)
    other_asks(rig, 7, SCENE_ALL_OFF)
    assert rig.outputs["field.2"] == FIELD_QUIET
    rig.forget()
    rig.run_for(1000)
    assert not rig.scenes()
    assert rig.outputs["field.2"] == FIELD_QUIET, "no word of a press that nobody waits for any more"


def test_a_scene_that_has_not_gone_out_yet_is_the_later_one() -> None:
    """Both were touched at one moment: what the bus carries last stands, for drivers and panels alike."""
    rig = Rig()
    rig.touch(2)
    rig.sent(HEARTBEAT.can_id(PANEL))
    other_asks(rig, 7, SCENE_ALL_OFF)
    assert (rig.outputs["field.2"], rig.current()) == (FIELD_WAITS, 1)
    rig.run_for(900)
    assert (rig.outputs["field.2"], rig.current()) == (FIELD_FAILED, SCENE_ALL_OFF), "it came to nothing"


@pytest.mark.parametrize(("after_ms", "current"), [(850, 1), (850.000001, SCENE_ALL_OFF)])
def test_a_repeat_of_an_older_scene_is_no_later_word(after_ms: float, current: int) -> None:
    rig = Rig()
    other_asks(rig, 7, SCENE_ALL_OFF)
    asked_ns = rig.now_ns
    rig.touch(2)
    rig.sent(SCENE.can_id(PANEL))
    rig.run_to(asked_ns + 100 * MS)
    other_asks(rig, 7, SCENE_ALL_OFF)
    assert (rig.outputs["field.2"], rig.current()) == (FIELD_WAITS, 1)
    for driver in (DRIVER, OTHER_DRIVER):
        rig.driver_says(driver, 1, 1)
    assert rig.outputs["field.2"] == FIELD_DONE
    rig.run_to(asked_ns + round(after_ms * MS))
    other_asks(rig, 7, SCENE_ALL_OFF)
    assert rig.current() == current


def test_a_scene_that_nobody_joined_is_not_told_to_who_comes_back() -> None:
    """The bus was cut at this panel: it said that its press failed, and the others are where they were."""
    rig = Rig(OTHER_PANEL)
    rig.frame(SCENE.can_id(PANEL), SCENE.pack(9, 1, rig.plan.scene_revision, 0, 0))
    rig.touch(3)
    rig.run_for(900)
    assert (rig.outputs["field.3"], rig.current()) == (FIELD_FAILED, 1)
    rig.forget()
    came_back(rig)
    assert [scene[1] for scene in rig.scenes()] == [1]


def test_one_that_was_joined_without_a_word_is_learnt_from_the_drivers() -> None:
    rig = Rig()
    rig.touch(3)
    rig.run_for(900)
    assert rig.current() == 0
    rig.driver_says(DRIVER, SCENE_ALL_OFF, 1)
    assert rig.current() == SCENE_ALL_OFF


def test_a_scene_asked_for_while_this_panel_was_cut_off_is_learnt_from_the_drivers() -> None:
    rig = Rig()
    other_asks(rig, 7, 1)
    rig.driver_says(OTHER_DRIVER, 2, 3, panel=OTHER_PANEL + 5)
    assert rig.current() == 2, "of a panel that was never heard to ask"
    other_asks(rig, 7, 1)
    rig.run_for(900)
    other_asks(rig, 7, 1)
    off = SCENE_ALL_OFF
    for scene, number, current in ((2, 6, 1), (2, 7, 1), (off, 9, off), (1, 7, off), (2, 137, off), (2, 136, 2)):
        rig.driver_says(DRIVER, scene, number, panel=OTHER_PANEL)
        assert rig.current() == current, "an older press, or the one that was heard, is no news"


def test_a_joining_frame_is_no_press() -> None:
    rig = Rig()
    other_asks(rig, 7, 1, joining=1)
    assert rig.current() == 1, "where none is known it is as good as any"
    rig.touch(3)
    rig.sent(SCENE.can_id(PANEL))
    other_asks(rig, 8, 1, joining=1)
    assert (rig.outputs["field.3"], rig.current()) == (FIELD_WAITS, SCENE_ALL_OFF)


@pytest.mark.parametrize(("scene", "fault", "shows"), [(2, 0, FIELD_WAITS), (1, 0, FIELD_DONE), (2, 4, FIELD_PARTLY)])
def test_a_number_of_before_its_last_start_answers_no_other_scene(scene: int, fault: int, shows: int) -> None:
    rig = Rig()
    rig.touch(2)
    for driver in (DRIVER, OTHER_DRIVER):
        rig.driver_says(driver, scene, 1, fault=fault)
    assert rig.outputs["field.2"] == shows


def test_a_panel_that_starts_anew_goes_on_from_the_number_of_a_scene() -> None:
    rig = Rig()
    rig.driver_says(DRIVER, 1, 41)
    rig.touch(3)
    assert rig.scenes()[-1][0] == 42


# ------------------------------------------------------------------------------------------------ who tells


def came_back(rig: Rig, driver: int = DRIVER) -> None:
    rig.driver_says(driver, 0, 0, panel=0)
    rig.run_for(1)


def test_a_driver_that_started_is_told_the_scene() -> None:
    rig = Rig(OTHER_PANEL)
    rig.touch(2)
    for driver in (DRIVER, OTHER_DRIVER):
        rig.driver_says(driver, 1, 1)
    rig.forget()
    came_back(rig)
    assert rig.scenes() == [(2, 1, rig.plan.scene_revision, 50, 1)]
    rig.driver_says(DRIVER, 1, 2)
    rig.run_for(500)
    assert len(rig.scenes()) == 1
    assert "field.2" not in {action[1] for _, action in rig.did if action[0] == OUTPUT}, "nobody touched anything"


def test_the_panel_with_the_lowest_address_tells_and_another_one_once_it_is_silent() -> None:
    rig = Rig()
    rig.frame(SCENE.can_id(OTHER_PANEL), SCENE.pack(9, 1, rig.plan.scene_revision, 0, 0))
    rig.frame(HEARTBEAT.can_id(OTHER_PANEL), bytes(8))
    came_back(rig)
    assert not rig.scenes()
    rig.run_for(349)
    came_back(rig)
    assert rig.scenes(), "350 ms of silence"


@pytest.mark.parametrize("current", [0, 2])
def test_nothing_is_told_that_is_not_known_or_not_its_business(current: int) -> None:
    rig = Rig(OTHER_PANEL)
    if current:
        rig.frame(SCENE.can_id(PANEL), SCENE.pack(9, current, rig.plan.scene_revision, 0, 0))
    came_back(rig, OTHER_DRIVER)
    assert not rig.scenes(), "no scene is known; or it has no zone of this driver"


def test_a_panel_that_starts_anew_learns_the_scene_from_the_drivers() -> None:
    rig = Rig(OTHER_PANEL)
    rig.driver_says(OTHER_DRIVER, 1, 200, panel=PANEL)
    came_back(rig)
    assert [scene[1] for scene in rig.scenes()] == [1]


def test_a_panel_that_starts_anew_goes_on_counting_where_it_left_off() -> None:
    """With the number of its last press, the next would be taken for a repeat of that one and answered without being done."""
    rig = Rig()
    rig.zone_says(1, 41)
    rig.touch(1)
    assert rig.presses()[-1][0] == 42
    rig.zone_says(1, 200)
    rig.zone_says(1, 42)
    rig.touch(1)
    assert rig.presses()[-1][0] == 43, "only before its first press"


# ------------------------------------------------------------------------------------------------ conditions


def test_a_condition_is_done_when_a_station_says_it() -> None:
    rig = Rig()
    rig.touch(8)
    rig.touch(4)
    assert rig.presses()[-1][1:4] == (0, PRESS_CONDITION, 2)
    can_id = CONDITION.can_id(WHEELHOUSE)
    rig.frame(can_id, CONDITION.pack(can_id, 1, 1, 7))
    rig.frame(can_id, hand.spoiled(CONDITION.pack(can_id, 2, 2, 8)))
    assert rig.outputs["field.4"] == FIELD_WAITS
    rig.frame(can_id, CONDITION.pack(can_id, 3, 2, 8))
    assert rig.outputs["field.4"] == FIELD_DONE


def test_a_condition_nobody_takes_up_has_failed() -> None:
    rig = Rig()
    rig.touch(8)
    rig.touch(4)
    rig.run_for(900)
    assert rig.outputs["field.4"] == FIELD_FAILED
    assert rig.now_ns < 1100 * MS


def test_each_scene_of_marsh_tern_is_one_press_from_two_panels() -> None:
    """On the pages that panels show when they come on."""
    boat = load_boat(shipped_folder() / "marsh_tern").boat
    first_pages = [next(iter(panel.pages.values())) for panel in boat.panels.values()]
    reach = {name: sum(any(each.scene == name for each in page.values()) for page in first_pages) for name in boat.scenes}
    assert len(reach) >= 8
    assert {name: panels for name, panels in reach.items() if panels < 2} == {}
