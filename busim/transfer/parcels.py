"""Frames on their way, each told once and named by a number from then on: there are thirty in a state, and few kinds of them."""

from collections.abc import Mapping
from typing import NamedTuple

from busim.transfer.memory import Label, numbers_in_frame, relabel_frame

Wire = tuple[int, int, bytes]
"""(bus, id, data)."""


class Parcel(NamedTuple):
    """A frame on its way: slots until it is heard, 1 if it was held up, the frame's number, members that will hear it."""

    wait: int
    late: int
    wire: int
    listeners: tuple[int, ...]


class Parcels:
    """`wires` by their number, `parcels` by theirs."""

    def __init__(self) -> None:
        self.wires: list[Wire] = []
        self.parcels: list[Parcel] = []
        self.order: list[tuple[int, int, int]] = []
        """Of parcels: as they are heard. What was held up comes behind, else the lowest id first, as arbitration has it."""
        self.numbers: list[frozenset[int]] = []
        """Of parcels: the numbers of takes in them, 0 left out."""
        self._wire_of: dict[Wire, int] = {}
        self._parcel_of: dict[Parcel, int] = {}
        self._renamed: dict[int, dict[int, int]] = {}

    def wire(self, wire: Wire) -> int:
        number = self._wire_of.get(wire)
        if number is None:
            number = self._wire_of[wire] = len(self.wires)
            self.wires.append(wire)
        return number

    def parcel(self, wait: int, late: int, wire: int, listeners: tuple[int, ...]) -> int:
        parcel = Parcel(wait, late, wire, listeners)
        number = self._parcel_of.get(parcel)
        if number is None:
            number = self._parcel_of[parcel] = len(self.parcels)
            self.parcels.append(parcel)
            _, can_id, data = self.wires[wire]
            self.order.append((wait, late, can_id))
            self.numbers.append(numbers_in_frame(can_id, data))
        return number

    def renamed(self, parcels: list[int], names: int, moved: Mapping[Label, int], numbers: Mapping[int, int]) -> list[int]:
        """The parcels after counters moved and numbers are called anew. `names` stands for both of them."""
        known = self._renamed.setdefault(names, {})
        found = []
        for number in parcels:
            new = known.get(number)
            if new is None:
                wait, late, wire, listeners = self.parcels[number]
                bus, can_id, data = self.wires[wire]
                new = self.parcel(wait, late, self.wire((bus, can_id, relabel_frame(can_id, data, moved, numbers))), listeners)
                known[number] = new
            found.append(new)
        return found
