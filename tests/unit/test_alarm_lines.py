"""One cause, one line: what stands under what, in which order, and how many lines are shown."""

import pytest

from busim.protocol.alarms import BY_NAME, MOST_SHOWN
from busim.units import SECOND
from nodes.alarm_entry import Alarm
from nodes.alarm_lines import Line, lines_of, shown_of
from nodes.roll_call import Cause

from .alarm_rig import number_of, read_line

GONE, RAISED, ACKNOWLEDGED, SILENCED, OVER = range(5)
STATION, PORT, STARBOARD, RUDDER, CUTOUT, ME = 1, 2, 4, 8, 6, 9
MASTERS = {PORT: STATION, STARBOARD: STATION}


def alarm(name: str, about: int, state: int = RAISED, *, since_s: int = 0) -> Alarm:
    kind = BY_NAME[name]
    found = Alarm(kind.number, about, 0 if kind.raised_by == "every listener" else about)
    found.state, found.since_ns, found.confirmed_ns = state, since_s * SECOND, SECOND
    return found


def told(lines: list[Line]) -> list[tuple[str, int, int]]:
    """(name, about, how many under it) of each."""
    shown = [read_line(line.value()) for line in lines]
    return [(line.name, line.about, line.under) for line in shown]


def grouped(*entries: Alarm, parents: dict[Cause, Cause] | None = None, masters: dict[int, int] | None = None) -> list[Line]:
    return lines_of(list(entries), parents or {}, MASTERS if masters is None else masters, SECOND)


# ------------------------------------------------------------------------------------------------ what stands under what

CHILDREN = [
    # parent, child
    (("node_lost", STATION), ("control_lost", PORT)),
    (("node_lost", STATION), ("steering_lost", RUDDER)),
    (("node_lost", STATION), ("lever_fault", STATION)),
    (("node_lost", PORT), ("control_lost", PORT)),
    (("node_lost", PORT), ("shift_fault", PORT)),
    (("node_lost", PORT), ("let_go", PORT)),
    (("node_lost", RUDDER), ("let_go", RUDDER)),
    (("node_lost", CUTOUT), ("engine_cut", CUTOUT)),
    (("node_lost", PORT), ("nobody_in_control", 0)),
    (("lever_fault", STATION), ("control_lost", PORT)),
    (("lever_fault", STATION), ("steering_lost", RUDDER)),
    (("control_lost", PORT), ("control_lost", STARBOARD)),
    (("control_lost", PORT), ("steering_lost", RUDDER)),
    (("control_lost", PORT), ("let_go", PORT)),
    (("control_lost", PORT), ("nobody_in_control", 0)),
    (("steering_lost", RUDDER), ("let_go", RUDDER)),
    (("let_go", PORT), ("nobody_in_control", 0)),
]  # fmt: skip


@pytest.mark.parametrize(("parent", "child"), CHILDREN)
def test_one_follows_from_the_other(parent: tuple[str, int], child: tuple[str, int]) -> None:
    for entries in ((alarm(*parent), alarm(*child)), (alarm(*child), alarm(*parent))):
        assert told(grouped(*entries)) == [(*parent, 1)]


@pytest.mark.parametrize(("parent", "child"), CHILDREN)
def test_a_line_is_as_urgent_as_what_is_under_it(parent: tuple[str, int], child: tuple[str, int]) -> None:
    most = max(BY_NAME[parent[0]].priority, BY_NAME[child[0]].priority)
    assert grouped(alarm(*parent), alarm(*child))[0].priority == most


@pytest.mark.parametrize(("parent", "child"), CHILDREN)
def test_a_cause_that_is_over_hides_none_that_is_there(parent: tuple[str, int], child: tuple[str, int]) -> None:
    lines = grouped(alarm(*parent, state=OVER), alarm(*child))
    assert sorted(told(lines)) == sorted([(*parent, 0), (*child, 0)])


@pytest.mark.parametrize(("parent", "child"), CHILDREN)
def test_what_is_over_together_stays_together(parent: tuple[str, int], child: tuple[str, int]) -> None:
    """Else one press would not be enough for one cause."""
    entries = alarm(*parent), alarm(*child)
    grouped(*entries)
    for entry in entries:
        entry.state = OVER
    assert told(grouped(*entries, masters={})) == [(*parent, 1)]


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (("node_lost", STATION), ("shift_fault", PORT)),
        (("node_lost", STARBOARD), ("control_lost", PORT)),
        (("lever_fault", ME), ("control_lost", PORT)),
        (("shift_fault", PORT), ("engine_cut", CUTOUT)),
        (("neutral_key_stuck", STATION), ("nobody_in_control", 0)),
        (("rudder_fault", RUDDER), ("steering_lost", RUDDER)),
        (("two_at_one_address", PORT), ("node_lost", STATION)),
    ],
)
def test_causes_of_their_own_are_lines_of_their_own(one: tuple[str, int], other: tuple[str, int]) -> None:
    assert len(grouped(alarm(*one), alarm(*other))) == 2


def test_drives_of_two_masters_were_lost_twice() -> None:
    lines = grouped(alarm("control_lost", PORT), alarm("control_lost", STARBOARD), masters={PORT: 1, STARBOARD: 3})
    assert len(lines) == 2


def test_everything_that_follows_from_a_cut_is_one_line() -> None:
    """A wire between the stations and the engine room: seven alarms, one cause."""
    beyond = number_of("bus_lost_beyond"), PORT
    lost = {(number_of("node_lost"), address): beyond for address in (PORT, STARBOARD, RUDDER)}
    entries = [
        alarm("node_lost", PORT), alarm("node_lost", STARBOARD), alarm("node_lost", RUDDER), alarm("let_go", PORT),
        alarm("control_lost", PORT), alarm("nobody_in_control", 0), alarm("bus_lost_beyond", PORT),
    ]  # fmt: skip
    lines = grouped(*entries, parents=lost)
    assert told(lines) == [("bus_lost_beyond", PORT, 6)]


# ------------------------------------------------------------------------------------------------ the state of a line


@pytest.mark.parametrize(
    ("head", "under", "line"),
    [
        (ACKNOWLEDGED, ACKNOWLEDGED, ACKNOWLEDGED),
        (ACKNOWLEDGED, RAISED, RAISED),
        (ACKNOWLEDGED, SILENCED, SILENCED),
        (ACKNOWLEDGED, OVER, RAISED),
        (SILENCED, RAISED, RAISED),
        (SILENCED, ACKNOWLEDGED, SILENCED),
        (RAISED, ACKNOWLEDGED, RAISED),
        (OVER, OVER, OVER),
    ],
)
def test_a_line_is_as_little_answered_as_what_is_under_it(head: int, under: int, line: int) -> None:
    entries = alarm("node_lost", STATION), alarm("control_lost", PORT)
    grouped(*entries)
    entries[0].state, entries[1].state = head, under
    found = grouped(*entries)
    assert [each.state for each in found] == [line]
    assert found[0].unanswered == (line != ACKNOWLEDGED)


def test_a_line_is_doubtful_as_what_it_is_called_by_is() -> None:
    entry = alarm("shift_fault", PORT)
    entry.confirmed_ns = -9 * SECOND
    assert read_line(grouped(entry)[0].value()).doubtful == 1


# ------------------------------------------------------------------------------------------------ order and number


def test_urgent_first_then_unanswered_then_newest() -> None:
    entries = [
        alarm("node_lost", 3, since_s=1),
        alarm("node_lost", 5, since_s=9),
        alarm("node_lost", 7, ACKNOWLEDGED, since_s=20),
        alarm("neutral_key_stuck", 1, since_s=30),
        alarm("shift_fault", PORT, ACKNOWLEDGED, since_s=1),
        alarm("shift_fault", STARBOARD, since_s=0),
    ]
    assert [about for _, about, _ in told(grouped(*entries))] == [STARBOARD, PORT, 5, 3, 7, 1]


@pytest.mark.parametrize(("warnings", "shown"), [(7, 7), (8, 8), (9, 8), (15, 8)])
def test_no_more_lines_than_can_be_read(warnings: int, shown: int) -> None:
    assert MOST_SHOWN == 8
    assert len(shown_of(grouped(*(alarm("node_lost", address) for address in range(10, 10 + warnings))))) == shown


@pytest.mark.parametrize("emergencies", [1, 8, 9, 14])
def test_every_emergency_is_shown(emergencies: int) -> None:
    entries = [alarm("node_lost", address) for address in range(40, 50)]
    entries += [alarm("shift_fault", address) for address in range(10, 10 + emergencies)]
    lines = shown_of(grouped(*entries))
    assert len(lines) == max(8, emergencies)
    assert sum(1 for line in lines if line.priority == 2) == emergencies
