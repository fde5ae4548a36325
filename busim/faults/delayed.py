"""What a node sends comes late: its frames are held on the way to the controller."""

from typing import Any

from pydantic import Field

from busim.bus.controller import Controller
from busim.faults.fault import Handles, NodeFault, NodePlace
from busim.host.tamper import Tamper
from busim.units import MS


class DelayedPlace(NodePlace):
    by_ms: int = Field(default=400, ge=1, le=60_000, description="how long each frame is held")


class Late(Tamper):
    """Hands each frame on later."""

    __slots__ = ("by_ns",)

    def __init__(self, by_ns: int) -> None:
        self.by_ns = by_ns

    def release(
        self, controller: Controller, ready_ns: int, can_id: int, data: bytes, drop_after_ns: int, overwrite: bool
    ) -> None:
        # As new frames: what waits here is no mailbox of the controller's, so nothing of it is overwritten.
        controller.submit(ready_ns + self.by_ns, can_id, data, drop_after_ns, False)


class Delayed(NodeFault):
    name = "delayed"
    words = "a node's frames come late"
    effect = "each frame it sends is on the bus that much later, in order and sound; what it hears comes on time"
    acts_on = "frames"
    place = DelayedPlace

    def place_words(self, place: Any) -> str:
        return f"{place.node}, by {place.by_ms} ms"

    def begin(self, world: Handles, now_ns: int, place: Any) -> None:
        world.hosts[place.node].tamper = Late(place.by_ms * MS)

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        world.hosts[place.node].tamper = None
