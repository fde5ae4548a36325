"""The table of alarms, what becomes of one alarm, and when it sounds."""

import pytest

from busim.protocol.alarms import (
    ALARM_TABLE,
    ALARMS,
    LINE_BITS,
    NAVIGATION,
    PUT_RIGHT,
    SILENT_FOR_S,
    UNCONFIRMED_MS,
    line_of,
    line_value,
)
from busim.protocol.tables import Row
from busim.protocol.values import ALARM_PRIORITIES, ALARM_STATES
from busim.units import MS, SECOND
from nodes.alarm_entry import Alarm

VALUES = ALARM_TABLE.state_values
RAISER = 2


def entry(state: str) -> Alarm:
    found = Alarm(1, RAISER, RAISER)
    found.state = VALUES[state]
    return found


# ------------------------------------------------------------------------------------------------ the tables


def test_numbers_fit_their_bits_and_stand_once() -> None:
    of_the_helm = [alarm.number for alarm in ALARMS if alarm.raised_by != NAVIGATION]
    assert of_the_helm == list(range(1, len(of_the_helm) + 1))
    assert [alarm.number for alarm in ALARMS if alarm.raised_by == NAVIGATION] == [40], "as every notice has had it so far"
    assert {alarm.priority for alarm in ALARMS} == set(dict(ALARM_PRIORITIES))
    assert len({alarm.name for alarm in ALARMS}) == len(ALARMS)


def test_states_on_the_wire_are_those_of_the_table_but_for_one() -> None:
    assert {name: value for value, name in ALARM_STATES} == {name: VALUES[name] for name in VALUES if name != "put_right"}
    assert VALUES["put_right"] == PUT_RIGHT


def test_what_takes_control_or_steering_away_is_an_emergency() -> None:
    """IMO MSC.302(87), annex, by memory of its definitions: an emergency asks for immediate action, as danger to life exists."""
    urgent = {alarm.name for alarm in ALARMS if alarm.priority == 2}
    assert {"control_lost", "shift_fault", "throttle_fault", "steering_lost", "rudder_fault", "engine_cut", "hears_nothing",
            "bus_lost_beyond", "let_go"} <= urgent  # fmt: skip


def test_a_line_packs_every_part_by_itself() -> None:
    for name, below, bits in LINE_BITS:
        value = line_value(**{each: 2**width - 1 if each == name else 0 for each, _, width in LINE_BITS})
        assert value == (2**bits - 1) << below
        assert line_of(value)[name] == 2**bits - 1
    assert line_of(line_value(1, 2, 3, 2, 0, 1000))["under"] == 255, "more than that is not counted"


# ------------------------------------------------------------------------------------------------ one alarm


@pytest.mark.parametrize("row", ALARM_TABLE.rows, ids=lambda row: str(row.number))
def test_every_row(row: Row) -> None:
    alarm = entry(row.state)
    assert alarm.event(SECOND, row.event)
    assert alarm.state == VALUES[row.next_state]


def test_what_has_no_row_changes_nothing() -> None:
    for state in VALUES:
        for event, _ in ALARM_TABLE.events:
            if (VALUES[state], event) not in ALARM_TABLE.moves:
                alarm = entry(state)
                assert not alarm.event(SECOND, event)
                assert alarm.state == VALUES[state]


@pytest.mark.parametrize(
    ("state", "sounds", "unanswered", "stands"),
    [
        ("gone", False, False, False),
        ("raised", True, True, True),
        ("acknowledged", False, False, True),
        ("silenced", False, True, True),
        ("put_right", True, True, False),
    ],
)
def test_what_sounds_and_what_flashes(state: str, sounds: bool, unanswered: bool, stands: bool) -> None:
    """Unacknowledged flash and sound, acknowledged steady until put right (IMO MSC.302(87), MSC.252(83))."""
    alarm = entry(state)
    assert (alarm.sounds(SECOND), alarm.unanswered, alarm.stands) == (sounds, unanswered, stands)


def test_silenced_it_returns_after_30_s() -> None:
    """IMO MSC.302(87), MSC.252(83): a silenced alarm that nobody acknowledged returns after 30 s."""
    assert SILENT_FOR_S == 30
    alarm = entry("raised")
    alarm.event(SECOND, "silence")
    assert not alarm.wake(31 * SECOND - 1)
    assert not alarm.sounds(31 * SECOND - 1)
    assert alarm.wake(31 * SECOND)
    assert alarm.sounds(31 * SECOND)


def test_silenced_and_over_it_is_quiet_as_long_and_not_longer() -> None:
    alarm = entry("raised")
    alarm.event(SECOND, "silence")
    alarm.event(2 * SECOND, "put_right")
    assert not alarm.wake(31 * SECOND)
    assert not alarm.sounds(31 * SECOND - 1)
    assert alarm.sounds(31 * SECOND)


def test_silencing_it_again_does_not_put_off_its_return() -> None:
    alarm = entry("raised")
    alarm.event(SECOND, "silence")
    assert not alarm.event(20 * SECOND, "silence")
    assert alarm.wake(31 * SECOND)


def test_an_alarm_that_arises_anew_sounds_whatever_was_silenced() -> None:
    alarm = entry("put_right")
    alarm.event(SECOND, "silence")
    alarm.event(2 * SECOND, "arises")
    assert alarm.sounds(2 * SECOND)
    assert alarm.since_ns == 2 * SECOND


def test_doubtful_once_its_raiser_was_not_heard_to_say_it_for_so_long() -> None:
    alarm = entry("raised")
    alarm.confirmed_ns = SECOND
    assert not alarm.doubtful(SECOND + UNCONFIRMED_MS * MS - 1)
    assert alarm.doubtful(SECOND + UNCONFIRMED_MS * MS)
    alarm.raiser = 0
    assert not alarm.doubtful(99 * SECOND), "what a listener sees itself needs no word of anybody"
