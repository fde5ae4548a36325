"""A node's queue is held, and then let go: everything in it comes out at once, old as it is."""

from collections.abc import Iterator
from typing import Any

from busim.boat.model import BoatFile, Words
from busim.bus.controller import Controller
from busim.faults.fault import Complaint, Handles, NodeFault, NodePlace
from busim.host.tamper import Tamper
from busim.units import SECOND


class HeldPlace(NodePlace):
    bus: Words | None = None
    """The one bus it is held on; left out, all of them."""


class Held(Tamper):
    """Keeps everything for the controller of this number (None: for all), first in first out."""

    __slots__ = ("bus", "kept")

    def __init__(self, bus: int | None) -> None:
        self.bus = bus
        self.kept: list[tuple[Controller, int, bytes]] = []

    def release(
        self, controller: Controller, ready_ns: int, can_id: int, data: bytes, drop_after_ns: int, overwrite: bool
    ) -> None:
        if self.bus is None or controller.bus_index == self.bus:
            self.kept.append((controller, can_id, data))
        else:
            super().release(controller, ready_ns, can_id, data, drop_after_ns, overwrite)


class QueueHeld(NodeFault):
    name = "queue_held"
    words = "a node's transmit queue is held and then let go"
    effect = "nothing of it is sent while it lasts; when it ends, all of it comes out as fast as the bus takes it, oldest first"
    assumption = True
    acts_on = "frames"
    place = HeldPlace

    def place_words(self, place: Any) -> str:
        return f"{place.node} on {place.bus}" if place.bus is not None else str(place.node)

    def misplaced(self, boat: BoatFile, place: Any) -> Iterator[Complaint]:
        taps = boat.nodes[place.node].taps
        if place.bus is not None and place.bus not in taps:
            yield "bus", f"{place.node} is not on {place.bus}; it is on {' and '.join(taps)}"

    def places(self, boat: BoatFile) -> Iterator[Any]:
        """Every node; and where it is on a pair of buses, each of the two alone: what comes late by one must not act."""
        twins = {name: bus.twin_of for name, bus in boat.buses.items() if bus.twin_of is not None}
        for name, node in boat.nodes.items():
            yield self.place(node=name)
            for bus, twin in twins.items():
                if {bus, twin} <= node.taps.keys():
                    yield self.place(node=name, bus=twin)
                    yield self.place(node=name, bus=bus)

    def begin(self, world: Handles, now_ns: int, place: Any) -> None:
        world.hosts[place.node].tamper = Held(world.bus(place.bus).index if place.bus is not None else None)

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        host = world.hosts[place.node]
        held, host.tamper = host.tamper, None
        if isinstance(held, Held):
            for controller, can_id, data in held.kept:
                controller.submit(now_ns, can_id, data, 10 * SECOND, False)
