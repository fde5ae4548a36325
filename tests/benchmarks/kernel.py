"""How fast the simulator is: simulated seconds per wall second, median of several runs, on one core.

    python -m tests.benchmarks.kernel [--runs 7] [--seconds 20] [--profile]

Synthetic boats of 14 nodes and about 670 frames a second, in two mixes (see `boats.MIXES`). Levers move all the time;
sampling, machinery, hull and digest are on. Runs are taken in turn, so that a machine whose speed drifts gives all of them
their share.
"""

import argparse
import cProfile
import gc
import platform
import pstats
import statistics
import time

from busim.boat.derive import limits_of
from busim.boat.load import load_boat
from busim.boat.shipped import shipped_folder
from busim.events.situation import Situation
from busim.requirements.requirement import Context
from busim.requirements.table import REQUIREMENTS
from busim.simulator.build import build_world, power_up
from busim.simulator.kinds import load_kinds
from busim.simulator.world import Step, World
from busim.units import MS, SECOND
from tests.benchmarks.boats import DRIVES, STATIONS, synthetic_boat

SETTLED_NS = 3 * SECOND
MARSH_TERN = ("marsh_tern_helm", "marsh_tern")
"""The boat that ships: her helm alone, the nodes that are on the lighting bus only without power; and all of her."""


def moving_levers(until_ns: int, stations: tuple[str, ...], drives: tuple[str, ...]) -> list[Step]:
    """Every lever under way all the time; the first station in control, in gear from the start on."""
    take = (stations[0], "take")
    steps: list[Step] = [(SECOND, 0, "key", (*take, 1)), (SECOND + 200 * MS, 0, "key", (*take, 0))]
    for number, station in enumerate(stations):
        for place, drive in enumerate(drives):
            at_ns, high = 2 * SECOND, True
            while at_ns < until_ns:
                permille = 900 - 40 * place if high else 350 + 30 * place
                steps.append((at_ns, number * 2 + place, "move_lever", (station, drive, permille, 1900)))
                at_ns, high = at_ns + 1900 * MS, not high
    return steps


def build(observed: bool, until_ns: int, mix: str = "plain") -> World:
    if mix in MARSH_TERN:
        loaded = load_boat(shipped_folder() / "marsh_tern")
        boat, plan = loaded.boat, loaded.plan
        stations, drives = ("wheelhouse", "upper_deck", "pendant"), ("port", "starboard")
    else:
        boat, plan = synthetic_boat(mix)
        stations, drives = STATIONS, DRIVES
    world = build_world(boat, plan, load_kinds(), 1)
    if observed:
        situation = Situation(plan)
        situation.attach(world.journal)
        context = Context(plan, {name: limits_of(boat, drive) for name, drive in boat.drives.items()}, situation)
        for requirement in REQUIREMENTS:
            requirement(context).attach(world.journal)
    # One node of the lights stays on, to acknowledge what the wheelhouse sends there.
    dark = [name for name, node in boat.nodes.items() if list(node.taps) == ["lights"]][1:] if mix == "marsh_tern_helm" else []
    on = [step for step in power_up(world) if step[3][0] not in dark]
    world.plan_steps([*on, *moving_levers(until_ns, stations, drives)])
    world.run(SETTLED_NS)
    return world


def once(seconds: int, *, observed: bool, mix: str = "plain") -> tuple[float, int]:
    """(simulated seconds per wall second, frames a simulated second) once the boat has settled under way."""
    until_ns = SETTLED_NS + seconds * SECOND
    counted: list[int] = []
    world = build(observed, until_ns, mix)
    world.journal.watch_blocks(lambda frames, events, digest: counted.append(len(frames)))
    gc.collect()
    began = time.perf_counter()
    world.run(until_ns)
    taken = time.perf_counter() - began
    return seconds / taken, round(sum(counted) / len(counted))


VARIANTS = (
    ("plain mix, all observers, every payload new", "plain", True),
    ("plain mix, no observers, every payload new", "plain", False),
    ("lever mix, all observers, every payload new", "levers", True),
    ("Marsh Tern's helm, all observers", "marsh_tern_helm", True),
    ("Marsh Tern's helm, no observers", "marsh_tern_helm", False),
    ("the whole of Marsh Tern, all observers", "marsh_tern", True),
    ("the whole of Marsh Tern, no observers", "marsh_tern", False),
)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=7)
    parser.add_argument("--seconds", type=int, default=20)
    parser.add_argument("--profile", action="store_true", help="say where the time goes instead")
    parser.add_argument("--mix", choices=("plain", "levers"), default="plain", help="which boat to profile")
    options = parser.parse_args()
    if options.profile:
        until_ns = SETTLED_NS + options.seconds * SECOND
        world = build(True, until_ns, options.mix)
        profile = cProfile.Profile()
        profile.runcall(world.run, until_ns)
        pstats.Stats(profile).sort_stats("tottime").print_stats(28)
        return
    results: dict[str, list[float]] = {name: [] for name, _, _ in VARIANTS}
    frames: dict[str, int] = {}
    for _ in range(options.runs):
        for name, mix, observed in VARIANTS:
            speed, frames[name] = once(options.seconds, observed=observed, mix=mix)
            results[name].append(speed)
    print(f"Python {platform.python_version()}, {options.seconds} simulated seconds, {options.runs} runs each")
    for name, speeds in results.items():
        middle, least, most = statistics.median(speeds), min(speeds), max(speeds)
        print(f"  {name:44} {frames[name]} frames/s  {middle:4.0f} x real time (min {least:.0f}, max {most:.0f})")


if __name__ == "__main__":
    main()
