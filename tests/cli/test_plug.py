"""`busim plug` as a user meets it: wrong words, its end by itself and by Ctrl-C, and python-can as the program plugged in."""

import re
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from .command_line import ENTRY, ROOT, call_busim, environment, run_busim

FIRST_BOAT = ROOT / "configs" / "first_boat"


class Plugged:
    """A process of `busim plug` and the channels it told, as python-can has them."""

    def __init__(self, *words: str, folder: Path, channels: int = 1) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-c", ENTRY, "plug", str(FIRST_BOAT), *words],
            cwd=folder, env=environment(), stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
        )  # fmt: skip
        assert self.process.stdout is not None
        self.lines: list[str] = []
        self.channels: list[str] = []
        for line in self.process.stdout:
            self.lines.append(line)
            if found := re.search(r"(socket://[\d.:]+)|(/dev/pts/\d+)", line):
                self.channels.append(found[0])
            if len(self.channels) == channels:
                break

    def end(self) -> str:
        self.process.send_signal(signal.SIGINT)
        out, _ = self.process.communicate(timeout=60)
        return "".join(self.lines) + out


def open_can(channel: str, **options: Any) -> Any:
    import can

    return can.Bus(interface="slcan", channel=channel, sleep_after_open=0, **options)


def received(bus: Any, can_id: int) -> Any:
    """The next frame of this id. AssertionError where none comes for a minute."""
    until = time.monotonic() + 60
    while time.monotonic() < until:
        message = bus.recv(1)
        if message is not None and message.arbitration_id == can_id:
            return message
    raise AssertionError(f"no frame {can_id:03X} for a minute")


@pytest.mark.slow
@pytest.mark.parametrize("door", ["port", "pty"])
def test_two_python_can_programs(tmp_path: Path, door: str) -> None:
    import can

    plugged = Plugged(*(("--pty", "2") if door == "pty" else ()), folder=tmp_path, channels=2 if door == "pty" else 1)
    channels = plugged.channels if door == "pty" else plugged.channels * 2
    one, two = open_can(channels[0], bitrate=250_000), open_can(channels[1], bitrate=250_000)
    received(one, 10 << 6 | 1)
    received(two, 10 << 6 | 2)
    two.send(can.Message(arbitration_id=0x6F0, data=b"\x01\x02\x03", is_extended_id=False))
    assert bytes(received(one, 0x6F0).data) == b"\x01\x02\x03"
    assert two.get_version(5) == (1, 1)
    assert two.get_serial_number(5) == "BSIM"
    one.shutdown()
    two.shutdown()
    said = plugged.end()
    assert plugged.process.returncode == 130
    assert re.search(r"plugged in for \d+ s, run code [0-9a-f]{32}", said)
    assert "behind the clock" in said
    assert "Traceback" not in said


@pytest.mark.slow
def test_a_program_plays_the_node_that_is_left_out(tmp_path: Path) -> None:
    """Without the drive nobody reports an engine; a program that sends its heartbeats is heard in its place."""
    plugged = Plugged("--without", "engine_room", folder=tmp_path)
    bus = open_can(plugged.channels[0])
    for _ in range(5):
        assert received(bus, 10 << 6 | 1)
    bus.shutdown()
    said = plugged.end()
    assert "left out, for the programs to play in the order in which they come: engine_room" in said
    assert "as engine_room" in said
    assert "engine drive" not in said


def test_it_ends_by_itself(tmp_path: Path) -> None:
    done = run_busim("plug", str(FIRST_BOAT), "--for", "1", folder=tmp_path)  # not in this process: it asks for precedence
    assert done.status == 0, done.err
    assert "127.0.0.1:" in done.out
    assert "plugged in for 1 s" in done.out
    assert "never bridge" in done.out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--bus", "maim"), "did you mean main?"),
        (("--without", "engine_rom"), "did you mean engine_room?"),
        (("--without", "engine_room", "--without", "engine_room"), "named twice"),
        (("--port", "70000"), "a whole number from 0 to 65535"),
        (("--pty", "0"), "a whole number from 1 to 8"),
        (("--scenario", "nothing"), "no such file"),
    ],
)
def test_a_wrong_word_is_a_line(tmp_path: Path, words: tuple[str, ...], said: str) -> None:
    done = call_busim("plug", str(FIRST_BOAT), *words, folder=tmp_path)
    assert done.status == 2, done.out
    assert said in done.err


def test_a_port_that_is_taken_is_a_line(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        done = call_busim("plug", str(FIRST_BOAT), "--port", str(taken.getsockname()[1]), folder=tmp_path)
    assert done.status == 2
    assert "can't be opened on this computer" in done.err
