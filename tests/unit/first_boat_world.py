"""The first boat's world with a busy script, for tests of the simulator as a whole: people, lights, and several faults."""

from pathlib import Path
from typing import Any

from busim.boat.load import LoadedBoat, load_boat
from busim.faults.corrupted import CorruptedPlace
from busim.faults.cut import CutPlace
from busim.faults.fault import NodePlace
from busim.faults.hang import HangPlace
from busim.simulator.build import build_world, power_up
from busim.simulator.kinds import load_kinds
from busim.simulator.world import Step, World
from busim.units import MS, SECOND

FOLDER = Path(__file__).parents[2] / "configs" / "first_boat"
END_NS = 16 * SECOND

CUT = ("cut", CutPlace(bus="main", at_m=8.0))
HANG = ("hang", HangPlace(node="wheelhouse"))
POWER = ("power_lost", NodePlace(node="lamp_driver"))
CORRUPTED = ("corrupted", CorruptedPlace(node="companionway"))
STALE = ("stale_mailbox", NodePlace(node="wheelhouse"))


def boat() -> LoadedBoat:
    return load_boat(FOLDER)


def press(at_ms: int, node: str, channel: str) -> list[Step]:
    return [(at_ms * MS, 0, "key", (node, channel, 1)), ((at_ms + 150) * MS, 0, "key", (node, channel, 0))]


def fault(number: int, begin_ms: int, end_ms: int, what: tuple[str, Any]) -> list[Step]:
    return [(begin_ms * MS, 1, "begin_fault", (number, *what)), (end_ms * MS, 1, "end_fault", (number, *what))]


def busy_script() -> list[Step]:
    return [
        *press(1000, "wheelhouse", "take"),
        (2500 * MS, 0, "move_lever", ("wheelhouse", "engine", 700, 500)),
        *press(3000, "companionway", "touch.1"),
        *fault(1, 5000, 8000, CUT),
        *fault(2, 5500, 7000, POWER),
        *press(6000, "companionway", "touch.1"),
        (8200 * MS, 0, "move_lever", ("wheelhouse", "engine", 0, 300)),
        *press(9000, "wheelhouse", "take"),
        (9500 * MS, 0, "move_lever", ("wheelhouse", "engine", -400, 250)),
        *fault(3, 10_500, 10_650, HANG),  # over before the watchdog resets it
        *fault(4, 11_000, 13_000, CORRUPTED),
        *press(12_000, "companionway", "touch.1"),
        *fault(5, 13_500, 14_500, STALE),
    ]


def begun(loaded: LoadedBoat | None = None, seed: int = 1) -> World:
    loaded = loaded or boat()
    world = build_world(loaded.boat, loaded.plan, load_kinds(), seed)
    world.plan_steps([*power_up(world), *busy_script()])
    return world


def finished_digest(seed: int = 1) -> str:
    world = begun(seed=seed)
    world.run(END_NS)
    return world.journal.digest


def finished_from(saved: bytes) -> str:
    loaded = boat()
    world = World.restore(saved, loaded.boat, loaded.plan, dict(load_kinds()))
    world.run(END_NS)
    return world.journal.digest
