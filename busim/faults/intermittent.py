"""Something in the wiring, or a supply, comes and goes: a loose crimp, a cable that is bent by every wave."""

from collections.abc import Iterator, Mapping
from typing import Any, Final

from pydantic import Field, model_validator

from busim.boat.model import BoatFile, Section
from busim.faults.cut import Cut, CutPlace
from busim.faults.deaf import Deaf
from busim.faults.drop_open import DropOpen
from busim.faults.dumb import Dumb
from busim.faults.fault import Complaint, Fault, Handles, TapPlace
from busim.faults.short import Short, ShortPlace
from busim.faults.stuck_dominant import StuckDominant
from busim.faults.supply_lost import SupplyLost, SupplyPlace
from busim.faults.terminator_lost import TerminatorLost, TerminatorPlace
from busim.faults.wire_open import WireOpen
from busim.units import MS

TURNS: Final[dict[str, Fault]] = {
    fault.name: fault
    for fault in (Cut(), WireOpen(), Short(), TerminatorLost(), DropOpen(), Deaf(), Dumb(), StuckDominant(), SupplyLost())
}


class IntermittentPlace(Section):
    on_ms: int = Field(default=150, ge=1, le=600_000, description="how long it is broken each time")
    off_ms: int = Field(default=350, ge=1, le=600_000, description="how long it is whole in between")
    cut: CutPlace | None = Field(default=None, description=Cut.words)
    wire_open: CutPlace | None = Field(default=None, description=WireOpen.words)
    short: ShortPlace | None = Field(default=None, description=Short.words)
    terminator_lost: TerminatorPlace | None = Field(default=None, description=TerminatorLost.words)
    drop_open: TapPlace | None = Field(default=None, description=DropOpen.words)
    deaf: TapPlace | None = Field(default=None, description=Deaf.words)
    dumb: TapPlace | None = Field(default=None, description=Dumb.words)
    stuck_dominant: TapPlace | None = Field(default=None, description=StuckDominant.words)
    supply_lost: SupplyPlace | None = Field(default=None, description=SupplyLost.words)

    @model_validator(mode="after")
    def _one_thing(self) -> "IntermittentPlace":
        said = [name for name in TURNS if getattr(self, name) is not None]
        if len(said) != 1:
            raise ValueError(f"say what comes and goes, and one thing only: one of {', '.join(TURNS)}")
        return self


def _what(place: IntermittentPlace) -> tuple[Fault, Any]:
    return next((fault, found) for name, fault in TURNS.items() if (found := getattr(place, name)) is not None)


class Intermittent(Fault):
    name = "intermittent"
    words = "something in the wiring, or a supply, comes and goes"
    effect = "it is broken and whole in turn, broken first, for as long as is said; what that does is said at the fault itself"
    place = IntermittentPlace

    def place_words(self, place: Any) -> str:
        fault, where = _what(place)
        return f"{fault.name} {fault.place_words(where)}, {place.on_ms} ms in {place.on_ms + place.off_ms}"

    def misplaced(self, boat: BoatFile, place: Any) -> Iterator[Complaint]:
        fault, where = _what(place)
        sections: dict[str, Mapping[str, Any]] = {"bus": boat.buses, "node": boat.nodes, "supply": boat.supplies}
        for key, section in sections.items():
            name = getattr(where, key, None)
            if name is not None and name not in section:
                yield fault.name, f"there is no {key} {name}; there are {', '.join(section)}"
                return
        yield from ((fault.name, words) for _, words in fault.misplaced(boat, where))

    def places(self, boat: BoatFile) -> Iterator[Any]:
        for name, fault in TURNS.items():
            for where in fault.places(boat):
                if not any(fault.misplaced(boat, where)):
                    yield IntermittentPlace(**{name: where})

    def begin(self, world: Handles, now_ns: int, place: Any) -> tuple[bool, int, Any]:
        """Memory: is it broken now, until when is it as it is, and what the fault itself remembers."""
        fault, where = _what(place)
        return True, now_ns + place.on_ms * MS, fault.begin(world, now_ns, where)

    def due_ns(self, place: Any, memory: Any) -> int:
        return int(memory[1])

    def step(self, world: Handles, now_ns: int, place: Any, memory: Any) -> tuple[bool, int, Any]:
        broken, _, inner = memory
        if not broken:
            return self.begin(world, now_ns, place)
        fault, where = _what(place)
        fault.end(world, now_ns, where, inner)
        return False, now_ns + place.off_ms * MS, None

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        if memory[0]:
            self.step(world, now_ns, place, memory)
