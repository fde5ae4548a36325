"""A frame that some nodes accept and others don't: the last but one bit of its end is hit where they sit."""

from collections.abc import Iterator
from typing import Any

from pydantic import Field

from busim.boat.model import BoatFile, Section, Words
from busim.bus.noise import HitBit
from busim.faults.fault import Complaint, Fault, Handles
from busim.faults.noise_rate import not_all_on, places_of

_LAST_BUT_ONE = 2


class SomePlace(Section):
    bus: Words
    nodes: tuple[Words, ...] = Field(min_length=1, description="the nodes that do not accept")
    every: int = Field(default=10, ge=1, le=1_000_000, description="every how manieth frame of others is hit")


class AcceptedBySome(Fault):
    name = "accepted_by_some"
    words = "frames are accepted by some nodes only"
    effect = (
        "the nodes named reject every n-th frame that the others accept; its sender repeats it, so those get it twice "
        "(Bosch, CAN Specification 2.0, s. 6)"
    )
    place = SomePlace

    def place_words(self, place: Any) -> str:
        return f"{place.bus}, not by {' and '.join(place.nodes)}"

    def misplaced(self, boat: BoatFile, place: Any) -> Iterator[Complaint]:
        yield from not_all_on(boat, place.bus, place.nodes)

    def places(self, boat: BoatFile) -> Iterator[Any]:
        """Each node alone."""
        return (self.place(bus=bus, nodes=(name,)) for name, node in boat.nodes.items() for bus in node.taps)

    def begin(self, world: Handles, now_ns: int, place: Any) -> HitBit:
        hit = HitBit(_LAST_BUT_ONE, place.every, places_of(world, place.bus, place.nodes))
        world.bus(place.bus).disturb(now_ns, hit)
        return hit

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        world.bus(place.bus).calm(memory)
