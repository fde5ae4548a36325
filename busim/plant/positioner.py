"""An actuator: goes at constant speed where it is ordered to, unless something is wrong with it. Closed form, as a ramp is.

*Model assumption*: it has a position loop of its own, without run-up or overshoot. What is wrong acts at once, also on an
order given before; put right, it goes on to where it was last ordered.
"""

from typing import Final

from busim.plant.ramp import Ramp

SOUND_SPEED: Final = 1000


class Positioner:
    """`per_second` is its motor's speed. Positions and speeds are in units of whoever owns it.

    It has a ramp rather than being one: all that moves is then of one type, which the interpreter reads faster.
    """

    __slots__ = ("dead", "jammed", "motor", "ordered", "ordered_speed", "ramp", "runs_to", "sound", "speed_permille")

    def __init__(self, position: int, per_second: int) -> None:
        self.ramp = Ramp(position, per_second)
        """Where it is, and where it goes."""
        self.motor = per_second
        self.ordered: int | None = None
        """Where it was last told to go; None: to stay where it is."""
        self.ordered_speed = per_second
        self.dead = False
        """The supply of its motor is cut off, so that nothing can move it."""
        self.jammed = False
        self.runs_to: int | None = None
        """Where it goes by itself, whatever it is told."""
        self.speed_permille = SOUND_SPEED
        self.sound = True
        """Nothing of that is so: an order is simply carried out."""

    def read(self, now_ns: int) -> int:
        return self.ramp.read(now_ns)

    def still(self, now_ns: int) -> bool:
        return self.ramp.still(now_ns)

    def order(self, now_ns: int, target: int, per_second: int) -> None:
        """Go to `target` (by motor, or by a spring of another speed)."""
        self.ordered, self.ordered_speed = target, per_second
        if self.sound:
            self.ramp.go(now_ns, target, per_second)
        else:
            self._move(now_ns)

    def hold(self, now_ns: int) -> None:
        """Stay where it is: no order stands."""
        self.ordered = None
        self._move(now_ns)

    def cut_off(self, now_ns: int, dead: bool) -> None:
        """The supply of its motor is cut off: it stops, and forgets its order; or comes back, and moves nothing by itself."""
        self.dead = dead
        self.ordered = None
        self._move(now_ns)

    # ------------------------------------------------------------------------------------------------ what is wrong with it

    def jam(self, now_ns: int, jammed: bool) -> None:
        """It sticks where it is, whatever it is told and whatever runs it; or is freed."""
        self.jammed = jammed
        self._move(now_ns)

    def slow(self, now_ns: int, permille: int) -> None:
        """Its speed, in permille of the sound one (1 to 1000), by motor and by spring."""
        self.speed_permille = permille
        self._move(now_ns)

    def run(self, now_ns: int, runs_to: int | None) -> None:
        """It runs to there by itself with the speed of its motor, whatever it is told; None: it obeys again."""
        self.runs_to = runs_to
        self._move(now_ns)

    def _move(self, now_ns: int) -> None:
        self.sound = not (self.dead or self.jammed) and self.runs_to is None and self.speed_permille == SOUND_SPEED
        target, per_second = self.ordered, self.ordered_speed
        if self.runs_to is not None:
            target, per_second = self.runs_to, self.motor
        if self.jammed or self.dead or target is None:
            self.ramp.stop(now_ns)
        else:
            self.ramp.go(now_ns, target, max(per_second * self.speed_permille // SOUND_SPEED, 1))
