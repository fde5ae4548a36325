"""What every listener's list of alarms shows, by its outputs: the lines, the sounder, how much is hidden. Part of the situation."""

from dataclasses import dataclass

from busim.events import bits
from busim.events.journal import Event, Journal


@dataclass(frozen=True)
class ShownLine:
    """One line. `state` is one of the STATES of `bits`, `under` how many more alarms stand under it."""

    which: int
    about: int
    state: int
    priority: int
    under: int

    @classmethod
    def of(cls, value: int) -> "ShownLine":
        which, about, state, priority, under = (
            bits.field(value, place)
            for place in (bits.LINE_WHICH, bits.LINE_ABOUT, bits.LINE_STATE, bits.LINE_PRIORITY, bits.LINE_UNDER)
        )
        return cls(which, about, state, priority, under)


class AlarmView:
    """One listener. `lines`: line number -> what it shows."""

    __slots__ = ("hidden", "lines", "listed", "sounds")

    def __init__(self) -> None:
        self.dark()

    def dark(self) -> None:
        self.lines: dict[int, ShownLine] = {}
        self.sounds = False
        self.listed = 0
        self.hidden = 0

    def shows(self, which: int, about: int | None = None) -> bool:
        """Does a line name this alarm, about this address or about anybody?"""
        return any(line.which == which and about in (None, line.about) for line in self.lines.values())


class Alarms:
    """Node -> its view, for every node that ever showed one."""

    def __init__(self) -> None:
        self.of: dict[str, AlarmView] = {}

    def attach(self, journal: Journal) -> None:
        journal.watch_events("output", self._output)
        journal.watch_events("power", self._begin)
        journal.watch_events("start", self._begin)

    def at(self, node: str) -> AlarmView:
        return self.of.setdefault(node, AlarmView())

    def _begin(self, event: Event) -> None:
        if event[3] in self.of:
            self.of[event[3]].dark()

    def _output(self, event: Event) -> None:
        _, _, _, node, channel, value = event
        if channel.startswith("alarm.") and channel[6:].isdigit():
            lines = self.at(node).lines
            lines.pop(int(channel[6:]), None)
            if value:
                lines[int(channel[6:])] = ShownLine.of(value)
        elif channel == "sounder":
            self.at(node).sounds = bool(value)
        elif channel == "alarms":
            self.at(node).listed = value
        elif channel == "alarms_hidden":
            self.at(node).hidden = value
