"""A touch field reports touches that nobody makes."""

from collections.abc import Iterator
from typing import Any

from pydantic import Field

from busim.boat.model import BoatFile
from busim.faults.fault import Fault, Handles
from busim.faults.touch_stuck import FieldPlace, field_of, fields_of
from busim.units import MS


class GhostPlace(FieldPlace):
    every_ms: int = Field(default=700, ge=100, le=60_000, description="from one to the next")
    for_ms: int = Field(default=60, ge=1, le=50_000, description="how long each looks")


class TouchGhost(Fault):
    name = "touch_ghost"
    words = "a touch field reports touches that nobody makes"
    effect = "its contact closes and opens at a steady pace"
    assumption = True
    place = GhostPlace

    def place_words(self, place: Any) -> str:
        return f"{place.panel} {place.control}"

    def places(self, boat: BoatFile) -> Iterator[Any]:
        return fields_of(boat, GhostPlace)

    def begin(self, world: Handles, now_ns: int, place: Any) -> Any:
        node, channel = field_of(world.boat, place)
        world.hosts[node].set_switch(now_ns, channel, 1)
        return now_ns + min(place.for_ms, place.every_ms - 1) * MS, 0

    def due_ns(self, place: Any, memory: Any) -> int:
        return int(memory[0])

    def step(self, world: Handles, now_ns: int, place: Any, memory: Any) -> Any:
        node, channel = field_of(world.boat, place)
        down = memory[1]
        world.hosts[node].set_switch(now_ns, channel, down)
        closed_ms = min(place.for_ms, place.every_ms - 1)
        return now_ns + (closed_ms if down else place.every_ms - closed_ms) * MS, 1 - down

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        node, channel = field_of(world.boat, place)
        world.hosts[node].set_switch(now_ns, channel, 0)
