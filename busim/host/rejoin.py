"""What a driver does once its controller is bus-off and the board says it rejoins: wait, then ask to recover.

The first pauses are short: a fault that a boat rides through can take a controller off the bus several times, and each time it has
to be back before whoever listens has waited for it too long. What is wrong for longer gets longer and longer pauses, for the sake
of the others on the bus.
"""

from typing import Final

from busim.units import MS, SECOND

SHORT_PAUSE_NS: Final = 20 * MS
SHORT_PAUSES: Final = 10
FIRST_LONG_PAUSE_NS: Final = 100 * MS
LONGEST_PAUSE_NS: Final = 10 * SECOND
FORGOTTEN_AFTER_NS: Final = 10 * SECOND


class Rejoin:
    """Pauses by bus: 20 ms ten times, then 100 ms, twice as long each time up to 10 s; anew after 10 s without bus-off."""

    __slots__ = ("pauses",)

    def __init__(self) -> None:
        self.pauses: dict[int, tuple[int, int]] = {}
        """Bus -> (how many pauses there were in a row, when the last was over in ns)."""

    def pause_ns(self, now_ns: int, bus: int) -> int:
        """The controller on this bus just became bus-off: how long its driver waits before it asks to recover."""
        count, over_ns = self.pauses.get(bus, (0, -FORGOTTEN_AFTER_NS))
        if now_ns - over_ns >= FORGOTTEN_AFTER_NS:
            count = 0
        pause_ns = SHORT_PAUSE_NS
        if count >= SHORT_PAUSES:
            doublings = min(count - SHORT_PAUSES, LONGEST_PAUSE_NS // FIRST_LONG_PAUSE_NS)
            pause_ns = min(FIRST_LONG_PAUSE_NS << doublings, LONGEST_PAUSE_NS)
        self.pauses[bus] = (count + 1, now_ns + pause_ns)
        return pause_ns

    def forget(self) -> None:
        """The program starts anew."""
        self.pauses.clear()
