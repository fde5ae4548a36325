"""A node's transmitter is dead."""

from typing import Any

from busim.faults.fault import Handles, TapFault


class Dumb(TapFault):
    name = "dumb"
    words = "a node's transmitter is dead"
    effect = "it hears everybody and nothing of it is on the wire, not even its acknowledgement; sending, it goes bus-off"
    acts_on = "transmitter"

    def begin(self, world: Handles, now_ns: int, place: Any) -> None:
        bus = world.bus(place.bus)
        bus.wiring.dumb.add(self.controller(world, place).place)
        bus.look_again(now_ns)

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        bus = world.bus(place.bus)
        bus.wiring.dumb.discard(self.controller(world, place).place)
        bus.look_again(now_ns)
