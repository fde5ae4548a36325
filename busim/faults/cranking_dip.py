"""A starter motor drags its supply down, and lets it rise again."""

from collections.abc import Iterator
from typing import Any

from pydantic import Field

from busim.boat.model import BoatFile
from busim.faults.brown_out import too_high
from busim.faults.fault import Complaint, Handles
from busim.faults.supply_lost import SupplyFault, SupplyPlace
from busim.units import MS, NEVER


class CrankingPlace(SupplyPlace):
    to_v: float | None = Field(default=None, gt=0, le=60, description="lowest voltage; left out: half of nominal")
    for_ms: int = Field(default=800, ge=1, le=60_000, description="how long the starter turns")
    ramp_ms: int = Field(default=200, ge=0, le=60_000, description="from there straight back to nominal")


class CrankingDip(SupplyFault):
    name = "cranking_dip"
    words = "a starter motor drags a supply down"
    effect = (
        "the supply falls at once, stays there while the starter turns, and rises in a straight line; below brown_out_v every "
        "node on it is held in reset"
    )
    assumption = True
    place = CrankingPlace

    def misplaced(self, boat: BoatFile, place: Any) -> Iterator[Complaint]:
        yield from too_high(boat, place)

    def begin(self, world: Handles, now_ns: int, place: Any) -> tuple[int, int]:
        """Memory: the voltage in mV, and when the starter stops; NEVER once it has."""
        supply = world.supplies[place.supply]
        to_mv = round(place.to_v * 1000) if place.to_v is not None else supply.nominal_mv // 2
        supply.on_crank(now_ns, True, to_mv, place.ramp_ms * MS)
        return to_mv, now_ns + place.for_ms * MS

    def due_ns(self, place: Any, memory: Any) -> int:
        return int(memory[1])

    def step(self, world: Handles, now_ns: int, place: Any, memory: Any) -> tuple[int, int]:
        world.supplies[place.supply].on_crank(now_ns, False, memory[0], place.ramp_ms * MS)
        return memory[0], NEVER

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        if memory[1] != NEVER:
            self.step(world, now_ns, place, memory)
