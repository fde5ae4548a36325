"""A node's program starts again."""

from typing import Any

from busim.faults.fault import Handles, NodeFault
from busim.seam import EXTERNAL_RESET


class Reset(NodeFault):
    name = "reset"
    words = "a node resets"
    effect = "it forgets everything, its outputs drop, and its program starts after its boot time"
    lasts = False

    def begin(self, world: Handles, now_ns: int, place: Any) -> None:
        world.hosts[place.node].reset(now_ns, EXTERNAL_RESET)
