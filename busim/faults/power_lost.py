"""A node's supply goes."""

from typing import TYPE_CHECKING, Any

from busim.faults.fault import NodeFault

if TYPE_CHECKING:
    from busim.simulator.world import World


class PowerLost(NodeFault):
    name = "power_lost"
    words = "a node loses its supply"
    effect = "its program, controller and outputs stop at once; its actuators do what they do without power; it boots when it ends"
    acts_on = "supply"

    def begin(self, world: "World", now_ns: int, place: Any) -> None:
        world.hosts[place.node].power(now_ns, False)

    def end(self, world: "World", now_ns: int, place: Any, memory: Any) -> None:
        world.hosts[place.node].power(now_ns, True)
