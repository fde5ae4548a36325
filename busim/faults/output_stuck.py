"""A driver's output stage stays where it is, whatever its program sets."""

from collections.abc import Iterator
from typing import Any

from busim.boat.model import BoatFile, Section, Words
from busim.faults.fault import Fault, Handles


class ZonePlace(Section):
    zone: Words


class OutputStuck(Fault):
    name = "output_stuck"
    words = "the output stage of a zone is stuck"
    effect = "the light stays as it is; the driver does not notice, as nothing measures its output"
    assumption = True
    place = ZonePlace

    def place_words(self, place: Any) -> str:
        return str(place.zone)

    def places(self, boat: BoatFile) -> Iterator[Any]:
        return (ZonePlace(zone=zone) for zone in boat.zones)

    def begin(self, world: Handles, now_ns: int, place: Any) -> None:
        world.stick_zone(now_ns, place.zone, True)

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        world.stick_zone(now_ns, place.zone, False)
