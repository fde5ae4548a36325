"""A whole bus: its wiring, its controllers, and the segments it falls into."""

from collections.abc import Callable
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
        """The wiring, or who is powered, has changed: work out the segments anew.

        A frame under way stays with whoever still hears its sender; on the stretch that lost it, the bus is idle after an
        error frame's time.
        """
        for controller in self.controllers:
            controller.routes = {}
        wanted = self.wiring.segments()
        if [[member.place for member in segment.members] for segment in self.segments] == wanted:
            return
        under_way = [segment for segment in self.segments if segment.busy]
        free_ns = max((segment.free_ns for segment in self.segments), default=0)
        segments = []
        for places in wanted:
            members = [self.controllers[place] for place in places]
            busy = next((segment for segment in under_way if segment.sender in members), None)
            fresh = Segment(self, members, now_ns + 20 * self.bit_ns if under_way else max(now_ns, free_ns))
            if busy is not None:
                fresh.busy, fresh.error, fresh.ties = True, busy.error, busy.ties
                fresh.sender, fresh.request, fresh.can_id, fresh.data = busy.sender, busy.request, busy.can_id, busy.data
                fresh.free_ns, fresh.next_key = busy.free_ns, busy.next_key
            fresh.dirty = any(member.rec for member in members)
            segments.append(fresh)
        self.segments = segments
        self.gather()

    def route(self, sender: Controller, can_id: int) -> Route:
        """Work out, and remember, whom a frame of this id from this sender reaches."""
        mask = 0
        receivers = []
        for member in sender.segment.members:
            if member is sender or not member.listening or not self.wiring.hears(member.place, sender.place):
                continue
            mask |= 1 << member.host.index
            handler = member.host.handlers.get((self.index, can_id))
            if handler is not None and member.host.running:
                receivers.append((member.host, handler))
        sender.routes[can_id] = route = (mask, tuple(receivers), mask != 0)
        return route

    def set_listening(self, now_ns: int, controller: Controller, listening: bool) -> None:
        """Power for a controller comes or goes."""
        if controller.listening and not listening and controller.segment.busy and controller.segment.sender is controller:
            controller.reset(listening=False)
            controller.segment.sender_gone(now_ns)
        controller.reset(listening=listening)
        self.look_again(now_ns)

    def state_changed(self, now_ns: int, controller: Controller) -> None:
        """A controller became error active, error passive or bus-off: forget routes, write it down, tell its node."""
        for member in self.controllers:
            member.routes = {}
        self.journal.event(now_ns, "controller", controller.host.name, self.name, controller.state, controller.tec, controller.rec)
        controller.host.controller_changed(now_ns, self.index, controller.state)
