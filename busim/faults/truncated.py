"""A node's frames are cut short above its controller."""

from typing import Any

from pydantic import Field

from busim.faults.fault import Handles, NodeFault, NodePlace
from busim.host.tamper import Tamper


class TruncatedPlace(NodePlace):
    to_bytes: int = Field(default=7, ge=0, le=7, description="how many bytes are left")


class CutShort(Tamper):
    """Only the first bytes of each frame are left."""

    __slots__ = ("to_bytes",)

    def __init__(self, to_bytes: int) -> None:
        self.to_bytes = to_bytes

    def change(self, can_id: int, data: bytes) -> bytes:
        return data[: self.to_bytes]


class Truncated(NodeFault):
    name = "truncated"
    words = "a node's frames are cut short above its controller"
    effect = "each frame it sends has only its first bytes, with a DLC that says so; on the wire it is in order"
    acts_on = "frames"
    place = TruncatedPlace

    def place_words(self, place: Any) -> str:
        return f"{place.node}, {place.to_bytes} bytes"

    def begin(self, world: Handles, now_ns: int, place: Any) -> None:
        world.hosts[place.node].tamper = CutShort(place.to_bytes)

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        world.hosts[place.node].tamper = None
