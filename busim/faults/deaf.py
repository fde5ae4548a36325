"""A node's receiver is dead."""

from typing import Any

from busim.faults.fault import Handles, TapFault


class Deaf(TapFault):
    name = "deaf"
    words = "a node's receiver is dead"
    effect = "it hears nobody and not itself: what it sends turns into error flags until it is bus-off"
    assumption = True
    acts_on = "receiver"

    def begin(self, world: Handles, now_ns: int, place: Any) -> None:
        bus = world.bus(place.bus)
        bus.wiring.deaf.add(self.controller(world, place).place)
        bus.look_again(now_ns)

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        bus = world.bus(place.bus)
        bus.wiring.deaf.discard(self.controller(world, place).place)
        bus.look_again(now_ns)
