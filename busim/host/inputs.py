"""A node's inputs: what is wired to its pins. Analogue ones are sampled on their own grid, switches are heard at once.

Sampling is asked for only while a source can change: the grid is the same as if every sample were taken, and a value that
stands still costs nothing.
"""

from typing import Protocol

from busim.units import NEVER


class Source(Protocol):
    """Something that can be measured."""

    def read(self, now_ns: int) -> int:
        """The value at this moment, an integer in the channel's unit."""
        ...

    def still(self, now_ns: int) -> bool:
        """It will not change by itself from now on (whoever changes it wakes the input)."""
        ...


class Constant:
    """A source that only changes when it is set: a switch, a key, a sensor nothing is wired to."""

    __slots__ = ("value",)

    def __init__(self, value: int = 0) -> None:
        self.value = value

    def read(self, now_ns: int) -> int:
        return self.value

    def still(self, now_ns: int) -> bool:
        return True


class Input:
    """One channel. `period_ns` 0 is a switch. A fault may put its own source in front with `replace`."""

    __slots__ = ("channel", "due_ns", "last", "period_ns", "replaced", "source")

    def __init__(self, channel: str, period_ns: int, source: Source) -> None:
        self.channel = channel
        self.period_ns = period_ns
        self.source = source
        self.replaced: Source | None = None
        self.last = 0
        self.due_ns = NEVER

    def read(self, now_ns: int) -> int:
        return (self.replaced or self.source).read(now_ns)

    def still(self, now_ns: int) -> bool:
        return (self.replaced or self.source).still(now_ns)

    def next_sample_ns(self, now_ns: int, phase_ns: int) -> int:
        """The first sample at or after `now_ns`; the grid passes through `phase_ns`."""
        return now_ns + (phase_ns - now_ns) % self.period_ns
