"""A touch field is touched all the time: a drop of water, a broken key."""

from typing import Any

from busim.boat.model import BoatFile, Section, Words
from busim.faults.fault import Fault, Handles


class FieldPlace(Section):
    panel: Words
    control: Words


def field_of(boat: BoatFile, place: FieldPlace) -> tuple[str, str]:
    """(node, channel) of a panel's touch field."""
    panel = boat.panels[place.panel]
    number = next(page[place.control].number for page in panel.pages.values() if place.control in page)
    return panel.node, f"touch.{number}"


class TouchStuck(Fault):
    name = "touch_stuck"
    words = "a touch field stays touched"
    effect = "its contact is closed as long as it lasts"
    place = FieldPlace

    def place_words(self, place: Any) -> str:
        return f"{place.panel} {place.control}"

    def begin(self, world: Handles, now_ns: int, place: Any) -> None:
        node, channel = field_of(world.boat, place)
        world.hosts[node].set_switch(now_ns, channel, 1)

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        node, channel = field_of(world.boat, place)
        world.hosts[node].set_switch(now_ns, channel, 0)
