"""The list of alarms a listener keeps: what it hears, how long, and how the crew answers. Played on an alarm node."""

from itertools import pairwise

import pytest

from busim.protocol.alarms import ALARMS, UNCONFIRMED_MS
from busim.units import MS, SECOND

from . import hand_made_frames as hand
from .alarm_rig import ACKNOWLEDGED, EMERGENCY, OVER, RAISED, SILENCED, WARNING, AlarmRig, Shown, number_of
from .small_boat import BRIDGE, PORT, SALOON, STARBOARD, WHEELHOUSE

SHIFT = "shift_fault"
GONE = 0


def awake() -> AlarmRig:
    rig = AlarmRig()
    rig.wake()
    assert (rig.lines, rig.sounds, rig.lamp) == ([], 0, 0)
    return rig


def alarmed(**alarm: int) -> AlarmRig:
    rig = awake()
    rig.hear_alarm(SHIFT, times=2, **alarm)
    rig.pass_time(100)
    assert rig.lines == [Shown(SHIFT, PORT, RAISED, EMERGENCY, 0)]
    return rig


# ------------------------------------------------------------------------------------------------ hearing


def test_a_raised_alarm_shows_sounds_and_flashes() -> None:
    rig = alarmed()
    assert (rig.sounds, rig.lamp, rig.outputs["alarms"]) == (1, 2, 1)


@pytest.mark.parametrize("jump", [0, 40])
def test_the_first_frame_of_a_raiser_or_after_a_gap_raises_what_is_not_listed(jump: int) -> None:
    """Noise may take all but one of an alarm's frames."""
    rig = awake()
    if jump:
        rig.hear_alarm(SHIFT, times=2)
        rig.hear_alarm(SHIFT, times=2, state=GONE)
        rig.pass_time(100)
        rig.press("acknowledge")
        rig.counters[hand.id_of(hand.ALARM, PORT)] += jump
        rig.pass_time(200)
    assert rig.lines == []
    rig.hear_alarm(SHIFT)
    rig.pass_time(200)
    assert len(rig.lines) == 1


def test_the_first_frame_after_a_gap_takes_nothing_back_and_answers_nothing() -> None:
    rig = awake()
    rig.hear_alarm(SHIFT, times=2, number=1)
    rig.pass_time(200)
    before = rig.lines
    for state in (GONE, ACKNOWLEDGED, SILENCED):
        rig.counters[hand.id_of(hand.ALARM, PORT)] += 40
        rig.hear_alarm(SHIFT, state=state, number=1)
        rig.pass_time(200)
        assert rig.lines == before


def test_a_late_copy_of_an_alarm_that_is_over_goes_by_itself() -> None:
    """What raised it for want of a better word is doubted like any alarm that its raiser says no more."""
    rig = awake()
    rig.hear_alarm(SHIFT)
    rig.pass_time(UNCONFIRMED_MS + 300)
    assert [line.state for line in rig.lines] == [OVER]


def test_corrupt_frames_raise_nothing() -> None:
    rig = awake()
    rig.hear_alarm(SHIFT, times=4, spoil=True)
    rig.pass_time(200)
    assert rig.lines == []


@pytest.mark.parametrize("which", [0, 20, 255])
def test_numbers_that_stand_for_nothing_are_not_listed(which: int) -> None:
    rig = awake()
    can_id = hand.id_of(hand.ALARM, PORT)
    for _ in range(3):
        rig.frame(can_id, hand.alarm(PORT, rig.counter(can_id), which))
    rig.pass_time(200)
    assert rig.lines == []


@pytest.mark.parametrize("name", [kind.name for kind in ALARMS if not kind.sent_in_alarm])
def test_what_every_listener_sees_itself_or_comes_in_notice_is_believed_in_no_alarm(name: str) -> None:
    rig = awake()
    rig.hear_alarm(name, times=3)
    rig.pass_time(200)
    assert rig.lines == []


def test_how_urgent_it_is_the_table_says_and_not_the_frame() -> None:
    alarmed(priority=0)


# ------------------------------------------------------------------------------------------------ acknowledging


def test_acknowledged_it_is_steady_until_it_is_gone() -> None:
    """IMO MSC.302(87): acknowledged, an alarm stays steady until it is put right."""
    rig = alarmed()
    rig.press("acknowledge")
    assert (rig.lines[0].state, rig.sounds, rig.lamp) == (ACKNOWLEDGED, 0, 1)
    rig.repeat(SHIFT, 3, state=ACKNOWLEDGED)
    assert rig.lines[0].state == ACKNOWLEDGED
    rig.hear_alarm(SHIFT, state=0)
    rig.pass_time(100)
    assert (rig.lines, rig.lamp) == ([], 0)


def test_gone_it_stays_until_it_is_acknowledged() -> None:
    rig = alarmed()
    rig.hear_alarm(SHIFT, state=0)
    rig.pass_time(60 * 1000)
    assert (rig.lines, rig.sounds) == ([Shown(SHIFT, PORT, OVER, EMERGENCY, 0)], 1)
    rig.press("acknowledge")
    rig.pass_time(1300)
    assert (rig.lines, rig.sounds) == ([], 0)


def test_the_answer_is_sent_until_the_raiser_shows_it() -> None:
    rig = alarmed(number=7)
    rig.forget()
    rig.press("acknowledge")
    rig.pass_time(300)
    assert set(rig.answers()) == {(number_of(SHIFT), PORT, 0, 7)}
    sent = [now_ns for now_ns, _ in rig.said(hand.ALARM_ANSWER)]
    assert all(later - sooner == 100 * MS for sooner, later in pairwise(sent))
    rig.hear_alarm(SHIFT, state=ACKNOWLEDGED, number=7)
    rig.forget()
    rig.pass_time(500)
    assert rig.answers() == []


def test_an_answer_that_its_raiser_never_takes_is_void_after_a_second() -> None:
    """Then it sounds again: nobody may believe to have answered what did not hear it."""
    rig = alarmed()
    rig.forget()
    rig.press("acknowledge")
    rig.hear_alarm(SHIFT)
    rig.pass_time(900)
    assert rig.sounds == 0, "its raiser can't know yet"
    rig.pass_time(500)
    assert 9 <= len(rig.answers()) <= 10
    rig.hear_alarm(SHIFT)
    rig.pass_time(100)
    assert (rig.lines[0].state, rig.sounds) == (RAISED, 1)


def test_acknowledging_takes_the_first_line_nobody_answered_and_one_at_a_time() -> None:
    rig = alarmed()
    rig.hear_alarm("sensor_fault", STARBOARD, times=2)
    rig.pass_time(100)
    assert [line.name for line in rig.lines] == [SHIFT, "sensor_fault"]
    rig.press("acknowledge")
    assert [line.state for line in rig.lines] == [ACKNOWLEDGED, RAISED]
    rig.press("acknowledge")
    assert [line.state for line in rig.lines] == [ACKNOWLEDGED, ACKNOWLEDGED]


def test_a_key_with_nothing_to_answer_does_nothing() -> None:
    rig = awake()
    rig.press("acknowledge")
    rig.press("silence")
    rig.pass_time(500)
    assert (rig.lines, rig.answers()) == ([], [])


def test_an_answer_given_elsewhere_counts_here_too() -> None:
    rig = alarmed(number=3)
    rig.hear_answer(SHIFT, PORT, number=4)
    rig.pass_time(100)
    assert rig.lines[0].state == RAISED, "of another occurrence"
    rig.hear_answer(SHIFT, PORT, number=3)
    rig.pass_time(100)
    assert rig.lines[0].state == ACKNOWLEDGED


def test_answers_that_mean_nothing_change_nothing() -> None:
    rig = alarmed()
    rig.hear_answer(SHIFT, PORT, answer=2)
    rig.hear_answer(SHIFT, STARBOARD)
    rig.pass_time(100)
    assert rig.lines[0].state == RAISED


def test_a_new_occurrence_sounds_though_the_last_was_acknowledged() -> None:
    rig = alarmed()
    rig.press("acknowledge")
    rig.hear_alarm(SHIFT, state=ACKNOWLEDGED)
    rig.hear_alarm(SHIFT, number=2)
    rig.pass_time(100)
    assert (rig.lines[0].state, rig.sounds) == (RAISED, 1)


# ------------------------------------------------------------------------------------------------ silencing


def test_silence_takes_everything_that_sounds_and_it_comes_back() -> None:
    """After 30 s (IMO MSC.302(87), MSC.252(83)). A node it lost itself, so that no raiser's clock is in it."""
    rig = awake()
    rig.alive -= {BRIDGE, PORT}
    rig.pass_time(1000)
    assert (len(rig.lines), rig.sounds) == (2, 1)
    pressed_ns = rig.now_ns
    rig.press("silence")
    assert ([line.state for line in rig.lines], rig.sounds, rig.lamp) == ([SILENCED, SILENCED], 0, 2)
    rig.pass_time(31_000)
    back_ns = next(now_ns for now_ns, value in rig.told("sounder") if now_ns > pressed_ns + SECOND)
    assert 30 * SECOND <= back_ns - pressed_ns <= 30 * SECOND + 150 * MS
    assert [line.state for line in rig.lines] == [RAISED, RAISED]


def test_something_new_sounds_through_a_silence() -> None:
    rig = alarmed()
    rig.press("silence")
    rig.hear_alarm("engine_cut", 6, times=2)
    rig.pass_time(100)
    assert rig.sounds == 1


def test_a_raiser_whose_clock_is_a_little_behind_does_not_silence_it_anew() -> None:
    rig = alarmed()
    rig.press("silence")
    rig.repeat(SHIFT, 30, state=SILENCED)
    rig.hear_alarm(SHIFT, state=SILENCED)
    rig.pass_time(200)
    assert (rig.lines[0].state, rig.sounds) == (RAISED, 1)
    rig.hear_alarm(SHIFT, state=RAISED)
    rig.pass_time(100)
    assert rig.sounds == 1


def test_silence_ends_when_its_raiser_says_so() -> None:
    rig = alarmed()
    rig.hear_alarm(SHIFT, state=SILENCED)
    rig.pass_time(100)
    assert (rig.lines[0].state, rig.sounds) == (SILENCED, 0)
    rig.hear_alarm(SHIFT, state=RAISED)
    rig.pass_time(100)
    assert (rig.lines[0].state, rig.sounds) == (RAISED, 1)


# ------------------------------------------------------------------------------------------------ raisers that fall silent


def test_an_alarm_no_longer_repeated_is_marked_and_ends_where_its_raiser_lives_on() -> None:
    """The raiser is heard and has said nothing of it for 3.5 s: it was reset, or the end of it was lost."""
    rig = alarmed()
    rig.pass_time(3300)
    assert rig.lines[0].state == RAISED
    rig.pass_time(300)
    assert rig.lines[0].state == OVER


def test_an_alarm_of_a_node_that_fell_silent_stays_under_its_loss() -> None:
    rig = alarmed()
    rig.alive.discard(PORT)
    rig.pass_time(20_000)
    assert rig.lines == [Shown("node_lost", PORT, RAISED, EMERGENCY, 1)], "a line is as urgent as what is under it"
    rig.alive.add(PORT)
    rig.pass_time(3500)
    assert Shown(SHIFT, PORT, RAISED, EMERGENCY, 0, 1) in rig.lines, "it is heard again: who knows"
    rig.pass_time(400)
    assert {line.state for line in rig.lines} == {OVER}


def test_an_answer_to_a_silent_raiser_counts_all_the_same() -> None:
    rig = alarmed()
    rig.alive.discard(PORT)
    rig.pass_time(1000)
    rig.press("acknowledge")
    rig.pass_time(5000)
    assert rig.lines == [Shown("node_lost", PORT, ACKNOWLEDGED, EMERGENCY, 1)]


def test_what_it_sees_itself_comes_and_goes_with_its_cause() -> None:
    rig = awake()
    rig.alive.discard(BRIDGE)
    rig.pass_time(500)
    assert rig.lines == [Shown("node_lost", BRIDGE, RAISED, WARNING, 0)]
    rig.press("acknowledge")
    assert rig.answers() == [], "nobody else is told"
    rig.pass_time(10_000)
    assert rig.lines == [Shown("node_lost", BRIDGE, ACKNOWLEDGED, WARNING, 0)]
    rig.alive.add(BRIDGE)
    rig.pass_time(300)
    assert rig.lines == []


def test_somebody_else_at_its_address() -> None:
    rig = awake()
    rig.frame(hand.id_of(hand.HEARTBEAT, SALOON), hand.heartbeat(SALOON, 1, 1))
    rig.pass_time(100)
    assert rig.lines == [Shown("two_at_one_address", SALOON, RAISED, EMERGENCY, 0)]
    assert {hand.part(data, 34, 6) for _, data in rig.said(hand.ALARM)} == {SALOON}, "and it tells everybody"
    rig.press("acknowledge")
    assert rig.lines[0].state == ACKNOWLEDGED
    rig.pass_time(1200)
    assert rig.lines == []


def test_a_reset_begins_with_an_empty_list() -> None:
    rig = alarmed()
    again = AlarmRig(rig.plan)
    again.wake()
    assert again.lines == []


def test_reports_of_drives_are_heard_by_counter_and_crc() -> None:
    rig = awake()
    can_id = hand.id_of(hand.OBEYS, PORT)
    for _ in range(3):
        rig.frame(can_id, hand.spoiled(hand.obeys(PORT, rig.counter(can_id, 2), 0, 0)))
        rig.frame(can_id, hand.obeys(PORT, rig.counters[can_id] - 40, 0, 0))
    assert rig.alarm.alarms.helm.pairs[PORT] == (WHEELHOUSE, 1)
