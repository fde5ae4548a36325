"""What every fault is: a name, a place it can be at, and how it begins and ends."""

from collections.abc import Iterator
from typing import Any, ClassVar, Protocol

from busim.boat.model import BoatFile, Section, Words
from busim.bus.bus import Bus
from busim.bus.controller import Controller
from busim.host.host import Host
from busim.host.supply import Supply
from busim.plant.plant import Plant
from busim.protocol.plan import WirePlan
from busim.units import NEVER

Complaint = tuple[str, str]
"""(key of the place, what is wrong with it)."""


class Handles(Protocol):
    """What of a world a fault may take hold of: hosts, supplies and buses by name. Whatever it does, it does by their methods.

    `seed` is the run's: a fault that leaves something to chance draws it from a generator of its own.
    """

    boat: BoatFile
    seed: int
    hosts: dict[str, Host]
    supplies: dict[str, Supply]
    plan: WirePlan
    plant: Plant

    def bus(self, name: str) -> Bus: ...

    def spoil_sensor(self, now_ns: int, node: str, channel: str, how: str | None, by: int = 0) -> None: ...

    def break_lamp(self, now_ns: int, light: str, broken: int) -> None: ...

    def stick_zone(self, now_ns: int, zone: str, stuck: bool) -> None: ...


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
    from_start: ClassVar[bool] = False
    """A mistake in wiring or building: it is there before anybody drives her, and stays until somebody finds it."""
    acts_on: ClassVar[str | None] = None
    """The one thing of a node (or of what `holds` says) that it has in its hand while it lasts: no two faults can at a time.
    None: it shares."""

    def place_words(self, place: Any) -> str:
        raise NotImplementedError

    def holds(self, place: Any) -> str:
        """Whose `acts_on` it has in its hand: the node's, where it does not say otherwise."""
        return str(place.node)

    def misplaced(self, boat: BoatFile, place: Any) -> Iterator[Complaint]:
        """What is wrong with this place on this boat, which has everything that is named in it."""
        return iter(())

    def places(self, boat: BoatFile) -> Iterator[Any]:
        """Where a sweep tries it on this boat, in the order of the boat file. A place that is `misplaced` may be among them."""
        raise NotImplementedError

    def begin(self, world: Handles, now_ns: int, place: Any) -> Any:
        raise NotImplementedError

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        """Undo it. Faults that do not last have nothing to undo."""

    def due_ns(self, place: Any, memory: Any) -> int:
        """When `step` is to be called next; NEVER for a fault that just stays."""
        return NEVER

    def step(self, world: Handles, now_ns: int, place: Any, memory: Any) -> Any:
        """It goes on to whatever it does next. Returns what it has to remember from then on."""
        raise NotImplementedError


class NodePlace(Section):
    node: Words


class NodeFault(Fault):
    """A fault of one node."""

    place: ClassVar[type[NodePlace]] = NodePlace

    def place_words(self, place: Any) -> str:
        return str(place.node)

    def places(self, boat: BoatFile) -> Iterator[Any]:
        return (self.place(node=node) for node in boat.nodes)


class TapPlace(NodePlace):
    bus: Words


class TapFault(NodeFault):
    """A fault of one node on one of its buses."""

    place: ClassVar[type[TapPlace]] = TapPlace

    def place_words(self, place: Any) -> str:
        return f"{place.node} on {place.bus}"

    def misplaced(self, boat: BoatFile, place: Any) -> Iterator[Complaint]:
        taps = boat.nodes[place.node].taps
        if place.bus not in taps:
            yield "bus", f"{place.node} is not on {place.bus}; it is on {' and '.join(taps)}"

    def places(self, boat: BoatFile) -> Iterator[Any]:
        return (self.place(node=name, bus=bus) for name, node in boat.nodes.items() for bus in node.taps)

    def controller(self, world: Handles, place: Any) -> Controller:
        return world.hosts[place.node].controllers[world.bus(place.bus).index]
