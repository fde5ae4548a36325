"""A plug is pulled: the node behind it has no supply and no wire."""

from collections.abc import Iterator
from typing import Any

from busim.boat.model import BoatFile
from busim.faults.fault import Complaint, Handles, NodeFault


class Unplugged(NodeFault):
    name = "unplugged"
    words = "a node's plug is pulled"
    effect = "its supply goes and its drops are open; plugged in again it boots"
    acts_on = "supply"

    def misplaced(self, boat: BoatFile, place: Any) -> Iterator[Complaint]:
        if not any(tap.plug for tap in boat.nodes[place.node].taps.values()):
            yield "node", f"{place.node} has no plug (plug: true at one of its taps)"

    def begin(self, world: Handles, now_ns: int, place: Any) -> None:
        world.hosts[place.node].power(now_ns, False)
        self._wire(world, now_ns, place, loose=True)

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        self._wire(world, now_ns, place, loose=False)
        world.hosts[place.node].power(now_ns, True)

    def _wire(self, world: Handles, now_ns: int, place: Any, *, loose: bool) -> None:
        host = world.hosts[place.node]
        for index, controller in host.controllers.items():
            bus = host.buses[index]
            if world.boat.nodes[place.node].taps[bus.name].plug:
                (bus.wiring.loose.add if loose else bus.wiring.loose.discard)(controller.place)
                bus.look_again(now_ns)
