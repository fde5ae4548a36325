"""One of the two wires of the trunk is open at a metre."""

from typing import Any, Final

from busim.bus.noise import Noise
from busim.faults.cut import Cut
from busim.faults.fault import Handles
from busim.faults.noise_rate import own_chance

_RATE: Final = 0.001


class WireOpen(Cut):
    name = "wire_open"
    words = "one wire of the trunk of a bus is open"
    effect = (
        "no bit passes the place, as with both wires cut; on both sides one bit in a thousand is hit, as what comes over the wire "
        "that is left is only noise"
    )

    def begin(self, world: Handles, now_ns: int, place: Any) -> Noise:
        super().begin(world, now_ns, place)
        noise = Noise(_RATE, own_chance(world, self, place))
        world.bus(place.bus).disturb(now_ns, noise)
        return noise

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        world.bus(place.bus).calm(memory)
        super().end(world, now_ns, place, memory)
