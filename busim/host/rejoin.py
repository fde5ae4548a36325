"""What a driver does once its controller is bus-off and the board says it rejoins: wait, longer each time, then ask to recover."""

from typing import Final

from busim.units import MS, SECOND

FIRST_PAUSE_NS: Final = 100 * MS
LONGEST_PAUSE_NS: Final = 10 * SECOND
FORGOTTEN_AFTER_NS: Final = 10 * SECOND


class Rejoin:
    """Pauses by bus: 100 ms, twice as long each time up to 10 s, and 100 ms again after 10 s without bus-off."""

    __slots__ = ("pauses",)

    def __init__(self) -> None:
        self.pauses: dict[int, tuple[int, int]] = {}
        """Bus -> (the last pause, when it was over), in ns."""

    def pause_ns(self, now_ns: int, bus: int) -> int:
        """The controller on this bus just became bus-off: how long its driver waits before it asks to recover."""
        pause_ns, over_ns = self.pauses.get(bus, (0, -FORGOTTEN_AFTER_NS))
        if now_ns - over_ns >= FORGOTTEN_AFTER_NS:
            pause_ns = 0
        pause_ns = min(2 * pause_ns, LONGEST_PAUSE_NS) if pause_ns else FIRST_PAUSE_NS
        self.pauses[bus] = (pause_ns, now_ns + pause_ns)
        return pause_ns

    def forget(self) -> None:
        """The program starts anew."""
        self.pauses.clear()
