"""Engine and gearbox: stalls, does not stop; a clutch that drags or does not take; ahead and astern swapped."""

from typing import Any, ClassVar

from pydantic import Field

from busim.faults.machinery_actuators import DriveFault, DrivePlace
from busim.plant.machinery import Machinery


class DragsPlace(DrivePlace):
    permille: int = Field(default=150, ge=1, le=1000, description="thrust in neutral, in permille of that ahead at that speed")


class EngineStalls(DriveFault):
    name = "engine_stalls"
    words = "an engine dies by itself"
    effect = "it runs down and stops; it can be started again"
    lasts = False

    def change(self, machinery: Machinery, now_ns: int, place: Any, *, begins: bool) -> None:
        machinery.engine.stall()


class EngineWillNotStop(DriveFault):
    name = "engine_will_not_stop"
    words = "an engine does not stop"
    effect = "it has fuel whatever cuts it: engine stop and cutout do nothing"
    acts_on = "fuel"

    def change(self, machinery: Machinery, now_ns: int, place: Any, *, begins: bool) -> None:
        machinery.engine.refuse_to_stop(now_ns, begins)


class ClutchDrags(DriveFault):
    name = "clutch_drags"
    words = "a clutch drags"
    effect = "in neutral there is some thrust ahead; actuator, feedback and neutral switch show neutral"
    assumption = True
    place: ClassVar[type[DragsPlace]] = DragsPlace
    acts_on = "clutch"

    def place_words(self, place: Any) -> str:
        return f"{place.drive}, {place.permille} permille"

    def change(self, machinery: Machinery, now_ns: int, place: Any, *, begins: bool) -> None:
        machinery.drag_permille = place.permille if begins else 0


class ClutchFails(DriveFault):
    name = "clutch_fails"
    words = "a clutch does not take"
    effect = "the shift goes to its gear and the propeller does not turn with it"
    acts_on = "clutch"

    def change(self, machinery: Machinery, now_ns: int, place: Any, *, begins: bool) -> None:
        machinery.slips = begins


class AheadAsternSwapped(DriveFault):
    name = "ahead_astern_swapped"
    words = "ahead and astern are swapped at a gearbox"
    effect = "the shift goes to ahead and the propeller turns astern, and the other way round; its feedback shows the shift"
    from_start = True
    acts_on = "gearbox"

    def change(self, machinery: Machinery, now_ns: int, place: Any, *, begins: bool) -> None:
        machinery.backwards = begins


