"""What every fault is: a name, a place it can be at, and how it begins and ends."""

from collections.abc import Iterator
from typing import Any, ClassVar, Protocol

from busim.boat.model import BoatFile, Section, Words
from busim.bus.bus import Bus
from busim.host.host import Host

Complaint = tuple[str, str]
"""(key of the place, what is wrong with it)."""


class Handles(Protocol):
    """What of a world a fault may take hold of: hosts and buses by name. Whatever it does, it does by their methods."""

    boat: BoatFile
    hosts: dict[str, Host]

    def bus(self, name: str) -> Bus: ...


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
    acts_on: ClassVar[str | None] = None
    """The one thing of a node that it has in its hand while it lasts: no two faults can at a time. None: it shares."""

    def place_words(self, place: Any) -> str:
        raise NotImplementedError

    def misplaced(self, boat: BoatFile, place: Any) -> Iterator[Complaint]:
        """What is wrong with this place on this boat, which has everything that is named in it."""
        return iter(())

    def begin(self, world: Handles, now_ns: int, place: Any) -> Any:
        raise NotImplementedError

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        """Undo it. Faults that do not last have nothing to undo."""


class NodePlace(Section):
    node: Words


class NodeFault(Fault):
    """A fault of one node."""

    place = NodePlace

    def place_words(self, place: Any) -> str:
        return str(place.node)
