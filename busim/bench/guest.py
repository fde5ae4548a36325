"""A guest: something outside the simulation that takes part in the simulated bus as a node among nodes.

A seat is a host of the world with a controller of its own: it arbitrates, acknowledges and counts errors as every other. What
it hears goes out by `hears`; what is handed in waits in its controller's queue. It sits where a node of the boat was left out,
or beside them all at the beginning of the trunk. No I/O and no clock here: time is the world's.
"""

from collections.abc import Callable
from typing import Final

from busim.bench import slcan
from busim.bus.controller import PRIORITY, Controller
from busim.host.host import Host
from busim.seam import BUS_OFF, ERROR_ACTIVE, NOTHING, QUEUE, Actions, FrameHandler, Node
from busim.simulator.world import World
from busim.units import NEVER

QUEUED_MOST: Final = 32
"""Frames that wait for transmission: what serial adapters commonly hold (common practice, no source)."""
WARNING_COUNT: Final = 96
"""TEC or REC from which a controller warns (Bosch CAN 2.0, 1991, s. 8, note)."""
_ALL_IDS: Final = 1 << 11
_KEPT_NS: Final = NEVER // 2
"""A frame that was handed in is tried until it is through."""

Hears = Callable[[int, int, bytes], None]
"""hears(now_ns of the guest's clock, can_id, data)"""


def _nobody(now_ns: int, can_id: int, data: bytes) -> None:
    """Nobody is there to hear it."""


class Guest(Node):
    """At the seam, in place of a node's program: hears every id on its bus and does nothing by itself."""

    __slots__ = ("bus", "seat")

    def __init__(self, bus: int, seat: "Seat") -> None:
        super().__init__()
        self.bus = bus
        self.seat = seat

    def receives(self) -> dict[tuple[int, int], FrameHandler]:
        return {(self.bus, can_id): self.on_frame for can_id in range(_ALL_IDS)}

    def on_frame(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        if bus == self.bus:
            self.seat.heard += 1
            self.seat.hears(now_ns, can_id, data)
        return NOTHING

    def on_start(self, now_ns: int, reset_cause: int) -> Actions:
        self.seat.started()
        return NOTHING

    def on_controller(self, now_ns: int, bus: int, state: int) -> Actions:
        if bus == self.bus:
            self.seat.controller_changed(state)
        return NOTHING


class Seat:
    """A place on one bus for one guest. It has power only while somebody is on the bus there."""

    def __init__(self, world: World, host: Host, bus: int) -> None:
        self.world = world
        self.host = host
        self.bus = bus
        self.hears: Hears = _nobody
        self.heard = 0
        self.sent = 0
        """Frames that were handed in and taken."""
        self.turned_away = 0
        """Frames that were handed in while the queue was full, or the controller off the bus."""
        self.states: list[int] = []
        """What its controller became, in order."""
        self.listen_only = False
        self._counts = (0, 0)
        self._flags = 0

    @property
    def controller(self) -> Controller:
        return self.host.controllers[self.bus]

    # ------------------------------------------------------------------------------------------------ asked from outside

    def go_on_bus(self, *, listen_only: bool) -> None:
        self.listen_only = listen_only
        self._counts, self._flags, self.states = (0, 0), 0, []
        self.host.power(self.world.now_ns, True)
        self.world.run(self.world.now_ns)  # its start is due now, before anything it may be handed

    def leave_bus(self) -> None:
        self.host.power(self.world.now_ns, False)

    def transmit(self, can_id: int, data: bytes) -> bool:
        controller = self.controller
        if not self.host.running or not controller.listening or len(controller.pending) >= QUEUED_MOST:
            self.turned_away += 1
            self._flags |= slcan.TRANSMIT_FULL
            return False
        self.sent += 1
        self.host.act(self.world.now_ns, ((QUEUE, self.bus, can_id, data, _KEPT_NS),))
        return True

    def flags(self) -> int:
        """As F has them. Lost arbitration (bit 6) is no event of the simulated controller and is never set."""
        controller = self.controller
        flags, self._flags = self._flags, 0
        if controller.tec > self._counts[0] or controller.rec > self._counts[1]:
            flags |= slcan.BUS_ERROR
        self._counts = (controller.tec, controller.rec)
        if max(self._counts) >= WARNING_COUNT:
            flags |= slcan.ERROR_WARNING
        if controller.state != ERROR_ACTIVE:
            flags |= slcan.PASSIVE
        return flags

    # ------------------------------------------------------------------------------------------------ told by the world

    def started(self) -> None:
        if self.listen_only:
            controller = self.controller
            self.host.buses[self.bus].set_listening(self.world.now_ns, controller, False)
            controller.only_listens = True

    def controller_changed(self, state: int) -> None:
        self.states.append(state)
        if state != ERROR_ACTIVE:
            self._flags |= slcan.BUS_ERROR

    @property
    def off(self) -> bool:
        return self.controller.state == BUS_OFF


def seat_of(world: World, node: str, bus: int) -> Seat:
    """The seat of a node that is left out: its place on the bus, its board, its address's bit in every mask. The machinery that is
    wired to its pins hears nothing from it, and can be measured there still. To be called before the world runs."""
    host = world.hosts[node]
    seat = Seat(world, host, bus)
    host.make_node = lambda: Guest(bus, seat)
    host.node = host.make_node()
    host.boot_ns = 0
    host.delay_ns = 0
    host.watchdog_ns = NEVER
    host.rejoin = None
    host.wants_sent = False
    world.script = [step for step in world.script if not (step[2] == "power" and step[3][0] == node)]
    return seat


def new_seat(world: World, name: str, bus: int) -> Seat:
    """One more host, at the beginning of the trunk. To be called before the world runs."""
    host = Host(len(world.hosts), name, Node, world.loop, world.journal, delay_ns=0, boot_ns=0)
    seat = Seat(world, host, bus)
    host.make_node = lambda: Guest(bus, seat)
    host.node = host.make_node()
    segmented = world.loop.buses[bus]
    controller = Controller(host, bus, segmented.wiring.add(0.0), PRIORITY)
    host.buses[bus] = segmented
    host.controllers[bus] = controller
    segmented.join(controller)
    segmented.look_again(world.now_ns)
    for timer in (host.deferred, host.sampling, host.deadline):
        world.loop.add(timer)
    world.hosts[name] = host
    return seat
