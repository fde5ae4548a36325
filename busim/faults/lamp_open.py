"""A lamp burns out."""

from collections.abc import Iterator
from typing import Any

from busim.boat.model import BoatFile, Section, Words
from busim.faults.fault import Fault, Handles


class LightPlace(Section):
    light: Words


class LampOpen(Fault):
    name = "lamp_open"
    words = "the lamps of a zone, or a navigation light, burn out"
    effect = "no light, and the driver senses that no current flows; put right, it is lit as it should be"
    place = LightPlace
    broken = 1

    def place_words(self, place: Any) -> str:
        return str(place.light)

    def places(self, boat: BoatFile) -> Iterator[Any]:
        return (LightPlace(light=light) for light in (*boat.zones, *boat.navigation_lights))

    def begin(self, world: Handles, now_ns: int, place: Any) -> None:
        world.break_lamp(now_ns, place.light, self.broken)

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        world.break_lamp(now_ns, place.light, 0)
