"""A node's transmit pin stays dominant."""

from typing import Any

from busim.faults.fault import Handles, TapFault


class StuckDominant(TapFault):
    name = "stuck_dominant"
    words = "a node's transmitter drives dominant all the time"
    effect = (
        "nobody on that stretch sends; who was sending goes bus-off, the others error passive; without its supply the node lets "
        "go; its transceiver has no time-out"
    )
    assumption = True

    def begin(self, world: Handles, now_ns: int, place: Any) -> None:
        bus = world.bus(place.bus)
        bus.wiring.holding.append(self.controller(world, place).place)
        bus.look_again(now_ns)

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        bus = world.bus(place.bus)
        bus.wiring.holding.remove(self.controller(world, place).place)
        bus.look_again(now_ns)
