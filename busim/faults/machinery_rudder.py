"""The rudder: jammed, slow, running hard over by itself. What its feedback does wrong stands with the sensors."""

from collections.abc import Iterator
from typing import Any, ClassVar, Literal

from pydantic import Field

from busim.boat.model import BoatFile, Section
from busim.faults.fault import Complaint, Fault, Handles
from busim.plant.positioner import SOUND_SPEED
from busim.plant.rudder import Rudder


class RudderPlace(Section):
    """There is one."""


class SlowRudderPlace(RudderPlace):
    permille: int = Field(default=200, ge=1, le=999, description="its speed, in permille of the sound one")


class RunsRudderPlace(RudderPlace):
    to: Literal["port", "starboard"]


class RudderFault(Fault):
    place: ClassVar[type[RudderPlace]] = RudderPlace
    acts_on = "rudder"

    def place_words(self, place: Any) -> str:
        return "rudder"

    def holds(self, place: Any) -> str:
        return ""

    def misplaced(self, boat: BoatFile, place: Any) -> Iterator[Complaint]:
        if boat.rudder is None:
            yield "", "the boat has no rudder that the bus moves"

    def places(self, boat: BoatFile) -> Iterator[Any]:
        return iter((self.place(),) if boat.rudder is not None else ())

    def begin(self, world: Handles, now_ns: int, place: Any) -> None:
        with world.plant.changing_rudder(now_ns) as rudder:
            self.change(rudder, now_ns, place, begins=True)

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        with world.plant.changing_rudder(now_ns) as rudder:
            self.change(rudder, now_ns, place, begins=False)

    def change(self, rudder: Rudder, now_ns: int, place: Any, *, begins: bool) -> None:
        raise NotImplementedError


class RudderJammed(RudderFault):
    name = "rudder_jammed"
    words = "the rudder jams"
    effect = "it stays where it is, whatever it is told; freed it goes on to where it was last told"

    def change(self, rudder: Rudder, now_ns: int, place: Any, *, begins: bool) -> None:
        rudder.position.jam(now_ns, begins)


class RudderSlow(RudderFault):
    name = "rudder_slow"
    words = "the rudder is slow"
    effect = "it moves with a share of its speed"
    place: ClassVar[type[SlowRudderPlace]] = SlowRudderPlace

    def place_words(self, place: Any) -> str:
        return f"rudder, {place.permille} permille"

    def change(self, rudder: Rudder, now_ns: int, place: Any, *, begins: bool) -> None:
        rudder.position.slow(now_ns, place.permille if begins else SOUND_SPEED)


class RudderRuns(RudderFault):
    name = "rudder_runs"
    words = "the rudder runs hard over by itself"
    effect = "it runs at its own speed whatever it is told, until it is over or its power is taken away"
    assumption = True
    place = RunsRudderPlace

    def place_words(self, place: Any) -> str:
        return f"rudder to {place.to}"

    def places(self, boat: BoatFile) -> Iterator[Any]:
        return (RunsRudderPlace(to=to) for to in ("port", "starboard") if boat.rudder is not None)

    def change(self, rudder: Rudder, now_ns: int, place: Any, *, begins: bool) -> None:
        rudder.runs(now_ns, (1 if place.to == "starboard" else -1) if begins else None)
