"""A drop is broken: the node has its supply and no bus."""

from typing import Any

from busim.faults.fault import Handles, TapFault


class DropOpen(TapFault):
    name = "drop_open"
    words = "a node's drop is open"
    effect = "the node hears nobody on that bus and nobody hears it; it goes on sending until it is error passive"

    def begin(self, world: Handles, now_ns: int, place: Any) -> None:
        bus = world.bus(place.bus)
        bus.wiring.open_drops.append(self.controller(world, place).place)
        bus.look_again(now_ns)

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        bus = world.bus(place.bus)
        bus.wiring.open_drops.remove(self.controller(world, place).place)
        bus.look_again(now_ns)
