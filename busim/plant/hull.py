"""The hull: surge, yaw, and drift with the stream. Thrust against drag that grows with the square of speed; thrust off the
centre line and the rudder turn her.

Yaw is the first-order model of Nomoto, Taguchi, Honda and Hirano (On the steering qualities of ships, International
Shipbuilding Progress 4, 1957; from memory): T r' + r = K delta, with T = T' L/V and K = K' V/L. Written as moments it is
I r' = b delta V^2 - d V r, which takes thrust off the centre line as one moment more, and holds from rest on.

*Model assumptions*: no added mass, no wave making, no lateral drift, no wind; thrust goes with the square of propeller speed
and does not fall with speed through the water; at top speed the resistance is 2 % of the weight, and the radius of gyration
is a quarter of the length (both common practice, no source); T' is 1; at rest the ends of the hull, which sweep sideways,
resist the turn as her way does under way; the rudder works in the flow of her way or, where that is the faster, in half of
the propellers' wash ahead; what it takes to turn her is lost to her way; the stream is the same everywhere.
"""

from dataclasses import dataclass
from math import log, sqrt
from typing import Final

from busim.plant.compass import PARTS, UNIT_VECTORS
from busim.plant.engine import STEP_S
from busim.plant.machinery import AHEAD, ASTERN, Machinery

KNOT_MM_S: Final = 1852_000 / 3600
WAY_OFF_KN: Final = 0.5
_RESISTANCE_SHARE: Final = 0.02
_GRAVITY: Final = 9.80665
_GYRATION_SHARE: Final = 0.25
_YAW_TIME: Final = 1.0
"""T': a length run at her speed is the time constant of her turn."""
_WASH_SHARE: Final = 0.5


@dataclass(frozen=True)
class HullValues:
    """`top_speed_m_s` with every engine at full ahead; `turning_diameter_m` with the rudder hard over; `given` false: the boat
    file has no hull, values are assumed."""

    mass_kg: float
    top_speed_m_s: float
    astern_share: float
    waterline_m: float
    turning_diameter_m: float
    given: bool

    @property
    def drag_kg_m(self) -> float:
        """k of drag = k v^2, in N per (m/s)^2."""
        return _RESISTANCE_SHARE * self.mass_kg * _GRAVITY / (self.top_speed_m_s * self.top_speed_m_s)

    @property
    def inertia_kg_m2(self) -> float:
        radius_m = _GYRATION_SHARE * self.waterline_m
        return self.mass_kg * radius_m * radius_m

    @property
    def yaw_drag_kg_m(self) -> float:
        """d of the moment d V r, which makes the time constant T' L/V."""
        return self.inertia_kg_m2 / (_YAW_TIME * self.waterline_m)

    @property
    def rudder_kg(self) -> float:
        """b of the moment b V^2 with the rudder hard over: it holds d V r in a turn of the given diameter."""
        return self.yaw_drag_kg_m * 2 / self.turning_diameter_m


def hull_speed_kn(waterline_m: float) -> float:
    """1.34 times the square root of the waterline in feet, in knots (reference-values; a displacement hull's practical limit)."""
    return 1.34 * sqrt(waterline_m / 0.3048)


class Hull:
    """`yaw_rad_s` and turns are + to starboard; the bow points along (east, north), a unit vector, and first of all north."""

    __slots__ = (
        "drag_kg_m", "drives", "east", "east_m", "full_n", "inertia_kg_m2", "north", "north_m", "offset", "rudder_kg", "run_m",
        "speed_m_s", "stream_east_m_s", "stream_north_m_s", "streamed", "turned", "values", "yaw_drag_kg_m", "yaw_rad_s",
    )  # fmt: skip

    def __init__(self, values: HullValues, drives: list[Machinery]) -> None:
        self.values = values
        self.drives = drives
        self.full_n = _RESISTANCE_SHARE * values.mass_kg * _GRAVITY / len(drives) if drives else 0.0
        """Thrust of one engine at full ahead."""
        self.drag_kg_m = values.drag_kg_m
        self.inertia_kg_m2 = values.inertia_kg_m2
        self.yaw_drag_kg_m = values.yaw_drag_kg_m
        self.rudder_kg = values.rudder_kg
        self.offset = any(drive.values.offset_m for drive in drives)
        """A propeller is off the centre line."""
        self.speed_m_s = 0.0
        self.run_m = 0.0
        """Through the water, along her keel."""
        self.yaw_rad_s = 0.0
        self.east = 0.0
        self.north = 1.0
        self.turned = False
        """She turns, or has."""
        self.streamed = False
        """There is a stream, or was."""
        self.stream_east_m_s = 0.0
        self.stream_north_m_s = 0.0
        self.east_m = 0.0
        self.north_m = 0.0
        """Over ground, from where she was at the start."""

    def set_stream(self, set_deg: int, mm_s: int) -> None:
        """From now on the water flows towards `set_deg` of the compass (0 to 359) at this speed."""
        east, north = UNIT_VECTORS[set_deg]
        self.streamed = True
        self.stream_east_m_s = mm_s * east / (1000 * PARTS)
        self.stream_north_m_s = mm_s * north / (1000 * PARTS)

    def step(self, rudder_share: float = 0.0) -> None:
        """One step of the grid. `rudder_share` is the rudder's angle as a share of hard over, + is starboard."""
        values = self.values
        thrust_n = wash_n = moment_nm = 0.0
        for drive in self.drives:
            gear = drive.gear
            if gear == AHEAD:
                share = drive.engine.rpm / drive.values.full_rpm
                wash_n += (push_n := self.full_n * share * share)
            elif gear == ASTERN:
                share = drive.engine.rpm / drive.values.full_rpm
                push_n = -self.full_n * share * share * values.astern_share
            elif drive.drag_permille:
                share = drive.engine.rpm / drive.values.full_rpm
                wash_n += (push_n := self.full_n * share * share * drive.drag_permille / 1000)
            else:
                continue
            thrust_n += push_n
            moment_nm -= push_n * drive.values.offset_m
        speed = self.speed_m_s
        square = speed * speed if speed >= 0.0 else -speed * speed
        drag_n = self.drag_kg_m * square
        if rudder_share or self.offset or self.turned:
            flow = square
            if wash_n and (wash := _WASH_SHARE * wash_n / self.drag_kg_m) > square:
                flow = wash
            elif (lost_n := self.rudder_kg * rudder_share * self.yaw_rad_s * speed) > 0.0:
                drag_n += lost_n if speed >= 0.0 else -lost_n
            self._turn(moment_nm + self.rudder_kg * rudder_share * flow, speed if speed >= 0.0 else -speed)
        self.speed_m_s = speed = speed + (thrust_n - drag_n) / values.mass_kg * STEP_S
        self.run_m += speed * STEP_S
        self.east_m += (speed * self.east + self.stream_east_m_s) * STEP_S
        self.north_m += (speed * self.north + self.stream_north_m_s) * STEP_S

    def _turn(self, moment_nm: float, way_m_s: float) -> None:
        """One step of yaw under a moment, and the bow with it."""
        yaw = self.yaw_rad_s
        if not yaw and not moment_nm:
            return
        sweep = self.values.waterline_m / 2 * (yaw if yaw >= 0.0 else -yaw)
        drag_nm = self.yaw_drag_kg_m * (way_m_s if way_m_s >= sweep else sweep) * yaw
        self.yaw_rad_s = yaw = yaw + (moment_nm - drag_nm) / self.inertia_kg_m2 * STEP_S
        self.turned = True
        angle = yaw * STEP_S
        east = self.east + angle * self.north
        north = self.north - angle * self.east
        length = sqrt(east * east + north * north)
        self.east = east / length
        self.north = north / length


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
