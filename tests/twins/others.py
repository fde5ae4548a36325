"""Stations, panels and zone drivers with one planted defect each."""

from busim.seam import Action
from busim.units import NEVER
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


class TakesHalf(Station):
    """A take that only some drives echo is good enough for it."""

    __slots__ = ()

    def _event(self, now_ns: int, event: str) -> list[Action]:
        if event == "transfer_over":
            self.held = [address for address, echo in self.echoes.items() if echo.station == self.address]
            self.held_since_ns = now_ns
            self.claim_due_ns = NEVER
            return super()._event(now_ns, "echoed")
        return super()._event(now_ns, event)


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
