"""The hull: surge only. Thrust against drag that grows with the square of speed.

*Model assumptions*: no current, no added mass, no wave making; thrust goes with the square of propeller speed and does not
fall with speed through the water; at top speed the resistance is 2 % of the weight (common practice for a displacement hull
near hull speed, no source).
"""

from dataclasses import dataclass
from math import log, sqrt
from typing import Final

from busim.plant.machinery import AHEAD, ASTERN, STEP_S, Machinery

KNOT_MM_S: Final = 1852_000 / 3600
WAY_OFF_KN: Final = 0.5
_RESISTANCE_SHARE: Final = 0.02
_GRAVITY: Final = 9.80665


@dataclass(frozen=True)
class HullValues:
    """`top_speed_m_s` with every engine at full ahead; `given` false: the boat file has no hull, values are assumed."""

    mass_kg: float
    top_speed_m_s: float
    astern_share: float
    given: bool

    @property
    def drag_kg_m(self) -> float:
        """k of drag = k v^2, in N per (m/s)^2."""
        return _RESISTANCE_SHARE * self.mass_kg * _GRAVITY / (self.top_speed_m_s * self.top_speed_m_s)


def hull_speed_kn(waterline_m: float) -> float:
    """1.34 times the square root of the waterline in feet, in knots (reference-values; a displacement hull's practical limit)."""
    return 1.34 * sqrt(waterline_m / 0.3048)


class Hull:
    __slots__ = ("run_m", "speed_m_s", "values")

    def __init__(self, values: HullValues) -> None:
        self.values = values
        self.speed_m_s = 0.0
        self.run_m = 0.0

    def step(self, drives: list[Machinery]) -> None:
        values = self.values
        full_n = _RESISTANCE_SHARE * values.mass_kg * _GRAVITY / len(drives) if drives else 0.0
        thrust_n = 0.0
        for drive in drives:
            share = drive.rpm / drive.values.full_rpm
            if drive.gear == AHEAD:
                thrust_n += full_n * share * share
            elif drive.gear == ASTERN:
                thrust_n -= full_n * share * share * values.astern_share
        speed = self.speed_m_s
        drag_n = values.drag_kg_m * speed * (speed if speed >= 0.0 else -speed)
        self.speed_m_s = speed + (thrust_n - drag_n) / values.mass_kg * STEP_S
        self.run_m += self.speed_m_s * STEP_S


def coast(values: HullValues, speed_m_s: float) -> tuple[float, float]:
    """Seconds and metres until way is off (0.5 kn) from a speed, gear out. From dv/dt = -(k/m) v^2; for reports only."""
    slow = WAY_OFF_KN * 1852 / 3600
    speed = abs(speed_m_s)
    if speed <= slow:
        return 0.0, 0.0
    length = values.mass_kg / values.drag_kg_m
    return length * (1 / slow - 1 / speed), length * log(speed / slow)


def stopping_distance_m(mass_kg: float, drag_kg_m: float, thrust_n: float, speed_m_s: float) -> float:
    """Distance to stop against constant astern thrust: m / 2k ln(1 + k v^2 / T)."""
    return mass_kg / (2 * drag_kg_m) * log(1 + drag_kg_m * speed_m_s * speed_m_s / thrust_n)
