"""Neutral-now keys of other stations that were named stuck here, by a deliberate act: the lock-out key held for 3 s.

Held again, they are let back in. A drive ignores a key once two frames in a row from one station name it, until that one takes it
back; nobody locks out a key of its own. What is locked out does not outlast a start of this node: its frames say so then.
"""

from typing import Final

from busim.protocol.alarms import LOCK_OUT_HELD_MS, REPEAT_MS
from busim.units import MS, NEVER

AGAIN_NS: Final = 20 * MS
CHANGES_SENT: Final = 3
"""Two that agree are wanted, and one may be lost."""


class KeyLock:
    __slots__ = ("held_ns", "locks", "times")

    def __init__(self) -> None:
        self.locks = 0
        """Bit n: the key of the station at address n."""
        self.held_ns = NEVER
        """Since when the lock-out key is held; NEVER once it has acted."""
        self.times = 0
        """So many frames are still to follow the last change at once."""

    def press(self, now_ns: int, down: int) -> None:
        self.held_ns = now_ns if down else NEVER

    def look(self, now_ns: int, stuck: tuple[int, ...]) -> bool:
        """True where the key was held long enough just now, and keys were locked out or let back in by it."""
        if now_ns - self.held_ns < LOCK_OUT_HELD_MS * MS:
            return False
        self.held_ns = NEVER
        named = sum(1 << station for station in stuck)
        if named & ~self.locks:
            self.locks |= named
        elif self.locks:
            self.locks = 0
        else:
            return False
        self.times = CHANGES_SENT
        return True

    def next_ns(self, now_ns: int) -> int:
        """When the next frame has to say it, after one that goes out now."""
        self.times -= self.times > 0
        if self.times:
            return now_ns + AGAIN_NS
        return now_ns + REPEAT_MS * MS if self.locks else NEVER
