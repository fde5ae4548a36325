"""What a node sent is sent again, instead of anything new: a gateway that loops, a driver that lost its place."""

from typing import Any

from pydantic import Field

from busim.bus.controller import Controller
from busim.faults.fault import Handles, NodeFault, NodePlace
from busim.host.tamper import Tamper
from busim.units import MS


class ReplayedPlace(NodePlace):
    span_ms: int = Field(default=200, ge=1, le=60_000, description="how much of what it sends is kept, to be sent over and over")


class Again(Tamper):
    """Lets frames out for a while and keeps them; from then on each new frame is replaced by the next of those kept of its id."""

    __slots__ = ("kept", "place", "until_ns")

    def __init__(self, until_ns: int) -> None:
        self.until_ns = until_ns
        self.kept: dict[int, list[bytes]] = {}
        self.place: dict[int, int] = {}

    def release(
        self, controller: Controller, ready_ns: int, can_id: int, data: bytes, drop_after_ns: int, overwrite: bool
    ) -> None:
        kept = self.kept.setdefault(can_id, [])
        if ready_ns < self.until_ns or not kept:
            kept.append(data)
        else:
            place = self.place.get(can_id, 0)
            self.place[can_id] = (place + 1) % len(kept)
            data = kept[place]
        controller.submit(ready_ns, can_id, data, drop_after_ns, overwrite)


class Replayed(NodeFault):
    name = "replayed"
    words = "a node's old frames are sent again"
    effect = "what it sends for a while is then sent over and over in place of anything new, counters and all, in order and sound"
    acts_on = "frames"
    place = ReplayedPlace

    def place_words(self, place: Any) -> str:
        return f"{place.node}, the same {place.span_ms} ms"

    def begin(self, world: Handles, now_ns: int, place: Any) -> None:
        world.hosts[place.node].tamper = Again(now_ns + place.span_ms * MS)

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        world.hosts[place.node].tamper = None
