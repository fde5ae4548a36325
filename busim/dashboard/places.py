"""Where each fault can be on a boat: the places a user chooses from, worked out from what a place has to name."""

from collections.abc import Iterator
from itertools import pairwise, product
from typing import Any, Final, Literal, get_args, get_origin

from pydantic import ValidationError

from busim import screen_labels as labels
from busim.boat.model import BoatFile, Section
from busim.faults.fault import Fault
from busim.faults.sensors import sensors_of

MOST: Final = 400
SLIP: Final = 200
"""By how much a sensor that slipped shows more, in its own unit: a fifth of what a lever can show."""


def places_for(fault: Fault, boat: BoatFile) -> list[Section]:
    """Every place that names things of this boat and keeps the other values at their defaults, MOST of them at the most."""
    found: list[Section] = []
    for values in _combinations(fault.place, boat):
        try:
            place = fault.place.model_validate(values)
            if next(iter(fault.misplaced(boat, place)), None) is None:
                found.append(place)
        except (ValidationError, KeyError, ValueError, AttributeError, StopIteration):
            continue
        if len(found) >= MOST:
            break
    return found


def places_in_words(fault: Fault, places: list[Section], boat: BoatFile) -> list[str]:
    """As the fault says it; of a metre on a trunk, also the nodes on either side."""
    return [_with_neighbours(fault.place_words(place), place, boat) for place in places]


def _with_neighbours(words: str, place: Any, boat: BoatFile) -> str:
    bus, at_m = getattr(place, "bus", None), getattr(place, "at_m", None)
    if bus not in boat.buses or not isinstance(at_m, (int, float)):
        return words
    taps = sorted((node.taps[bus].at_m, name) for name, node in boat.nodes.items() if bus in node.taps)
    before = [name for metre, name in taps if metre <= at_m]
    after = [name for metre, name in taps if metre > at_m]
    if not before or not after:
        return words
    return labels.BETWEEN.format(place=words, one=before[-1], other=after[0])


def _combinations(model: type[Section], boat: BoatFile) -> Iterator[dict[str, Any]]:
    wanted = {name: field for name, field in model.model_fields.items() if field.is_required()}
    if not wanted:
        yield {}
        yield from _one_of(model, boat)
        return
    choices = [_choices(name, field.annotation, boat) for name, field in wanted.items()]
    for chosen in product(*choices):
        values = dict(zip(wanted, chosen, strict=True))
        if "at_m" in values and values["at_m"] not in _metres(boat, values.get("bus")):
            continue
        if "sender" not in values or values["sender"] != values.get("node"):
            yield values


def _choices(name: str, annotation: Any, boat: BoatFile) -> list[Any]:
    return list(get_args(annotation)) if get_origin(annotation) is Literal else _values(name, boat)


def _one_of(model: type[Section], boat: BoatFile) -> Iterator[dict[str, Any]]:
    """A place that wants one of several places inside it, such as what comes and goes."""
    for name, field in model.model_fields.items():
        for part in get_args(field.annotation):
            if isinstance(part, type) and issubclass(part, Section):
                yield from ({name: values} for values in _combinations(part, boat))


def _values(name: str, boat: BoatFile) -> list[Any]:
    """What a place's key of this name can say on this boat."""
    named: dict[str, list[Any]] = {
        "node": list(boat.nodes),
        "has_address_of": list(boat.nodes),
        "sender": list(boat.nodes),
        "nodes": [(name,) for name in boat.nodes],
        "bus": list(boat.buses),
        "supply": list(boat.supplies),
        "drive": list(boat.drives),
        "station": list(boat.stations),
        "panel": list(boat.panels),
        "zone": list(boat.zones),
        "light": [*boat.zones, *boat.navigation_lights],
        "control": [name for panel in boat.panels.values() for page in panel.pages.values() for name in page],
        "at_m": _metres(boat),
        "channel": sorted({channel for node in boat.nodes for channel in sensors_of(boat, node)}),
        "by": [SLIP],
    }
    return named.get(name, [])


def _metres(boat: BoatFile, only: str | None = None) -> list[float]:
    """Half way between neighbours, on this bus or on any."""
    found: set[float] = set()
    for bus in boat.buses:
        places = sorted({node.taps[bus].at_m for node in boat.nodes.values() if bus in node.taps})
        if only in (None, bus):
            found |= {round((low + high) / 2, 2) for low, high in pairwise(places)}
    return sorted(found)
