"""A node was built from another version of the boat file."""

from typing import Any

from busim.faults.fault import Handles, NodeFault
from busim.faults.sound_again import sound_again
from busim.host.tamper import Tamper
from busim.protocol.catalogue import HEARTBEAT
from busim.protocol.ids import code_of

_FIRST_BYTE = 3
"""Where the helm fingerprint begins in a heartbeat: behind CRC, counter, state and reset cause."""


class OtherFingerprint(Tamper):
    """Heartbeats carry the helm fingerprint of another boat file, sound in itself."""

    __slots__ = ()

    def change(self, can_id: int, data: bytes) -> bytes:
        if code_of(can_id) != HEARTBEAT.code:
            return data
        return sound_again(can_id, data[:_FIRST_BYTE] + bytes([data[_FIRST_BYTE] ^ 0xFF]) + data[_FIRST_BYTE + 1 :])


class OtherBoatFile(NodeFault):
    name = "other_boat_file"
    words = "a node was built from another boat file"
    effect = "its heartbeats carry another helm fingerprint, and are sound; all else it sends is as before"
    from_start = True
    acts_on = "frames"

    def begin(self, world: Handles, now_ns: int, place: Any) -> None:
        world.hosts[place.node].tamper = OtherFingerprint()

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        world.hosts[place.node].tamper = None
