"""The reference firmware on the bench, each build a process of its own in real time: the sound one passes, each broken one fails
what names it.

Several run beside each other, as each takes a third of a minute and next to no work. Where the computer was late nothing was shown,
and a session is held again.
"""

import json
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import NamedTuple

import pytest

from busim import bench_labels as words
from busim.boat.load import load_boat
from busim.export.c_files import c_files
from busim.export.written import write_files
from tests.unit.c_driver import compile_c, compiler

from .command_line import ENTRY, ROOT, environment

pytestmark = [pytest.mark.slow, pytest.mark.xdist_group("real time")]

FIRMWARE = ROOT / "nodes" / "firmware"
FOR_A_DESK = (
    "seam", "watch", "member", "alarms", "channels", "run", "mailboxes", "slcan", "port_host", "port_host_open", "port_bench",
)  # fmt: skip
ANSWERS = b"the shaft coupling\nshown\n"
AT_ONCE = 4
TRIES = 3


class Build(NamedTuple):
    stimuli: tuple[str, ...]
    fails: str = ""
    """The requirement that names the defect: of the stimulus that fails, or in the table of verdicts."""
    boat: str = "first_boat"
    node: str = "engine_room"


BUILDS = {
    "SOUND": Build(("heartbeats", "take_and_go", "fast_idle", "bad_crc", "stale", "lever_gone")),
    "NO_TIMEOUT": Build(("lever_gone",), "drive.loss_to_neutral"),
    "CRC_UNCHECKED": Build(("bad_crc",), "drive.refuse_bad_frame"),
    "COUNTER_IGNORED": Build(("stale",), "drive.refuse_bad_frame"),
    "TIMEOUTS_TRIPLED": Build(("lever_gone",), "drive.loss_noticed"),
    "REENGAGES": Build(("lever_gone",), "drive.rearm"),
    "BYTE_ORDER": Build(("heartbeats",), "alarm.shown"),
    "WRONG_ID": Build(("take_and_go",), "station.transfer"),
    "BEAT_FROM_TIMER": Build(("take_and_go",), "drive.self_loss"),
    "OBEYS_OLD_HOLDER": Build(("old_holder",), "station.one_in_control", "marsh_tern", "port_drive"),
    "ENGAGES_ABOVE_IDLE": Build(("fast_idle",), "drive.engage_at_idle"),
}


class Held(NamedTuple):
    """A session that was held: its status, what it said, and its results by stimulus."""

    status: int
    said: str
    came: list[dict[str, object]]


def built(name: str, folder: Path) -> Path:
    build = BUILDS[name]
    code = folder / f"{build.boat}_c"
    sources = write_files(code, c_files(load_boat(ROOT / "configs" / build.boat), build.node), replace=True)
    program = folder / name
    files = [*(FIRMWARE / f"{each}.c" for each in FOR_A_DESK), *sorted(FIRMWARE.glob("drive*.c"))]
    files += [path for path in sources if path.suffix == ".c"]
    compile_c(files, [FIRMWARE, code], "-O2", "-DNODE_BENCH", f"-DBROKEN_{name}", "-o", str(program))
    return program


def hold(name: str, folder: Path, program: Path) -> Held:
    build = BUILDS[name]
    stimuli = [word for stimulus in build.stimuli for word in ("--stimulus", stimulus)]
    for number in range(TRIES):
        place = folder / f"{name}_{number}"
        place.mkdir()
        done = subprocess.run(
            [sys.executable, "-c", ENTRY, "bench", str(ROOT / "configs" / build.boat), "--node", build.node, "--firmware", program,
             *stimuli],
            cwd=place, env=environment(), input=ANSWERS, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
        )  # fmt: skip
        said = done.stdout.decode()
        if words.COMPUTER_LATE not in said:
            break
    return Held(done.returncode, said, json.loads((place / "results" / "bench-0001" / "bench.json").read_text())["stimuli"])


@pytest.fixture(scope="module")
def held(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Held]]:
    compiler()
    folder = tmp_path_factory.mktemp("firmware")
    programs = {name: built(name, folder) for name in BUILDS}
    with ThreadPoolExecutor(AT_ONCE) as pool:
        sessions = {name: pool.submit(hold, name, folder, program) for name, program in programs.items()}
        yield {name: session.result() for name, session in sessions.items()}


def test_the_sound_one_passes(held: dict[str, Held]) -> None:
    status, said, came = held["SOUND"]
    assert status == 0, said
    assert {each["stimulus"] for each in came} == set(BUILDS["SOUND"].stimuli)
    assert all(str(each["verdict"]).startswith("pass") for each in came)
    assert words.NEUTRAL[True] in said


@pytest.mark.parametrize("name", [name for name in BUILDS if name != "SOUND"])
def test_a_broken_one_fails_what_names_its_defect(name: str, held: dict[str, Held]) -> None:
    status, said, came = held[name]
    assert status == 1, said
    assert "BROKEN ON PURPOSE" in said
    failed = [each for each in came if each["verdict"] == "fail"]
    assert [each["stimulus"] for each in failed] == list(BUILDS[name].stimuli)[-1:] * len(failed) != [], said
    assert all(BUILDS[name].fails in each["requirements"] for each in failed)  # type: ignore[operator]
