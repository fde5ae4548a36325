"""Bits are hit at a rate: a bad earth, a chafed screen, a cable beside the alternator's."""

from collections.abc import Iterator
from random import Random
from typing import Any, ClassVar

from pydantic import Field

from busim.boat.model import BoatFile, Section, Words
from busim.bus.noise import Noise
from busim.faults.fault import Complaint, Fault, Handles


class NoisePlace(Section):
    bus: Words
    rate: float = Field(default=0.001, gt=0, le=0.5, description="share of bits that are hit; 0.001 hits one full frame in eight")
    nodes: tuple[Words, ...] = Field(default=(), description="the nodes that see it; left out: all")


class NoiseFault(Fault):
    """Noise on a bus, seen by all or by some of its nodes."""

    place: ClassVar[type[Any]] = NoisePlace

    def place_words(self, place: Any) -> str:
        return f"{place.bus} at {' and '.join(place.nodes)}" if place.nodes else str(place.bus)

    def misplaced(self, boat: BoatFile, place: Any) -> Iterator[Complaint]:
        yield from not_all_on(boat, place.bus, place.nodes)

    def places(self, boat: BoatFile) -> Iterator[Any]:
        return (self.place(bus=bus) for bus in boat.buses)

    def noise(self, now_ns: int, place: Any, draw: Any, places: frozenset[int] | None) -> Noise:
        raise NotImplementedError

    def begin(self, world: Handles, now_ns: int, place: Any) -> Noise:
        noise = self.noise(now_ns, place, own_chance(world, self, place), places_of(world, place.bus, place.nodes))
        world.bus(place.bus).disturb(now_ns, noise)
        return noise

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        world.bus(place.bus).calm(memory)


def own_chance(world: Handles, fault: Fault, place: Any) -> Any:
    """A fault's own generator, from the run's seed, its name and its place."""
    return Random(f"{world.seed} {fault.name} {fault.place_words(place)}").random


def places_of(world: Handles, bus: str, nodes: tuple[str, ...]) -> frozenset[int] | None:
    """Where on the bus these nodes are; None where none is named, which stands for all."""
    index = world.bus(bus).index
    return frozenset(world.hosts[node].controllers[index].place for node in nodes) or None


def not_all_on(boat: BoatFile, bus: str, nodes: tuple[str, ...]) -> Iterator[Complaint]:
    there = [name for name, node in boat.nodes.items() if bus in node.taps]
    for node in nodes:
        if node not in there:
            yield "nodes", f"there is no node {node} on {bus}; there are {', '.join(there)}"


class NoiseRate(NoiseFault):
    name = "noise_rate"
    words = "bits on a bus are hit at a rate"
    effect = "each bit reads as its opposite with this probability, to all or to some; what is hit is signalled and sent again"
    assumption = True
    place = NoisePlace

    def noise(self, now_ns: int, place: Any, draw: Any, places: frozenset[int] | None) -> Noise:
        return Noise(place.rate, draw, places)
