"""A node's frames stay fresh and say what they said: the task that counts lives, the one that measures is dead."""

from typing import Any

from busim.faults.fault import Handles, NodeFault
from busim.faults.sound_again import sound_again
from busim.host.tamper import Tamper
from busim.protocol.ids import SAFETY_CODES, code_of

_CONTENT = 2
"""Where the content of a safety frame begins: behind CRC and counter."""


class Frozen(Tamper):
    """Keeps the content of the first safety frame of each id; the counter goes on, and the CRC fits."""

    __slots__ = ("kept",)

    def __init__(self) -> None:
        self.kept: dict[int, bytes] = {}

    def change(self, can_id: int, data: bytes) -> bytes:
        if code_of(can_id) not in SAFETY_CODES:
            return data
        content = self.kept.setdefault(can_id, data[_CONTENT:])
        return sound_again(can_id, data[:_CONTENT] + content)


class FrozenData(NodeFault):
    name = "frozen_data"
    words = "a node's frames are fresh and their content is frozen"
    effect = "each safety frame has a new counter and a CRC that fits, and says what the first of its id said"
    acts_on = "frames"

    def begin(self, world: Handles, now_ns: int, place: Any) -> None:
        world.hosts[place.node].tamper = Frozen()

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        world.hosts[place.node].tamper = None
