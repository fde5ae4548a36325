"""The rudder: a positioner in hundredths of a degree, + is starboard, between its ends, with a power that can be taken away.

*Model assumptions*: it turns at constant speed either way whatever the water does; without power it stays where it is (a
locked ram or a worm), and power that comes back moves nothing until a new target is given.
"""

from dataclasses import dataclass

from busim.plant.positioner import Positioner


@dataclass(frozen=True)
class RudderValues:
    """Travel to each side, and speed, in hundredths of a degree and a second."""

    hard_over_cdeg: int
    cdeg_per_s: int


class Rudder:
    __slots__ = ("position", "said", "values")

    def __init__(self, values: RudderValues) -> None:
        self.values = values
        self.position = Positioner(0, values.cdeg_per_s)
        self.said = (0, True)
        """Where it goes, and whether it is there, as last said."""

    @property
    def crossing_ns(self) -> int:
        """When it comes to rest, as of the last change."""
        return self.position.ramp.there_ns

    def steer(self, now_ns: int, target_cdeg: int) -> None:
        """Go there, or to the end where it lies beyond; without power nothing happens, and the target is forgotten."""
        if not self.position.dead:
            end = self.values.hard_over_cdeg
            self.position.order(now_ns, min(max(target_cdeg, -end), end), self.values.cdeg_per_s)

    def power(self, now_ns: int, on: bool) -> None:
        """Its motor's supply comes (nothing moves until a new target is given) or goes (it stops where it is)."""
        if on == self.position.dead:
            self.position.cut_off(now_ns, not on)

    def news(self, now_ns: int) -> bool:
        """Does it go elsewhere than was said, or has it come to rest? That counts as said from now on."""
        found = (self.position.ramp.target, self.position.still(now_ns))
        if found == self.said:
            return False
        self.said = found
        return True

    def runs(self, now_ns: int, side: int | None) -> None:
        """It runs hard over by itself: -1 to port, 1 to starboard; None: it obeys again. Without power it stands."""
        self.position.run(now_ns, None if side is None else side * self.values.hard_over_cdeg)


class RudderAngle:
    """Feedback of the rudder, hundredths of a degree, + is starboard."""

    __slots__ = ("rudder",)

    def __init__(self, rudder: Rudder) -> None:
        self.rudder = rudder

    def read(self, now_ns: int) -> int:
        return self.rudder.position.ramp.read(now_ns)

    def still(self, now_ns: int) -> bool:
        return self.rudder.position.ramp.still(now_ns)
