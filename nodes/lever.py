"""A lever's sensors: what they mean, and whether they can be believed."""

from functools import lru_cache
from typing import Final

from busim.protocol import values as v
from busim.protocol.plan import StationPlan
from busim.units import NEVER

OUT_OF_RANGE_PERMILLE: Final = 30
TRACKS_APART_PERMILLE: Final = 40
"""Two tracks further apart than this are a fault in time: sampled one after the other they differ while a lever moves."""

Meaning = tuple[int, int]
"""(gear, throttle in permille)"""


@lru_cache(maxsize=4096)  # a lever passes the same positions again and again
def _meaning(low: int, high: int, first: int, value: int) -> Meaning | None:
    """What one track's value means, None where it is out of range: `low` full astern, `high` full ahead, gear from `first` on."""
    if not low - OUT_OF_RANGE_PERMILLE <= value <= high + OUT_OF_RANGE_PERMILLE:
        return None
    middle = (low + high) // 2
    travel = (value - middle) * 1000 // (high - middle) if value >= middle else (middle - value) * 1000 // (middle - low)
    if travel < first:
        return v.NEUTRAL, 0
    return v.AHEAD if value > middle else v.ASTERN, (min(travel, 1000) - first) * 1000 // (1000 - first)


def _less(one: Meaning, other: Meaning) -> Meaning:
    """What both ask for; neutral where they differ in gear."""
    return min(one, other) if one[0] == other[0] else (v.NEUTRAL, 0)


class Lever:
    """A lever's one or two sensors. Out of range or apart for too long, or never read, is a fault; a faulty lever counts as
    neutral, and tracks that were apart are believed again once they agree in neutral.

    In time is after `patience_ns`: orders that can't be read are orders lost, and a plug that is knocked costs no thrust. Until
    then a lever out of range means what it meant last, or the less that its other track asks for; and of two tracks that are apart
    the one counts that asks for less.
    """

    __slots__ = ("apart", "apart_since_ns", "faulty", "first", "high", "low", "meant", "out_since_ns", "patience_ns", "tracks")

    def __init__(self, me: StationPlan, patience_ns: int) -> None:
        self.patience_ns = patience_ns
        self.low = me.lever_low_permille
        self.high = me.lever_high_permille
        self.first = me.lever_gear_permille
        self.tracks = [NEVER] * me.lever_tracks
        self.apart_since_ns = NEVER
        self.apart = False
        self.faulty = True
        self.meant: Meaning = (v.NEUTRAL, 0)
        self.out_since_ns = NEVER

    def read(self, now_ns: int) -> Meaning:
        """What it means now. While `out_since_ns` is not NEVER, or where there are two tracks, time alone may change that."""
        low, high, tracks = self.low, self.high, self.tracks
        meaning = readable = _meaning(low, high, self.first, tracks[0])
        if len(tracks) == 2:
            second = _meaning(low, high, self.first, low + high - tracks[1])
            readable = meaning or second
            meaning = self._with_second(now_ns, meaning, second)
        if meaning is not None or self.apart:
            self.out_since_ns = NEVER
        elif not self.faulty:
            if self.out_since_ns == NEVER:
                self.out_since_ns = now_ns
            if now_ns - self.out_since_ns < self.patience_ns:
                if readable is not None:
                    self.meant = _less(self.meant, readable)
                return self.meant
            self.out_since_ns = NEVER
        self.faulty = meaning is None
        self.meant = meaning or (v.NEUTRAL, 0)
        return self.meant

    def _with_second(self, now_ns: int, first: Meaning | None, second: Meaning | None) -> Meaning | None:
        """What two tracks mean together: the one that asks for less; None where they are not believed."""
        if first is None or second is None:
            return None
        less = _less(first, second)
        self._compare(now_ns, less[0])
        return None if self.apart else less

    def _compare(self, now_ns: int, gear: int) -> None:
        if abs(self.tracks[0] + self.tracks[1] - self.low - self.high) <= TRACKS_APART_PERMILLE:
            self.apart_since_ns = NEVER
            if gear == v.NEUTRAL:
                self.apart = False
        elif self.apart_since_ns == NEVER:
            self.apart_since_ns = now_ns
        elif now_ns - self.apart_since_ns >= self.patience_ns:
            self.apart = True
