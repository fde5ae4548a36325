"""Two nodes with one address: one was given the other's when it was replaced."""

from collections.abc import Iterator
from typing import Any

from busim.boat.model import BoatFile, Words
from busim.bus.controller import Controller
from busim.faults.fault import Complaint, Handles, NodeFault, NodePlace
from busim.faults.sound_again import sound_again
from busim.host.tamper import Tamper


class DuplicatePlace(NodePlace):
    has_address_of: Words


class UnderAddress(Tamper):
    """Every frame goes out under another sender's address, sound in itself."""

    __slots__ = ("address",)

    def __init__(self, address: int) -> None:
        self.address = address

    def release(
        self, controller: Controller, ready_ns: int, can_id: int, data: bytes, drop_after_ns: int, overwrite: bool
    ) -> None:
        can_id = can_id & ~0x3F | self.address
        controller.submit(ready_ns, can_id, sound_again(can_id, data), drop_after_ns, overwrite)


class DuplicateAddress(NodeFault):
    name = "duplicate_address"
    words = "a node sends under the address of another"
    effect = (
        "its frames carry the other's address and a CRC that fits; where both send one id at once, they destroy each other's "
        "frames until one of them is bus-off"
    )
    from_start = True
    acts_on = "frames"
    place = DuplicatePlace

    def place_words(self, place: Any) -> str:
        return f"{place.node} as {place.has_address_of}"

    def misplaced(self, boat: BoatFile, place: Any) -> Iterator[Complaint]:
        if place.has_address_of not in boat.nodes:
            yield "has_address_of", f"there is no node {place.has_address_of}; there are {', '.join(boat.nodes)}"
        elif place.has_address_of == place.node:
            yield "has_address_of", f"{place.node} has its own address anyway"

    def places(self, boat: BoatFile) -> Iterator[Any]:
        """A spare was given the address of another node of its kind on a bus of its own; where there is none, the next one's."""
        for name, node in boat.nodes.items():
            beside = [other for other, each in boat.nodes.items() if other != name and set(each.taps) & set(node.taps)]
            alike = [other for other in beside if boat.nodes[other].kind == node.kind]
            for other in alike or beside[:1]:
                yield DuplicatePlace(node=name, has_address_of=other)

    def begin(self, world: Handles, now_ns: int, place: Any) -> None:
        world.hosts[place.node].tamper = UnderAddress(world.boat.nodes[place.has_address_of].address)

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        world.hosts[place.node].tamper = None
