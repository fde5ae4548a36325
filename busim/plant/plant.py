"""The whole machinery: drives, rudder, hull, lamps, and the moments at which something about them changes by itself.

Actuators are in closed form; engine speed and hull advance together on one grid of 20 ms that passes through zero, lazily
and never to a part step, so it is the same whether or when anybody asks. What changes at a grid step is said every 100 ms.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Final

from busim.events.journal import Journal
from busim.host.host import Host, Kernel, Timer
from busim.plant.engine import LETS_GO, TURNS
from busim.plant.hull import Hull, HullValues
from busim.plant.lamp import Lamp
from busim.plant.machinery import DriveValues, Machinery
from busim.plant.rudder import Rudder, RudderValues
from busim.units import MS, NEVER

STEP_NS: Final = 20 * MS
MOTION_NS: Final = 100 * MS
THROTTLE: Final = "throttle_position"
SHIFT: Final = "shift_position"
"""Inputs with the feedback of the two actuators, which stand for them here."""
_HEADING_PARTS: Final = 1_000_000
_RPM_STEP: Final = 8

Sink = Callable[[int, int], None]
"""What an output moves: `sink(now_ns, value)`; -1: the output's power is gone."""


class Plant:
    __slots__ = (
        "crossed", "crossing", "drives", "grid_ns", "hull", "journal", "kernel", "lamps", "motion", "on_crank", "orders", "rudder",
        "said", "said_ground", "said_heading", "steered_by", "stopped", "supplies", "switches", "wired",
    )  # fmt: skip

    def __init__(
        self, kernel: Kernel, journal: Journal, drives: list[DriveValues], hull: HullValues, rudder: RudderValues | None = None
    ) -> None:
        self.kernel = kernel
        self.journal = journal
        self.drives = [Machinery(values) for values in drives]
        self.hull = Hull(hull, self.drives)
        self.rudder = Rudder(rudder) if rudder is not None else None
        self.grid_ns = 0
        self.lamps: dict[str, Lamp] = {}
        self.said = (0, 0)
        self.said_heading = (0, _HEADING_PARTS)
        self.said_ground = (0, 0)
        self.stopped = [False] * len(drives)
        self.wired: dict[int, Host] = {}
        """Drive index -> the host that measures it."""
        self.switches: dict[int, list[tuple[Host, str]]] = {}
        """Drive index -> hosts and their inputs to which a switch on its gearbox is wired, closed in neutral."""
        self.steered_by: Host | None = None
        """The host that measures the rudder."""
        self.orders: list[dict[str, int]] = [{} for _ in drives]
        """What the node of each drive last ordered of its actuators."""
        self.crossed = False
        """The wires of the two drives' actuators are swapped; those of their feedback are not."""
        self.supplies: list[str] = [""] * len(drives)
        """What each starter draws on."""
        self.on_crank: Callable[[int, str, bool], None] | None = None
        """`on_crank(now_ns, supply, begins)` is called when a starter begins and ends to draw on a supply."""
        self.crossing = Timer(self._cross)
        self.motion = Timer(self._say_motion)

    def index_of(self, drive: str) -> int:
        return next(index for index, machinery in enumerate(self.drives) if machinery.values.name == drive)

    # ------------------------------------------------------------------------------------------------ what outputs do

    def throttle_sink(self, drive: int) -> Sink:
        orders, machinery = self.orders[drive], self.drives[drive]

        def sink(now_ns: int, permille: int) -> None:
            orders[THROTTLE] = permille
            if self.crossed:
                self._order_crossed(now_ns, drive, THROTTLE)
                return
            self.advance(now_ns)
            if machinery.crossing_ns <= now_ns:  # a crossing at this very moment must not be lost to the new target
                self._settle(now_ns, drive)
            machinery.command_throttle(now_ns, permille)
            self._moved(now_ns, drive, THROTTLE)

        return sink

    def shift_sink(self, drive: int) -> Sink:
        orders, machinery = self.orders[drive], self.drives[drive]

        def sink(now_ns: int, gear: int) -> None:
            orders[SHIFT] = gear
            if self.crossed:
                self._order_crossed(now_ns, drive, SHIFT)
                return
            self.advance(now_ns)
            if machinery.crossing_ns <= now_ns:
                self._settle(now_ns, drive)
            machinery.command_shift(now_ns, gear)
            self._moved(now_ns, drive, SHIFT)

        return sink

    def _order_crossed(self, now_ns: int, drive: int, actuator: str) -> None:
        """What a node last ordered of its actuator reaches the other drive's; or its own again, once the wires are right."""
        with self.changing(now_ns, 1 - drive if self.crossed else drive) as machinery:
            command = machinery.command_throttle if actuator == THROTTLE else machinery.command_shift
            command(now_ns, self.orders[drive][actuator])

    def _moved(self, now_ns: int, drive: int, channel: str) -> None:
        """An actuator has a new target: sample its feedback again, and look for the next crossing."""
        host = self.wired.get(drive)
        if host is not None:
            host.wake(now_ns, channel)
        self.drives[drive].look_ahead(now_ns)
        self._arm_crossing(now_ns)

    def fuel_sink(self, drive: int, cause: int) -> Sink:
        """Stops the engine while its output is set: `cause` is ENGINE_STOP or FUEL_CUT."""

        def sink(now_ns: int, stop: int) -> None:
            with self.changing(now_ns, drive) as machinery:
                machinery.engine.cut(now_ns, cause, stop > 0)

        return sink

    def start_permit_sink(self, drive: int, whose: str) -> Sink:
        """Start permission of an engine by wire: from the first time on that it is given or refused, it is needed."""

        def sink(now_ns: int, permit: int) -> None:
            with self.changing(now_ns, drive) as machinery:
                machinery.engine.permits[whose] = int(permit > 0)
                if machinery.engine.cranking and not machinery.engine.may_crank:
                    machinery.engine.stop_cranking()
                    self._starter_lets_go(now_ns, drive)

        return sink

    def rudder_sink(self, host: Host) -> Sink:
        """Steers. Any whole number can be a target here: that power is gone is seen by the program that no longer runs."""

        def sink(now_ns: int, target_cdeg: int) -> None:
            with self.changing_rudder(now_ns) as rudder:
                if target_cdeg == -1 and not host.running:
                    rudder.position.hold(now_ns)
                else:
                    rudder.steer(now_ns, target_cdeg)

        return sink

    def rudder_power_sink(self) -> Sink:
        def sink(now_ns: int, on: int) -> None:
            with self.changing_rudder(now_ns) as rudder:
                rudder.power(now_ns, on > 0)

        return sink

    def lamp_sink(self, zone: str, place: int, channels: int) -> Sink:
        """Feeds channel `place` of a zone's `channels`, with a duty in parts of 65,535."""
        lamp = self.lamp(zone, channels)

        def sink(now_ns: int, duty: int) -> None:
            if not lamp.stuck:
                lamp.duties[place] = max(duty, 0)
                self.say_lamp(now_ns, zone)

        return sink

    def lamp(self, name: str, channels: int) -> Lamp:
        """The lamps of a zone, or of a navigation light, with so many channels."""
        if name not in self.lamps:
            self.lamps[name] = Lamp(channels)
        return self.lamps[name]

    def say_lamp(self, now_ns: int, zone: str) -> None:
        """Something about a zone's lamps changed: write down what they show, if that is new."""
        lamp = self.lamps[zone]
        shown = lamp.look()
        if shown != lamp.shown:
            lamp.shown = shown
            self.journal.event(now_ns, "lamp", zone, *shown)

    def feed_lamp(self, now_ns: int, light: str, on: bool) -> None:
        """The supply that a navigation light burns by comes or goes."""
        self.lamp(light, 1).fed = on
        self.journal.event(now_ns, "feed", light, int(on))
        self.say_lamp(now_ns, light)

    # ------------------------------------------------------------------------------------------------ what people do, what breaks

    def crank(self, now_ns: int, drive: int, for_ns: int) -> None:
        """Somebody turns an engine's start key for so long."""
        with self.changing(now_ns, drive) as machinery:
            starter = machinery.engine.crank(now_ns, for_ns)
            if starter is not None:
                self.journal.event(now_ns, "starter", machinery.values.name, starter)
            if starter == TURNS and self.on_crank is not None:
                self.on_crank(now_ns, self.supplies[drive], True)

    def put_engines(self, now_ns: int, running: bool) -> None:
        """Every engine has been running for long, or is off."""
        self.advance(now_ns)
        for drive in self.drives:
            drive.engine.put(drive.values.idle_rpm, running)

    def set_stream(self, now_ns: int, set_deg: int, mm_s: int) -> None:
        """From now on the water flows towards `set_deg` of the compass, 0 to 359."""
        self.advance(now_ns)
        self.hull.set_stream(set_deg, mm_s)
        self._say_ground(now_ns)

    @contextmanager
    def changing(self, now_ns: int, drive: int) -> Iterator[Machinery]:
        """Something is done to a drive's machinery: afterwards it is measured, and what comes next worked out, anew."""
        self.advance(now_ns)
        if self.drives[drive].crossing_ns <= now_ns:
            self._settle(now_ns, drive)
        yield self.drives[drive]
        self._settle(now_ns, drive)
        host = self.wired.get(drive)
        if host is not None:
            host.wake(now_ns, THROTTLE)
            host.wake(now_ns, SHIFT)
        self.drives[drive].look_ahead(now_ns)
        self._arm_crossing(now_ns)

    @contextmanager
    def changing_rudder(self, now_ns: int) -> Iterator[Rudder]:
        """The same for the rudder. ValueError where the boat has none."""
        rudder = self.rudder
        if rudder is None:
            raise ValueError("there is no rudder that the bus moves")
        self.advance(now_ns)
        self._settle_rudder(now_ns)
        yield rudder
        self._settle_rudder(now_ns)
        if self.steered_by is not None:
            self.steered_by.wake(now_ns, "rudder_angle")
        self._arm_crossing(now_ns)

    def cross_wires(self, now_ns: int, crossed: bool) -> None:
        """Swap the wires of the two drives' actuators, or put them right: each then does what the other was told."""
        self.crossed = crossed
        for drive, orders in enumerate(self.orders):
            for actuator in orders:
                self._order_crossed(now_ns, drive, actuator)

    # ------------------------------------------------------------------------------------------------ time

    def advance(self, now_ns: int) -> None:
        """Carry engines and hull on to the last grid point at or before `now_ns`."""
        grid_ns = self.grid_ns + STEP_NS
        rudder = self.rudder
        while grid_ns <= now_ns:
            for drive in self.drives:
                drive.step(grid_ns)
            self.hull.step(rudder.position.ramp.read(grid_ns) / rudder.values.hard_over_cdeg if rudder is not None else 0.0)
            self.grid_ns = grid_ns
            grid_ns += STEP_NS

    def _arm_crossing(self, now_ns: int) -> None:
        due_ns = NEVER
        for drive in self.drives:
            if drive.crossing_ns < due_ns:
                due_ns = drive.crossing_ns
        rudder = self.rudder
        if rudder is not None and now_ns < rudder.crossing_ns < due_ns:
            due_ns = rudder.crossing_ns
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
        self._settle_rudder(now_ns)
        self._arm_crossing(now_ns)
        return NEVER

    def _settle(self, now_ns: int, index: int) -> None:
        drive = self.drives[index]
        gear, stop, switch = drive.settle(now_ns)
        name = drive.values.name
        if gear:
            self.journal.event(now_ns, "gear", name, drive.gear, drive.at_engine.read(now_ns), int(drive.rpm))
        if stop:
            self.journal.event(now_ns, "throttle_stop", name, int(drive.at_stop))
        if switch:
            self.journal.event(now_ns, "shift_rest", name, int(drive.switch_closed))
            for host, channel in self.switches.get(index, ()):
                host.set_switch(now_ns, channel, int(drive.switch_closed))
        if drive.engine.pass_moment(now_ns):
            self._starter_lets_go(now_ns, index)

    def _starter_lets_go(self, now_ns: int, drive: int) -> None:
        self.journal.event(now_ns, "starter", self.drives[drive].values.name, LETS_GO)
        if self.on_crank is not None:
            self.on_crank(now_ns, self.supplies[drive], False)

    def _settle_rudder(self, now_ns: int) -> None:
        rudder = self.rudder
        if rudder is not None and rudder.news(now_ns):
            self.journal.event(now_ns, "rudder", rudder.position.read(now_ns), rudder.position.ramp.target)

    def _say_motion(self, now_ns: int) -> int:
        self.advance(now_ns)
        for index, drive in enumerate(self.drives):
            if self.stopped[index] == drive.engine.running:
                self.stopped[index] = not drive.engine.running
                self.journal.event(now_ns, "engine", drive.values.name, int(drive.engine.running))
        hull = self.hull
        motion = (int(hull.run_m * 1000), int(hull.speed_m_s * 1000))
        if motion != self.said:
            self.said = motion
            self.journal.event(now_ns, "motion", *motion)
        if hull.turned:
            heading = (int(hull.east * _HEADING_PARTS), int(hull.north * _HEADING_PARTS))
            if heading != self.said_heading:
                self.said_heading = heading
                self.journal.event(now_ns, "heading", *heading)
        if hull.turned or hull.streamed:
            self._say_ground(now_ns)
        return now_ns + MOTION_NS

    def _say_ground(self, now_ns: int) -> None:
        ground = (int(self.hull.east_m * 1000), int(self.hull.north_m * 1000))
        if ground != self.said_ground:
            self.said_ground = ground
            self.journal.event(now_ns, "ground", *ground)


class EngineSpeed:
    """A speed pick-up on a drive's engine, in steps of 8 rpm."""

    __slots__ = ("drive", "plant")

    def __init__(self, plant: Plant, drive: int) -> None:
        self.plant = plant
        self.drive = drive

    def read(self, now_ns: int) -> int:
        self.plant.advance(now_ns)
        return int(self.plant.drives[self.drive].engine.rpm) // _RPM_STEP * _RPM_STEP

    def still(self, now_ns: int) -> bool:
        return False
