"""A node's supply goes."""

from typing import Any

from busim.faults.fault import Handles, NodeFault


class PowerLost(NodeFault):
    name = "power_lost"
    words = "a node loses its supply"
    effect = "its program, controller and outputs stop at once; its actuators do what they do without power; it boots when it ends"
    acts_on = "supply"

    def begin(self, world: Handles, now_ns: int, place: Any) -> None:
        world.hosts[place.node].power(now_ns, False)

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        world.hosts[place.node].power(now_ns, True)
