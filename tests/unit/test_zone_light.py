"""A zone driver's light: fades, dimming by hand, colours, switches, joining a scene, silence on the bus."""

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busim.protocol.catalogue import HEARTBEAT, PRESS, SCENE, SCENE_STATE, ZONE_STATE
from busim.protocol.lightness import duty_for
from busim.protocol.plan import ScenePlan, WirePlan, ZonePlan
from busim.protocol.values import (
    PRESS_COLOUR,
    PRESS_DIM_DOWN,
    PRESS_DIM_STOP,
    PRESS_DIM_UP,
    PRESS_KELVIN,
    PRESS_LEVEL,
    PRESS_OFF,
    PRESS_ON,
    PRESS_TOGGLE,
    SCENE_ALL_OFF,
)
from busim.units import MS
from nodes.zone_driver import ZoneDriver
from nodes.zone_light import ZoneLight

from .node_rig import NodeRig
from .small_boat import DRIVER, PANEL, small_boat

STEPS = 2**12 - 1
FADE_MS = 250
JOIN_MS = 400


def plan_with(*zones: ZonePlan, scenes: tuple[ScenePlan, ...] = ()) -> WirePlan:
    return replace(small_boat(), zones=zones, scenes=scenes)


DIMMABLE = ZonePlan("saloon", 1, DRIVER, (1,), "dimmable", False, fade_ms=FADE_MS, wired_switch=True)
COLOURED = ZonePlan("floor", 2, DRIVER, (2, 3, 4), "colour", False, fade_ms=0)
TUNABLE = ZonePlan("chart", 3, DRIVER, (5, 6), "tunable_white", False, fade_ms=0)
SWITCHED = ZonePlan("locker", 4, DRIVER, (7,), "switched", True, lit_on_bus_loss=True)
EVENING = ScenePlan("evening", 1, 1000, ((1, 400, -1, 0), (2, 300, 0xFF8000, 0), (4, 0, -1, 0), (9, 500, -1, 0)))
NIGHT = ScenePlan("night", 2, 600, ((1, 0, -1, 0), (2, 120, 0xFF0000, 0)))


class Rig(NodeRig):
    def __init__(self, *, settled: bool = True) -> None:
        self.plan = plan_with(DIMMABLE, COLOURED, TUNABLE, SWITCHED, scenes=(EVENING, NIGHT))
        super().__init__(ZoneDriver(self.plan, DRIVER))
        self.number = 0
        self.start()
        if settled:
            self.run_for(JOIN_MS + 100)
        self.forget()

    def press(self, zone: int, action: int, level: int = 0, colour: int = 0) -> None:
        self.number = self.number + 1 & 0xFF
        self.frame(PRESS.can_id(PANEL), PRESS.pack(self.number, zone, action, level, colour, 1))

    def call(self, scene: int, *, revision: int | None = None, fade_ms: int = 500, joining: int = 0, again: bool = False) -> None:
        if not again:
            self.number = self.number + 1 & 0xFF
        known = self.plan.scene_revision if revision is None else revision
        self.frame(SCENE.can_id(PANEL), SCENE.pack(self.number, scene, known, fade_ms // 10, joining))

    def duty(self, channel: int) -> int:
        return self.outputs.get(f"channel.{channel}", 0)

    def zone_states(self, zone: int) -> list[tuple[Any, ...]]:
        """(level, moving, fault) of every report of a zone."""
        words = [ZONE_STATE.unpack(int.from_bytes(data, "big")) for _, data in self.said(ZONE_STATE.code)]
        return [(word[3], word[2], word[5]) for word in words if word[0] == zone]

    def scene_states(self) -> list[tuple[int, ...]]:
        return [SCENE_STATE.unpack(int.from_bytes(data, "big")) for _, data in self.said(SCENE_STATE.code)]


def full(lightness: int, steps: int = STEPS) -> int:
    """Parts of 65,535 for a lightness at 12 bits."""
    return (duty_for(lightness, steps) * 65_535 + steps // 2) // steps


# ------------------------------------------------------------------------------------------------ answers


def answers(rig: Rig, zone: int = 1) -> list[tuple[int, int, int]]:
    """(now, panel, number) of every report of a zone."""
    words = [(now_ns, ZONE_STATE.unpack(int.from_bytes(data, "big"))) for now_ns, data in rig.said(ZONE_STATE.code)]
    return [(now_ns, word[-2], word[-1]) for now_ns, word in words if word[0] == zone]


def test_a_fade_is_answered_at_its_first_step_and_not_before() -> None:
    """A driver that is reset between an answer and the first step would have lost a press without a word."""
    rig = Rig()
    began_ns = rig.now_ns
    rig.press(1, PRESS_ON)
    rig.run_for(9.999999)
    assert (PANEL, 1) not in {answer[1:] for answer in answers(rig)}
    rig.run_for(0.000001)
    assert [answer for answer in answers(rig) if answer[1:] == (PANEL, 1)] == [(began_ns + 10 * MS, PANEL, 1)]


def test_no_other_report_answers_before_the_first_step() -> None:
    rig = Rig()
    rig.press(1, PRESS_ON)
    rig.input("lamp.1", 1)
    rig.number -= 1
    rig.press(1, PRESS_ON)
    assert len(answers(rig)) == 2, "the lamp, and the repeat"
    assert {answer[1:] for answer in answers(rig)} == {(0, 0)}
    rig.run_for(10)
    assert answers(rig)[-1][1:] == (PANEL, 1)


def test_a_press_that_is_overtaken_before_its_first_step_is_answered_too() -> None:
    rig = Rig()
    rig.press(1, PRESS_ON)
    rig.run_for(4)
    rig.press(1, PRESS_OFF)
    assert [answer[1:] for answer in answers(rig)] == [(PANEL, 1)]
    rig.run_for(10)
    assert answers(rig)[-1][1:] == (PANEL, 2)


def test_a_press_overtaken_by_a_scene_without_a_fade_is_answered_when_asked_again() -> None:
    rig = Rig()
    rig.press(1, PRESS_ON)
    rig.call(1, fade_ms=0)
    rig.number = 0
    rig.press(1, PRESS_ON)
    assert answers(rig)[-1][1:] == (PANEL, 1)


def test_a_change_without_a_fade_is_answered_at_once() -> None:
    rig = Rig()
    rig.press(4, PRESS_ON)
    assert [answer[1:] for answer in answers(rig, 4)] == [(PANEL, 1)]


# ------------------------------------------------------------------------------------------------ fades


def test_a_fade_goes_in_a_straight_line_of_lightness_in_steps_of_10_ms() -> None:
    rig = Rig()
    rig.press(1, PRESS_ON)
    began_ns = rig.now_ns
    rig.run_for(FADE_MS)
    told = rig.told("channel.1")
    assert [now_ns - began_ns for now_ns, _ in told] == [step * 10 * MS for step in range(26)]
    assert [duty for _, duty in told] == [full(1000 * step // 25) for step in range(26)]
    assert rig.zone_states(1)[-1] == (1000, 0, 0)
    rig.forget()
    rig.run_for(300)
    assert not rig.told("channel.1"), "at rest it says nothing"


def test_a_turn_in_the_middle_goes_on_from_where_the_light_is() -> None:
    rig = Rig()
    rig.press(1, PRESS_ON)
    rig.run_for(100)
    rig.forget()
    rig.press(1, PRESS_OFF)
    assert rig.told("channel.1")[0][1] == full(400), "no jump"
    rig.run_for(FADE_MS)
    assert rig.duty(1) == 0


def test_on_comes_back_to_the_last_level() -> None:
    rig = Rig()
    rig.press(1, PRESS_LEVEL, 350)
    rig.run_for(FADE_MS)
    rig.press(1, PRESS_TOGGLE)
    rig.run_for(FADE_MS)
    assert rig.duty(1) == 0
    rig.press(1, PRESS_ON)
    rig.run_for(FADE_MS)
    assert rig.duty(1) == full(350)


def test_a_level_beyond_full_is_full() -> None:
    rig = Rig()
    rig.press(1, PRESS_LEVEL, 4095)
    rig.run_for(FADE_MS)
    assert rig.duty(1) == 65_535


@pytest.mark.parametrize(("action", "ends_at"), [(PRESS_DIM_UP, 1000), (PRESS_DIM_DOWN, 10)])
def test_a_hand_dims_slowly_and_stops_where_it_lets_go(action: int, ends_at: int) -> None:
    """From dark to full in 4 s: a second of a hand is a quarter."""
    rig = Rig()
    rig.press(1, PRESS_LEVEL, 500)
    rig.run_for(FADE_MS)
    rig.press(1, action)
    rig.run_for(1000)
    rig.press(1, PRESS_DIM_STOP)
    rig.run_for(500)
    assert rig.duty(1) == pytest.approx(full(750 if action == PRESS_DIM_UP else 250), abs=full(260) - full(250))
    rig.press(1, action)
    rig.run_for(5000)
    assert rig.duty(1) == full(ends_at), "and at the end by itself"


@pytest.mark.parametrize(
    "overtaken_by", [lambda rig: rig.press(1, PRESS_OFF), lambda rig: rig.call(SCENE_ALL_OFF), lambda rig: rig.call(2)]
)
def test_a_hand_that_lets_go_stops_nothing_but_its_own_dimming(overtaken_by: Any) -> None:
    """Somebody else put the light out meanwhile, and has been told that it is done."""
    rig = Rig()
    rig.press(1, PRESS_LEVEL, 900)
    rig.run_for(500)
    rig.press(1, PRESS_DIM_DOWN)
    rig.run_for(400)
    overtaken_by(rig)
    rig.run_for(100)
    rig.press(1, PRESS_DIM_STOP)
    rig.run_for(800)
    assert rig.duty(1) == 0
    assert answers(rig)[-1][1:] == (PANEL, rig.number), "it has its answer all the same"
    rig.press(1, PRESS_ON)
    rig.run_for(500)
    assert rig.duty(1) == full(800), "the level it was seen at last"


def test_a_stop_is_no_hand_that_works_a_light_which_waits_for_its_scene() -> None:
    """Its driver was reset while a finger dimmed, and the finger lets go before it has come back to light."""
    rig = Rig(settled=False)
    rig.press(4, PRESS_DIM_STOP)
    rig.run_for(JOIN_MS)
    assert rig.duty(7) == 65_535


def test_a_hand_that_dims_after_another_stops_where_it_lets_go() -> None:
    rig = Rig()
    rig.press(1, PRESS_LEVEL, 500)
    rig.run_for(500)
    rig.press(1, PRESS_DIM_DOWN)
    rig.run_for(400)
    rig.press(1, PRESS_DIM_UP)
    rig.run_for(1200)
    rig.press(1, PRESS_DIM_STOP)
    rig.run_for(100)
    for action, level in ((PRESS_DIM_STOP, 700), (PRESS_OFF, 0), (PRESS_ON, 700)):
        rig.press(1, action)
        rig.run_for(500)
        assert rig.duty(1) == full(level)


def test_a_switched_zone_is_on_or_off_at_once() -> None:
    rig = Rig()
    assert rig.duty(7) == 65_535
    rig.press(4, PRESS_OFF)
    assert rig.duty(7) == 0
    rig.press(4, PRESS_LEVEL, 1)
    assert rig.duty(7) == 65_535
    rig.forget()
    for action in (PRESS_DIM_UP, PRESS_DIM_DOWN, PRESS_COLOUR, PRESS_KELVIN):
        rig.press(4, action, 500, 3000)
    assert not rig.did


@settings(deadline=None, max_examples=40)
@given(moves=st.lists(st.tuples(st.integers(0, 1000), st.integers(0, 400)), max_size=12))
def test_lightness_never_jumps_more_than_its_fade_allows(moves: list[tuple[int, int]]) -> None:
    light = ZoneLight(DIMMABLE)
    now_ns, last = 0, 0
    light.step(0)
    for level, wait_ms in moves:
        light.go(now_ns, level, FADE_MS * MS)
        assert abs(light.seen - last) <= 1000 * 10 // FADE_MS + 1
        for _ in range(wait_ms // 10):
            last = light.seen
            if light.step_ns <= now_ns + 10 * MS:
                light.step(light.step_ns)
                assert abs(light.seen - last) <= 1000 * 10 // FADE_MS + 1
            now_ns += 10 * MS
        last = light.seen


# ------------------------------------------------------------------------------------------------ colours


def test_colour_and_whites() -> None:
    rig = Rig()
    rig.press(2, PRESS_COLOUR, 0, 0x0000FF)
    assert rig.duty(4) == 65_535
    assert rig.duty(3) < 65_535
    rig.press(3, PRESS_KELVIN, 0, 6000)
    assert (rig.duty(5), rig.duty(6)) == (0, 65_535)
    rig.press(3, PRESS_KELVIN, 0, 9000)
    assert rig.zone_states(3)[-1][2] == 5, "colder than its lamps: the nearest, and it says so"
    rig.press(3, PRESS_KELVIN, 0, 2700)
    assert rig.zone_states(3)[-1][2] == 0
    rig.forget()
    rig.press(3, PRESS_COLOUR, 0, 0x00FF00)
    rig.press(2, PRESS_KELVIN, 0, 3000)
    rig.press(3, PRESS_KELVIN, 0, 0)
    assert not rig.did, "what its lamps can't be is not done and not answered"


# ------------------------------------------------------------------------------------------------ scenes


def test_a_scene_is_joined_and_answered() -> None:
    rig = Rig()
    rig.call(1, fade_ms=400)
    assert rig.scene_states()[-1] == (1, rig.plan.scene_revision, PANEL, rig.number, 0)
    rig.run_for(400)
    assert (rig.duty(1), rig.duty(7)) == (full(400), 0)
    assert rig.duty(2) == full(300)
    rig.forget()
    number = rig.number
    rig.press(1, PRESS_OFF)
    rig.number = number
    rig.call(1, again=True)
    assert rig.scene_states()[-1][0] == 1
    rig.run_for(FADE_MS)
    assert rig.duty(1) == 0, "a repeat is answered and not done again"


def test_all_off_is_a_scene_of_its_own() -> None:
    rig = Rig()
    rig.call(1)
    rig.run_for(500)
    rig.call(SCENE_ALL_OFF, fade_ms=250)
    rig.run_for(250)
    assert not any(rig.duty(channel) for channel in range(1, 8))
    assert rig.scene_states()[-1][0] == SCENE_ALL_OFF


def test_all_off_leaves_each_its_colour() -> None:
    rig = Rig()
    rig.press(2, PRESS_COLOUR, 0, 0xFF0000)
    rig.press(3, PRESS_KELVIN, 0, 2700)
    lit = [rig.duty(channel) for channel in range(2, 7)]
    rig.call(SCENE_ALL_OFF, fade_ms=0)
    assert not any(rig.duty(channel) for channel in range(2, 7))
    rig.press(2, PRESS_ON)
    rig.press(3, PRESS_ON)
    assert [rig.duty(channel) for channel in range(2, 7)] == lit


def test_an_older_table_is_said() -> None:
    rig = Rig()
    rig.call(1, revision=rig.plan.scene_revision ^ 1)
    assert rig.scene_states()[-1][4] == 4
    rig.call(77)
    assert rig.scene_states()[-1] == (1, rig.plan.scene_revision, PANEL, rig.number, 4), "it stays in the scene it knows"


def test_a_driver_that_starts_is_dark_until_it_is_told_or_nobody_does() -> None:
    rig = Rig(settled=False)
    rig.run_for(JOIN_MS - 1)
    assert rig.duty(7) == 0
    rig.run_for(1)
    assert rig.duty(7) == 65_535
    told = Rig(settled=False)
    told.run_for(JOIN_MS - 1)
    told.call(2, joining=1)
    told.run_for(1000)
    assert told.duty(7) == 0, "it joined a scene: what is lit after a reset waits for another one"
    assert told.duty(2) == full(120)


@pytest.mark.parametrize("action", [PRESS_OFF, PRESS_ON, PRESS_LEVEL])
def test_a_press_before_anybody_told_it_stands(action: int) -> None:
    """Switched off a moment after its driver started, a zone that is lit after a reset stays dark; the others light up."""
    rig = Rig(settled=False)
    rig.run_for(100)
    rig.press(4, action, 0)
    rig.run_for(1000)
    assert rig.duty(7) == (65_535 if action == PRESS_ON else 0)


def test_a_wired_switch_before_anybody_told_it_stands() -> None:
    plan = plan_with(replace(SWITCHED, wired_switch=True))
    rig = NodeRig(ZoneDriver(plan, DRIVER))
    rig.start()
    for value in (1, 0):
        rig.run_for(50)
        rig.input("switch.4", value)
    rig.run_for(1000)
    assert rig.outputs.get("channel.7", 0) == 0


@pytest.mark.parametrize("by_switch", [False, True])
@pytest.mark.parametrize("scene", [1, SCENE_ALL_OFF])
def test_a_scene_told_late_leaves_what_a_hand_has_worked(scene: int, by_switch: bool) -> None:
    """Its driver was reset while the bus was cut, and somebody lit a lamp before the cut was mended."""
    rig = Rig(settled=False)
    rig.run_for(3000)
    if by_switch:
        rig.input("switch.1", 1)
    else:
        rig.press(1, PRESS_ON)
    rig.run_for(1000)
    rig.call(scene, joining=1)
    rig.run_for(1000)
    assert rig.duty(1) == 65_535
    assert rig.duty(2) == (full(300) if scene == 1 else 0), "the others join"
    assert rig.scene_states()[-1][0] == scene
    rig.call(2)
    rig.run_for(1000)
    assert rig.duty(1) == 0, "a scene that somebody asks for is for all"


def test_who_knows_of_a_scene_does_not_join_again() -> None:
    rig = Rig()
    rig.call(1)
    rig.run_for(500)
    rig.press(1, PRESS_OFF)
    rig.run_for(FADE_MS)
    rig.forget()
    rig.call(1, joining=1)
    assert not rig.did
    assert rig.duty(1) == 0


# ------------------------------------------------------------------------------------------------ wires


def test_each_change_of_a_wired_switch_is_a_touch() -> None:
    rig = Rig()
    for lit, value in ((True, 1), (False, 0), (True, 1)):
        rig.input("switch.1", value)
        rig.run_for(FADE_MS)
        assert (rig.duty(1) > 0) == lit
    rig.forget()
    for channel in ("switch.2", "switch.99", "switch.", "switch.x", "lamp.99"):
        rig.input(channel, 1)
    assert not rig.did


@pytest.mark.parametrize(("sensed", "fault"), [(1, 1), (2, 2), (7, 1), (-3, 1), (0, 0)])
def test_a_lamp_that_fails_is_said_at_once(sensed: int, fault: int) -> None:
    rig = Rig()
    rig.input("lamp.1", 2)
    rig.input("lamp.1", sensed)
    assert rig.zone_states(1)[-1][2] == fault


def test_silence_lights_what_must_not_be_dark() -> None:
    """After 2 s without any panel's heartbeat, once; a panel that is heard again changes nothing by itself."""
    rig = Rig()
    rig.frame(HEARTBEAT.can_id(PANEL), bytes(8))
    heard_ns = rig.now_ns
    rig.press(4, PRESS_OFF)
    rig.run_to(heard_ns + 2000 * MS - 1)
    assert rig.duty(7) == 0
    rig.run_to(heard_ns + 2000 * MS)
    assert rig.duty(7) == 65_535
    rig.press(4, PRESS_OFF)
    rig.run_for(5000)
    assert rig.duty(7) == 0, "once"
    rig.frame(HEARTBEAT.can_id(PANEL), bytes(8))
    rig.run_for(1999)
    assert rig.duty(7) == 0
    rig.run_for(1)
    assert rig.duty(7) == 65_535, "lost anew"
