"""What every fault is: a name, a place it can be at, and how it begins and ends."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, ClassVar

from busim.boat.model import BoatFile, Section

if TYPE_CHECKING:
    from busim.simulator.world import World

Complaint = tuple[str, str]
"""(key of the place, what is wrong with it)."""


class Fault:
    """Subclasses keep nothing: what a fault must remember until it ends, `begin` returns (plain values) and `end` is given."""

    name: ClassVar[str]
    words: ClassVar[str]
    effect: ClassVar[str]
    """The physical effect, as modelled."""
    assumption: ClassVar[bool] = False
    """The effect is a *model assumption*."""
    place: ClassVar[type[Section]]
    lasts: ClassVar[bool] = True
    """It goes on until it ends; else it is over at once."""

    def place_words(self, place: Any) -> str:
        raise NotImplementedError

    def misplaced(self, boat: BoatFile, place: Any) -> Iterator[Complaint]:
        """What is wrong with this place on this boat."""
        raise NotImplementedError

    def begin(self, world: "World", now_ns: int, place: Any) -> Any:
        raise NotImplementedError

    def end(self, world: "World", now_ns: int, place: Any, memory: Any) -> None:
        """Undo it. Faults that do not last have nothing to undo."""


class NodePlace(Section):
    node: str


class NodeFault(Fault):
    """A fault of one node."""

    place = NodePlace

    def place_words(self, place: Any) -> str:
        return str(place.node)

    def misplaced(self, boat: BoatFile, place: Any) -> Iterator[Complaint]:
        if place.node not in boat.nodes:
            yield "node", f"there is no node {place.node!r} (there are: {', '.join(boat.nodes)})"
