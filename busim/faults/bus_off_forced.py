"""A node's controller goes bus-off, whatever the cause."""

from typing import Any

from busim.faults.fault import Handles, TapFault


class BusOffForced(TapFault):
    name = "bus_off_forced"
    words = "a node's controller goes bus-off"
    effect = "its queue is flushed and it takes no part until its board rejoins, as its boat file says, or the node is reset"
    lasts = False

    def begin(self, world: Handles, now_ns: int, place: Any) -> None:
        world.bus(place.bus).force_off(now_ns, self.controller(world, place))
