"""Something that moves at constant speed to where it is told to go: an actuator, or a lever in a hand. Closed form, no steps."""

from busim.units import SECOND


class Ramp:
    """Positions are integers (millionths of a stroke, or permille); `per_second` is the speed in the same unit, above 0."""

    __slots__ = ("per_second", "start", "start_ns", "target")

    def __init__(self, position: int, per_second: int) -> None:
        self.start = position
        self.start_ns = 0
        self.target = position
        self.per_second = per_second

    def read(self, now_ns: int) -> int:
        """Where it is."""
        start, target = self.start, self.target
        if start == target:
            return target
        travelled = (now_ns - self.start_ns) * self.per_second // SECOND
        if target > start:
            position = start + travelled
            return position if position < target else target
        position = start - travelled
        return position if position > target else target

    def still(self, now_ns: int) -> bool:
        return self.read(now_ns) == self.target

    def go(self, now_ns: int, target: int, per_second: int | None = None) -> None:
        """From now on move towards `target`, at the new speed if one is given."""
        self.start = self.read(now_ns)
        self.start_ns = now_ns
        self.target = target
        if per_second is not None:
            self.per_second = per_second

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
