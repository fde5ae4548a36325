"""What every listener's list of alarms shows, by its outputs: the lines, the sounder, how much is hidden. Part of the situation."""

from dataclasses import dataclass
from typing import Final

from busim.events.bits import Field, field
from busim.events.journal import Event, Journal

LINE_WHICH: Final[Field] = (0, 0xFF)
LINE_ABOUT: Final[Field] = (8, 0x3F)
LINE_STATE: Final[Field] = (14, 0x7)
LINE_PRIORITY: Final[Field] = (17, 0x3)
LINE_UNDER: Final[Field] = (20, 0xFF)
"""Of an output `alarm.N`: a line of a list of alarms."""
LINE_RAISED: Final = 1
LINE_ACKNOWLEDGED: Final = 2
LINE_SILENCED: Final = 3
LINE_OVER: Final = 4
"""Its cause is over, and nobody acknowledged it."""


@dataclass(frozen=True)
class ShownLine:
    """One line. `state` is one of the states above, `under` how many more alarms stand under it."""

    which: int
    about: int
    state: int
    priority: int
    under: int

    @classmethod
    def of(cls, value: int) -> "ShownLine":
        places = (LINE_WHICH, LINE_ABOUT, LINE_STATE, LINE_PRIORITY, LINE_UNDER)
        return cls(*(field(value, place) for place in places))


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
        journal.watch_outputs(self._output, "alarm.", "sounder", "alarms", "alarms_hidden")
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
