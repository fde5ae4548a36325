"""A whole bus: its wiring, its controllers, and the segments it falls into."""

from collections.abc import Callable, Sequence
from typing import Protocol

from busim.bus.controller import Controller, Route
from busim.bus.noise import Disturbance
from busim.bus.segment import STUCK, Segment
from busim.bus.stuck import StuckSegment
from busim.bus.troubled import TroubledSegment, look_closer
from busim.bus.wiring import Wiring
from busim.frames.layout import BUS_OFF_RECOVERY_SEQUENCES
from busim.seam import BUS_OFF
from busim.units import SECOND


class Journal(Protocol):
    """Where everything that happens is written down (`busim.events.journal`)."""

    def frame(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None: ...

    def event(self, now_ns: int, kind: str, *fields: int | str) -> None: ...


def _nobody() -> None:
    """Nobody wants to know."""


class Bus:
    __slots__ = ("bit_ns", "controllers", "disturbances", "gather", "index", "journal", "name", "segments", "wiring")

    def __init__(self, index: int, name: str, bit_rate: int, journal: Journal) -> None:
        self.index = index
        self.name = name
        self.bit_ns = SECOND // bit_rate
        self.journal = journal
        self.wiring = Wiring()
        self.controllers: list[Controller] = []
        self.segments: list[Segment] = []
        self.disturbances: list[Disturbance] = []
        self.gather: Callable[[], None] = _nobody
        """Told when there are new segments."""

    def join(self, controller: Controller) -> None:
        self.controllers.append(controller)

    def look_again(self, now_ns: int) -> None:
        """The wiring has changed: work out the segments anew. Each begins where those its members were on leave off."""
        self._forget_routes()
        holding = [place for place in self.wiring.holding if self.controllers[place].host.powered]
        wanted = [(places, self.wiring.stuck(places, holding)) for places in self.wiring.segments()]
        if [([m.place for m in segment.members], segment.error == STUCK) for segment in self.segments] == wanted:
            return
        before = self.segments
        for old in before:
            old.hand_over(now_ns)
        self.segments = [
            (StuckSegment if stuck else Segment)(self, [self.controllers[place] for place in places], now_ns)
            for places, stuck in wanted
        ]
        self.gather()
        for segment in self.segments:
            segment.take_over(now_ns, [old for old in before if any(member in segment.members for member in old.members)])
        self._attend()

    def _attend(self) -> None:
        """Segments with noise, or with somebody who comes back from bus-off, are looked at more closely."""
        for segment in self.segments:
            if self.disturbances or any(member.recessive_left for member in segment.members):
                look_closer(segment)
                if not segment.busy:
                    segment.seek_start()

    def _forget_routes(self) -> None:
        for controller in self.controllers:
            controller.routes = {}

    def route(self, sender: Controller, can_id: int, apart: Sequence[Controller] = ()) -> Route:
        """Work out whom a frame of this id from this sender reaches, and remember it where nobody is `apart`: those can't
        receive this one frame, because they send it too or have heard only its end."""
        if sender.place in self.wiring.deaf:
            return 0, (), False
        mask = 0
        acknowledged = False
        receivers = []
        for member in sender.segment.members:
            if member is sender or member in apart or not (member.listening or member.only_listens):
                continue
            if not self.wiring.hears(member.place, sender.place):
                continue
            acknowledged = acknowledged or member.listening
            mask |= 1 << member.host.index
            handler = member.host.handlers.get((self.index, can_id))
            if handler is not None and member.host.running:
                receivers.append((member.host, handler))
        route = (mask, tuple(receivers), acknowledged)
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

    def disturb(self, now_ns: int, disturbance: Disturbance) -> None:
        """Noise begins, and hits the frames under way too."""
        self.disturbances.append(disturbance)
        self._attend()
        for segment in self.segments:
            if isinstance(segment, TroubledSegment):
                segment.disturb_now(now_ns)

    def calm(self, disturbance: Disturbance) -> None:
        """Noise ends; what it has done to a frame under way stays."""
        self.disturbances.remove(disturbance)

    def force_off(self, now_ns: int, controller: Controller) -> None:
        """A controller is bus-off from now on, whatever it has counted; a frame it was sending is lost."""
        if controller.listening and controller.go_off():
            controller.segment.gone(now_ns, controller)
            self.state_changed(now_ns, controller)

    def recover(self, now_ns: int, controller: Controller) -> None:
        """A bus-off controller is asked to come back, which it does once it has seen 128 runs of 11 recessive bits."""
        if controller.state == BUS_OFF and not controller.recessive_left:
            controller.only_listens = False
            self._forget_routes()
            controller.recessive_left = BUS_OFF_RECOVERY_SEQUENCES
            controller.recessive_from_ns = now_ns
            self._attend()

    def state_changed(self, now_ns: int, controller: Controller) -> None:
        """A controller became error active, error passive or bus-off: forget routes, write it down, tell its node."""
        self._forget_routes()
        self.journal.event(now_ns, "controller", controller.host.name, self.name, controller.state, controller.tec, controller.rec)
        controller.host.controller_changed(now_ns, self.index, controller.state)
