"""`busim bench` as a user meets it: wrong words; and whole sessions in real time, each ended in a way of its own.

The sessions run beside each other, as each takes half a minute of real time and next to no work.
"""

import os
import re
import select
import signal
import subprocess
import sys
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from pathlib import Path

import pytest

from busim import bench_labels as words
from busim.events import bits

from .command_line import ENTRY, ROOT, call_busim, environment

pytestmark = pytest.mark.xdist_group("real time")

FIRST_BOAT = ROOT / "configs" / "first_boat"
FIRMWARE = f"{sys.executable} {ROOT / 'tests' / 'cli' / 'firmware_program.py'} {FIRST_BOAT} engine_room"
ANSWERS = b"the shaft coupling\nshown\n"
DRIVE_STATE = f" main {bits.CODE_DRIVE_STATE << 6 | 2:03X}#"


class Running:
    """A session in a folder of its own. Its input stays open, as a terminal's does."""

    def __init__(self, folder: Path, *options: str, **changed: str) -> None:
        folder.mkdir()
        self.folder = folder
        self.process = subprocess.Popen(
            [sys.executable, "-c", ENTRY, "bench", str(FIRST_BOAT), "--node", "engine_room", *options],
            cwd=folder, env=environment(**changed), stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
        )  # fmt: skip
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.write(ANSWERS)
        self.process.stdin.flush()
        self.out = self.process.stdout
        self.seen = b""

    def read(self, timeout_s: float = 90) -> bool:
        """What it says next; False at its end."""
        if not select.select([self.out], [], [], timeout_s)[0]:
            return True
        received = os.read(self.out.fileno(), 65_536)
        self.seen += received
        return bool(received)

    def until_ahead(self) -> None:
        """Until its record shows that the device reports its gear in."""
        while not self.ahead():
            assert self.read(0.2), self.seen.decode()

    def ahead(self) -> bool:
        log = self.folder / "results" / "bench-0001" / "frames.log"
        text = log.read_text() if log.exists() else ""
        states = [line.partition("#")[2] for line in text.splitlines() if DRIVE_STATE in line]
        return any(len(data) == 16 and bits.field(int(data, 16), bits.STATE_SENSED_GEAR) == bits.AHEAD for data in states)

    def worker(self) -> int:
        children = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children").read_text().split()
        named = {int(child): Path(f"/proc/{child}/cmdline").read_bytes() for child in children}
        return next(child for child, line in named.items() if b"spawn_main" in line)

    def end(self) -> tuple[int, str]:
        """Everything it, and whoever it left behind, says until all have ended."""
        while self.read():
            pass
        self.out.close()
        assert self.process.stdin is not None
        self.process.stdin.close()
        return self.process.wait(60), self.seen.decode()


@pytest.fixture(scope="module")
def sessions(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, tuple[int, str, Path]]]:
    place = tmp_path_factory.mktemp("bench")
    only = ("--stimulus", "take_and_go")
    started = {
        "whole": Running(place / "whole", "--stimulus", "heartbeats", *only, "--firmware", FIRMWARE),
        "stubborn": Running(place / "stubborn", *only, "--firmware", FIRMWARE, STUBBORN="1"),
        "interrupted": Running(place / "interrupted", *only),
        "screen killed": Running(place / "screen", *only, "--firmware", FIRMWARE),
        "session killed": Running(place / "session", *only),
    }
    ended = {}
    try:
        started["interrupted"].until_ahead()
        started["interrupted"].process.send_signal(signal.SIGINT)
        started["session killed"].until_ahead()
        os.kill(started["session killed"].worker(), signal.SIGKILL)
        started["screen killed"].until_ahead()
        started["screen killed"].process.kill()
        for name, running in started.items():
            ended[name] = (*running.end(), running.folder)
        yield ended
    finally:
        for running in started.values():
            running.process.kill()


@pytest.mark.slow
def test_firmware_in_a_process_of_its_own(sessions: dict[str, tuple[int, str, Path]]) -> None:
    status, said, folder = sessions["whole"]
    assert status in (0, 3), said
    assert words.CAUTIONS in said
    assert words.NEUTRAL[True] in said
    assert "pass (self-reported): the gear went in and came out" in said
    results = folder / "results" / "bench-0001"
    suite = ET.parse(results / "junit.xml").getroot()
    assert suite.get("failures") == "0"
    assert {"heartbeats", "take_and_go"} <= {str(case.get("classname")).partition(".")[2] for case in suite}
    assert "the shaft coupling" in (results / "bench.json").read_text()
    assert "Traceback" not in said


@pytest.mark.slow
def test_a_device_that_stays_ahead_fills_the_screen(sessions: dict[str, tuple[int, str, Path]]) -> None:
    status, said, _ = sessions["stubborn"]
    assert status == 1
    assert all(said.count(line.strip()) > 3 for line in words.CUT_POWER)
    assert words.NEUTRAL[False] in said


@pytest.mark.slow
def test_ctrl_c_ends_in_neutral(sessions: dict[str, tuple[int, str, Path]]) -> None:
    status, said, folder = sessions["interrupted"]
    assert status in (1, 130), said
    assert words.ENDING in said
    assert words.NEUTRAL[True] in said
    assert (folder / "results" / "bench-0001" / "verdicts.txt").exists()


@pytest.mark.slow
def test_a_screen_that_dies_leaves_a_session_that_ends_in_neutral(sessions: dict[str, tuple[int, str, Path]]) -> None:
    _, said, _ = sessions["screen killed"]
    assert words.ENDED_ALONE in said
    assert not any(line.strip() in said for line in words.CUT_POWER)


@pytest.mark.slow
def test_a_session_that_dies_fills_the_screen(sessions: dict[str, tuple[int, str, Path]]) -> None:
    status, said, folder = sessions["session killed"]
    assert status == 4
    assert words.CUT_POWER[2].strip() in said
    assert words.SESSION_DIED in said
    assert (folder / "results" / "bench-0001" / "frames.log").stat().st_size


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ((), "which node is on the bench?"),
        (("--node", "engine_rom"), "did you mean engine_room?"),
        (("--node", "engine_room", "--stimulus", "heartbeat"), "did you mean heartbeats?"),
        (("--node", "engine_room", "--bus", "maim"), "did you mean main?"),
        (("--node", "engine_room", "--interface", "slcan"), "--channel"),
        (("--node", "engine_room", "--channel", "can0"), "no channel"),
        (("--node", "engine_room", "--machinery", "crane"), "rig or band"),
        (("--node", "engine_room", "--throttle-cap", "2000"), "from 0 to 1000"),
        (("--node", "wheelhouse", "--machinery", "band"), "a station has none"),
        (("--node", "engine_room", "--interface", "slcan", "--channel", "x", "--firmware", "y"), "--interface simulated"),
    ],
)
def test_a_wrong_word_is_a_line(tmp_path: Path, options: tuple[str, ...], said: str) -> None:
    done = call_busim("bench", str(FIRST_BOAT), *options, folder=tmp_path)
    assert done.status == 2, done.out
    assert said in done.err
    assert not (tmp_path / "results").exists()


def test_the_adapters_are_listed(tmp_path: Path) -> None:
    done = call_busim("bench", "--list", folder=tmp_path)
    assert done.status == 0, done.err
    assert "simulated" in done.out


@pytest.mark.slow
@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--interface", "slcan", "--channel", "/dev/nothing_here", "--machinery", "rig"), "is it plugged in"),
        (("--interface", "slacn", "--channel", "x", "--machinery", "rig"), "did you mean slcan?"),
        (("--firmware", "/no/such/program"), "can't be started"),
        (("--firmware", "false"), "ended at once"),
    ],
)
def test_an_adapter_that_is_not_there_is_a_line(tmp_path: Path, options: tuple[str, ...], said: str) -> None:
    running = Running(tmp_path / "there", *options)
    status, out = running.end()
    assert status == 2, out
    assert said in out
    assert "Traceback" not in out


@pytest.mark.slow
def test_firmware_without_machinery_is_not_asked_for_it(tmp_path: Path) -> None:
    """What a station's display shows goes over no bus: nothing is said of it, and no "fail" for want of ears."""
    firmware = FIRMWARE.replace("engine_room", "wheelhouse")
    running = Running(tmp_path / "station", "--node", "wheelhouse", "--firmware", firmware, "--stimulus", "heartbeats")
    status, out = running.end()
    assert status == 0, out
    assert "machinery by the device's own rig" in out
    assert "bench band" not in out
    assert not re.search(r"station\.nobody_shown +\w", out), out


@pytest.mark.slow
def test_a_whole_boat_on_the_adapter_is_refused_and_hears_nothing(tmp_path: Path) -> None:
    """A real slcan client of python-can, on what might be a boat: every node of her is there."""
    boat = subprocess.Popen(
        [sys.executable, "-c", ENTRY, "plug", str(FIRST_BOAT)],
        cwd=tmp_path, env=environment(), stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert boat.stdout is not None
    channel = next(found[0] for line in boat.stdout if (found := re.search(r"socket://[\d.:]+", line)))
    try:
        running = Running(tmp_path / "bench", "--interface", "slcan", "--channel", channel, "--machinery", "rig")
        status, said = running.end()
    finally:
        boat.send_signal(signal.SIGINT)
        left, _ = boat.communicate(timeout=60)
    assert status == 2, said
    assert "This may be a boat" in said
    assert "the adapter answers within" in said
    assert words.NEUTRAL[None] in said
    assert re.search(r"left: [\d,]+ frames heard, 0 handed in", left), left
