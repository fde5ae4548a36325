"""A navigation light's failed lamp or fuse in the list of whoever hears its notices. Played on an alarm node."""

from itertools import pairwise

import pytest

from busim.units import MS, SECOND
from nodes.alarm import AlarmNode
from nodes.drive import Drive
from nodes.station import Station

from . import hand_made_frames as hand
from .alarm_rig import ACKNOWLEDGED, EMERGENCY, OVER, RAISED, SILENCED, WARNING, AlarmRig, Shown
from .small_boat import MASTHEAD, PORT, SALOON, WHEELHOUSE, small_boat

NOTICE = 21
FAILED = "lamp_or_fuse_failed"
SIDE_LIGHTS, ANCHOR_LIGHT = 1, 2
GONE = 0


class Mast(AlarmRig):
    def __init__(self, buses: int = 1) -> None:
        super().__init__(small_boat(navigation=True, buses=buses))
        self.alive.add(MASTHEAD)
        self.wake()
        assert self.states() == []

    def notice(self, light: int = ANCHOR_LIGHT, bus: int = 0, **notice: int) -> None:
        self.frame(hand.id_of(NOTICE, MASTHEAD), hand.notice(light, **notice), bus)

    def keep_saying(self, for_s: int, **notice: int) -> None:
        """As its node does, every second."""
        for _ in range(for_s):
            self.notice(**notice)
            self.pass_time(1000)

    def states(self) -> list[int]:
        """Of lines about lights: on a pair, its others are heard by one bus only."""
        return [line.state for line in self.lines if line.name == FAILED]


def failed(**notice: int) -> Mast:
    rig = Mast()
    rig.notice(**notice)
    rig.pass_time(200)
    assert rig.lines == [Shown(FAILED, ANCHOR_LIGHT, RAISED, WARNING, 0)]
    return rig


# ------------------------------------------------------------------------------------------------ raised


def test_one_frame_is_enough_to_alarm() -> None:
    rig = failed()
    assert (rig.sounds, rig.lamp, rig.outputs["alarms"]) == (1, 2, 1)


def test_two_lights_are_two_alarms() -> None:
    rig = Mast()
    rig.notice(SIDE_LIGHTS, number=1)
    rig.notice(ANCHOR_LIGHT, number=2)
    rig.pass_time(200)
    assert {(line.name, line.about, line.under) for line in rig.lines} == {(FAILED, SIDE_LIGHTS, 0), (FAILED, ANCHOR_LIGHT, 0)}
    for state in (GONE, GONE):
        rig.notice(SIDE_LIGHTS, state=state, number=1)
    rig.pass_time(200)
    assert {(line.about, line.state) for line in rig.lines} == {(SIDE_LIGHTS, OVER), (ANCHOR_LIGHT, RAISED)}


@pytest.mark.parametrize(("said", "priority"), [(0, 0), (1, 1), (2, 2), (3, EMERGENCY)])
def test_it_is_as_urgent_as_the_notice_says(said: int, priority: int) -> None:
    rig = Mast()
    rig.notice(priority=said)
    rig.pass_time(200)
    assert rig.lines == [Shown(FAILED, ANCHOR_LIGHT, RAISED, priority, 0)]
    rig.notice(priority=WARNING)
    rig.pass_time(200)
    assert rig.lines[0].priority == WARNING


@pytest.mark.parametrize("data", [hand.notice(3), hand.notice(2, which=41), hand.notice(2)[:3], hand.notice(2) + bytes(1), b""])
def test_what_is_no_word_of_one_of_its_lights_is_ignored(data: bytes) -> None:
    rig = Mast()
    for _ in range(3):
        rig.frame(hand.id_of(NOTICE, MASTHEAD), data)
    rig.pass_time(300)
    assert rig.lines == []


def test_where_there_is_no_such_light_nobody_listens() -> None:
    for plan, heard in ((small_boat(), False), (small_boat(navigation=True), True)):
        listeners = {(WHEELHOUSE, Station), (SALOON, AlarmNode)}
        assert all(((0, hand.id_of(NOTICE, MASTHEAD)) in kind(plan, at).receives()) == heard for at, kind in listeners)
        assert (0, hand.id_of(NOTICE, MASTHEAD)) not in Drive(plan, PORT).receives()


# ------------------------------------------------------------------------------------------------ gone


def test_its_end_takes_two_frames() -> None:
    rig = failed()
    rig.notice(state=GONE)
    rig.pass_time(200)
    assert rig.states() == [RAISED]
    rig.notice()
    rig.notice(state=GONE)
    rig.pass_time(200)
    assert rig.states() == [RAISED], "raised came between"
    rig.notice(state=GONE)
    rig.pass_time(200)
    assert (rig.states(), rig.sounds) == ([OVER], 1)
    rig.press("acknowledge")
    rig.pass_time(1300)
    assert (rig.lines, rig.sounds, rig.lamp) == ([], 0, 0)


def test_the_same_frame_by_both_buses_of_a_pair_is_one() -> None:
    rig = Mast(buses=2)
    for bus in (0, 1):
        rig.notice(bus=bus)
    rig.pass_time(200)
    for bus in (0, 1):
        rig.notice(bus=bus, state=GONE)
    rig.pass_time(200)
    assert rig.states() == [RAISED]
    rig.notice(bus=1, state=GONE)
    rig.pass_time(200)
    assert rig.states() == [OVER]


def test_what_was_never_raised_does_not_end() -> None:
    rig = Mast()
    for _ in range(3):
        rig.notice(state=GONE)
    rig.pass_time(300)
    assert (rig.lines, rig.alarm.alarms.entries) == ([], {})


def test_acknowledged_it_goes_with_its_cause() -> None:
    rig = failed()
    rig.press("acknowledge")
    rig.pass_time(1500)
    rig.notice(state=GONE)
    rig.notice(state=GONE)
    rig.pass_time(200)
    assert rig.lines == []


@pytest.mark.parametrize(("unheard_ms", "state"), [(3400, RAISED), (3700, OVER)])
def test_unheard_for_as_long_as_any_alarm_it_is_over(unheard_ms: int, state: int) -> None:
    """UNCONFIRMED_MS, 3.5 s, and a look every 100 ms: its node is heard, and says nothing of it."""
    rig = Mast()
    rig.keep_saying(3)
    rig.notice()
    rig.pass_time(unheard_ms)
    assert rig.states() == [state]
    rig.notice()
    rig.pass_time(200)
    assert rig.states() == [RAISED]


def test_while_its_node_is_lost_it_stands_under_that_and_goes_by_no_silence() -> None:
    """The lights are as dark as before, and all others of that node are unknown."""
    rig = failed(number=1)
    rig.alive.remove(MASTHEAD)
    rig.pass_time(600)
    assert rig.lines == [Shown("node_lost", MASTHEAD, RAISED, WARNING, 1)]
    rig.pass_time(10_000)
    assert rig.lines == [Shown("node_lost", MASTHEAD, RAISED, WARNING, 1)]
    rig.alive.add(MASTHEAD)
    rig.keep_saying(2, number=1)
    lost, light = sorted(rig.lines, key=lambda line: line.name, reverse=True)
    assert (lost.name, lost.state) == ("node_lost", OVER)
    assert light == Shown(FAILED, ANCHOR_LIGHT, RAISED, WARNING, 0)


# ------------------------------------------------------------------------------------------------ answered


def test_acknowledged_it_stays_so_whatever_its_node_goes_on_saying() -> None:
    """Its node hears no answer."""
    rig = failed()
    rig.press("acknowledge")
    rig.keep_saying(5)
    assert (rig.states(), rig.sounds, rig.lamp) == ([ACKNOWLEDGED], 0, 1)
    rig.notice(number=2)
    rig.pass_time(200)
    assert (rig.states(), rig.sounds) == ([RAISED], 1), "another occurrence"


def test_the_other_lists_are_told_for_a_second() -> None:
    rig = failed(number=9)
    rig.forget()
    rig.press("acknowledge")
    rig.keep_saying(3, number=9)
    assert set(rig.answers()) == {(40, MASTHEAD, 0, 9)}
    sent = [now_ns for now_ns, _ in rig.said(hand.ALARM_ANSWER)]
    assert 9 <= len(sent) <= 10
    assert all(100 * MS <= later - sooner <= 150 * MS for sooner, later in pairwise(sent))


def test_the_other_lists_are_told_of_what_has_ended_meanwhile() -> None:
    rig = failed()
    rig.press("acknowledge")
    rig.notice(state=GONE)
    rig.notice(state=GONE)
    rig.pass_time(200)
    rig.forget()
    assert rig.lines == []
    rig.pass_time(2000)
    assert 5 <= len(rig.answers()) <= 8
    assert rig.alarm.alarms.entries == {}


@pytest.mark.parametrize("over", [False, True])
def test_an_answer_given_at_another_list_counts_here(over: bool) -> None:
    rig = failed(number=3)
    for _ in range(2 * over):
        rig.notice(state=GONE, number=3)
    rig.hear_answer(FAILED, MASTHEAD, number=4)
    rig.pass_time(100)
    assert rig.states() == [OVER if over else RAISED], "of another light"
    rig.hear_answer(FAILED, MASTHEAD, number=3)
    rig.pass_time(100)
    assert rig.states() == ([] if over else [ACKNOWLEDGED])


def test_silenced_it_sounds_again_after_30_s() -> None:
    """IMO MSC.302(87), MSC.252(83)."""
    rig = failed()
    pressed_ns = rig.now_ns
    rig.press("silence")
    assert (rig.states(), rig.sounds) == ([SILENCED], 0)
    rig.keep_saying(31)
    back_ns = next(now_ns for now_ns, value in rig.told("sounder") if now_ns > pressed_ns + SECOND)
    assert 30 * SECOND <= back_ns - pressed_ns <= 30 * SECOND + 150 * MS
    assert rig.states() == [RAISED]
