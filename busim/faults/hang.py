"""A node's program stops; its CAN controller goes on acknowledging, its outputs stay as they are."""

from typing import Any

from busim.faults.fault import Handles, NodeFault


class Hang(NodeFault):
    name = "hang"
    words = "a node's program hangs"
    effect = (
        "nothing is sampled, sent or decided; the controller still acknowledges, outputs stay; an external watchdog, where one is "
        "fitted, resets the program; else, ended, it goes on where it was"
    )
    acts_on = "program"

    def begin(self, world: Handles, now_ns: int, place: Any) -> None:
        world.hosts[place.node].hang(now_ns)

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        world.hosts[place.node].go_on(now_ns)
