"""A touch field is touched all the time: a drop of water, a broken key."""

from collections.abc import Iterator
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


def fields_of(boat: BoatFile, kind: type[FieldPlace]) -> Iterator[FieldPlace]:
    """Every touch field once, by the first control that stands on it."""
    for name, panel in boat.panels.items():
        seen = set()
        for page in panel.pages.values():
            for control, entry in page.items():
                if entry.number not in seen:
                    seen.add(entry.number)
                    yield kind(panel=name, control=control)


class TouchStuck(Fault):
    name = "touch_stuck"
    words = "a touch field stays touched"
    effect = "its contact is closed as long as it lasts"
    place = FieldPlace

    def place_words(self, place: Any) -> str:
        return f"{place.panel} {place.control}"

    def places(self, boat: BoatFile) -> Iterator[Any]:
        return fields_of(boat, FieldPlace)

    def begin(self, world: Handles, now_ns: int, place: Any) -> None:
        node, channel = field_of(world.boat, place)
        world.hosts[node].set_switch(now_ns, channel, 1)

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        node, channel = field_of(world.boat, place)
        world.hosts[node].set_switch(now_ns, channel, 0)
