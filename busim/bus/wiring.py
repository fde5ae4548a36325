"""Where controllers sit on a bus and which of them hear each other, as a directed matrix of bit masks.

Model assumption: what is left of a cut trunk still carries frames although a terminator is missing on either side. Faults
change a `Wiring` through its fields and then ask the bus to look again. Where two faults may do the same thing to one place
the field is a list, with an entry for each of them.
"""

from typing import Final

SHORTS: Final = {"high_to_low": 1, "to_ground": 1, "to_battery": 0}
"""What is shorted: what every receiver then reads, 1 recessive or 0 dominant. *Model assumption*: between both wires, or from
them to ground, no difference is left; to battery, it stays as large as a dominant bit's."""


class Wiring:
    """One bus's cable. `at_m` is metres along the trunk per place; places are numbered as controllers join the bus."""

    __slots__ = ("at_m", "cuts_m", "deaf", "dumb", "holding", "loose", "open_drops", "shorts")

    def __init__(self) -> None:
        self.at_m: list[float] = []
        self.cuts_m: list[float] = []
        self.loose: set[int] = set()
        """Places whose drop is open: they neither hear nor are heard."""
        self.deaf: set[int] = set()
        """Places whose receiver is dead. They never read back the bits they send, so all they send is error flags. *Model
        assumption*: they do so in their turn, not on top of others."""
        self.open_drops: list[int] = []
        """Places whose drop is broken: as `loose`, which is for plugs that are pulled."""
        self.holding: list[int] = []
        """Places whose transmitter drives dominant all the time."""
        self.shorts: list[str] = []
        """Keys of `SHORTS`, for the whole bus."""
        self.dumb: set[int] = set()
        """Places whose transmitter is dead: they hear, and nobody notices what they try to send."""

    def add(self, at_m: float) -> int:
        self.at_m.append(at_m)
        return len(self.at_m) - 1

    def stretch(self, place: int) -> int:
        """Which stretch of the trunk a place is on: how many cuts lie below it."""
        return sum(1 for cut_m in self.cuts_m if cut_m <= self.at_m[place])

    def hears(self, listener: int, sender: int) -> bool:
        """Do the bits that `sender` drives reach the receiver at `listener`? A place always hears itself."""
        if listener == sender:
            return True
        if listener in self.loose or sender in self.loose or listener in self.deaf or sender in self.dumb:
            return False
        if self.shorts or listener in self.open_drops or sender in self.open_drops:
            return False
        return self.stretch(listener) == self.stretch(sender)

    def mute(self, place: int) -> bool:
        """What this place drives changes nothing, not even at its own receiver."""
        return place in self.dumb or any(SHORTS[short] for short in self.shorts)

    def stuck(self, places: list[int], holding: list[int]) -> bool:
        """These places, which hear each other, read dominant for good; `holding` are those that drive it and have power."""
        if any(not SHORTS[short] for short in self.shorts):
            return True
        return any(place in holding for place in places)

    def segments(self) -> list[list[int]]:
        """Places grouped so that no two groups hear each other in either direction; each group arbitrates by itself."""
        places = range(len(self.at_m))
        group_of = list(places)
        for first in places:
            for second in places[first + 1 :]:
                if self.hears(first, second) or self.hears(second, first):
                    old, new = group_of[second], group_of[first]
                    group_of = [new if group == old else group for group in group_of]
        groups: dict[int, list[int]] = {}
        for place, group in enumerate(group_of):
            groups.setdefault(group, []).append(place)
        return list(groups.values())
