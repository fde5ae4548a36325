"""From alarms to the lines of a list: one cause, one line. Most urgent first, then what nobody acknowledged, then the newest.

An alarm stands under the one it follows from, as far as this listener knows: a lost node under the bus or the silence it is part
of; a drive's or rudder's lost control under the loss of the station it obeyed, or under that station's lever fault, else all of
one master under the first of them; what a station let go of, and nobody in control, under that. A line is as urgent as the most
urgent alarm under it, so that none is hidden by a milder one. One whose cause is over takes none under it whose cause is there;
those that are over stay where they stood.
"""

from collections.abc import Iterator, Mapping
from typing import Final

from busim.protocol.alarms import BY_NAME, EMERGENCY, MOST_SHOWN, PUT_RIGHT, RAISED, SILENCED, line_value
from nodes.alarm_entry import Alarm
from nodes.roll_call import NODE_LOST, Cause

CONTROL_LOST: Final = BY_NAME["control_lost"].number
STEERING_LOST: Final = BY_NAME["steering_lost"].number
LEVER_FAULT: Final = BY_NAME["lever_fault"].number
NOBODY_IN_CONTROL: Final = BY_NAME["nobody_in_control"].number
LET_GO: Final = BY_NAME["let_go"].number


class Line:
    """Alarms of one cause; the first is what the line is called by."""

    __slots__ = ("doubtful", "entries", "priority", "since_ns", "state", "unanswered")

    def __init__(self, entries: list[Alarm], now_ns: int) -> None:
        self.entries = entries
        self.priority = max(entry.priority for entry in entries)
        self.since_ns = max(entry.since_ns for entry in entries)
        states = {entry.state for entry in entries}
        head = entries[0]
        self.state = head.state
        if head.stands:
            self.state = RAISED if states & {RAISED, PUT_RIGHT} else SILENCED if SILENCED in states else head.state
        self.unanswered = any(entry.unanswered for entry in entries)
        self.doubtful = head.doubtful(now_ns)

    def value(self) -> int:
        head = self.entries[0]
        return line_value(head.which, head.about, self.state, self.priority, int(self.doubtful), len(self.entries) - 1)


def lines_of(entries: list[Alarm], parents: Mapping[Cause, Cause], masters: Mapping[int, int], now_ns: int) -> list[Line]:
    """`parents`: of lost nodes, as the roll call found them; `masters`: drive -> the station it obeyed last."""
    listed: dict[tuple[int, ...], Alarm] = {}
    for entry in sorted(entries, key=lambda each: not each.stands):
        listed.setdefault((entry.which, entry.about), entry)
    for entry in entries:
        if entry.stands:
            causes = (listed.get(cause) for cause in _parents(entry, parents, masters))
            above = next((each for each in causes if each is not None and each.stands and each is not entry), None)
            entry.under = (above.which, above.about) if above is not None else ()
    under: dict[int, list[Alarm]] = {}
    heads: list[Alarm] = []
    for entry in entries:
        head = _head(entry, listed)
        if head is entry:
            heads.append(entry)
        else:
            under.setdefault(id(head), []).append(entry)
    lines = [Line([head, *under.get(id(head), [])], now_ns) for head in heads]
    return sorted(lines, key=lambda line: (-line.priority, not line.unanswered, -line.since_ns, line.entries[0].which))


def shown_of(lines: list[Line]) -> list[Line]:
    """The lines a list has room for. Every emergency is shown, however many there are."""
    emergencies = sum(1 for line in lines if line.priority == EMERGENCY)
    return lines[: max(MOST_SHOWN, emergencies)]


def _head(entry: Alarm, listed: Mapping[tuple[int, ...], Alarm]) -> Alarm:
    """Up from one cause to the next, as far as they are listed. No kind follows from one that follows from it."""
    while (above := listed.get(entry.under)) is not None and above is not entry and (above.stands or not entry.stands):
        entry = above
    return entry


def _parents(entry: Alarm, parents: Mapping[Cause, Cause], masters: Mapping[int, int]) -> Iterator[Cause]:
    """What this one follows from, if it is there; the first that is counts."""
    which, about = entry.which, entry.about
    if (which, about) in parents:
        yield parents[which, about]
    if which in (CONTROL_LOST, STEERING_LOST):
        yield NODE_LOST, about
        stations = [masters[about]] if which == CONTROL_LOST and about in masters else list(masters.values())
        for station in stations:
            yield NODE_LOST, station
            yield LEVER_FAULT, station
        # Several of one master: what one listener knows no better cause of is one cause all the same.
        for drive in masters:
            if which == STEERING_LOST or (drive < about and masters[drive] == masters.get(about)):
                yield CONTROL_LOST, drive
    elif which == LET_GO:
        yield NODE_LOST, about
        yield CONTROL_LOST, about
        yield STEERING_LOST, about
    elif which == NOBODY_IN_CONTROL:
        for drive in masters:
            yield CONTROL_LOST, drive
            yield NODE_LOST, drive
            yield LET_GO, drive
    if entry.raiser:
        yield NODE_LOST, entry.raiser
