"""What a node sends is changed between its program and its CAN controller: the frame is sound on the wire and wrong in itself."""

from typing import Any

from pydantic import Field

from busim.faults.fault import Handles, NodeFault, NodePlace
from busim.host.tamper import Tamper


class CorruptedPlace(NodePlace):
    byte: int = Field(default=5, ge=0, le=7, description="which byte of the data")
    flip: int = Field(default=0x30, ge=1, le=255, description="which of its bits change")


class FlipBits(Tamper):
    """Changes one byte of every frame that has it."""

    __slots__ = ("byte", "flip")

    def __init__(self, byte: int, flip: int) -> None:
        self.byte = byte
        self.flip = flip

    def change(self, can_id: int, data: bytes) -> bytes:
        if self.byte >= len(data):
            return data
        return data[: self.byte] + bytes([data[self.byte] ^ self.flip]) + data[self.byte + 1 :]


class Corrupted(NodeFault):
    name = "corrupted"
    words = "a node's frames are corrupted above its controller"
    effect = "one byte of each frame it sends changes after its CRC was made"
    acts_on = "frames"
    place = CorruptedPlace

    def place_words(self, place: Any) -> str:
        return f"{place.node}, byte {place.byte}"

    def begin(self, world: Handles, now_ns: int, place: Any) -> None:
        world.hosts[place.node].tamper = FlipBits(place.byte, place.flip)

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        world.hosts[place.node].tamper = None
