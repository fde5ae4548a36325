"""Throttle and shift actuators: jammed, slow, running by themselves; their linkage off; those of two drives swapped."""

from collections.abc import Iterator
from typing import Any, ClassVar, Final, Literal

from pydantic import Field

from busim.boat.model import BoatFile, Section, Words
from busim.faults.fault import Complaint, Fault, Handles
from busim.plant.machinery import STROKE, Machinery
from busim.plant.positioner import SOUND_SPEED, Positioner

ENDS: Final = {
    ("throttle", "idle"): 0, ("throttle", "full"): STROKE, ("shift", "ahead"): STROKE, ("shift", "astern"): -STROKE,
}  # fmt: skip


class DrivePlace(Section):
    drive: Words


class ActuatorPlace(DrivePlace):
    actuator: Literal["throttle", "shift"]


class SlowPlace(ActuatorPlace):
    permille: int = Field(default=200, ge=1, le=999, description="its speed, in permille of the sound one")


class RunsPlace(ActuatorPlace):
    to: Literal["idle", "full", "ahead", "astern"] = Field(description="throttle: idle or full; shift: ahead or astern")


class DriveFault(Fault):
    """A fault in the machinery of one drive."""

    place: ClassVar[type[DrivePlace]] = DrivePlace

    def place_words(self, place: Any) -> str:
        return str(place.drive)

    def holds(self, place: Any) -> str:
        return str(place.drive)

    def places(self, boat: BoatFile) -> Iterator[Any]:
        return (self.place(drive=drive) for drive in boat.drives)

    def begin(self, world: Handles, now_ns: int, place: Any) -> None:
        with world.plant.changing(now_ns, world.plant.index_of(place.drive)) as machinery:
            self.change(machinery, now_ns, place, begins=True)

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        with world.plant.changing(now_ns, world.plant.index_of(place.drive)) as machinery:
            self.change(machinery, now_ns, place, begins=False)

    def change(self, machinery: Machinery, now_ns: int, place: Any, *, begins: bool) -> None:
        raise NotImplementedError


class ActuatorFault(DriveFault):
    place: ClassVar[type[ActuatorPlace]] = ActuatorPlace
    acts_on = "actuator"

    def place_words(self, place: Any) -> str:
        return f"{place.drive} {place.actuator}"

    def holds(self, place: Any) -> str:
        return self.place_words(place)

    def places(self, boat: BoatFile) -> Iterator[Any]:
        return (self.place(drive=drive, actuator=actuator) for drive in boat.drives for actuator in ("throttle", "shift"))

    def actuator(self, machinery: Machinery, place: Any) -> Positioner:
        return machinery.throttle if place.actuator == "throttle" else machinery.shift


class ActuatorJammed(ActuatorFault):
    name = "actuator_jammed"
    words = "an actuator jams"
    effect = "it stays where it is, whatever it is told, spring or no spring; freed it goes on to where it was last told"

    def change(self, machinery: Machinery, now_ns: int, place: Any, *, begins: bool) -> None:
        self.actuator(machinery, place).jam(now_ns, begins)


class ActuatorSlow(ActuatorFault):
    name = "actuator_slow"
    words = "an actuator is slow"
    effect = "it moves with a share of its speed, by motor and by spring"
    place: ClassVar[type[SlowPlace]] = SlowPlace

    def place_words(self, place: Any) -> str:
        return f"{place.drive} {place.actuator}, {place.permille} permille"

    def holds(self, place: Any) -> str:
        return f"{place.drive} {place.actuator}"

    def change(self, machinery: Machinery, now_ns: int, place: Any, *, begins: bool) -> None:
        self.actuator(machinery, place).slow(now_ns, place.permille if begins else SOUND_SPEED)


class ActuatorRuns(ActuatorFault):
    name = "actuator_runs"
    words = "an actuator runs to an end by itself"
    effect = "its output is shorted: it runs at its own speed to that end and stays, whatever its node does, powered or not"
    assumption = True
    place: ClassVar[type[RunsPlace]] = RunsPlace

    def place_words(self, place: Any) -> str:
        return f"{place.drive} {place.actuator} to {place.to}"

    def holds(self, place: Any) -> str:
        return f"{place.drive} {place.actuator}"

    def misplaced(self, boat: BoatFile, place: Any) -> Iterator[Complaint]:
        if (place.actuator, place.to) not in ENDS:
            ends = " or ".join(end for actuator, end in ENDS if actuator == place.actuator)
            yield "to", f"a {place.actuator} runs to {ends}"

    def places(self, boat: BoatFile) -> Iterator[Any]:
        ends: list[Any] = list(ENDS)
        return (self.place(drive=drive, actuator=actuator, to=end) for drive in boat.drives for actuator, end in ends)

    def change(self, machinery: Machinery, now_ns: int, place: Any, *, begins: bool) -> None:
        self.actuator(machinery, place).run(now_ns, ENDS[place.actuator, place.to] if begins else None)


class LinkageOff(ActuatorFault):
    name = "linkage_off"
    words = "the linkage between an actuator and its lever comes off"
    effect = (
        "the actuator and its feedback move alone; the lever on engine or gearbox goes where the actuator goes without power: it "
        "springs to idle or neutral, or stays"
    )
    assumption = True

    def change(self, machinery: Machinery, now_ns: int, place: Any, *, begins: bool) -> None:
        if place.actuator == "throttle":
            machinery.throttle_linkage(now_ns, not begins)
        else:
            machinery.shift_linkage(now_ns, not begins)


class NoPlace(Section):
    """There is one of it in a boat."""


class DrivesSwapped(Fault):
    name = "drives_swapped"
    words = "the actuator wires of the two drives are swapped"
    effect = "each drive's node moves the other drive's throttle and shift; feedback and switches stay its own"
    assumption = True
    place = NoPlace
    from_start = True
    acts_on = "actuator wires"

    def place_words(self, place: Any) -> str:
        return "both drives"

    def holds(self, place: Any) -> str:
        return ""

    def misplaced(self, boat: BoatFile, place: Any) -> Iterator[Complaint]:
        if len(boat.drives) < 2:
            yield "", "the boat has one drive: there is nothing to swap it with"

    def places(self, boat: BoatFile) -> Iterator[Any]:
        return iter((NoPlace(),))

    def begin(self, world: Handles, now_ns: int, place: Any) -> None:
        world.plant.cross_wires(now_ns, True)

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        world.plant.cross_wires(now_ns, False)
