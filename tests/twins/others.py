"""Stations, panels and zone drivers with one planted defect each."""

from busim.seam import Action
from nodes.panel import Panel, Pending
from nodes.station import SHOWS_HERE, SHOWS_LOST, SHOWS_NOBODY, SHOWS_NOTHING_HEARD, Station
from nodes.zone_driver import ZoneDriver, ZoneLight


class KeepsShowing(Station):
    """Once it was in control it shows that for ever."""

    __slots__ = ()

    def what_to_show(self, now_ns: int) -> int:
        shows = super().what_to_show(now_ns)
        if self.number and shows in (SHOWS_NOBODY, SHOWS_NOTHING_HEARD, SHOWS_LOST):
            return SHOWS_HERE
        return shows


class AnswersOnly(ZoneDriver):
    """It answers presses and never switches a lamp."""

    __slots__ = ()

    def switch(self, light: ZoneLight, level: int) -> tuple[()]:
        light.level = level
        return ()


class KeepsQuiet(Panel):
    """It gives up on a press without a word."""

    __slots__ = ()

    def report_failed(self, pending: Pending) -> list[Action]:
        return []
