"""One drive's machinery: throttle and shift actuators, the gearbox between them, the engine.

*Model assumptions*: an actuator is a positioner with its own loop and moves at constant speed; the clutch takes at 75 % of
the half stroke and lets go at 50 %; the neutral switch is closed within 10 %; the throttle counts as at its stop within 1 %;
engine speed follows the throttle as a first-order lag of 0.4 s, clutch load neglected; a stopped engine stays stopped.
"""

from dataclasses import dataclass
from typing import Final

from busim.plant.ramp import Ramp
from busim.units import NEVER

STROKE: Final = 1_000_000
"""Positions are millionths: throttle 0 to STROKE, shift -STROKE (astern) to +STROKE (ahead)."""

CLUTCH_TAKES: Final = 750_000
CLUTCH_LETS_GO: Final = 500_000
SWITCH_CLOSED: Final = 100_000
THROTTLE_STOP: Final = 10_000

NEUTRAL: Final = 0
AHEAD: Final = 1
ASTERN: Final = 2

_SHIFT_MARKS: Final = tuple(
    sorted(sign * mark for sign in (-1, 1) for mark in (CLUTCH_TAKES, CLUTCH_LETS_GO, SWITCH_CLOSED, SWITCH_CLOSED + 1))
)
_THROTTLE_MARKS: Final = (THROTTLE_STOP, THROTTLE_STOP + 1)

STEP_S: Final = 0.02
_LAG: Final = STEP_S / 0.4
_STOPPED_RPM: Final = 100.0


@dataclass(frozen=True)
class ActuatorValues:
    """`per_second` and `spring_per_second` in millionths of the stroke (throttle) or half stroke (shift); `springs`: goes to
    idle or neutral when its power goes, else it stays."""

    per_second: int
    springs: bool
    spring_per_second: int


@dataclass(frozen=True)
class DriveValues:
    name: str
    throttle: ActuatorValues
    shift: ActuatorValues
    idle_rpm: int
    full_rpm: int


class Machinery:
    __slots__ = ("at_stop", "crossing_ns", "fuel", "gear", "rpm", "running", "shift", "switch_closed", "throttle", "values")

    def __init__(self, values: DriveValues) -> None:
        self.values = values
        self.throttle = Ramp(0, values.throttle.per_second)
        self.shift = Ramp(0, values.shift.per_second)
        self.gear = NEUTRAL
        self.at_stop = True
        self.switch_closed = True
        self.rpm = float(values.idle_rpm)
        self.running = True
        self.fuel = True
        self.crossing_ns = NEVER
        """The next moment at which something above may change by itself, as of the last change."""

    def command_throttle(self, now_ns: int, permille: int) -> None:
        """Go to 0 (idle) to 1000 (full), where it ends whatever is asked; -1: its power is gone."""
        values = self.values.throttle
        if permille >= 0:
            self.throttle.go(now_ns, min(permille, 1000) * 1000, values.per_second)
        elif values.springs:
            self.throttle.go(now_ns, 0, values.spring_per_second)
        else:
            self.throttle.stop(now_ns)

    def command_shift(self, now_ns: int, gear: int) -> None:
        """Go to a gear (NEUTRAL, AHEAD, ASTERN); -1: its power is gone. ValueError for anything above ASTERN."""
        values = self.values.shift
        if gear > ASTERN:
            raise ValueError(f"there is no gear {gear}: it takes 0 neutral, 1 ahead, 2 astern")
        if gear >= 0:
            self.shift.go(now_ns, {NEUTRAL: 0, AHEAD: STROKE, ASTERN: -STROKE}[gear], values.per_second)
        elif values.springs:
            self.shift.go(now_ns, 0, values.spring_per_second)
        else:
            self.shift.stop(now_ns)

    def look_ahead(self, now_ns: int) -> None:
        """Work out `crossing_ns` anew."""
        shift = None if self.shift.still(now_ns) else self.shift.next_crossing_ns(now_ns, _SHIFT_MARKS)
        throttle = self.throttle.next_crossing_ns(now_ns, _THROTTLE_MARKS)
        self.crossing_ns = min(NEVER if shift is None else shift, NEVER if throttle is None else throttle)

    def settle(self, now_ns: int) -> tuple[bool, bool, bool]:
        """Bring gear, throttle stop and neutral switch up to date: which of the three changed."""
        position = self.shift.read(now_ns)
        travel = abs(position)
        gear = self.gear
        if travel <= CLUTCH_LETS_GO:
            gear = NEUTRAL
        elif travel >= CLUTCH_TAKES:
            gear = AHEAD if position > 0 else ASTERN
        at_stop = self.throttle.read(now_ns) <= THROTTLE_STOP
        switch_closed = travel <= SWITCH_CLOSED
        changed = (gear != self.gear, at_stop != self.at_stop, switch_closed != self.switch_closed)
        self.gear, self.at_stop, self.switch_closed = gear, at_stop, switch_closed
        return changed

    def step(self, now_ns: int) -> None:
        """Carry the engine on by one step of the grid, which ends at `now_ns`."""
        values = self.values
        if self.fuel and self.running:
            wanted = values.idle_rpm + (values.full_rpm - values.idle_rpm) * (self.throttle.read(now_ns) / STROKE)
        else:
            wanted = 0.0
        self.rpm += (wanted - self.rpm) * _LAG
        if self.running and self.rpm < _STOPPED_RPM:
            self.running = False


class ShiftPosition:
    """Feedback of the shift actuator, permille of half stroke, + is ahead."""

    __slots__ = ("machinery",)

    def __init__(self, machinery: Machinery) -> None:
        self.machinery = machinery

    def read(self, now_ns: int) -> int:
        return self.machinery.shift.read(now_ns) // 1000

    def still(self, now_ns: int) -> bool:
        return self.machinery.shift.still(now_ns)


class ThrottlePosition:
    """Feedback of the throttle actuator, permille of stroke."""

    __slots__ = ("machinery",)

    def __init__(self, machinery: Machinery) -> None:
        self.machinery = machinery

    def read(self, now_ns: int) -> int:
        return self.machinery.throttle.read(now_ns) // 1000

    def still(self, now_ns: int) -> bool:
        return self.machinery.throttle.still(now_ns)
