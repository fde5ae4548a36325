"""The first boat under way, with whatever a test then does to it, for tests of faults.

In control since 1 s, lever at 80 % ahead since 2 s: gear in and throttle open; the cabin lamp lit since 3 s.
"""

from dataclasses import dataclass
from functools import cache
from typing import Any

from busim.boat.load import LoadedBoat
from busim.events.journal import Event, Frame
from busim.simulator.build import build_world, power_up
from busim.simulator.kinds import load_kinds
from busim.simulator.world import World
from busim.units import SECOND

from .first_boat_world import boat, press

UNDER_WAY_NS = 6 * SECOND
WHEELHOUSE, ENGINE_ROOM, PANEL, LAMP_DRIVER = 1, 2, 20, 21
"""Addresses."""


@dataclass
class Boat:
    """A world under way, and everything since."""

    world: World
    loaded: LoadedBoat
    frames: list[Frame]
    events: list[Event]

    def run(self, until_ns: int) -> "Boat":
        self.world.run(until_ns)
        return self

    def with_fault(self, name: str, place: Any, *, for_ns: int | None = None, at_ns: int = UNDER_WAY_NS, number: int = 0) -> "Boat":
        steps = [(at_ns, number, "begin_fault", (number, name, place))]
        if for_ns is not None:
            steps.append((at_ns + for_ns, number, "end_fault", (number, name, place)))
        self.world.plan_steps(steps)
        return self

    def sent_by(self, address: int, begin_ns: int, end_ns: int) -> list[Frame]:
        return [frame for frame in self.frames if frame[2] & 0x3F == address and begin_ns < frame[0] <= end_ns]

    def told(self, kind: str, *fields: Any) -> list[int]:
        """Moments of the events of a kind whose first fields are these."""
        return [event[0] for event in self.events if event[2] == kind and event[3 : 3 + len(fields)] == fields]

    def host_bit(self, name: str) -> int:
        return 1 << self.world.hosts[name].index


@cache
def saved() -> tuple[LoadedBoat, bytes]:
    """The boat, and her world just before `UNDER_WAY_NS`."""
    loaded = boat()
    world = build_world(loaded.boat, loaded.plan, load_kinds(), 1)
    lever = (2 * SECOND, 0, "move_lever", ("wheelhouse", "engine", 800, 300))
    world.plan_steps([*power_up(world), *press(1000, "wheelhouse", "take"), *press(3000, "companionway", "touch.1"), lever])
    world.run(UNDER_WAY_NS - 1)
    return loaded, world.save()


def boat_under_way() -> Boat:
    loaded, state = saved()
    world = World.restore(state, loaded.boat, loaded.plan, dict(load_kinds()))
    found = Boat(world, loaded, [], [])

    def keep(frames: list[Frame], events: list[Event], digest: str) -> None:
        found.frames += frames
        found.events += events

    world.journal.watch_blocks(keep)
    machinery = world.plant.drives[0]
    assert (machinery.gear, machinery.at_stop, world.plant.lamps["cabin_lamp"].look()[0]) == (1, False, 1000)
    return found
