"""The whole machinery: drives, hull, lamps, and the moments at which something about them changes by itself.

Actuators are in closed form; engine speed and hull advance together on one grid of 20 ms that passes through zero, lazily
and never to a part step, so it is the same whether or when anybody asks. What changes at a grid step is said every 100 ms.
"""

from collections.abc import Callable
from typing import Final

from busim.events.journal import Journal
from busim.host.host import Host, Kernel, Timer
from busim.plant.hull import Hull, HullValues
from busim.plant.machinery import DriveValues, Machinery
from busim.units import MS, NEVER

STEP_NS: Final = 20 * MS
MOTION_NS: Final = 100 * MS
_RPM_STEP: Final = 8


class Plant:
    __slots__ = ("crossing", "drives", "grid_ns", "hull", "journal", "kernel", "lamps", "motion", "said", "stopped", "wired")

    def __init__(self, kernel: Kernel, journal: Journal, drives: list[DriveValues], hull: HullValues) -> None:
        self.kernel = kernel
        self.journal = journal
        self.drives = [Machinery(values) for values in drives]
        self.hull = Hull(hull)
        self.grid_ns = 0
        self.lamps: dict[str, int] = {}
        self.said = (0, 0)
        self.stopped = [False] * len(drives)
        self.wired: dict[int, Host] = {}
        """Drive index -> the host that measures it."""
        self.crossing = Timer(self._cross)
        self.motion = Timer(self._say_motion)

    # ------------------------------------------------------------------------------------------------ what outputs do

    def throttle_sink(self, drive: int) -> Callable[[int, int], None]:
        def sink(now_ns: int, permille: int) -> None:
            self.advance(now_ns)
            self.drives[drive].command_throttle(now_ns, permille)
            self._moved(now_ns, drive, "throttle_position")

        return sink

    def shift_sink(self, drive: int) -> Callable[[int, int], None]:
        def sink(now_ns: int, gear: int) -> None:
            self.advance(now_ns)
            self.drives[drive].command_shift(now_ns, gear)
            self._moved(now_ns, drive, "shift_position")

        return sink

    def engine_stop_sink(self, drive: int) -> Callable[[int, int], None]:
        def sink(now_ns: int, stop: int) -> None:
            self.advance(now_ns)
            if stop > 0:
                self.drives[drive].fuel = False

        return sink

    def lamp_sink(self, zone: str) -> Callable[[int, int], None]:
        def sink(now_ns: int, permille: int) -> None:
            permille = min(max(permille, 0), 1000)
            if self.lamps.get(zone, 0) != permille:
                self.lamps[zone] = permille
                self.journal.event(now_ns, "lamp", zone, permille)

        return sink

    def _moved(self, now_ns: int, drive: int, channel: str) -> None:
        """An actuator has a new target: sample its feedback again, and look for the next crossing."""
        if self.drives[drive].crossing_ns <= now_ns:  # a crossing at this very moment must not be lost to the new target
            self._settle(now_ns, drive)
        host = self.wired.get(drive)
        if host is not None:
            host.wake(now_ns, channel)
        self.drives[drive].look_ahead(now_ns)
        self._arm_crossing()

    # ------------------------------------------------------------------------------------------------ time

    def advance(self, now_ns: int) -> None:
        """Carry engines and hull on to the last grid point at or before `now_ns`."""
        grid_ns = self.grid_ns + STEP_NS
        while grid_ns <= now_ns:
            for drive in self.drives:
                drive.step(grid_ns)
            self.hull.step(self.drives)
            self.grid_ns = grid_ns
            grid_ns += STEP_NS

    def _arm_crossing(self) -> None:
        due_ns = NEVER
        for drive in self.drives:
            if drive.crossing_ns < due_ns:
                due_ns = drive.crossing_ns
        if due_ns == self.crossing.armed_ns:
            return
        if due_ns == NEVER:
            self.crossing.armed_ns = NEVER
        else:
            self.kernel.arm(self.crossing, due_ns)

    def _cross(self, now_ns: int) -> int:
        self.advance(now_ns)
        for drive in range(len(self.drives)):
            self._settle(now_ns, drive)
            self.drives[drive].look_ahead(now_ns)
        self._arm_crossing()
        return NEVER

    def _settle(self, now_ns: int, index: int) -> None:
        drive = self.drives[index]
        gear, stop, switch = drive.settle(now_ns)
        name = drive.values.name
        if gear:
            self.journal.event(now_ns, "gear", name, drive.gear, drive.throttle.read(now_ns), int(drive.rpm))
        if stop:
            self.journal.event(now_ns, "throttle_stop", name, int(drive.at_stop))
        if switch:
            self.journal.event(now_ns, "shift_rest", name, int(drive.switch_closed))
        if switch and index in self.wired:
            self.wired[index].set_switch(now_ns, "neutral_switch", int(drive.switch_closed))

    def _say_motion(self, now_ns: int) -> int:
        self.advance(now_ns)
        for index, drive in enumerate(self.drives):
            if self.stopped[index] == drive.running:
                self.stopped[index] = not drive.running
                self.journal.event(now_ns, "engine", drive.values.name, int(drive.running))
        motion = (int(self.hull.run_m * 1000), int(self.hull.speed_m_s * 1000))
        if motion != self.said:
            self.said = motion
            self.journal.event(now_ns, "motion", *motion)
        return now_ns + MOTION_NS


class EngineSpeed:
    """The speed pick-up of a drive's engine, in steps of 8 rpm."""

    __slots__ = ("drive", "plant")

    def __init__(self, plant: Plant, drive: int) -> None:
        self.plant = plant
        self.drive = drive

    def read(self, now_ns: int) -> int:
        self.plant.advance(now_ns)
        return int(self.plant.drives[self.drive].rpm) // _RPM_STEP * _RPM_STEP

    def still(self, now_ns: int) -> bool:
        return False
