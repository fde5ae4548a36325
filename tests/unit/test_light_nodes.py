"""Panel and zone driver: a press is numbered, asked for until it is answered, done once, and reported where it was not done."""

import pytest

from busim.seam import NOTHING, OUTPUT, RECHECK
from busim.units import MS
from nodes.panel import Panel
from nodes.zone_driver import ZoneDriver

from . import hand_made_frames as hand
from .node_rig import NodeRig
from .small_boat import DRIVER, OTHER_DRIVER, PANEL, small_boat

QUIET, WAITS, DONE, FAILED, PARTLY = 0, 1, 2, 3, 4
FULL_DUTY = 65_535
OFF, ON, TOGGLE = 0, 1, 2
DEBOUNCE_NS = 20 * MS
REPEAT_NS = 50 * MS
FAILED_NS = 800 * MS
SCENE_STATE = 19
LAMP, BOTH_ON, BOTH_OFF, ALL_OFF, SECOND_PAGE = 1, 2, 3, 4, 5


class PanelRig(NodeRig):
    def __init__(self) -> None:
        super().__init__(Panel(small_boat(), PANEL))
        self.start()

    def touch(self, control: int, for_ms: float = 30) -> None:
        self.input(f"touch.{control}", 1)
        self.run_for(for_ms)
        self.input(f"touch.{control}", 0)

    def answered(self, zone: int, number: int, panel: int = PANEL) -> object:
        driver = OTHER_DRIVER if zone == 2 else DRIVER
        return self.frame(hand.id_of(hand.ZONE, driver), hand.zone_state(zone, 1000, panel, number))

    def asked(self) -> list[tuple[int, int, int, int]]:
        """(now, number, zone, action) of every press sent."""
        return [(now_ns, data[0], data[1], data[2] >> 4) for now_ns, data in self.said(hand.PRESS)]


class DriverRig(NodeRig):
    def __init__(self, address: int = DRIVER) -> None:
        super().__init__(ZoneDriver(small_boat(), address))
        self.address = address
        self.start()
        self.run_for(500)
        self.forget()

    def pressed(self, number: int, zone: int = 1, action: int = TOGGLE, panel: int = PANEL) -> list[tuple[int, int]]:
        """The (panel, number) it answers with."""
        before = len(self.said(hand.ZONE))
        self.frame(hand.id_of(hand.PRESS, panel), hand.press(number, zone, action))
        return [(hand.part(data, 10, 6), hand.part(data, 2, 8)) for _, data in self.said(hand.ZONE)[before:]]


# ------------------------------------------------------------------------------------------------ panel


def test_a_touch_is_believed_at_exactly_the_debounce() -> None:
    rig = PanelRig()
    assert rig.input("touch.1", 1) == RECHECK
    rig.run_to(DEBOUNCE_NS - 1)
    assert not rig.asked()
    rig.run_to(DEBOUNCE_NS)
    assert rig.asked() == [(DEBOUNCE_NS, 1, 1, TOGGLE)]
    assert rig.outputs["field.1"] == WAITS


def test_a_touch_shorter_than_the_debounce_is_none() -> None:
    rig = PanelRig()
    rig.touch(LAMP, 19.999999)
    rig.run_for(1000)
    assert not rig.asked()
    rig.touch(LAMP, 20)
    assert len(rig.asked()) == 1


def test_a_bounce_begins_the_debounce_anew() -> None:
    rig = PanelRig()
    rig.touch(LAMP, 15)
    rig.input("touch.1", 1)
    rig.run_for(19)
    assert not rig.asked()
    rig.run_for(1)
    assert len(rig.asked()) == 1


def test_a_touch_held_is_one_press() -> None:
    rig = PanelRig()
    rig.touch(LAMP, 700)
    assert {number for _, number, _, _ in rig.asked()} == {1}


def test_a_press_is_repeated_until_the_zone_answers() -> None:
    rig = PanelRig()
    rig.touch(LAMP)
    rig.run_to(DEBOUNCE_NS + 2 * REPEAT_NS + 10 * MS)
    assert [now_ns - DEBOUNCE_NS for now_ns, *_ in rig.asked()] == [0, REPEAT_NS, 2 * REPEAT_NS]
    assert len({entry[1:] for entry in rig.asked()}) == 1
    for zone, number, panel in ((1, 2, PANEL), (3, 1, PANEL), (1, 1, PANEL + 1), (1, 1, 0)):
        assert rig.answered(zone, number, panel) == NOTHING
    rig.frame(hand.id_of(hand.ZONE, DRIVER), hand.zone_state(1, 1000, PANEL, 1)[:7])
    assert rig.outputs["field.1"] == WAITS
    assert rig.answered(1, 1) == ((OUTPUT, "field.1", DONE),)
    rig.run_for(3000)
    assert len(rig.asked()) == 3
    assert rig.outputs["field.1"] == DONE


def test_a_press_fails_at_exactly_its_time() -> None:
    rig = PanelRig()
    rig.touch(LAMP)
    rig.run_to(DEBOUNCE_NS + FAILED_NS - 1)
    assert rig.outputs["field.1"] == WAITS
    rig.run_to(DEBOUNCE_NS + FAILED_NS)
    assert rig.outputs["field.1"] == FAILED
    sent = len(rig.asked())
    assert sent == FAILED_NS // REPEAT_NS
    rig.answered(1, 1)
    rig.run_for(1000)
    assert (rig.outputs["field.1"], len(rig.asked())) == (FAILED, sent), "an answer after that does not unsay it"


def test_two_zones_are_asked_and_answer_each_for_itself() -> None:
    rig = PanelRig()
    rig.touch(BOTH_ON)
    assert [entry[1:] for entry in rig.asked()] == [(1, 1, ON), (1, 2, ON)]
    assert rig.answered(2, 1) == RECHECK
    rig.forget()
    rig.run_for(120)
    assert {entry[1:] for entry in rig.asked()} == {(1, 1, ON)}
    assert rig.outputs["field.2"] == WAITS
    rig.answered(2, 1)
    assert rig.outputs["field.2"] == WAITS
    rig.answered(1, 1)
    assert rig.outputs["field.2"] == DONE


def test_one_zone_of_two_that_is_silent_leaves_the_press_partly_done() -> None:
    rig = PanelRig()
    rig.touch(BOTH_OFF)
    rig.answered(1, 1)
    rig.run_to(DEBOUNCE_NS + FAILED_NS)
    assert rig.outputs["field.3"] == PARTLY
    assert (rig.outputs["failed.1"], rig.outputs["failed.2"]) == (0, 1), "and says which"


def test_two_quick_presses_are_asked_for_one_after_the_other() -> None:
    """A zone knows a repeat by its last press: asked for both in turn it would switch with every frame."""
    rig = PanelRig()
    rig.touch(LAMP)
    rig.touch(LAMP)
    rig.run_for(200)
    assert {number for _, number, _, _ in rig.asked()} == {1}
    rig.forget()
    answered_ns = rig.now_ns
    rig.answered(1, 1)
    rig.run_for(1)
    assert rig.asked() == [(answered_ns, 2, 1, TOGGLE)], "and at once when the first is done"
    rig.answered(1, 2)
    rig.run_for(1000)
    assert len(rig.asked()) == 1
    assert rig.outputs["field.1"] == DONE


def test_a_press_that_waits_for_another_fails_in_its_own_time() -> None:
    rig = PanelRig()
    rig.touch(LAMP)
    rig.run_to(300 * MS)
    rig.touch(BOTH_ON)
    pressed_ns = 320 * MS
    assert (1, 2, 2, ON) not in rig.asked()
    assert [entry[1:] for entry in rig.asked() if entry[1] == 2] == [(2, 2, ON)], "the other zone need not wait"
    rig.answered(2, 2)
    rig.run_to(DEBOUNCE_NS + FAILED_NS)
    assert (rig.outputs["field.1"], rig.outputs["field.2"]) == (FAILED, WAITS)
    rig.run_to(pressed_ns + FAILED_NS - 1)
    assert (2, 1, ON) in [entry[1:] for entry in rig.asked()]
    assert rig.outputs["field.2"] == WAITS
    rig.run_to(pressed_ns + FAILED_NS)
    assert rig.outputs["field.2"] == PARTLY


def test_numbers_go_round() -> None:
    rig = PanelRig()
    for number in range(1, 260):
        rig.touch(LAMP)
        rig.answered(1, number % 256)
    numbers = list(dict.fromkeys(entry[1] for entry in rig.asked()))
    assert numbers == [*range(1, 256), 0]
    assert len(rig.asked()) == 259


def test_a_number_a_zone_still_carries_is_passed_over() -> None:
    """After 256 presses for others it would seem to have done this one already."""
    rig = PanelRig()
    rig.answered(1, 7)
    rig.answered(2, 8)
    for zone, number in ((1, 9), (2, 10)):
        rig.answered(zone, number)
    rig.touch(LAMP)
    assert rig.asked()[-1][1] == 8, "it went on after 7, and 8 is no longer carried by any zone"
    rig.answered(1, 8)
    rig.answered(1, 9)
    rig.run_for(1000)
    rig.touch(LAMP)
    assert rig.asked()[-1][1] == 10, "9 would have seemed done"


@pytest.mark.parametrize("control", [SECOND_PAGE, 9])
def test_a_field_that_is_not_on_the_page_shown_does_nothing(control: int) -> None:
    rig = PanelRig()
    rig.touch(control)
    rig.run_for(2000)
    assert not rig.asked()
    assert not any(rig.outputs.values()), "page 0, and nothing in its fields"


def test_a_panel_listens_to_the_drivers_of_its_zones() -> None:
    codes = (hand.ZONE, SCENE_STATE)  # it has a field for all off, which every driver answers by its scene
    assert set(Panel(small_boat(), PANEL).receives()) == {
        (0, hand.id_of(code, address)) for code in codes for address in (DRIVER, OTHER_DRIVER)
    }


# ------------------------------------------------------------------------------------------------ zone driver


JOIN_NS = 400 * MS


def test_after_a_start_lamps_are_as_the_boat_file_says() -> None:
    rig = NodeRig(ZoneDriver(small_boat(), DRIVER))
    rig.start()
    assert rig.outputs == {"channel.1": 0, "channel.2": 0}, "dark until it knows of no scene to join"
    rig.run_for(2500)
    states = [
        (now_ns // MS, hand.part(data, 56, 8), hand.part(data, 55, 1), hand.part(data, 44, 10))
        for now_ns, data in rig.said(hand.ZONE)
    ]
    assert states == [(at, *zone) for at in (0, 1000, 2000) for zone in ((1, 0, 0), (3, int(at > 0), 1000 * int(at > 0)))]
    assert rig.told("channel.2") == [(0, 0), (JOIN_NS, FULL_DUTY)]


@pytest.mark.parametrize(
    ("zone", "action", "level"), [(1, ON, 1000), (1, OFF, 0), (1, TOGGLE, 1000), (3, ON, 1000), (3, OFF, 0), (3, TOGGLE, 0)]
)
def test_a_press_switches_and_is_answered_at_once(zone: int, action: int, level: int) -> None:
    rig = DriverRig()
    assert rig.pressed(7, zone, action) == [(PANEL, 7)]
    assert rig.told(f"channel.{1 if zone == 1 else 2}") == [(rig.now_ns, FULL_DUTY if level else 0)]
    assert hand.part(rig.said(hand.ZONE)[-1][1], 44, 10) == level


def test_a_repeat_is_answered_and_not_done_again() -> None:
    rig = DriverRig()
    for _ in range(16):
        assert rig.pressed(7) == [(PANEL, 7)]
        rig.run_for(50)
    assert [duty for _, duty in rig.told("channel.1")] == [FULL_DUTY]


@pytest.mark.parametrize(("after_ns", "again"), [(FAILED_NS + REPEAT_NS, False), (FAILED_NS + REPEAT_NS + 1, True)])
def test_a_number_is_the_same_press_while_its_panel_may_repeat_it(after_ns: int, again: bool) -> None:
    """From when it was first heard: one panel gives up after press_failed_ms, one that restarted counts from one again."""
    rig = DriverRig()
    rig.pressed(1)
    first_ns = rig.now_ns
    rig.run_for(400)
    rig.pressed(1)
    rig.run_to(first_ns + after_ns)
    assert rig.pressed(1) == [(PANEL, 1)]
    assert [duty for _, duty in rig.told("channel.1")] == ([FULL_DUTY, 0] if again else [FULL_DUTY])


def test_a_repeat_after_a_long_gap_is_still_a_repeat() -> None:
    """The answer was lost, and so was every repeat for 300 ms."""
    rig = DriverRig()
    rig.pressed(1)
    rig.run_for(300)
    rig.pressed(1)
    assert [duty for _, duty in rig.told("channel.1")] == [FULL_DUTY]


def test_panels_and_zones_have_numbers_of_their_own() -> None:
    rig = DriverRig()
    rig.pressed(1, zone=1, panel=PANEL)
    rig.frame(hand.id_of(hand.PRESS, PANEL), hand.press(1, 3, TOGGLE))
    assert (rig.outputs["channel.1"], rig.outputs["channel.2"]) == (FULL_DUTY, 0)
    rig.pressed(2)
    assert rig.outputs["channel.1"] == 0
    rig.pressed(1)
    assert rig.outputs["channel.1"] == FULL_DUTY, "only the last press is remembered"


@pytest.mark.parametrize("action", [4, 5, 6, 7, 9, 15])
def test_an_action_a_switched_zone_can_not_do_is_ignored_and_not_answered(action: int) -> None:
    rig = DriverRig()
    assert rig.pressed(7, action=action) == []
    assert not rig.told("channel.1")
    rig.run_for(1000)
    assert {data[1:] for _, data in rig.said(hand.ZONE)} == {hand.zone_state(1, 0)[1:], hand.zone_state(3, 1000)[1:]}


@pytest.mark.parametrize("zone", [0, 2, 4, 255])
def test_a_zone_of_another_driver_is_not_its_business(zone: int) -> None:
    rig = DriverRig()
    assert rig.pressed(7, zone) == []
    assert not rig.did


@pytest.mark.parametrize("length", range(8))
def test_a_press_of_another_length_is_none(length: int) -> None:
    rig = DriverRig()
    rig.frame(hand.id_of(hand.PRESS, PANEL), hand.press(7, 1, TOGGLE)[:length])
    assert not rig.did


def test_panel_and_driver_agree_through_a_lossy_link() -> None:
    """Every third frame is lost, in both directions: each of 40 toggles is done exactly once or said to have failed."""
    panel, driver = PanelRig(), DriverRig()
    driver.now_ns = panel.now_ns
    driver.run_to(2 * MS)
    panel.run_to(2 * MS)
    sent = 0
    switched = 0
    for _ in range(40):
        panel.forget()
        driver.forget()
        before = driver.outputs.get("channel.1", 0)
        panel.input("touch.1", 1)
        for step in range(120):
            if step == 3:
                panel.input("touch.1", 0)
            asked = len(panel.said(hand.PRESS))
            panel.run_for(10)
            driver.run_for(10)
            answers = len(driver.said(hand.ZONE))
            for _, data in panel.said(hand.PRESS)[asked:]:
                sent += 1
                if sent % 3:
                    driver.frame(hand.id_of(hand.PRESS, PANEL), data)
            for _, data in driver.said(hand.ZONE)[answers:]:
                sent += 1
                if sent % 3 and hand.part(data, 10, 6) == PANEL:
                    panel.frame(hand.id_of(hand.ZONE, DRIVER), data)
        done = driver.outputs.get("channel.1", 0) != before
        switched += done
        assert len(driver.told("channel.1")) == int(done)
        assert panel.outputs["field.1"] == (DONE if done else FAILED)
    assert switched


def test_frames_say_nothing_else() -> None:
    panel, driver = PanelRig(), DriverRig()
    panel.touch(BOTH_OFF)
    assert [data for _, data in panel.said(hand.PRESS)] == [hand.press(1, zone, OFF, BOTH_OFF) for zone in (1, 2)]
    driver.pressed(9)
    assert driver.said(hand.ZONE)[-1][1] == hand.zone_state(1, 1000, PANEL, 9)
