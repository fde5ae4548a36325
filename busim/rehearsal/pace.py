"""How simulated time follows a clock: how fast, whether at all, and how late it is. Reads no clock: it is told the time.

A computer that is too slow loses pace and never a moment of the simulation: what it can't catch up within `PATIENCE_S` is let go,
and said.
"""

from collections import deque
from typing import Final

from busim.units import MS, SECOND

RATES: Final = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0)
SLICE_NS: Final = 500 * MS
"""Most simulated time that is played at once: keys have to be answered in between."""
PATIENCE_S: Final = 0.25
TOLD_S: Final = 1.0
LATENESS_KEPT: Final = 4096


class Pace:
    __slots__ = ("_asked_s", "_from_ns", "_from_s", "_let_go_s", "_turn_s", "late_s", "paused", "rate")

    def __init__(self, now_s: float, now_ns: int) -> None:
        self.rate = RATES.index(1.0)
        self.paused = False
        self.late_s: deque[float] = deque(maxlen=LATENESS_KEPT)
        """Of each slice, in seconds of the clock: how much later than due its first moment had been played."""
        self._turn_s = self._asked_s = now_s
        self._let_go_s: float | None = None
        """When time had to be let go last."""
        self._begin(now_s, now_ns)

    def _begin(self, now_s: float, now_ns: int) -> None:
        """From this moment on time runs at the rate that holds."""
        self._from_s, self._from_ns = now_s, now_ns

    @property
    def times(self) -> float:
        return RATES[self.rate]

    @property
    def behind(self) -> bool:
        """Time had to be let go within the last second."""
        return self._let_go_s is not None and self._asked_s - self._let_go_s < TOLD_S

    def due_ns(self, now_s: float, now_ns: int) -> int:
        """Up to when the boat, which is at `now_ns`, is to be carried on now."""
        self._asked_s = now_s
        if self.paused:
            self._begin(now_s, now_ns)
            return now_ns
        due_ns = self._from_ns + round((now_s - self._from_s) * self.times * SECOND)
        until_ns = min(due_ns, now_ns + SLICE_NS)
        if due_ns - until_ns > PATIENCE_S * self.times * SECOND:
            self._let_go_s = now_s
            self._begin(now_s, until_ns)
        return until_ns

    def played(self, turn_s: float, over_s: float) -> None:
        """A slice whose turn came at `turn_s` was over at `over_s`: its first moment was due at the turn before."""
        self.late_s.append(over_s - self._turn_s)
        self._turn_s = turn_s

    def pause(self, now_s: float, now_ns: int) -> None:
        self.paused = not self.paused
        self._begin(now_s, now_ns)

    def change(self, step: int, now_s: float, now_ns: int) -> None:
        """Faster (1) or slower (-1)."""
        self.rate = max(0, min(self.rate + step, len(RATES) - 1))
        self._begin(now_s, now_ns)
