"""One drive's machinery: throttle and shift actuators, the linkages they move, the gearbox, the engine.

*Model assumptions*: the clutch takes at 75 % of the half stroke and lets go at 50 %; the neutral switch is closed within
10 %; the throttle counts as at its stop within 1 %; a lever whose linkage has come off goes where its actuator goes without
power; a clutch that drags drags ahead.
"""

from dataclasses import dataclass
from typing import Final

from busim.plant.engine import Engine
from busim.plant.positioner import Positioner
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
    offset_m: float = 0.0
    """Of its propeller from the centre line, + is starboard."""


class Machinery:
    __slots__ = (
        "at_engine", "at_gearbox", "at_stop", "backwards", "crossing_ns", "drag_permille", "engine", "gear", "shift", "slips",
        "switch_closed", "throttle", "values",
    )  # fmt: skip

    def __init__(self, values: DriveValues) -> None:
        self.values = values
        self.throttle = Positioner(0, values.throttle.per_second)
        self.shift = Positioner(0, values.shift.per_second)
        self.at_engine = self.throttle.ramp
        """The throttle lever on the engine: moves with its actuator, unless the linkage between the two is off."""
        self.at_gearbox = self.shift.ramp
        """The shift lever on the gearbox, the same way."""
        self.gear = NEUTRAL
        """What the clutch does, which is what the propeller gets."""
        self.at_stop = True
        self.switch_closed = True
        self.engine = Engine(values.idle_rpm)
        self.backwards = False
        """Ahead and astern are swapped at the gearbox."""
        self.slips = False
        """The clutch does not take."""
        self.drag_permille = 0
        """Of the thrust ahead that it has in neutral."""
        self.crossing_ns = NEVER
        """The next moment at which something above may change by itself, as of the last change."""

    @property
    def rpm(self) -> float:
        return self.engine.rpm

    # ------------------------------------------------------------------------------------------------ what outputs do

    def command_throttle(self, now_ns: int, permille: int) -> None:
        """Go to 0 (idle) to 1000 (full), where it ends whatever is asked; -1: its power is gone."""
        values = self.values.throttle
        if permille >= 0:
            self.throttle.order(now_ns, min(permille, 1000) * 1000, values.per_second)
        elif values.springs:
            self.throttle.order(now_ns, 0, values.spring_per_second)
        else:
            self.throttle.hold(now_ns)

    def command_shift(self, now_ns: int, gear: int) -> None:
        """Go to a gear (NEUTRAL, AHEAD, ASTERN); -1: its power is gone. ValueError for anything above ASTERN."""
        values = self.values.shift
        if gear > ASTERN:
            raise ValueError(f"there is no gear {gear}: it takes 0 neutral, 1 ahead, 2 astern")
        if gear >= 0:
            self.shift.order(now_ns, {NEUTRAL: 0, AHEAD: STROKE, ASTERN: -STROKE}[gear], values.per_second)
        elif values.springs:
            self.shift.order(now_ns, 0, values.spring_per_second)
        else:
            self.shift.hold(now_ns)

    # ------------------------------------------------------------------------------------------------ linkages

    def throttle_linkage(self, now_ns: int, on: bool) -> None:
        """Off: the actuator moves alone, and the engine's lever springs to idle or stays."""
        self.at_engine = self.throttle.ramp if on else _loose(now_ns, self.at_engine, self.values.throttle)

    def shift_linkage(self, now_ns: int, on: bool) -> None:
        """Off: the actuator moves alone, and the gearbox's lever springs to neutral or stays."""
        self.at_gearbox = self.shift.ramp if on else _loose(now_ns, self.at_gearbox, self.values.shift)

    # ------------------------------------------------------------------------------------------------ time

    def look_ahead(self, now_ns: int) -> None:
        """Work out `crossing_ns` anew."""
        shift = None if self.at_gearbox.still(now_ns) else self.at_gearbox.next_crossing_ns(now_ns, _SHIFT_MARKS)
        throttle = self.at_engine.next_crossing_ns(now_ns, _THROTTLE_MARKS)
        due_ns = self.engine.changes_ns
        if shift is not None and shift < due_ns:
            due_ns = shift
        self.crossing_ns = throttle if throttle is not None and throttle < due_ns else due_ns

    def settle(self, now_ns: int) -> tuple[bool, bool, bool]:
        """Bring gear, throttle stop and neutral switch up to date: which of the three changed."""
        position = self.at_gearbox.read(now_ns)
        travel = abs(position)
        gear = self.gear
        if travel <= CLUTCH_LETS_GO or self.slips:
            gear = NEUTRAL
        elif travel >= CLUTCH_TAKES:
            gear = AHEAD if (position > 0) is not self.backwards else ASTERN
        at_stop = self.at_engine.read(now_ns) <= THROTTLE_STOP
        switch_closed = travel <= SWITCH_CLOSED
        changed = (gear != self.gear, at_stop != self.at_stop, switch_closed != self.switch_closed)
        self.gear, self.at_stop, self.switch_closed = gear, at_stop, switch_closed
        return changed

    def step(self, now_ns: int) -> None:
        """Carry the engine on by one step of the grid, which ends at `now_ns`."""
        values = self.values
        self.engine.step(values.idle_rpm + (values.full_rpm - values.idle_rpm) * (self.at_engine.read(now_ns) / STROKE))


def _loose(now_ns: int, lever: Ramp, values: ActuatorValues) -> Ramp:
    """A lever that hangs free from now on."""
    free = Ramp(lever.read(now_ns), values.spring_per_second)
    free.go(now_ns, 0 if values.springs else lever.read(now_ns))
    return free


class ShiftPosition:
    """Feedback of the shift actuator, permille of half stroke, + is ahead."""

    __slots__ = ("machinery",)

    def __init__(self, machinery: Machinery) -> None:
        self.machinery = machinery

    def read(self, now_ns: int) -> int:
        return self.machinery.shift.ramp.read(now_ns) // 1000

    def still(self, now_ns: int) -> bool:
        return self.machinery.shift.ramp.still(now_ns)


class ThrottlePosition:
    """Feedback of the throttle actuator, permille of stroke."""

    __slots__ = ("machinery",)

    def __init__(self, machinery: Machinery) -> None:
        self.machinery = machinery

    def read(self, now_ns: int) -> int:
        return self.machinery.throttle.ramp.read(now_ns) // 1000

    def still(self, now_ns: int) -> bool:
        return self.machinery.throttle.ramp.still(now_ns)
