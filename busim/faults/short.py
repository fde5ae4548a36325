"""The wires of a bus are shorted: a crushed cable, water in a plug."""

from collections.abc import Iterator
from typing import Any, Literal, get_args

from pydantic import Field

from busim.boat.model import BoatFile, Section, Words
from busim.faults.fault import Fault, Handles

Wires = Literal["high_to_low", "to_ground", "to_battery"]


class ShortPlace(Section):
    bus: Words
    wires: Wires = Field(default="high_to_low", description="what touches what")


class Short(Fault):
    name = "short"
    words = "the wires of a bus are shorted"
    effect = (
        "no frame on the whole bus; between the wires or to ground it reads recessive: who sends goes bus-off, and comes back in "
        "vain; to battery it reads dominant: nobody sends, and nobody comes back from bus-off"
    )
    assumption = True
    place = ShortPlace

    def place_words(self, place: Any) -> str:
        return f"{place.bus}, {place.wires.replace('_', ' ')}"

    def places(self, boat: BoatFile) -> Iterator[Any]:
        return (self.place(bus=bus, wires=wires) for bus in boat.buses for wires in get_args(Wires))

    def begin(self, world: Handles, now_ns: int, place: Any) -> None:
        bus = world.bus(place.bus)
        bus.wiring.shorts.append(place.wires)
        bus.look_again(now_ns)

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        bus = world.bus(place.bus)
        bus.wiring.shorts.remove(place.wires)
        bus.look_again(now_ns)
