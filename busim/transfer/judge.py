"""What must hold in every state, judged by what reports and displays say and by nothing a node keeps to itself."""

from typing import Final

from busim.transfer.cell import HERE
from busim.transfer.network import Network
from busim.units import MS

APART: Final = "apart"
BOTH: Final = "both"
OBEYED_OLD: Final = "obeyed_old"
STUCK: Final = "stuck"


class Judge:
    """Limits in slots. What nobody can know yet is no fault: a report is heard a slot later, and up to a period late."""

    def __init__(self, network: Network, disturbances: int) -> None:
        plan = network.plan
        self.network = network
        timing = plan.timing
        self.each_obeys = any(drive.when_apart == "each_obeys" for drive in plan.drives)
        self.overlap_ms = timing.overlap_ms
        self.heard_ms = 2 * network.slot_ns // MS + timing.drive_ms * (2 + disturbances)
        """By when each drive has heard what the other reports, whatever was lost, and the first two after a cut not counted."""
        self.limit_slots = -(-(self.overlap_ms + self.heard_ms) * MS // network.slot_ns)
        self.longest_apart = 0
        self.longest_both = 0
        self._wanted = {station.address: set(station.drives) for station in plan.stations}
        self._instance = {drive.address: drive.instance for drive in plan.drives}
        self._drives = [network.index[drive.address] for drive in plan.drives]
        self._apart: dict[tuple[tuple[int, ...], int, int], bool] = {}

    def ages(
        self, told: list[tuple[int, int]], shows: list[int], cuts: tuple[int, ...], apart: int, both: int
    ) -> tuple[int, int]:
        """For how many slots two drives have obeyed different takes, and two stations shown that they are in control."""
        divided = self._divided(told, cuts)
        apart = apart + 1 if divided else 0
        if apart > self.longest_apart:
            self.longest_apart = apart
        here = [index for index, value in enumerate(shows) if value in HERE]
        both = both + 1 if len(here) > 1 and self._shared(here, cuts) else 0
        if both > self.longest_both:
            self.longest_both = both
        return apart, both

    def wrong(self, apart: int, both: int) -> str:
        if apart > self.limit_slots:
            return APART
        return BOTH if both > self.limit_slots else ""

    def _divided(self, told: list[tuple[int, int]], cuts: tuple[int, ...]) -> bool:
        for place, one in enumerate(self._drives):
            if not told[one][0]:
                continue
            for other in self._drives[place + 1 :]:
                parted = told[other][0] and told[one] != told[other]
                if parted and all(self._takes_both(told[each][0], one, other) for each in (one, other)):
                    return not self._may_differ(cuts, one, other)
        return False

    def _takes_both(self, station: int, one: int, other: int) -> bool:
        members, wanted = self.network.members, self._wanted.get(station, set())
        return all(members[each] not in self._instance or self._instance[members[each]] in wanted for each in (one, other))

    def _may_differ(self, cuts: tuple[int, ...], one: int, other: int) -> bool:
        """The boat's recorded policy lets followers that do not hear each other obey whom each of them hears."""
        if not self.each_obeys:
            return False
        key = (cuts, one, other)
        if key not in self._apart:
            members = self.network.members
            self._apart[key] = self.network.apart(cuts, members[one], members[other])
        return self._apart[key]

    def _shared(self, here: list[int], cuts: tuple[int, ...]) -> bool:
        """Do two of the stations that show themselves in control share a follower that has no leave to differ?"""
        members = self.network.members
        showing = [self._wanted[members[index]] for index in here]
        if any(self._may_differ(cuts, one, other) for one in self._drives for other in self._drives if one < other):
            return False
        return any(one & other for place, one in enumerate(showing) for other in showing[place + 1 :])


