"""A node's queue is held, and then let go: everything in it comes out at once, old as it is."""

from typing import Any

from busim.bus.controller import Controller
from busim.faults.fault import Handles, NodeFault
from busim.host.tamper import Tamper
from busim.units import SECOND


class Held(Tamper):
    """Keeps everything, first in first out."""

    __slots__ = ("kept",)

    def __init__(self) -> None:
        self.kept: list[tuple[Controller, int, bytes]] = []

    def release(
        self, controller: Controller, ready_ns: int, can_id: int, data: bytes, drop_after_ns: int, overwrite: bool
    ) -> None:
        self.kept.append((controller, can_id, data))


class QueueHeld(NodeFault):
    name = "queue_held"
    words = "a node's transmit queue is held and then let go"
    effect = "nothing of it is sent while it lasts; when it ends, all of it comes out as fast as the bus takes it, oldest first"
    assumption = True
    acts_on = "frames"

    def begin(self, world: Handles, now_ns: int, place: Any) -> None:
        world.hosts[place.node].tamper = Held()

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        host = world.hosts[place.node]
        held, host.tamper = host.tamper, None
        if isinstance(held, Held):
            for controller, can_id, data in held.kept:
                controller.submit(now_ns, can_id, data, 10 * SECOND, False)
