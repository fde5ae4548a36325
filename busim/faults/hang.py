"""A node's program stops; its CAN controller goes on acknowledging, its outputs stay as they are."""

from collections.abc import Iterator
from typing import Any

from pydantic import Field

from busim.boat.derive import board_of
from busim.boat.model import BoatFile
from busim.faults.fault import Handles, NodeFault, NodePlace


class HangPlace(NodePlace):
    watchdog: bool = Field(default=True, description="false: its external watchdog has failed too, and resets nothing")


class Hang(NodeFault):
    name = "hang"
    words = "a node's program hangs"
    effect = (
        "nothing is sampled, sent or decided; the controller still acknowledges, outputs stay; an external watchdog, where one is "
        "fitted, resets the program; else, ended, it goes on where it was"
    )
    acts_on = "program"
    place = HangPlace

    def places(self, boat: BoatFile) -> Iterator[Any]:
        """With its watchdog, where one is fitted, and with that failed too."""
        for node in boat.nodes:
            if board_of(boat, node).watchdog_ms is not None:
                yield HangPlace(node=node)
            yield HangPlace(node=node, watchdog=False)

    def place_words(self, place: Any) -> str:
        return super().place_words(place) if place.watchdog else f"{super().place_words(place)}, nothing to reset it"

    def begin(self, world: Handles, now_ns: int, place: Any) -> None:
        world.hosts[place.node].hang(now_ns, watched=place.watchdog)

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        world.hosts[place.node].go_on(now_ns)
