"""What the tests of bus, host and kernel start from: one bus with a few hosts on it, each with a node that only listens.

A test lets a node act at a moment it chooses, and reads what was heard and written down.
"""

from collections.abc import Callable
from typing import Any

from busim.bus.bus import Bus
from busim.bus.controller import PRIORITY, Controller
from busim.events.journal import Event, Frame, Journal
from busim.host.host import Host
from busim.seam import NOTHING, QUEUE, SEND, Actions, FrameHandler, Node
from busim.simulator.kernel import Loop
from busim.units import SECOND

BIT = 4000
"""Nanoseconds of a bit at 250 kbit/s."""


class EveryId(dict[tuple[int, int], FrameHandler]):
    """A filter that lets every id of bus 0 through, without 2,048 entries."""

    def __init__(self, handler: FrameHandler) -> None:
        super().__init__()
        self.handler = handler

    def get(self, key: Any, default: Any = None) -> Any:
        return self.handler if key[0] == 0 else default


class Listener(Node):
    """Writes down what it is told: `heard` (now, id, data), `sent` (now, id), `states`, `calls`."""

    __slots__ = ("calls", "heard", "sent", "states")

    def __init__(self) -> None:
        super().__init__()
        self.heard: list[tuple[int, int, bytes]] = []
        self.sent: list[tuple[int, int]] = []
        self.states: list[int] = []
        self.calls: list[tuple[Any, ...]] = []

    def receives(self) -> dict[tuple[int, int], FrameHandler]:
        return EveryId(self.hear)

    def hear(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        self.heard.append((now_ns, can_id, data))
        return NOTHING

    def on_start(self, now_ns: int, reset_cause: int) -> Actions:
        self.calls.append(("start", now_ns, reset_cause))
        return NOTHING

    def on_input(self, now_ns: int, channel: str, value: int) -> Actions:
        self.calls.append((channel, now_ns, value))
        return NOTHING

    def on_controller(self, now_ns: int, bus: int, state: int) -> Actions:
        self.states.append(state)
        return NOTHING


class Confirmed(Listener):
    """A listener that is told of its own frames too."""

    __slots__ = ()

    def _note_sent(self, now_ns: int, bus: int, can_id: int) -> Actions:
        self.sent.append((now_ns, can_id))
        return NOTHING

    on_sent = _note_sent


class SmallBus:
    """Hosts called `a`, `b`, ... on one bus, a metre apart from 0 m on. Supplies come at time zero, programs start at once."""

    def __init__(
        self,
        places: int = 3,
        *,
        kind: Callable[[], Node] = Confirmed,
        off: str = "",
        queue: int = PRIORITY,
        delay_ns: int = 0,
        bit_rate: int = 250_000,
    ) -> None:
        self.journal = Journal()
        self.loop = Loop()
        self.bus = Bus(0, "main", bit_rate, self.journal)
        self.bus.gather = self.loop.gather_segments
        self.loop.buses = [self.bus]
        self.hosts: dict[str, Host] = {}
        for index in range(places):
            name = chr(ord("a") + index)
            host = Host(index, name, kind, self.loop, self.journal, delay_ns=delay_ns, boot_ns=0)
            host.buses[0] = self.bus
            host.controllers[0] = Controller(host, 0, self.bus.wiring.add(float(index)), queue)
            self.bus.join(host.controllers[0])
            self.hosts[name] = host
        self.bus.look_again(0)
        for timers in ("deferred", "sampling", "deadline"):
            for host in self.hosts.values():
                self.loop.add(getattr(host, timers))
        for name, host in self.hosts.items():
            if name not in off:
                host.power(0, True)
        self.loop.run(0)

    def node(self, name: str) -> Any:
        return self.hosts[name].node

    def controller(self, name: str) -> Controller:
        return self.hosts[name].controllers[0]

    def run(self, until_ns: int) -> "SmallBus":
        self.loop.run(until_ns)
        return self

    def send(self, at_ns: int, name: str, can_id: int, data: bytes = b"", *, drop_ns: int = SECOND, queued: bool = False) -> None:
        """At this moment, after all else that happens then, the node hands over a frame."""
        self.loop.run(at_ns)
        self.hosts[name].act(at_ns, ((QUEUE if queued else SEND, 0, can_id, data, drop_ns),))

    def cut(self, at_ns: int, at_m: float) -> None:
        self.loop.run(at_ns)
        self.bus.wiring.cuts_m.append(at_m)
        self.bus.look_again(at_ns)

    def heal(self, at_ns: int) -> None:
        self.loop.run(at_ns)
        self.bus.wiring.cuts_m.clear()
        self.bus.look_again(at_ns)

    def power(self, at_ns: int, name: str, on: bool) -> None:
        self.loop.run(at_ns)
        self.hosts[name].power(at_ns, on)

    @property
    def frames(self) -> list[Frame]:
        return self.journal.frames

    @property
    def accepted(self) -> list[tuple[int, int]]:
        """(moment, id) of every frame accepted."""
        return [(frame[0], frame[2]) for frame in self.frames]

    def events(self, kind: str) -> list[Event]:
        return [event for event in self.journal.events if event[2] == kind]
