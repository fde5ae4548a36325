"""A whole bus: its wiring, its controllers, and the segments it falls into."""

from collections.abc import Callable, Sequence
from typing import Protocol

from busim.bus.controller import Controller, Route
from busim.bus.segment import Segment
from busim.bus.wiring import Wiring
from busim.units import SECOND


class Journal(Protocol):
    """Where everything that happens is written down (`busim.events.journal`)."""

    def frame(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None: ...

    def event(self, now_ns: int, kind: str, *fields: int | str) -> None: ...


def _nobody() -> None:
    """Nobody wants to know."""


class Bus:
    __slots__ = ("bit_ns", "controllers", "gather", "index", "journal", "name", "segments", "wiring")

    def __init__(self, index: int, name: str, bit_rate: int, journal: Journal) -> None:
        self.index = index
        self.name = name
        self.bit_ns = SECOND // bit_rate
        self.journal = journal
        self.wiring = Wiring()
        self.controllers: list[Controller] = []
        self.segments: list[Segment] = []
        self.gather: Callable[[], None] = _nobody
        """Told when there are new segments."""

    def join(self, controller: Controller) -> None:
        self.controllers.append(controller)

    def look_again(self, now_ns: int) -> None:
        """The wiring has changed: work out the segments anew. Each begins where those its members were on leave off."""
        self._forget_routes()
        wanted = self.wiring.segments()
        if [[member.place for member in segment.members] for segment in self.segments] == wanted:
            return
        before = self.segments
        self.segments = [Segment(self, [self.controllers[place] for place in places], now_ns) for places in wanted]
        self.gather()
        for segment in self.segments:
            segment.take_over(now_ns, [old for old in before if any(member in segment.members for member in old.members)])

    def _forget_routes(self) -> None:
        for controller in self.controllers:
            controller.routes = {}

    def route(self, sender: Controller, can_id: int, apart: Sequence[Controller] = ()) -> Route:
        """Work out whom a frame of this id from this sender reaches, and remember it where nobody is `apart`: those can't
        receive this one frame, because they send it too or have heard only its end."""
        if sender.place in self.wiring.deaf:
            return 0, (), False
        mask = 0
        receivers = []
        for member in sender.segment.members:
            if member is sender or not member.listening or not self.wiring.hears(member.place, sender.place):
                continue
            if member in apart:
                continue
            mask |= 1 << member.host.index
            handler = member.host.handlers.get((self.index, can_id))
            if handler is not None and member.host.running:
                receivers.append((member.host, handler))
        route = (mask, tuple(receivers), mask != 0)
        if not apart:
            sender.routes[can_id] = route
        return route

    def set_listening(self, now_ns: int, controller: Controller, listening: bool) -> None:
        """Power for a controller comes or goes. It takes no part in a frame of which it has heard only the end."""
        segment = controller.segment
        controller.reset(listening=listening)
        self._forget_routes()
        if not listening:
            segment.gone(now_ns, controller)
        elif segment.busy:
            segment.late.append(controller)

    def state_changed(self, now_ns: int, controller: Controller) -> None:
        """A controller became error active, error passive or bus-off: forget routes, write it down, tell its node."""
        self._forget_routes()
        self.journal.event(now_ns, "controller", controller.host.name, self.name, controller.state, controller.tec, controller.rec)
        controller.host.controller_changed(now_ns, self.index, controller.state)
