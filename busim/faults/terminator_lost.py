"""A terminator is gone: echoes run up and down the trunk."""

from collections.abc import Iterator
from typing import Any, Final

from busim.boat.model import BoatFile, Section, Words
from busim.bus.noise import Noise
from busim.faults.fault import Complaint, Fault, Handles
from busim.faults.noise_rate import own_chance

_NS_PER_M: Final = 5
"""Signal delay of the usual cable (common practice)."""
_RATE_AT_ONE_BIT: Final = 0.1


class TerminatorPlace(Section):
    bus: Words


class TerminatorLost(Fault):
    name = "terminator_lost"
    words = "a terminator of a bus is lost"
    effect = (
        "bits are hit for all nodes: with x the share of a bit that an echo takes up the trunk and back, at 5 ns/m, a bit is hit "
        "with the probability 0.1 x^2, at most one in two"
    )
    assumption = True
    place = TerminatorPlace

    def place_words(self, place: Any) -> str:
        return str(place.bus)

    def misplaced(self, boat: BoatFile, place: Any) -> Iterator[Complaint]:
        if not boat.buses[place.bus].terminators_m:
            yield "bus", f"{place.bus} has no terminator to lose"

    def places(self, boat: BoatFile) -> Iterator[Any]:
        return (self.place(bus=bus) for bus in boat.buses)

    def begin(self, world: Handles, now_ns: int, place: Any) -> Noise:
        bus = world.bus(place.bus)
        noise = Noise(echo_rate(world.boat.buses[place.bus].trunk_m, bus.bit_ns), own_chance(world, self, place))
        bus.disturb(now_ns, noise)
        return noise

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        world.bus(place.bus).calm(memory)


def echo_rate(trunk_m: float, bit_ns: int) -> float:
    """How many of the bits are hit where one end of the trunk has no terminator. *Model assumption*."""
    share = 2 * trunk_m * _NS_PER_M / bit_ns
    return min(_RATE_AT_ONE_BIT * share * share, 0.5)
