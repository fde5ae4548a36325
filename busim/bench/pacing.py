"""Keeps a world in step with the monotonic clock. The only place of the bench that reads a clock.

Being late is recorded and never an error: what was timed meanwhile is for whoever judges to call inconclusive. A stop of the whole
computer (asleep, or held) is not caught up with: simulated time stands still for it, and that is recorded too.
"""

import contextlib
import gc
import os
import time
from collections.abc import Callable
from typing import Final

from busim.units import MS, SECOND

LONGEST_STEP_NS: Final = 250 * MS
"""Behind by more than this, time is not caught up with: a burst of so much at once is like nothing on a bus."""
SHORTEST_WAIT_NS: Final = 200_000
"""Several frames that end within so short a time are handed over together: a full bus would wake the process for each."""
LONGEST_WAIT_NS: Final = 50 * MS
"""Short against `LONGEST_STEP_NS`: a wait is no stop."""

clock_ns: Final = time.monotonic_ns
"""The computer's clock, for whoever measures a way or a silence."""


class Spread:
    """A distribution of durations in ns, in bounded memory: steps of about 6 %."""

    def __init__(self) -> None:
        self.counts: dict[int, int] = {}
        self.total = 0
        self.worst_ns = 0

    def add(self, duration_ns: int) -> None:
        duration_ns = max(duration_ns, 0)
        shift = max(duration_ns.bit_length() - 5, 0)
        upper = ((duration_ns >> shift) + 1 << shift) - 1
        self.counts[upper] = self.counts.get(upper, 0) + 1
        self.total += 1
        self.worst_ns = max(self.worst_ns, duration_ns)

    def share_ns(self, share: float) -> int:
        """The duration that this share of all does not exceed; 0 where there is none."""
        left = share * self.total
        for upper in sorted(self.counts):
            left -= self.counts[upper]
            if left <= 0:
                return min(upper, self.worst_ns)
        return self.worst_ns


def hold_still() -> None:
    """What is there by now stays: looking through all of it for garbage, again and again, would hold up time. And where the
    system allows it, whatever else the computer does comes behind this process: it sleeps most of the time."""
    gc.collect()
    gc.freeze()
    with contextlib.suppress(OSError, AttributeError):  # who may not, or has no such thing, goes without
        os.sched_setscheduler(0, os.SCHED_RR | os.SCHED_RESET_ON_FORK, os.sched_param(1))


class Pace:
    """`now_ns` is where the world should be."""

    def __init__(self, clock: Callable[[], int] = clock_ns) -> None:
        self.clock = clock
        self.lateness = Spread()
        self.stood_ns = 0
        """How long time stood still altogether, because the computer did."""
        self.stops = 0
        self._zero_ns = clock()

    def begin(self, world_ns: int) -> None:
        """From now on the world, which is at `world_ns`, runs as the clock does."""
        self._zero_ns = self.clock() - world_ns

    def now_ns(self, world_ns: int) -> int:
        """Where a world that has come to `world_ns` is to go on to."""
        now_ns = self.clock() - self._zero_ns
        if now_ns - world_ns > LONGEST_STEP_NS:
            stood_ns = now_ns - world_ns - LONGEST_STEP_NS
            self._zero_ns += stood_ns
            self.stood_ns += stood_ns
            self.stops += 1
            now_ns -= stood_ns
        return max(now_ns, world_ns)

    def wait_s(self, next_ns: int) -> float:
        """How long to wait for something that is due at `next_ns` of the world."""
        wait_ns = next_ns - (self.clock() - self._zero_ns)
        return min(max(wait_ns, SHORTEST_WAIT_NS), LONGEST_WAIT_NS) / SECOND if wait_ns > -SHORTEST_WAIT_NS else 0.0

    def note(self, due_ns: int, done_ns: int) -> None:
        """What was due at `due_ns` of the world was done at `done_ns`."""
        self.lateness.add(done_ns - due_ns)
