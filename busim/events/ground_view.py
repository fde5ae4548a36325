"""Where she is over ground and which way her bow points, as said. Part of the situation."""

from math import isqrt
from typing import Final

from busim.events.journal import Event, Journal

POSITIONS_KEPT: Final = 12_000
"""Twenty minutes: longer ago than anybody asks."""


class GroundView:
    """Positions in mm east and north of where she was at the start. Before anything is said she runs straight north."""

    __slots__ = ("bow", "positions", "streamed")

    def __init__(self) -> None:
        self.positions: list[tuple[int, int, int]] = []
        """(at_ns, east_mm, north_mm), as said."""
        self.bow = (0, 1_000_000)
        self.streamed = False
        """There is a stream, or was."""

    def attach(self, journal: Journal) -> None:
        journal.watch_events("ground", self._ground)
        journal.watch_events("heading", self._heading)
        journal.watch_events("stream", self._stream)

    def position_mm(self, at_ns: int, run_mm: int) -> tuple[int, int]:
        """Where she was at a moment: in a straight line between what was said before and after it. `run_mm` is her run through
        the water at that moment."""
        before = None
        after = None
        for position in reversed(self.positions):
            if position[0] <= at_ns:
                before = position
                break
            after = position
        if before is None:
            return 0, run_mm
        if after is None:
            return before[1:]
        share, whole = at_ns - before[0], after[0] - before[0]
        return before[1] + (after[1] - before[1]) * share // whole, before[2] + (after[2] - before[2]) * share // whole

    def _ground(self, event: Event) -> None:
        self.positions.append((event[0], event[3], event[4]))
        if len(self.positions) > POSITIONS_KEPT:
            del self.positions[: POSITIONS_KEPT // 2]

    def _heading(self, event: Event) -> None:
        self.bow = (event[3], event[4])

    def _stream(self, event: Event) -> None:
        self.streamed = self.streamed or event[4] > 0


def apart_mm(one: tuple[int, int], other: tuple[int, int]) -> int:
    """Between two positions, in a straight line, rounded down."""
    east, north = one[0] - other[0], one[1] - other[1]
    return isqrt(east * east + north * north)
