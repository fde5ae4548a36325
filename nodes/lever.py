"""A lever's sensors: what they mean, and whether they can be believed."""

from typing import Final

from busim.protocol import values as v
from busim.protocol.plan import StationPlan
from busim.units import MS, NEVER

OUT_OF_RANGE_PERMILLE: Final = 30
TRACKS_APART_PERMILLE: Final = 40
TRACKS_APART_NS: Final = 60 * MS
"""Two tracks further apart than this, for this long, are a fault: sampled one after the other they differ while a lever moves."""


class Lever:
    """A lever's one or two sensors. Out of range, never read, or apart for too long is a fault; a faulty lever counts as neutral,
    and tracks that were apart are believed again once they agree in neutral."""

    __slots__ = ("apart", "apart_since_ns", "faulty", "first", "high", "low", "tracks")

    def __init__(self, me: StationPlan) -> None:
        self.low = me.lever_low_permille
        self.high = me.lever_high_permille
        self.first = me.lever_gear_permille
        self.tracks = [NEVER] * me.lever_tracks
        self.apart_since_ns = NEVER
        self.apart = False
        self.faulty = True

    def read(self, now_ns: int) -> tuple[int, int]:
        """(gear, throttle in permille)."""
        low, high = self.low, self.high
        for track in self.tracks:
            if not low - OUT_OF_RANGE_PERMILLE <= track <= high + OUT_OF_RANGE_PERMILLE:
                self.faulty = True
                return v.NEUTRAL, 0
        gear, throttle = self._meaning(self.tracks[0])
        if len(self.tracks) == 2:
            second = self._meaning(low + high - self.tracks[1])
            if second[0] != gear:
                gear, throttle = v.NEUTRAL, 0
            elif second[1] < throttle:
                throttle = second[1]
            self._compare(now_ns, gear)
            if self.apart:
                self.faulty = True
                return v.NEUTRAL, 0
        self.faulty = False
        return gear, throttle

    def _compare(self, now_ns: int, gear: int) -> None:
        if abs(self.tracks[0] + self.tracks[1] - self.low - self.high) <= TRACKS_APART_PERMILLE:
            self.apart_since_ns = NEVER
            if gear == v.NEUTRAL:
                self.apart = False
        elif self.apart_since_ns == NEVER:
            self.apart_since_ns = now_ns
        elif now_ns - self.apart_since_ns >= TRACKS_APART_NS:
            self.apart = True

    def _meaning(self, value: int) -> tuple[int, int]:
        low, high, first = self.low, self.high, self.first
        middle = (low + high) // 2
        travel = (value - middle) * 1000 // (high - middle) if value >= middle else (middle - value) * 1000 // (middle - low)
        if travel < first:
            return v.NEUTRAL, 0
        return v.AHEAD if value > middle else v.ASTERN, (min(travel, 1000) - first) * 1000 // (1000 - first)
