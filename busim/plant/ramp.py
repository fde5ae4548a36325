"""Something that moves at constant speed to where it is told to go: an actuator, or a lever in a hand. Closed form, no steps."""

from busim.units import SECOND


class Ramp:
    """Positions are integers (millionths of a stroke, or permille); `per_second` is the speed in the same unit, above 0."""

    __slots__ = ("per_second", "start", "start_ns", "target", "there_ns")

    def __init__(self, position: int, per_second: int) -> None:
        self.start = position
        self.start_ns = 0
        self.target = position
        self.per_second = per_second
        self.there_ns = 0
        """From when on it is at its target."""

    def read(self, now_ns: int) -> int:
        """Where it is."""
        if now_ns >= self.there_ns:
            return self.target
        travelled = (now_ns - self.start_ns) * self.per_second // SECOND
        return self.start + travelled if self.target > self.start else self.start - travelled

    def still(self, now_ns: int) -> bool:
        return now_ns >= self.there_ns

    def go(self, now_ns: int, target: int, per_second: int | None = None) -> None:
        """From now on move towards `target`, at the new speed if one is given."""
        self.start = self.read(now_ns)
        self.start_ns = now_ns
        self.target = target
        if per_second is not None:
            self.per_second = per_second
        self.there_ns = self.reaches_ns(target)

    def stop(self, now_ns: int) -> None:
        """Stay where it is."""
        self.go(now_ns, self.read(now_ns))

    def reaches_ns(self, position: int) -> int:
        """The first moment it is at `position`, which must lie between start and target."""
        return self.start_ns - (-abs(position - self.start) * SECOND // self.per_second)

    def next_crossing_ns(self, now_ns: int, marks: tuple[int, ...]) -> int | None:
        """The first moment after `now_ns` at which it is on one of these marks (in rising order), if it gets to any."""
        position, target = self.read(now_ns), self.target
        low, high = (position, target) if position < target else (target, position)
        if low > marks[-1] or high < marks[0] or low == high:
            return None
        moments = [self.reaches_ns(mark) for mark in marks if low <= mark <= high]
        return min((moment for moment in moments if moment > now_ns), default=None)
