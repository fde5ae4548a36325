"""What the screen costs: 20 updates a second at 160 x 50 on Marsh Tern under way, and how late the simulator is meanwhile.

    python -m tests.benchmarks.dashboard [--seconds 10]

Prints the share of a core that drawing takes (without carrying the boat on), and the lateness of ticks: how much later than
its twentieth of a second each one was over.
"""

import argparse
import asyncio
import statistics
import time

from busim.boat.load import load_boat
from busim.boat.shipped import shipped_folder
from busim.dashboard.app import RehearsalApp
from busim.rehearsal.rehearsal import Rehearsal
from busim.simulator.kinds import load_kinds

TICK_S = 0.05


async def measure(seconds: int) -> tuple[float, float, float]:
    """(share of a core for drawing, for carrying the boat on, 99th percentile of a tick in ms)."""
    loaded = load_boat(shipped_folder() / "marsh_tern")
    rehearsal = Rehearsal(loaded.boat, loaded.plan, load_kinds(), 1)
    now_s = [0.0]
    app = RehearsalApp(rehearsal, "Marsh Tern", lambda: now_s[0], driven=True)
    drawing: list[float] = []
    carrying: list[float] = []
    async with app.run_test(size=(160, 50)) as pilot:
        for keys in ("t", "up", "up", "up"):
            await pilot.press(keys)
        for _ in range(round(seconds / TICK_S)):
            now_s[0] += TICK_S
            began = time.process_time()
            rehearsal.advance(rehearsal.now_ns + round(TICK_S * 1e9))
            app.last_s = now_s[0]
            between = time.process_time()
            app.tick()
            await pilot.pause(0)
            carrying.append(between - began)
            drawing.append(time.process_time() - between)
    whole = sorted(one + other for one, other in zip(drawing, carrying, strict=True))
    return statistics.mean(drawing) / TICK_S, statistics.mean(carrying) / TICK_S, whole[int(len(whole) * 0.99)] * 1000


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seconds", type=int, default=10)
    draws, carries, late_ms = asyncio.run(measure(parser.parse_args().seconds))
    print(f"drawing 20 times a second: {draws:.0%} of a core; the boat at real time: {carries:.0%} of it")
    print(f"99 % of ticks take at most {late_ms:.0f} ms")


if __name__ == "__main__":
    main()
