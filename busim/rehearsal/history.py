"""Snapshots kept, so that the whole screen can show the boat as she was. Older ones are thinned out, moments at which something
was said in the timeline last."""

from bisect import bisect_right
from dataclasses import replace
from typing import Final

from busim.rehearsal.shown import Snapshot
from busim.units import MS

APART_NS: Final = 100 * MS
MOST: Final = 6000
"""Ten minutes of them; what is longer ago is kept more coarsely."""


FRAMES: Final = 24
"""Frames of a snapshot that is kept."""


def _slim(snapshot: Snapshot, before: Snapshot) -> Snapshot:
    """The same, with whatever is as it was before kept once."""
    alike = {name: getattr(before, name) for name in _STEADY if getattr(before, name) == getattr(snapshot, name)}
    return replace(snapshot, frames=snapshot.frames[-FRAMES:], **alike)


_STEADY: Final = ("drives", "stations", "rudder", "lights", "panels", "load", "faults", "verdicts")


class History:
    __slots__ = ("kept",)

    def __init__(self) -> None:
        self.kept: list[Snapshot] = []

    def keep(self, snapshot: Snapshot) -> None:
        """Keep it where something was said since the last one, or that is long enough ago."""
        kept = self.kept
        if kept and snapshot.lines == kept[-1].lines and snapshot.at_ns - kept[-1].at_ns < APART_NS:
            return
        kept.append(_slim(snapshot, kept[-1]) if kept else snapshot)
        if len(kept) > MOST:
            self._thin()

    def _thin(self) -> None:
        """Half of the older half goes: first what says nothing new."""
        old, young = self.kept[: MOST // 2], self.kept[MOST // 2 :]
        quiet = [place for place in range(1, len(old)) if old[place].lines == old[place - 1].lines]
        loud = [place for place in range(1, len(old), 2) if old[place].lines != old[place - 1].lines]
        gone = set([*quiet, *loud][: MOST // 4])
        self.kept = [snapshot for place, snapshot in enumerate(old) if place not in gone] + young

    def at(self, at_ns: int) -> Snapshot | None:
        """The first one kept after this moment, which shows what happened in it; else the last. None where there is none."""
        if not self.kept:
            return None
        place = bisect_right(self.kept, at_ns - 1, key=lambda each: each.at_ns)
        return self.kept[min(place, len(self.kept) - 1)]
