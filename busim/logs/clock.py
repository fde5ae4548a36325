"""The log's clock: stamps as they come, made into nanoseconds that never run back.

A log whose first stamp is less than a day counts from its own zero, as a run's record does; any other from its first frame.
"""

from typing import Final

from busim.units import MS, SECOND

DAY_NS: Final = 86_400 * SECOND
SMALL_STEP_NS: Final = SECOND
"""Stamps that run back by less are frames of several channels in no strict order, or a clock being set right."""
SILENCE_NS: Final = 2 * SECOND
"""Nothing on any bus for longer: every heartbeat is missing, so she was off or nobody recorded. Nothing is judged across it."""


class Clock:
    """`last_ns`: of the last frame. `backs`, `most_back_ns`: how often stamps ran back, and how far."""

    __slots__ = ("backs", "first_ns", "jump_ns", "jumps", "last_ns", "most_back_ns", "offset_ns", "silences")

    def __init__(self) -> None:
        self.offset_ns: int | None = None
        self.first_ns = 0
        self.last_ns = 0
        self.backs = 0
        self.most_back_ns = 0
        self.jumps = 0
        self.jump_ns = 0
        """How far the last jump went back."""
        self.silences = 0

    def begin(self, stamp_ns: int) -> int:
        self.offset_ns = 0 if 0 <= stamp_ns < DAY_NS else stamp_ns
        self.first_ns = self.last_ns = stamp_ns - self.offset_ns
        return self.first_ns

    def back(self, at_ns: int) -> tuple[int, bool]:
        """A stamp before the last one: the time it is taken for, and whether the log begins anew there."""
        step_ns = self.last_ns - at_ns
        if step_ns < SMALL_STEP_NS:
            self.most_back_ns = max(self.most_back_ns, step_ns)
            self.backs += 1
            return self.last_ns, False
        self.jumps += 1
        self.jump_ns = step_ns
        assert self.offset_ns is not None
        self.offset_ns -= step_ns
        return self.last_ns, True

    @property
    def counts_from_first(self) -> bool:
        return bool(self.offset_ns) and not self.jumps

    @property
    def most_back_ms(self) -> int:
        return -(-self.most_back_ns // MS)
