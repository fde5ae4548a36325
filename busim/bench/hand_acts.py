"""When a hand did what it was asked to: never known exactly, only between two moments. And what was measured from there.

A hand acts after it was asked, and before it says so by a key. What the bus shows narrows that: a node that sends had its supply.
No I/O, no clock.
"""

from dataclasses import dataclass
from typing import Final

from busim.requirements.verdict import FAIL, INCONCLUSIVE, PASS, SELF_REPORTED
from busim.units import MS

HOLDS_OUT_NS: Final = 100 * MS
"""How long a node may go on sending after its supply went, out of its capacitors: *assumed*."""


@dataclass(frozen=True)
class Moment:
    """Not before `earliest_ns`, and not after `latest_ns`."""

    earliest_ns: int
    latest_ns: int

    @property
    def width_ms(self) -> int:
        return -(-(self.latest_ns - self.earliest_ns) // MS)


def cut_moment(asked_ns: int, answered_ns: int, last_ns: int, gap_ns: int) -> Moment | None:
    """When a node's supply went. `last_ns`: its last frame; `gap_ns`: the longest pause between two of its frames while it lived.
    None where it fell silent before anybody was asked: that was no hand.

    A key that was pressed while the node still sent, longer than it holds out, was pressed too early and says nothing.
    """
    silent_ns = last_ns + gap_ns
    if silent_ns < asked_ns:
        return None
    earliest_ns = max(asked_ns, last_ns - HOLDS_OUT_NS)
    return Moment(earliest_ns, min(answered_ns, silent_ns) if answered_ns >= earliest_ns else silent_ns)


def given_moment(asked_ns: int, answered_ns: int, first_ns: int) -> Moment | None:
    """When a node's supply came back. `first_ns`: its first frame. None where that came before anybody was asked."""
    return Moment(asked_ns, min(answered_ns, first_ns)) if first_ns >= asked_ns else None


def between_ms(began: Moment, ended: Moment, doubt_ms: int = 0) -> tuple[int, int]:
    """The least and the most that can lie between the two; `doubt_ms` is what every moment is uncertain by besides."""
    least_ms = (ended.earliest_ns - began.latest_ns) // MS - doubt_ms
    return max(least_ms, 0), -(-(ended.latest_ns - began.earliest_ns) // MS) + doubt_ms


def judged_between(least: int, most: int, limit: int, *, self_reported: bool) -> str:
    """At most `limit`, exactly it is met; inconclusive where the true value may lie on either side."""
    if least > limit:
        return FAIL
    if most > limit:
        return INCONCLUSIVE
    return SELF_REPORTED if self_reported else PASS
