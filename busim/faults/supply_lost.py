"""A supply goes, with every node on it."""

from collections.abc import Iterator
from typing import Any, ClassVar

from busim.boat.model import BoatFile, Section, Words
from busim.faults.fault import Fault, Handles


class SupplyPlace(Section):
    supply: Words


class SupplyFault(Fault):
    """A fault of one supply."""

    place: ClassVar[type[SupplyPlace]] = SupplyPlace

    def place_words(self, place: Any) -> str:
        return str(place.supply)

    def places(self, boat: BoatFile) -> Iterator[Any]:
        fed = {node.supply for node in boat.nodes.values()}
        return (self.place(supply=supply) for supply in boat.supplies if supply in fed)


class SupplyLost(SupplyFault):
    name = "supply_lost"
    words = "a supply is lost"
    effect = (
        "every node on it stops at once, on whatever bus, and navigation lights that burn by it are dark; the nodes boot together "
        "when it is back"
    )

    def begin(self, world: Handles, now_ns: int, place: Any) -> None:
        world.supplies[place.supply].lose(now_ns)

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        world.supplies[place.supply].restore(now_ns)
