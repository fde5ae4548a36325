"""How fast a log is judged: frames a second, of a log as candump writes it. `python -m tests.benchmarks.judge [--profile]`.

The log is that of the synthetic boat under way, played once and repeated end to end: what is measured is reading and judging.
"""

import cProfile
import pstats
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

from busim.boat.load import load_boat
from busim.boat.model import BoatFile
from busim.boat.shipped import shipped_folder
from busim.commands.judge import read_through
from busim.events.journal import Frame
from busim.logs.channels import Channels
from busim.logs.judge import Judge
from busim.logs.source import LogSource
from busim.protocol.plan import WirePlan
from busim.record.writer import candump_line
from busim.run.run import carry_out
from busim.scenario.load import load_scenario
from busim.scenario.model import ScenarioFile
from busim.simulator.kinds import load_kinds

from .boats import synthetic_boat

ROUNDS = 3
FRAMES = 200_000


def frames_of(boat: BoatFile, plan: WirePlan, scenario: ScenarioFile) -> list[Frame]:
    kept: list[Frame] = []
    carry_out(boat, plan, load_kinds(), scenario, 1, lambda frames, events, digest: kept.extend(frames))
    return kept


def write_log(path: Path, plan: WirePlan, frames: list[Frame]) -> None:
    """The frames again and again, each time later, until there are enough."""
    names = [name for name, _, _ in plan.buses]
    span_ns = frames[-1][0]
    with path.open("w", encoding="ascii") as file:
        for time_round in range(-(-FRAMES // len(frames))):
            for at_ns, bus, can_id, data, _ in frames:
                file.write(candump_line(names[bus], at_ns + time_round * span_ns, can_id, data))


def main() -> None:
    synthetic = synthetic_boat()
    tern = load_boat(shipped_folder() / "marsh_tern")
    scenario = load_scenario(shipped_folder() / "marsh_tern" / "scenarios" / "steer_and_hand_over.yaml", tern.boat).scenario
    idle = ScenarioFile(scenario="idle", lasts_s=20)
    with tempfile.TemporaryDirectory() as folder:
        for name, boat, plan, play in (("synthetic", *synthetic, idle), ("marsh_tern", tern.boat, tern.plan, scenario)):
            path = Path(folder) / f"{name}.log"
            write_log(path, plan, frames_of(boat, plan, play))
            _measure(name, path, boat, plan)


def _measure(name: str, path: Path, boat: BoatFile, plan: WirePlan) -> None:
    reading, judging = [], []
    count = 0
    for _ in range(ROUNDS):
        with LogSource(path) as source:
            began = time.perf_counter()
            count = sum(1 for _ in source.frames())
            reading.append(time.perf_counter() - began)
        profile = cProfile.Profile() if "--profile" in sys.argv else None
        with LogSource(path) as source:
            judge = Judge(boat, plan, Channels(plan, {}), lambda line: None)
            began = time.perf_counter()
            if profile:
                profile.runcall(read_through, source, judge)
            else:
                read_through(source, judge)
            judging.append(time.perf_counter() - began)
        if profile:
            pstats.Stats(profile).sort_stats("tottime").print_stats(25)
            return
    print(f"{name}: {count:,} frames; read {count / median(reading):,.0f}/s, read and judged {count / median(judging):,.0f}/s")


if __name__ == "__main__":
    main()
