"""The trunk is cut through at a metre."""

from collections.abc import Iterator
from itertools import pairwise
from typing import Any

from pydantic import Field

from busim.boat.model import BoatFile, Section, Words
from busim.faults.fault import Complaint, Fault, Handles


class CutPlace(Section):
    bus: Words
    at_m: float = Field(ge=0, le=5000)


class Cut(Fault):
    name = "cut"
    words = "the trunk of a bus is cut through"
    effect = "no bit passes the place; both sides go on by themselves, each with one terminator left"
    assumption = True
    place = CutPlace

    def place_words(self, place: Any) -> str:
        return f"{place.bus} at {place.at_m:g} m"

    def misplaced(self, boat: BoatFile, place: Any) -> Iterator[Complaint]:
        trunk_m = boat.buses[place.bus].trunk_m
        if place.at_m > trunk_m:
            yield "at_m", f"{place.at_m:g} m is beyond the end of the trunk, which is {trunk_m:g} m long"

    def places(self, boat: BoatFile) -> Iterator[Any]:
        """Between any two nodes that are neighbours on a trunk."""
        for name, bus in boat.buses.items():
            taps = sorted({node.taps[name].at_m for node in boat.nodes.values() if name in node.taps})
            for one, other in pairwise(taps):
                at_m = round((one + other) / 2, 2)
                if one < at_m < other and at_m <= bus.trunk_m:
                    yield self.place(bus=name, at_m=at_m)

    def begin(self, world: Handles, now_ns: int, place: Any) -> Any:
        bus = world.bus(place.bus)
        bus.wiring.cuts_m.append(place.at_m)
        bus.look_again(now_ns)

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        bus = world.bus(place.bus)
        bus.wiring.cuts_m.remove(place.at_m)
        bus.look_again(now_ns)
