"""A node packs its numbers in the wrong byte order."""

from typing import Any

from busim.faults.fault import Handles, NodeFault
from busim.faults.sound_again import sound_again
from busim.host.tamper import Tamper


class Swapped(Tamper):
    """The content comes in the opposite byte order; CRC and counter stay where they are, and the CRC fits."""

    __slots__ = ()

    def change(self, can_id: int, data: bytes) -> bytes:
        return sound_again(can_id, data[:2] + data[:1:-1])


class ByteSwapped(NodeFault):
    name = "byte_swapped"
    words = "a node packs its frames in the wrong byte order"
    effect = "bytes 2 to 7 of each frame come in the opposite order, under a CRC that fits: only what they say is wrong"
    from_start = True
    acts_on = "frames"

    def begin(self, world: Handles, now_ns: int, place: Any) -> None:
        world.hosts[place.node].tamper = Swapped()

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        world.hosts[place.node].tamper = None
