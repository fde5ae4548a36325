"""Where each fault can be on a boat: the places a user chooses from, worked out from what a place has to name."""

from collections.abc import Iterator
from itertools import pairwise, product
from typing import Any, Final, get_args

from pydantic import ValidationError

from busim.boat.model import BoatFile, Section
from busim.faults.fault import Fault
from busim.faults.sensors import sensors_of

MOST: Final = 400
SLIP: Final = 200
"""By how much a sensor that slipped shows more, in its own unit: a fifth of what a lever can show."""


def places_for(fault: Fault, boat: BoatFile) -> list[Section]:
    """Every place that names things of this boat and keeps the other values at their defaults."""
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


def _combinations(model: type[Section], boat: BoatFile) -> Iterator[dict[str, Any]]:
    wanted = {name: field for name, field in model.model_fields.items() if field.is_required()}
    choices = [list(get_args(field.annotation)) or _values(name, boat) for name, field in wanted.items()]
    yield from (dict(zip(wanted, values, strict=True)) for values in product(*choices))


def _values(name: str, boat: BoatFile) -> list[Any]:
    """What a place's key of this name can say on this boat."""
    named: dict[str, list[Any]] = {
        "node": list(boat.nodes),
        "has_address_of": list(boat.nodes),
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


def _metres(boat: BoatFile) -> list[float]:
    """Half way between neighbours, on any bus."""
    found: set[float] = set()
    for bus in boat.buses:
        places = sorted({node.taps[bus].at_m for node in boat.nodes.values() if bus in node.taps})
        found |= {round((low + high) / 2, 2) for low, high in pairwise(places)}
    return sorted(found)
