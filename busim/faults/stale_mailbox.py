"""A node's CAN controller sends what was in its mailboxes, over and over: each frame is the first one again, counter and all."""

from typing import Any

from busim.faults.fault import Handles, NodeFault
from busim.host.tamper import Tamper


class FirstAgain(Tamper):
    """Keeps the first frame of each id and lets nothing newer out."""

    __slots__ = ("kept",)

    def __init__(self) -> None:
        self.kept: dict[int, bytes] = {}

    def change(self, can_id: int, data: bytes) -> bytes:
        return self.kept.setdefault(can_id, data)


class StaleMailbox(NodeFault):
    name = "stale_mailbox"
    words = "a node's mailboxes no longer take new frames"
    effect = "it goes on sending on time, but always the first frame of each id since the fault began"
    acts_on = "frames"

    def begin(self, world: Handles, now_ns: int, place: Any) -> None:
        world.hosts[place.node].tamper = FirstAgain()

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        world.hosts[place.node].tamper = None
