"""A supply sags: a flat battery, a corroded joint."""

from collections.abc import Iterator
from typing import Any

from pydantic import Field

from busim.boat.model import BoatFile
from busim.faults.fault import Complaint, Handles
from busim.faults.supply_lost import SupplyFault, SupplyPlace


class BrownOutPlace(SupplyPlace):
    to_v: float | None = Field(default=None, gt=0, le=60, description="what it sags to; left out: 1 V below what the nodes need")


class BrownOut(SupplyFault):
    name = "brown_out"
    words = "a supply sags"
    effect = "below brown_out_v every node on it is held in reset; they start, told of the brown-out, when it is back"
    assumption = True
    place = BrownOutPlace

    def misplaced(self, boat: BoatFile, place: Any) -> Iterator[Complaint]:
        yield from too_high(boat, place)

    def begin(self, world: Handles, now_ns: int, place: Any) -> int:
        supply = world.supplies[place.supply]
        to_mv = round(place.to_v * 1000) if place.to_v is not None else max(supply.brown_out_mv - 1000, 1)
        supply.hold_down(now_ns, to_mv)
        return to_mv

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        world.supplies[place.supply].let_go(now_ns, memory)


def too_high(boat: BoatFile, place: Any) -> Iterator[Complaint]:
    """A sag to more than there is."""
    nominal_v = boat.supplies[place.supply].nominal_v
    if place.to_v is not None and place.to_v >= nominal_v:
        yield "to_v", f"{place.to_v:g} V is no sag: {place.supply} has {nominal_v:g} V"
