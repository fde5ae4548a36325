"""A panel's touch controller hangs: the program runs, and hears of no touch."""

from collections.abc import Iterator
from typing import Any

from busim.boat.model import BoatFile, Section, Words
from busim.faults.fault import Fault, Handles
from busim.host.inputs import Constant


class PanelPlace(Section):
    panel: Words


class TouchHung(Fault):
    name = "touch_hung"
    words = "a panel's touch controller hangs"
    effect = "every field stays as it was; the panel's program and heartbeat go on, so nobody on the bus can tell"
    place = PanelPlace

    def place_words(self, place: Any) -> str:
        return str(place.panel)

    def places(self, boat: BoatFile) -> Iterator[Any]:
        return (PanelPlace(panel=panel) for panel in boat.panels)

    def begin(self, world: Handles, now_ns: int, place: Any) -> None:
        for channel, entry in world.hosts[world.boat.panels[place.panel].node].inputs.items():
            if channel.startswith("touch."):
                entry.replaced = Constant(entry.last)

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        host = world.hosts[world.boat.panels[place.panel].node]
        for channel, entry in host.inputs.items():
            if channel.startswith("touch."):
                entry.replaced = None
                host.wake(now_ns, channel)
