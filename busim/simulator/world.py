"""The world: one boat's buses, hosts and machinery, run through time by one loop. Built by `busim.simulator.build`.

What people do and what breaks comes in as a script of steps; what happened goes out through the journal. The whole world can
be saved as bytes and restored: what it holds is plain values; bound handlers, outputs' sinks and caches are made anew.
"""

import pickle
from io import BytesIO
from typing import Any, TypeAlias

from busim.boat.model import BoatFile
from busim.bus.bus import Bus
from busim.events.journal import Journal
from busim.faults.table import BY_NAME
from busim.host.host import Host, NodeError, Timer
from busim.host.supply import Supply
from busim.host.wrong import failed_node
from busim.plant.engine import ENGINE_STOP, FUEL_CUT
from busim.plant.hull import KNOT_MM_S
from busim.plant.plant import Plant
from busim.plant.spoilt import SPOILT, span_of
from busim.protocol.plan import WirePlan
from busim.simulator.kernel import Loop
from busim.simulator.levers import LeverSensor, second_track
from busim.simulator.lights import break_lamp, connect_lights, stick_zone, wired_switch_of, work_wired_switch
from busim.units import MS, NEVER, SECOND, seconds_text

Step: TypeAlias = tuple[Any, ...]
"""(at_ns, order, method of `World`, arguments)"""


class World:
    __slots__ = (
        "boat", "counts", "faults", "hosts", "journal", "kinds", "levers", "loop", "plan", "plant", "script", "script_timer",
        "second", "seed", "supplies", "wheels",
    )  # fmt: skip

    def __init__(self, boat: BoatFile, plan: WirePlan, kinds: dict[str, Any], seed: int) -> None:
        self.boat = boat
        self.plan = plan
        self.kinds = kinds
        self.seed = seed
        self.journal = Journal()
        self.loop = Loop()
        self.hosts: dict[str, Host] = {}
        self.supplies: dict[str, Supply] = {}
        self.plant: Plant
        self.levers: dict[tuple[str, str], LeverSensor] = {}
        self.wheels: dict[str, LeverSensor] = {}
        self.faults: dict[int, Any] = {}
        """Faults that are on: number of the fault in the script -> what it has to remember until it ends."""
        self.counts: dict[tuple[str, int], tuple[int, int]] = {}
        """(node, bus) -> TEC and REC as said last; 0 and 0 before anything was."""
        self.script: list[Step] = []
        self.script_timer = Timer(self._take_steps)
        self.second = Timer(self._end_second)

    def bus(self, name: str) -> Bus:
        return next(bus for bus in self.loop.buses if bus.name == name)

    # ------------------------------------------------------------------------------------------------ time

    @property
    def now_ns(self) -> int:
        return self.loop.now_ns

    def run(self, until_ns: int) -> None:
        """Carry on to `until_ns`. NodeError where a node breaks the rules of the seam or its program fails."""
        try:
            self.loop.run(until_ns)
        except NodeError:
            raise
        except Exception as error:
            node = failed_node(error.__traceback__)
            for host in self.hosts.values():
                if type(host.node.deadline_ns) is not int:
                    raise NodeError(f"{host.words()}: its deadline is {host.node.deadline_ns!r}, not a whole number") from error
                if host.node is node:
                    words = f"its program failed at {seconds_text(self.now_ns)} s: {type(error).__name__}: {error}"
                    raise NodeError(f"{host.words()}: {words}") from error
            raise

    def plan_steps(self, steps: list[Step]) -> None:
        """Add steps, in order of time. ValueError where one lies in the past."""
        if any(step[0] < self.now_ns for step in steps):
            raise ValueError(f"a step can't be planned for a moment before {seconds_text(self.now_ns)} s, which is now")
        self.script = sorted([*self.script, *steps], key=lambda step: (step[0], step[1]))
        if self.script and self.script[0][0] < self.script_timer.armed_ns:
            self.loop.arm(self.script_timer, self.script[0][0])

    def _take_steps(self, now_ns: int) -> int:
        while self.script and self.script[0][0] <= now_ns:
            _, _, method, arguments = self.script.pop(0)
            getattr(self, method)(now_ns, *arguments)
        return self.script[0][0] if self.script else NEVER

    def _end_second(self, now_ns: int) -> int:
        self._say_counts(now_ns)
        self.journal.close_block()
        return now_ns + SECOND

    def _say_counts(self, now_ns: int) -> None:
        """Error counters that changed, once a second: every change of them would be an event a frame while a bus is in trouble."""
        for name, host in self.hosts.items():
            for bus, controller in host.controllers.items():
                counts = (controller.tec, controller.rec)
                if counts != self.counts.get((name, bus), (0, 0)):
                    self.counts[name, bus] = counts
                    self.journal.event(now_ns, "counts", name, self.loop.buses[bus].name, *counts)

    # ------------------------------------------------------------------------------------------------ what people do

    def move_lever(self, now_ns: int, station: str, drive: str, permille: int, over_ms: int) -> None:
        """A hand moves a lever to `permille` (-1000 full astern to 1000 full ahead) in `over_ms`."""
        lever = self.levers[station, drive]
        self.journal.event(now_ns, "lever", station, drive, permille, over_ms)
        lever.move(now_ns, permille, over_ms * MS)
        self.hosts[lever.node].wake(now_ns, lever.channel)
        self.hosts[lever.node].wake(now_ns, second_track(lever.channel))

    def move_wheel(self, now_ns: int, station: str, permille: int, over_ms: int) -> None:
        """A hand turns a wheel to `permille` (-1000 full port to 1000 full starboard) in `over_ms`."""
        wheel = self.wheels[station]
        self.journal.event(now_ns, "wheel", station, permille, over_ms)
        wheel.move(now_ns, permille, over_ms * MS)
        self.hosts[wheel.node].wake(now_ns, wheel.channel)

    def crank(self, now_ns: int, drive: str, for_ms: int) -> None:
        """Somebody turns an engine's start key."""
        self.journal.event(now_ns, "crank", drive, for_ms)
        self.plant.crank(now_ns, self.plant.index_of(drive), for_ms * MS)

    def engines(self, now_ns: int, running: int) -> None:
        """Whether the engines run when everything begins."""
        self.plant.put_engines(now_ns, bool(running))

    def stream(self, now_ns: int, set_deg: int, kn: float) -> None:
        """The water flows towards `set_deg` of the compass from now on."""
        mm_s = round(kn * KNOT_MM_S)
        self.journal.event(now_ns, "stream", set_deg, mm_s)
        self.plant.set_stream(now_ns, set_deg, mm_s)

    def key(self, now_ns: int, node: str, channel: str, down: int) -> None:
        """A key's or touch field's contact closes (1) or opens (0)."""
        self.journal.event(now_ns, "key", node, channel, down)
        self.hosts[node].set_switch(now_ns, channel, down)

    def wired_switch(self, now_ns: int, light: str, on: int) -> None:
        """A hand works the switch that is wired to a light."""
        self.journal.event(now_ns, "key", *wired_switch_of(self.boat, light), on)
        work_wired_switch(self, now_ns, light, bool(on))

    def starter_draws(self, now_ns: int, supply: str, begins: bool) -> None:
        """A starter begins or ends to draw on a supply; what that does to it stands in the boat file."""
        written = self.boat.supplies[supply]
        if written.crank_v is not None:
            self.supplies[supply].on_crank(now_ns, begins, round(written.crank_v * 1000), written.crank_ramp_ms * MS)

    def power(self, now_ns: int, node: str, on: int) -> None:
        """Somebody switches a node's supply."""
        self.hosts[node].power(now_ns, bool(on))

    # ------------------------------------------------------------------------------------------------ faults

    def begin_fault(self, now_ns: int, number: int, name: str, place: Any) -> None:
        fault = BY_NAME[name]
        self.journal.event(now_ns, "fault", name, fault.place_words(place), 1 if fault.lasts else 2)
        self.faults[number] = fault.begin(self, now_ns, place)
        self._plan_fault(number, name, place)

    def step_fault(self, now_ns: int, number: int, name: str, place: Any) -> None:
        """A fault that comes and goes by itself does so; one that is over is left alone."""
        if number in self.faults:
            self.faults[number] = BY_NAME[name].step(self, now_ns, place, self.faults[number])
            self._plan_fault(number, name, place)

    def _plan_fault(self, number: int, name: str, place: Any) -> None:
        due_ns = BY_NAME[name].due_ns(place, self.faults[number])
        if due_ns != NEVER:
            self.plan_steps([(due_ns, 0, "step_fault", (number, name, place))])

    def end_fault(self, now_ns: int, number: int, name: str, place: Any) -> None:
        fault = BY_NAME[name]
        self.journal.event(now_ns, "fault", name, fault.place_words(place), 0)
        fault.end(self, now_ns, place, self.faults.pop(number))

    def break_lamp(self, now_ns: int, light: str, broken: int) -> None:
        break_lamp(self, now_ns, light, broken)

    def stick_zone(self, now_ns: int, zone: str, stuck: bool) -> None:
        stick_zone(self, now_ns, zone, stuck)

    def spoil_sensor(self, now_ns: int, node: str, channel: str, how: str | None, by: int = 0) -> None:
        """From now on an input of a node is measured wrongly: `how` is a key of `busim.plant.spoilt.SPOILT`, `by` how much
        (for one that slipped); None: rightly again. An input the node does not have is nobody's business."""
        entry = self.hosts[node].inputs.get(channel)
        if entry is not None:
            span = span_of(channel, round(self.boat.rudder.hard_over_deg * 100) if self.boat.rudder is not None else 0)
            entry.replaced = None if how is None else SPOILT[how](entry.source, span, now_ns, by)
            self.hosts[node].wake(now_ns, channel)

    # ------------------------------------------------------------------------------------------------ save and restore

    def save(self) -> bytes:
        """The whole state. The boat, its plan and the node classes are not in it: `restore` takes them."""
        buffer = BytesIO()
        pickler = pickle.Pickler(buffer, protocol=5)
        fixed = {id(self.boat): "boat", id(self.plan): "plan", id(self.kinds): "kinds"}
        pickler.persistent_id = lambda thing: fixed.get(id(thing))  # type: ignore[method-assign]
        pickler.dump(self)
        return buffer.getvalue()

    @staticmethod
    def restore(saved: bytes, boat: BoatFile, plan: WirePlan, kinds: dict[str, Any]) -> "World":
        """A world as it was saved in this process or another of the same busim; watchers are attached anew."""
        unpickler = pickle.Unpickler(BytesIO(saved))
        fixed = {"boat": boat, "plan": plan, "kinds": kinds}
        unpickler.persistent_load = fixed.__getitem__  # type: ignore[method-assign]
        world: World = unpickler.load()
        world.connect()
        return world

    def connect(self) -> None:
        """Make what is never saved: bound handlers, and what outputs move."""
        for host in self.hosts.values():
            host.sinks = {}
            if host.running:
                host.bind()
        for index, (_, drive) in enumerate(drives_by_instance(self.boat)):
            sinks = self.hosts[drive.node].sinks
            sinks["throttle"] = self.plant.throttle_sink(index)
            sinks["shift"] = self.plant.shift_sink(index)
            if drive.engine_stop:
                sinks["engine_stop"] = self.plant.fuel_sink(index, ENGINE_STOP)
            sinks["start_permit"] = self.plant.start_permit_sink(index, drive.node)
        for cutout in self.boat.cutouts.values():
            sinks = self.hosts[cutout.node].sinks
            sinks["fuel_cut"] = self.plant.fuel_sink(self.plant.index_of(cutout.drive), FUEL_CUT)
            sinks["start_permit"] = self.plant.start_permit_sink(self.plant.index_of(cutout.drive), cutout.node)
        if self.boat.rudder is not None:
            steering = self.hosts[self.boat.rudder.node]
            steering.sinks["rudder"] = self.plant.rudder_sink(steering)
            steering.sinks["rudder_power"] = self.plant.rudder_power_sink()
        connect_lights(self)


def drives_by_instance(boat: BoatFile) -> list[tuple[str, Any]]:
    return sorted(boat.drives.items(), key=lambda item: item[1].instance)
