"""A node's clock is off: a cracked crystal, or a resistor and a capacitor where a crystal should be."""

from collections.abc import Iterator
from random import Random
from typing import Any

from pydantic import Field

from busim.boat.derive import board_of
from busim.boat.model import BoatFile
from busim.bus.noise import SenderNoise
from busim.bus.tolerance import error_rate, tolerance_ppm
from busim.faults.fault import Handles, NodeFault, NodePlace
from busim.host.host import ONE


class ClockPlace(NodePlace):
    ppm: int = Field(default=10_000, ge=-100_000, le=100_000, description="by how much, in parts per million; + is fast")


class ClockOff(NodeFault):
    name = "clock_off"
    words = "a node's clock is off"
    effect = (
        "its program runs that much fast or slow; beyond what its bit timing allows bits of its frames are hit, 2 % at twice the "
        "tolerance and in proportion"
    )
    assumption = True
    acts_on = "clock"
    place = ClockPlace

    def place_words(self, place: Any) -> str:
        return f"{place.node}, {place.ppm:+d} ppm"

    def places(self, boat: BoatFile) -> Iterator[Any]:
        return (ClockPlace(node=node, ppm=ppm) for node in boat.nodes for ppm in (10_000, -10_000))

    def begin(self, world: Handles, now_ns: int, place: Any) -> tuple[int, dict[str, SenderNoise]]:
        """Memory: the rate before, and the noise on each bus that has any."""
        host = world.hosts[place.node]
        before = host.rate
        host.set_rate(now_ns, ONE + place.ppm * ONE // 1_000_000)
        board = board_of(world.boat, place.node)
        rate = error_rate(place.ppm, tolerance_ppm(board.quanta, board.sample_point_permille, board.jump_quanta))
        noises = {}
        if rate:
            for bus in host.buses.values():
                draw = Random(f"{world.seed} {self.name} {place.node} {bus.name}").random
                noises[bus.name] = SenderNoise(host.controllers[bus.index].place, rate, draw)
                bus.disturb(now_ns, noises[bus.name])
        return before, noises

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        before, noises = memory
        world.hosts[place.node].set_rate(now_ns, before)
        for name, noise in noises.items():
            world.bus(name).calm(noise)
