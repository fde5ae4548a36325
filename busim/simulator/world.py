"""The world: one boat's buses, hosts and machinery, run through time by one loop. Built by `busim.simulator.build`.

What people do and what breaks comes in as a script of steps; what happened goes out through the journal. The whole world can
be saved as bytes and restored: what it holds is plain values; bound handlers, outputs' sinks and caches are made anew.
"""

import pickle
from io import BytesIO
from typing import Any, Final, TypeAlias

from busim.boat.model import BoatFile
from busim.bus.bus import Bus
from busim.events.journal import Journal
from busim.faults.table import BY_NAME
from busim.host.host import Host, NodeError, Timer
from busim.host.wrong import failed_node
from busim.plant.plant import Plant
from busim.plant.ramp import Ramp
from busim.protocol.plan import WirePlan
from busim.simulator.kernel import Loop
from busim.units import MS, NEVER, SECOND, seconds_text

Step: TypeAlias = tuple[Any, ...]
"""(at_ns, order, method of `World`, arguments)"""

LEVER_STROKE: Final = 1_000_000
"""Of a lever from upright to either end: finer than what is measured, so that a slow hand has its speed too."""


class World:
    __slots__ = (
        "boat", "faults", "hosts", "journal", "kinds", "levers", "loop", "plan", "plant", "script", "script_timer", "second",
        "seed",
    )  # fmt: skip

    def __init__(self, boat: BoatFile, plan: WirePlan, kinds: dict[str, Any], seed: int) -> None:
        self.boat = boat
        self.plan = plan
        self.kinds = kinds
        self.seed = seed
        self.journal = Journal()
        self.loop = Loop()
        self.hosts: dict[str, Host] = {}
        self.plant: Plant
        self.levers: dict[tuple[str, str], LeverSensor] = {}
        self.faults: dict[int, Any] = {}
        """Faults that are on: number of the fault in the script -> what it has to remember until it ends."""
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
        self.journal.close_block()
        return now_ns + SECOND

    # ------------------------------------------------------------------------------------------------ what people do

    def move_lever(self, now_ns: int, station: str, drive: str, permille: int, over_ms: int) -> None:
        """A hand moves a lever to `permille` (-1000 full astern to 1000 full ahead) in `over_ms`."""
        lever = self.levers[station, drive]
        self.journal.event(now_ns, "lever", station, drive, permille, over_ms)
        lever.move(now_ns, permille, over_ms * MS)
        self.hosts[lever.node].wake(now_ns, lever.channel)
        self.hosts[lever.node].wake(now_ns, second_track(lever.channel))

    def key(self, now_ns: int, node: str, channel: str, down: int) -> None:
        """A key's or touch field's contact closes (1) or opens (0)."""
        self.journal.event(now_ns, "key", node, channel, down)
        self.hosts[node].set_switch(now_ns, channel, down)

    def power(self, now_ns: int, node: str, on: int) -> None:
        """Somebody switches a node's supply."""
        self.hosts[node].power(now_ns, bool(on))

    # ------------------------------------------------------------------------------------------------ faults

    def begin_fault(self, now_ns: int, number: int, name: str, place: Any) -> None:
        fault = BY_NAME[name]
        self.journal.event(now_ns, "fault", name, fault.place_words(place), 1)
        self.faults[number] = fault.begin(self, now_ns, place)

    def end_fault(self, now_ns: int, number: int, name: str, place: Any) -> None:
        fault = BY_NAME[name]
        self.journal.event(now_ns, "fault", name, fault.place_words(place), 0)
        fault.end(self, now_ns, place, self.faults.pop(number))

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
                sinks["engine_stop"] = self.plant.engine_stop_sink(index)
        for name, zone in self.boat.zones.items():
            self.hosts[zone.node].sinks[f"channel.{zone.channel}"] = self.plant.lamp_sink(name)


def drives_by_instance(boat: BoatFile) -> list[tuple[str, Any]]:
    return sorted(boat.drives.items(), key=lambda item: item[1].instance)


class LeverSensor:
    """A lever in a hand, and the sensor on it: permille of its supply."""

    __slots__ = ("channel", "hand", "high", "low", "node")

    def __init__(self, node: str, channel: str, low_permille: int, high_permille: int) -> None:
        self.node = node
        self.channel = channel
        self.low = low_permille
        self.high = high_permille
        self.hand = Ramp(0, LEVER_STROKE)

    def move(self, now_ns: int, permille: int, over_ns: int) -> None:
        target = permille * LEVER_STROKE // 1000
        distance = abs(target - self.hand.read(now_ns))
        speed = -(-distance * SECOND // over_ns) if over_ns else distance * SECOND
        self.hand.go(now_ns, target, max(speed, 1))

    def read(self, now_ns: int) -> int:
        middle = (self.low + self.high) // 2
        travel = self.hand.read(now_ns)
        return middle + travel * (self.high - middle if travel >= 0 else middle - self.low) // LEVER_STROKE

    def still(self, now_ns: int) -> bool:
        return self.hand.still(now_ns)


class SecondTrack:
    """The other sensor on a lever, which runs the other way: the two always add up to the same."""

    __slots__ = ("first",)

    def __init__(self, first: LeverSensor) -> None:
        self.first = first

    def read(self, now_ns: int) -> int:
        return self.first.low + self.first.high - self.first.read(now_ns)

    def still(self, now_ns: int) -> bool:
        return self.first.still(now_ns)


def second_track(channel: str) -> str:
    """The channel of a lever's second sensor, where one is fitted."""
    return f"{channel}b"
