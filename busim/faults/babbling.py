"""A node that does not stop talking: whole frames of a top priority, or garbage."""

from collections.abc import Iterator
from typing import Any, Literal

from pydantic import Field

from busim.boat.model import BoatFile
from busim.bus.noise import Chatter
from busim.faults.fault import Handles, TapFault, TapPlace
from busim.faults.noise_rate import own_chance
from busim.host.tamper import Babble

_HALF = 0.5


class BabblingPlace(TapPlace):
    sends: Literal["frames", "bits"] = Field(default="frames", description="whole frames, or bits at random")
    can_id: int = Field(default=0, ge=0, le=0x7FF, description="the id of its frames")


class Babbling(TapFault):
    name = "babbling"
    words = "a node babbles"
    effect = (
        "frames: its controller sends one id without a pause, so whoever has a higher one waits for ever; bits: half of all bits "
        "that others send read as their opposite, so they go bus-off; it lasts through resets and stops while the supply is off"
    )
    assumption = True
    acts_on = "babble"
    place = BabblingPlace

    def place_words(self, place: Any) -> str:
        return f"{super().place_words(place)}, {place.sends}"

    def places(self, boat: BoatFile) -> Iterator[Any]:
        for tap in super().places(boat):
            yield tap
            yield BabblingPlace(node=tap.node, bus=tap.bus, sends="bits")

    def begin(self, world: Handles, now_ns: int, place: Any) -> Chatter | None:
        bus = world.bus(place.bus)
        if place.sends == "frames":
            world.hosts[place.node].babble(now_ns, Babble(bus.index, place.can_id, bytes(8)))
            return None
        chatter = Chatter(self.controller(world, place), bus.wiring, _HALF, own_chance(world, self, place))
        bus.disturb(now_ns, chatter)
        return chatter

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        if memory is None:
            world.hosts[place.node].babble(now_ns, None)
        else:
            world.bus(place.bus).calm(memory)
