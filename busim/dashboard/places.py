"""Where each fault can be on a boat, in words to choose from."""

from collections import defaultdict
from typing import Any

from busim import screen_labels as labels
from busim.boat.model import BoatFile, Section
from busim.faults.fault import Fault


def places_for(fault: Fault, boat: BoatFile) -> list[Section]:
    """In the order of the boat file."""
    return [place for place in fault.places(boat) if next(iter(fault.misplaced(boat, place)), None) is None]


def places_in_words(fault: Fault, places: list[Section], boat: BoatFile) -> list[str]:
    """As the fault says it; of a metre on a trunk, also the nodes on either side; of two that read alike, what tells them apart."""
    words = [_with_neighbours(fault.place_words(place), place, boat) for place in places]
    alike: dict[str, list[int]] = defaultdict(list)
    for number, said in enumerate(words):
        alike[said].append(number)
    for numbers in alike.values():
        if len(numbers) > 1:
            values = [places[number].model_dump() for number in numbers]
            differ = [key for key in values[0] if any(each.get(key) != values[0][key] for each in values)]
            for number, each in zip(numbers, values, strict=True):
                words[number] += "".join(f", {key.replace('_', ' ')} {_said(each[key])}" for key in differ)
    return words


def _said(value: Any) -> str:
    return {True: labels.YES, False: labels.NO}[value] if isinstance(value, bool) else str(value)


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
