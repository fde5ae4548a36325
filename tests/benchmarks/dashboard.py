"""What the screen costs: 20 pictures a second at 160 x 50 on Marsh Tern under way, and how late the simulator is meanwhile.

    python -m tests.benchmarks.dashboard [--seconds 20] [--view bus]

The app runs in a process of its own on a terminal of its own, which is read as fast as it writes; everything is as a user has it.
Printed are the share of a core (drawing and the boat together, and the boat alone by itself), and lateness: for each slice of the
simulation, how much later than due its first moment had been played. On a machine that others use too, that is theirs as well;
so the longest stretches of computing between two slices are printed beside it, in this process's own time.
"""

import argparse
import asyncio
import fcntl
import json
import os
import pty
import select
import statistics
import struct
import subprocess
import sys
import tempfile
import termios
import time
from pathlib import Path
from typing import ClassVar

from busim.boat.load import load_boat
from busim.boat.shipped import shipped_folder
from busim.dashboard.app import CARRIED_S
from busim.rehearsal.rehearsal import Rehearsal
from busim.simulator.kinds import load_kinds
from busim.units import MS

COLUMNS, LINES = 160, 50
ROOT = Path(__file__).parents[2]
UNDER_WAY = ("t", *["up"] * 5)
WARM_UP_S = 5.0


def inside(seconds: float, view: str, answer: Path) -> None:
    """On the terminal: play, and write down what it cost."""
    from busim.commands.rehearse import steady
    from busim.dashboard.app import RehearsalApp

    class Measured(RehearsalApp):
        pictures = 0
        computed_s = 0.0
        stretches: ClassVar[list[float]] = []

        def carry(self) -> None:
            began = time.thread_time()
            self.stretches.append(began - self.computed_s)
            super().carry()
            self.computed_s = time.thread_time()

        def draw(self) -> None:
            self.pictures += 1
            super().draw()

    loaded = load_boat(shipped_folder() / "marsh_tern")
    app = Measured(Rehearsal(loaded.boat, loaded.plan, load_kinds(), 1), "Marsh Tern")
    app.view = view
    began: list[float] = []

    def begin() -> None:
        app.pace.late_s.clear()
        app.stretches.clear()
        app.pictures = 0
        began.extend((time.process_time(), time.monotonic()))

    def end() -> None:
        spent, passed = time.process_time() - began[0], time.monotonic() - began[1]
        late = list(app.pace.late_s)
        found = {"core": spent / passed, "pictures": app.pictures / passed, "late_s": late, "stretches": app.stretches}
        answer.write_text(json.dumps(found))
        app.exit()

    def under_way() -> None:
        for key in UNDER_WAY:
            app.simulate_key(key)

    def plan() -> None:
        for after_s, what in ((2.0, under_way), (WARM_UP_S, begin), (WARM_UP_S + seconds, end)):
            app.set_timer(after_s, what)

    app.call_later(plan)
    steady()
    app.run()


def boat_alone(seconds: int) -> float:
    """Share of a core that the boat takes by herself at real time."""
    loaded = load_boat(shipped_folder() / "marsh_tern")
    rehearsal = Rehearsal(loaded.boat, loaded.plan, load_kinds(), 1)
    rehearsal.advance(2_000 * MS)
    began = time.process_time()
    rehearsal.advance((2 + seconds) * 1_000 * MS)
    return (time.process_time() - began) / seconds


async def waiting(seconds: float) -> list[float]:
    """Gaps, in seconds, of a loop that does nothing but wait as the rehearsal does between slices: what the machine itself adds."""
    gaps, last = [], time.monotonic()
    end = last + seconds
    while last < end:
        await asyncio.sleep(CARRIED_S)
        now = time.monotonic()
        gaps.append(now - last)
        last = now
    return gaps


def on_a_terminal(seconds: float, view: str) -> dict[str, object]:
    with tempfile.TemporaryDirectory() as folder:
        answer = Path(folder) / "answer.json"
        ours, theirs = pty.openpty()
        fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", LINES, COLUMNS, 0, 0))
        code = f"from tests.benchmarks.dashboard import *; inside({seconds!r}, {view!r}, Path({str(answer)!r}))"
        variables = {**os.environ, "TERM": "xterm-256color", "COLORTERM": "truecolor"}
        words = [sys.executable, "-c", code]
        process = subprocess.Popen(words, cwd=ROOT, env=variables, stdin=theirs, stdout=theirs, stderr=theirs)
        os.close(theirs)
        while process.poll() is None:
            if select.select([ours], [], [], 0.2)[0]:
                try:
                    os.read(ours, 1 << 16)
                except OSError:
                    break
        process.wait()
        os.close(ours)
        return json.loads(answer.read_text())  # type: ignore[no-any-return]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seconds", type=int, default=20)
    parser.add_argument("--view", default="helm")
    wanted = parser.parse_args()
    found = on_a_terminal(float(wanted.seconds), wanted.view)
    late_ms = sorted(1000 * each for each in found["late_s"])  # type: ignore[attr-defined]
    places = {f"{share:.1%}": late_ms[min(int(len(late_ms) * share), len(late_ms) - 1)] for share in (0.99, 0.999)}
    gaps = sorted(1000 * each for each in asyncio.run(waiting(5.0)))
    print(f"a loop that only waits, on this machine now: 99 % {gaps[int(len(gaps) * 0.99)]:.1f} ms, worst {gaps[-1]:.1f} ms")
    stretches = sorted(1000 * each for each in found["stretches"])  # type: ignore[attr-defined]
    at = stretches[int(len(stretches) * 0.99)]
    print(f"computing between two slices: 99 % {at:.1f} ms, longest {stretches[-1]:.1f} ms")
    print(f"pictures a second: {found['pictures']:.1f}; all of it: {found['core']:.0%} of a core")
    print(f"the boat by herself, at real time: {boat_alone(wanted.seconds):.0%} of a core")
    print(f"lateness over {len(late_ms)} slices: median {statistics.median(late_ms):.1f} ms, "
          + ", ".join(f"{name} {value:.1f} ms" for name, value in places.items()) + f", worst {late_ms[-1]:.1f} ms")  # fmt: skip


if __name__ == "__main__":
    main()
