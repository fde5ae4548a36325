"""Alarms in words, on the timeline and on the written page; the situation's view of them; keys in a scenario."""

from pathlib import Path

import pytest

from busim.boat.load import load_boat
from busim.events.alarm_view import Alarms
from busim.events.journal import Journal
from busim.protocol import alarms as table
from busim.protocol.page import protocol_page
from busim.reading.problem import InputError
from busim.run.alarm_words import AlarmWords
from busim.scenario.load import load_scenario, steps_of
from busim.units import SECOND

CONFIGS = Path(__file__).parents[2] / "configs"
NAMES = {1: "wheelhouse", 2: "port_drive"}
LIGHTS = {1: "masthead", 2: "sternlight"}


def subject_of(which: int, about: int) -> str:
    return (LIGHTS if which == 40 else NAMES).get(about, "")


def line(name: str, about: int, *, state: int = 1, priority: int = 2, doubtful: int = 0, under: int = 0) -> int:
    return table.line_value(table.BY_NAME[name].number, about, state, priority, doubtful, under)


# ------------------------------------------------------------------------------------------------ the timeline


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (line("bus_lost_beyond", 2, under=2), "bridge: EMERGENCY bus lost beyond, port_drive (2 more under it)"),
        (line("node_lost", 2, priority=1), "bridge: WARNING node lost, port_drive"),
        (line("neutral_key_stuck", 1, priority=0), "bridge: caution neutral key stuck, wheelhouse"),
        (line("nobody_in_control", 0, priority=1), "bridge: WARNING nobody in control"),
        (line("node_lost", 2, state=2), "bridge: EMERGENCY node lost, port_drive, acknowledged"),
        (line("node_lost", 2, state=3), "bridge: EMERGENCY node lost, port_drive, silenced"),
        (line("node_lost", 2, state=4), "bridge: EMERGENCY node lost, port_drive, over but not acknowledged"),
        (line("node_lost", 2, doubtful=1), "bridge: EMERGENCY node lost, port_drive, no longer confirmed"),
        (line("node_lost", 40), "bridge: EMERGENCY node lost"),
        (line("lamp_or_fuse_failed", 1, priority=1), "bridge: WARNING lamp or fuse failed, masthead"),
        (line("lamp_or_fuse_failed", 63, priority=1), "bridge: WARNING lamp or fuse failed"),
        (99 | 2 << 8 | 1 << 14, "bridge: caution alarm 99, port_drive"),
        (1 | 7 << 14, "bridge: caution control lost"),
        (0, ""),
        (-1, ""),
    ],
)
def test_a_line_in_words(value: int, words: str) -> None:
    assert AlarmWords(subject_of).take("node_3", "bridge", "alarm.1", value) == words


def test_a_line_that_moves_down_the_list_is_not_said_again() -> None:
    said = AlarmWords(subject_of)
    lost = line("node_lost", 2)
    assert said.take("node_3", "bridge", "alarm.1", lost)
    assert said.take("node_3", "bridge", "alarm.2", lost) == ""
    assert said.take("node_9", "aft", "alarm.1", lost), "another listener's list is another"
    assert said.take("node_3", "bridge", "alarm.2", line("node_lost", 2, state=2))


def test_after_a_start_it_is_said_anew() -> None:
    said = AlarmWords(subject_of)
    lost = line("node_lost", 2)
    said.take("node_3", "bridge", "alarm.1", lost)
    said.begin("node_3")
    assert said.take("node_3", "bridge", "alarm.1", lost)


def test_how_many_there_are() -> None:
    said = AlarmWords(subject_of)
    assert said.take("node_3", "bridge", "alarms_hidden", 3) == "bridge: 3 more alarms than it shows"
    assert said.take("node_3", "bridge", "alarms_hidden", 0) == ""
    assert said.take("node_3", "bridge", "alarms", 0) == "", "it showed none"
    said.take("node_3", "bridge", "alarm.1", line("node_lost", 2))
    assert said.take("node_3", "bridge", "alarms", 1) == ""
    assert said.take("node_3", "bridge", "alarms", 0) == "bridge: no alarms"


# ------------------------------------------------------------------------------------------------ the situation


def test_the_view_follows_the_outputs_and_forgets_with_the_node() -> None:
    journal, alarms = Journal(), Alarms()
    alarms.attach(journal)
    journal.event(SECOND, "output", "node_3", "alarm.2", line("node_lost", 2, priority=1, under=3))
    journal.event(SECOND, "output", "node_3", "sounder", 1)
    journal.event(SECOND, "output", "node_3", "alarms", 5)
    journal.event(SECOND, "output", "node_3", "alarms_hidden", 2)
    journal.event(SECOND, "output", "node_3", "alarm.x", 7)
    view = alarms.at("node_3")
    assert view.shows(12)
    assert view.shows(12, 2)
    assert not view.shows(12, 3)
    assert (view.sounds, view.listed, view.hidden, view.lines[2].under) == (True, 5, 2, 3)
    journal.event(SECOND, "output", "node_3", "alarm.2", 0)
    assert view.lines == {}
    journal.event(SECOND, "output", "node_3", "alarm.1", line("node_lost", 2))
    journal.event(2 * SECOND, "power", "node_3", 0)
    assert (view.lines, view.sounds, view.listed, view.hidden) == ({}, False, 0, 0)


# ------------------------------------------------------------------------------------------------ the written page


def test_the_page_has_every_alarm_every_state_and_the_times() -> None:
    page = protocol_page(load_boat(CONFIGS / "marsh_tern").plan, "Marsh Tern")
    section = page[page.index("\n## Alarms") : page.index("\n## Messages")]
    for kind in table.ALARMS:
        assert f"| {kind.number} " in section
        assert kind.name in section
        assert kind.words in section
    for text in ("30 s", "1000 ms", "3500 ms", "500 ms", "10000 ms", "3000 ms", "350 ms", "heartbeat_missing_ms"):
        assert text in section, text
    for row in table.ALARM_TABLE.rows:
        assert row.words in page
    assert "### The alarm\n" in page


# ------------------------------------------------------------------------------------------------ keys in a scenario


def scenario(tmp_path: Path, key: str) -> list[tuple[object, ...]]:
    path = tmp_path / "made.yaml"
    path.write_text(f"scenario: made\nlasts_s: 20\nactions:\n  - at_s: 1\n    key: {key}\n", encoding="utf-8")
    boat = load_boat(CONFIGS / "marsh_tern").boat
    return steps_of(load_scenario(path, boat).scenario, boat)


def test_keys_of_a_station_and_of_an_alarm_node(tmp_path: Path) -> None:
    down, up = scenario(tmp_path, "{station: upper_deck, name: lock_out, for_ms: 3200}")
    assert down == (SECOND, 0, "key", ("upper_deck", "lock_out", 1))
    assert up == (4_200_000_000, 0, "key", ("upper_deck", "lock_out", 0))
    assert scenario(tmp_path, "{node: aft_cabin_alarm, name: silence}")[0][3] == ("aft_cabin_alarm", "silence", 1)


@pytest.mark.parametrize("name", ["take", "neutral_now", "lock_out"])
def test_an_alarm_node_has_two_keys(tmp_path: Path, name: str) -> None:
    with pytest.raises(InputError, match=f"acknowledge and silence, and no {name}"):
        scenario(tmp_path, f"{{node: aft_cabin_alarm, name: {name}}}")
