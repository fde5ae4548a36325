"""The state tables as tables: whole, reachable, without contradiction, and what may never follow without a take of control."""

import pytest

from busim.protocol.catalogue import BY_NAME
from busim.protocol.tables import DRIVE_TABLE, STATION_TABLE, TABLES, Row, StateTable

every_table = pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)


def reachable(table: StateTable, start: set[str], without: set[str] | None = None) -> set[str]:
    """States that can follow from `start` by rows whose event is not in `without`."""
    found = set(start)
    while more := {row.next_state for row in table.rows if row.state in found and row.event not in (without or set())} - found:
        found |= more
    return found


@every_table
def test_every_state_is_reached_from_the_first(table: StateTable) -> None:
    assert reachable(table, {table.states[0][0]}) == {name for name, _ in table.states}


@every_table
def test_no_state_is_a_dead_end_but_the_one_that_only_a_start_ends(table: StateTable) -> None:
    for name, _ in table.states:
        if (table.name, name) == ("rudder", "stopped"):
            continue
        assert any(row.state == name and row.next_state != name for row in table.rows), name


@every_table
def test_every_event_has_a_row(table: StateTable) -> None:
    assert {row.event for row in table.rows} == {name for name, _ in table.events}


@every_table
def test_everything_has_words(table: StateTable) -> None:
    assert all(words.strip() for _, words in (*table.states, *table.events))
    assert all(row.words.strip() for row in table.rows)
    assert len({name for name, _ in table.states}) == len(table.states)
    assert len({name for name, _ in table.events}) == len(table.events)
    assert len({words for _, words in table.states}) == len(table.states)
    assert len({words for _, words in table.events}) == len(table.events)


@every_table
def test_no_two_rows_are_the_same(table: StateTable) -> None:
    assert len({row.number for row in table.rows}) == len(table.rows)
    assert len({(row.state, row.event) for row in table.rows}) == len(table.rows)
    assert [row.number for row in table.rows] == sorted(row.number for row in table.rows)


@every_table
def test_the_matrix_is_the_rows(table: StateTable) -> None:
    states = [name for name, _ in table.states]
    assert table.state_values == {name: value for value, name in enumerate(states)}
    assert table.by_number == {row.number: row for row in table.rows}
    cells = {
        (value, event): table.moves.get((value, event)) for value in range(len(states)) for event, _ in table.events
    }
    assert set(table.moves) <= set(cells)
    filled = {(states[value], event, states[cell[0]], cell[1]) for (value, event), cell in cells.items() if cell is not None}
    assert filled == {(row.state, row.event, row.next_state, row.number) for row in table.rows}


def test_states_and_rows_fit_the_wire() -> None:
    signals = {signal.name: signal for signal in BY_NAME["drive_obeys"].signals}
    assert len(DRIVE_TABLE.states) - 1 <= signals["state"].high
    assert all(0 < row.number <= signals["row"].high for row in DRIVE_TABLE.rows), "0 is no row yet"


STATES = (("a", "in a"), ("b", "in b"))
EVENTS = (("go", "it goes"),)


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ((Row(1, "a", "go", "c", "-"),), "broken, row 1: unknown state or event"),
        ((Row(2, "c", "go", "a", "-"),), "broken, row 2: unknown state or event"),
        ((Row(3, "a", "stop", "b", "-"),), "broken, row 3: unknown state or event"),
        ((Row(1, "a", "go", "b", "-"), Row(1, "b", "go", "a", "-")), "broken: a row number stands twice"),
        ((Row(1, "a", "go", "b", "-"), Row(2, "a", "go", "a", "-")), "broken: two rows for one state and event"),
    ],
)
def test_a_broken_table_is_refused(rows: tuple[Row, ...], words: str) -> None:
    with pytest.raises(ValueError, match=f"^{words}$"):
        StateTable("broken", STATES, EVENTS, rows)


# ------------------------------------------------------------------------------------------------ what design s. 6 demands

TAKES = {"taken", "retaken"}
OBEYING = {"neutral", "engaging", "engaged", "slowing", "disengaging", "dwelling"}
FORCED = {"forced_idle", "forced_disengaging", "forced_neutral", "held_idle"}


def test_no_gear_goes_in_without_a_take() -> None:
    """A drive that wakes, that nobody controls, or that was forced engages nothing until control is taken."""
    for state in ({"waking"}, {"unclaimed"}, *({state} for state in FORCED)):
        assert not reachable(DRIVE_TABLE, state, without=TAKES) & {"neutral", "dwelling", "engaging", "engaged"}


def test_a_gear_goes_in_only_from_neutral() -> None:
    """Reversal is by way of neutral, and a forced drive never engages at once."""
    into = {row.state for row in DRIVE_TABLE.rows if row.next_state == "engaging"}
    assert into == {"neutral", "dwelling"}
    assert {row.state for row in DRIVE_TABLE.rows if row.next_state == "engaged"} == {"engaging", "slowing", "engaged"}


def test_whoever_obeys_can_lose_its_station() -> None:
    losing = {row.state: row.next_state for row in DRIVE_TABLE.rows if row.event == "lost"}
    assert set(losing) >= OBEYING
    assert set(losing.values()) == {"forced_idle"}, "idle first, then neutral"


def test_a_forced_drive_ends_in_neutral_or_held_by_itself() -> None:
    """Nobody's lever or take is needed on the way there."""
    by_itself = reachable(DRIVE_TABLE, {"forced_idle"}, without={*TAKES, "asks_neutral", "asks_gear", "asks_same"})
    assert {"forced_neutral", "held_idle"} <= by_itself <= FORCED


def test_waking_off_neutral_leads_to_idle_then_neutral() -> None:
    moves = {(row.state, row.event): row.next_state for row in DRIVE_TABLE.rows}
    assert moves["waking", "found_off_neutral"] == "forced_idle"
    assert moves["waking", "found_neutral"] == "unclaimed"
    assert [event for state, event in moves if state == "waking"] == ["found_neutral", "found_off_neutral"]


def test_a_station_holds_only_what_was_echoed() -> None:
    assert {(row.state, row.event) for row in STATION_TABLE.rows if row.next_state == "holding"} == {("claiming", "echoed")}
