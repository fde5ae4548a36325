"""Navigation lights follow the boat's condition and nothing else.

COLREGs 1972, Rules 20 to 30, say which lights are shown when; the note to Annex I s. 8, that their intensity is not limited by
variable control: they are never dimmed.
"""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busim.protocol.catalogue import CONDITION, HEARTBEAT, NOTICE, PRESS, SCENE
from busim.protocol.values import PRESS_CONDITION, PRESS_LEVEL
from busim.units import MS, SECOND
from nodes.condition import Condition, ConditionKeeper
from nodes.navigation import Navigation
from nodes.station import Station

from . import hand_made_frames as hand
from .node_rig import NodeRig
from .small_boat import BRIDGE, MASTHEAD, PANEL, WHEELHOUSE, small_boat

UNDER_WAY, AT_ANCHOR, AGROUND = 1, 2, 3
SIDE_LIGHTS, ANCHOR_LIGHT = "channel.1", "channel.2"
FULL = 65_535


class Rig(NodeRig):
    def __init__(self, *, side: int = 0, anchor: int = 0) -> None:
        self.plan = small_boat(navigation=True)
        super().__init__(Navigation(self.plan, MASTHEAD))
        self.start()
        self.input("relay.1", side)
        self.input("relay.2", anchor)

    def says(self, condition: int, number: int, station: int = WHEELHOUSE, *, spoil: bool = False) -> None:
        can_id = CONDITION.can_id(station)
        data = CONDITION.pack(can_id, self.counter(can_id), condition, number)
        self.frame(can_id, hand.spoiled(data) if spoil else data)

    def heard(self, condition: int, number: int, station: int = WHEELHOUSE) -> None:
        """Said often enough to count: the first frame of a sender does not."""
        for _ in range(3):
            self.says(condition, number, station)

    def lit(self) -> tuple[bool, bool]:
        return self.outputs.get(SIDE_LIGHTS, 0) > 0, self.outputs.get(ANCHOR_LIGHT, 0) > 0


@pytest.mark.parametrize(
    ("condition", "lit"), [(0, (False, False)), (UNDER_WAY, (True, False)), (AT_ANCHOR, (False, True)), (AGROUND, (False, True))]
)
def test_each_condition_has_its_lights(condition: int, lit: tuple[bool, bool]) -> None:
    rig = Rig()
    rig.heard(condition, 5)
    assert rig.lit() == lit
    assert set(rig.outputs.values()) <= {0, FULL}, "never dimmed"


def test_before_any_condition_is_heard_what_shows_under_way_is_lit() -> None:
    rig = Rig()
    rig.run_to(3 * SECOND - 1)
    assert not rig.outputs
    rig.run_to(3 * SECOND)
    assert rig.lit() == (True, False)
    told = Rig()
    told.heard(AT_ANCHOR, 1)
    told.run_for(4000)
    assert told.lit() == (False, True)


@pytest.mark.parametrize(("spoil", "lit_ms"), [(False, 6000), (True, 3000)])
def test_a_condition_that_does_not_count_yet_puts_that_off_once(spoil: bool, lit_ms: int) -> None:
    """The first frame of a station never counts, and the second may be lost or just on its way."""
    rig = Rig()
    rig.run_for(2990)
    rig.says(0, 1, spoil=spoil)
    rig.run_to(lit_ms * MS - 1)
    assert not rig.outputs
    rig.run_to(lit_ms * MS)
    assert rig.lit() == (True, False)


def test_what_was_lit_before_power_went_stays_lit_when_nobody_tells_a_condition() -> None:
    """A boat at anchor whose batteries were switched off and on does not come to show that she is under way (COLREGs, Rule 30)."""
    rig = Rig(anchor=1)
    rig.run_for(10_000)
    assert not rig.outputs
    rig.heard(UNDER_WAY, 1)
    assert rig.lit() == (True, False)


@pytest.mark.parametrize("cause", range(4))
def test_a_start_takes_the_relays_over_as_they_are(cause: int) -> None:
    rig = Rig(side=0, anchor=1)
    rig.node.on_start(rig.now_ns, cause)
    assert not rig.outputs
    rig.heard(AT_ANCHOR, 9)
    assert not rig.told(ANCHOR_LIGHT), "it is lit already"


def test_the_highest_number_stands_and_of_two_equal_ones_the_lower_address() -> None:
    rig = Rig()
    rig.heard(UNDER_WAY, 10, BRIDGE)
    rig.heard(AT_ANCHOR, 9, WHEELHOUSE)
    assert rig.lit() == (True, False)
    rig.heard(AT_ANCHOR, 10, WHEELHOUSE)
    assert rig.lit() == (False, True)
    rig.heard(UNDER_WAY, 10, BRIDGE)
    assert rig.lit() == (False, True)
    rig.heard(UNDER_WAY, 11, BRIDGE)
    assert rig.lit() == (True, False)
    rig.heard(0, 0, WHEELHOUSE)
    rig.heard(7, 12, WHEELHOUSE)
    assert rig.lit() == (True, False), "no number, and a condition nobody knows"


@pytest.mark.parametrize(("silent_ns", "follows"), [(3500 * MS - 1, False), (3500 * MS, True)])
def test_a_condition_that_nobody_says_any_more_gives_way(silent_ns: int, follows: bool) -> None:
    """Its stations began anew, and count from 1."""
    rig = Rig()
    for _ in range(3):
        rig.says(UNDER_WAY, 200)
        rig.run_for(1000)
    last_ns = rig.now_ns - SECOND
    rig.says(AT_ANCHOR, 1)  # says something, but not what stands
    rig.run_to(last_ns + silent_ns)
    rig.says(AT_ANCHOR, 1)
    assert rig.lit() == ((False, True) if follows else (True, False))


def test_who_says_what_stands_holds_it() -> None:
    rig = Rig()
    rig.heard(UNDER_WAY, 200, BRIDGE)
    for _ in range(20):
        rig.run_for(1000)
        rig.says(UNDER_WAY, 200, BRIDGE)
        rig.says(AT_ANCHOR, 1)
        assert rig.lit() == (True, False)


@settings(deadline=None, max_examples=200)
@given(
    frames=st.lists(st.tuples(st.integers(0, 0x7FF), st.binary(max_size=8)), max_size=40),
    scenes=st.lists(st.tuples(st.integers(0, 255), st.integers(0, 255)), max_size=10),
    presses=st.lists(st.tuples(st.integers(0, 255), st.integers(0, 8)), max_size=10),
    silent_ms=st.integers(0, 8000),
)
def test_nothing_else_touches_them(
    frames: list[tuple[int, bytes]], scenes: list[tuple[int, int]], presses: list[tuple[int, int]], silent_ms: int
) -> None:
    """No frame of any id with any data, no scene, no press, no silence. (A condition whose CRC fits by chance: 1 in 256 of some
    ids; the numbers here are such that it would have to be newer too.)"""
    rig = Rig()
    rig.heard(AT_ANCHOR, 0x7FFF)
    rig.forget()
    for number, scene in scenes:
        rig.frame(SCENE.can_id(PANEL), SCENE.pack(number, scene, rig.plan.scene_revision, 0, 0))
    for number, action in presses:
        rig.frame(PRESS.can_id(PANEL), PRESS.pack(number, 1, action, 0, 0, 1))
    for can_id, data in frames:
        if can_id >> 6 != CONDITION.code:
            rig.frame(can_id, data)
    for channel, value in (("switch.1", 1), ("touch.1", 1), ("lamp.9", 1)):
        rig.input(channel, value)
    rig.run_for(silent_ms)
    assert not rig.told(SIDE_LIGHTS)
    assert not rig.told(ANCHOR_LIGHT)


def test_a_spoiled_condition_changes_nothing() -> None:
    rig = Rig()
    for number in range(1, 6):
        rig.says(AT_ANCHOR, number, spoil=True)
    assert not rig.outputs


def notices(rig: Rig) -> list[tuple[int, tuple[int, ...]]]:
    """(now, (which, light, state, priority, number))."""
    places = ((24, 8), (16, 8), (14, 2), (12, 2), (4, 8))
    return [(now_ns, tuple(hand.part(data, *place) for place in places)) for now_ns, data in rig.said(NOTICE.code)]


@pytest.mark.parametrize("sensed", [1, 2])
def test_a_failed_lamp_is_told_three_times_then_every_second_and_its_end_three_times(sensed: int) -> None:
    """As the page has it of alarms: the first frames of a change may be lost."""
    rig = Rig()
    rig.run_for(500)
    rig.input("lamp.2", sensed)
    failed_ns = rig.now_ns
    rig.run_for(2500)
    assert notices(rig) == [(failed_ns + after_ms * MS, (40, 2, 1, 1, 1)) for after_ms in (0, 100, 200, 1200, 2200)]
    rig.forget()
    rig.input("lamp.2", 3 - sensed)
    rig.run_for(600)
    assert notices(rig) == [], "it has failed all the same"
    rig.input("lamp.2", 0)
    ended_ns = rig.now_ns
    rig.run_for(5000)
    assert notices(rig) == [(ended_ns + after_ms * MS, (40, 2, 0, 1, 1)) for after_ms in (0, 100, 200)]


def test_each_failure_has_the_next_number_of_its_node() -> None:
    rig = Rig()
    for channel in ("lamp.1", "lamp.2"):
        rig.input(channel, 1)
        rig.run_for(1500)
    assert {word[1:] for _, word in notices(rig)} == {(1, 1, 1, 1), (2, 1, 1, 2)}
    rig.forget()
    rig.input("lamp.1", 0)
    rig.run_for(1500)
    rig.input("lamp.1", 1)
    rig.run_for(1500)
    assert {word[1:] for _, word in notices(rig)} == {(2, 1, 1, 2), (1, 0, 1, 1), (1, 1, 1, 3)}


def test_after_255_failures_numbers_begin_with_1_again() -> None:
    rig = Rig()
    for _ in range(256):
        rig.input("lamp.1", 1)
        rig.input("lamp.1", 0)
        rig.run_for(1)
    numbers = [word[4] for _, word in notices(rig)]
    assert numbers[-2:] == [255, 1]
    assert 0 not in numbers


# ------------------------------------------------------------------------------------------------ stations


class StationAsked(NodeRig):
    def __init__(self, address: int = WHEELHOUSE) -> None:
        self.plan = small_boat(navigation=True)
        self.address = address
        super().__init__(Station(self.plan, address))
        self.start()

    def asks(self, condition: int, number: int, panel: int = PANEL, action: int = PRESS_CONDITION) -> None:
        self.frame(PRESS.can_id(panel), PRESS.pack(number, 0, action, condition, 0, 1))

    def hears(self, condition: int, number: int, station: int = BRIDGE) -> None:
        can_id = CONDITION.can_id(station)
        self.frame(can_id, CONDITION.pack(can_id, self.counter(can_id), condition, number))

    def said_conditions(self) -> list[tuple[int, int, int]]:
        """(now, condition, number)."""
        return [(now_ns, hand.part(data, 45, 3), hand.part(data, 29, 16)) for now_ns, data in self.said(CONDITION.code)]


def test_a_station_says_what_a_panel_asks_three_times_at_once_and_every_second() -> None:
    """To a node that has not heard it before its first frame counts for nothing, and one may be lost."""
    rig = StationAsked()
    rig.run_for(500)
    assert not rig.said_conditions(), "none is known yet"
    rig.asks(UNDER_WAY, 1)
    asked_ns = rig.now_ns
    rig.run_for(2200)
    at_once = [asked_ns + step * 20 * MS for step in range(3)]
    assert rig.said_conditions() == [(at_ns, UNDER_WAY, 1) for at_ns in (*at_once, at_once[2] + SECOND, at_once[2] + 2 * SECOND)]
    rig.forget()
    rig.asks(UNDER_WAY, 1)
    rig.run_for(1)
    assert [said[1:] for said in rig.said_conditions()] == [(UNDER_WAY, 1)], "a repeat is answered and is no change"
    rig.forget()
    rig.asks(AT_ANCHOR, 2)
    rig.run_for(1)
    assert [said[1:] for said in rig.said_conditions()] == [(AT_ANCHOR, 2)]
    rig.forget()
    for condition, action in ((4, PRESS_CONDITION), (4095, PRESS_CONDITION), (2, PRESS_LEVEL)):
        rig.asks(condition, 9, action=action)
    rig.run_for(1)
    assert not rig.said_conditions()


def test_where_no_such_light_is_on_the_bus_no_station_speaks_of_a_condition() -> None:
    rig = NodeRig(Station(small_boat(), WHEELHOUSE))
    assert not {can_id for _, can_id in rig.node.receives()} & {PRESS.can_id(PANEL), CONDITION.can_id(BRIDGE)}
    rig.start()
    rig.run_for(3000)
    assert not rig.said(CONDITION.code)


def test_a_node_that_heard_nothing_before_has_it_by_the_second_frame() -> None:
    station, mast = StationAsked(), Rig()
    station.run_for(500)
    station.asks(UNDER_WAY, 1)
    asked_ns = station.now_ns
    station.run_for(100)
    lit = []
    for now_ns, data in station.said(CONDITION.code):
        mast.run_to(now_ns)
        mast.frame(CONDITION.can_id(WHEELHOUSE), data)
        lit.append((now_ns - asked_ns, mast.lit()))
    assert lit == [(0, (False, False)), (20 * MS, (True, False)), (40 * MS, (True, False))]


def test_another_station_carries_it_on() -> None:
    rig = StationAsked(BRIDGE)
    can_id = CONDITION.can_id(WHEELHOUSE)
    for counter in (1, 2):
        rig.frame(can_id, CONDITION.pack(can_id, counter, AT_ANCHOR, 44))
    rig.run_for(5)
    assert [said[1:] for said in rig.said_conditions()] == [(AT_ANCHOR, 44)]
    rig.asks(UNDER_WAY, 3)
    rig.run_for(5)
    assert rig.said_conditions()[-1][1:] == (UNDER_WAY, 45), "newer than the one that stood"


@pytest.mark.parametrize(("after_ns", "anew"), [(850 * MS, False), (850 * MS + 1, True)])
def test_the_same_number_is_a_repeat_for_as_long_as_it_is_repeated(after_ns: int, anew: bool) -> None:
    """A panel that starts again may come to a number that was used before."""
    rig = StationAsked()
    rig.asks(AT_ANCHOR, 1)
    rig.run_for(after_ns / MS)
    rig.asks(UNDER_WAY, 1)
    rig.run_for(5)
    assert rig.said_conditions()[-1][1] == (UNDER_WAY if anew else AT_ANCHOR)


def test_a_station_holds_what_it_says_itself() -> None:
    rig = StationAsked()
    for number in range(1, 6):
        rig.asks((UNDER_WAY, AT_ANCHOR)[number % 2], number)
    rig.run_for(10_000)
    can_id = CONDITION.can_id(BRIDGE)
    for counter in (1, 2, 3):
        rig.frame(can_id, CONDITION.pack(can_id, counter, AGROUND, 2))
    rig.run_for(5)
    assert rig.said_conditions()[-1][1:] == (AT_ANCHOR, 5)


@pytest.mark.parametrize(("heard_ns", "stands"), [(3500 * MS - 1, (AT_ANCHOR, 301)), (3500 * MS, (UNDER_WAY, 300))])
def test_what_is_asked_of_a_station_that_began_anew_comes_after_what_the_others_say(heard_ns: int, stands: tuple[int, int]) -> None:
    """It counted from nothing: a press that was answered would come to nothing once it hears the others."""
    rig = StationAsked()
    rig.run_for(100)
    rig.asks(AT_ANCHOR, 1)
    rig.run_for(1)
    assert rig.said_conditions()[-1][1:] == (AT_ANCHOR, 1)
    rig.hears(UNDER_WAY, 300)
    rig.run_to(100 * MS + heard_ns)
    rig.hears(UNDER_WAY, 300)
    rig.forget()
    rig.run_for(50)
    assert [said[1:] for said in rig.said_conditions()] == [stands] * 3, "as a change is said"
    rig.hears(AGROUND, 400)
    rig.run_for(50)
    assert rig.said_conditions()[-1][1:] == (AGROUND, 400), "once, and no other condition is held back by it"


def test_a_station_that_another_has_agreed_with_holds_nothing_against_a_newer_condition() -> None:
    rig = StationAsked()
    rig.asks(AT_ANCHOR, 1)
    for condition, number in ((AT_ANCHOR, 1), (AT_ANCHOR, 1), (UNDER_WAY, 2)):
        rig.hears(condition, number)
    rig.run_for(5)
    assert rig.said_conditions()[-1][1:] == (UNDER_WAY, 2), "it missed a press that the other heard"


def test_two_stations_that_were_asked_different_things_come_to_one() -> None:
    """Whoever hears the other first: what is said goes to and fro until nobody has anything new to say."""
    stations = (StationAsked(WHEELHOUSE), StationAsked(BRIDGE))
    for rig, condition in zip(stations, (UNDER_WAY, AT_ANCHOR), strict=True):
        rig.asks(condition, 1)
    for _ in range(600):
        for rig, other in (stations, stations[::-1]):
            before = len(rig.said(CONDITION.code))
            rig.run_for(5)
            for _, data in rig.said(CONDITION.code)[before:]:
                other.frame(CONDITION.can_id(rig.address), data)
    assert len({rig.said_conditions()[-1][1:] for rig in stations}) == 1


def test_numbers_go_round_without_the_one_that_is_none() -> None:
    keeper = ConditionKeeper(small_boat(navigation=True), WHEELHOUSE)
    keeper.known.number = 0xFFFF
    keeper.known.condition = UNDER_WAY
    keeper.ask(0, PRESS.can_id(PANEL), PRESS.pack(1, 0, PRESS_CONDITION, AT_ANCHOR, 0, 1))
    assert (keeper.known.number, keeper.known.condition) == (1, AT_ANCHOR)


def test_two_panels_that_count_alike_ask_each_for_itself() -> None:
    keeper = ConditionKeeper(small_boat(navigation=True), WHEELHOUSE)
    for panel, condition in ((PANEL, UNDER_WAY), (PANEL + 1, AT_ANCHOR), (PANEL, UNDER_WAY)):
        assert keeper.ask(SECOND, PRESS.can_id(panel), PRESS.pack(1, 0, PRESS_CONDITION, condition, 0, 1))
    assert (keeper.known.number, keeper.known.condition) == (2, AT_ANCHOR), "the third is a repeat of the first"


@pytest.mark.parametrize(("after_ms", "gives_way"), [(3499, False), (3500, True)])
def test_what_was_said_once_holds_for_its_time(after_ms: int, gives_way: bool) -> None:
    known = Condition(small_boat(navigation=True), MASTHEAD)
    assert known.weigh(SECOND, WHEELHOUSE, UNDER_WAY, 5)
    assert known.weigh(SECOND + after_ms * MS, BRIDGE, AT_ANCHOR, 1) == gives_way


def test_a_new_number_for_the_same_condition_changes_nothing_to_see() -> None:
    known = Condition(small_boat(navigation=True), MASTHEAD)
    assert known.weigh(SECOND, WHEELHOUSE, UNDER_WAY, 5)
    assert not known.weigh(2 * SECOND, BRIDGE, UNDER_WAY, 6)
    assert (known.number, known.address) == (6, BRIDGE)


@pytest.mark.parametrize("condition", [4, 7])
def test_a_condition_that_is_none_is_not_heard(condition: int) -> None:
    rig = Rig()
    rig.heard(UNDER_WAY, 1)
    rig.heard(condition, 2)
    assert rig.lit() == (True, False)
    rig.heard(AT_ANCHOR, 2)
    assert rig.lit() == (False, True)


def test_a_station_does_not_listen_to_itself() -> None:
    assert WHEELHOUSE not in Condition(small_boat(navigation=True), WHEELHOUSE).watches


def test_heartbeats_do_not_wait_for_a_condition() -> None:
    rig = Rig()
    rig.run_to(1000 * MS)
    assert len(rig.said(HEARTBEAT.code)) == 11
