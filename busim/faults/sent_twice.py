"""A node's frames are sent twice: the last bit of their end is hit where it sits."""

from typing import Any, ClassVar, Final

from pydantic import Field

from busim.bus.noise import HitBit
from busim.faults.fault import Handles, TapFault, TapPlace

_LAST: Final = 1


class TwicePlace(TapPlace):
    every: int = Field(default=10, ge=1, le=1_000_000, description="every how manieth frame of its is hit")


class SentTwice(TapFault):
    name = "sent_twice"
    words = "a node sends frames again that all have accepted"
    effect = (
        "the last bit of every n-th frame of its reads wrong to it, so it takes for failed what all others have accepted, and "
        "repeats it (Bosch, CAN Specification 2.0, s. 6)"
    )
    place: ClassVar[type[TwicePlace]] = TwicePlace

    def begin(self, world: Handles, now_ns: int, place: Any) -> HitBit:
        hit = HitBit(_LAST, place.every, frozenset({self.controller(world, place).place}), own=True)
        world.bus(place.bus).disturb(now_ns, hit)
        return hit

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        world.bus(place.bus).calm(memory)
