"""The firmware as programs of a desk: what is in the sources, how they compile, and what they say to an slcan adapter."""

import os
import re
import socket
import subprocess
import tty
from pathlib import Path

import pytest

from busim.export.c_files import c_files
from busim.export.written import write_files
from busim.protocol.catalogue import DRIVE_OBEYS, LEVER
from busim.protocol.codec import INVALID, check

from .c_driver import compile_c, compiler
from .firmware_rig import FIRMWARE, OF_KIND, Firmware, sources_of

OF_A_PORT = ("mailboxes", "port_bench", "port_host", "port_host_open", "run", "slcan")
OF_A_SYSTEM = ("port_host.c", "port_host_open.c")
NODES = (
    ("marsh_tern", "wheelhouse"), ("marsh_tern", "saloon_driver"), ("first_boat", "wheelhouse"), ("marsh_tern", "port_drive"),
    ("first_boat", "engine_room"),
)  # fmt: skip
SWITCHES = (
    "WRONG_ID", "BYTE_ORDER", "COUNTER_IGNORED", "CRC_UNCHECKED", "TIMEOUTS_TRIPLED", "BEAT_FROM_TIMER", "NO_TIMEOUT", "REENGAGES",
    "OBEYS_OLD_HOLDER", "ENGAGES_ABOVE_IDLE",
)  # fmt: skip


def sources_for_a_desk(firmware: Firmware, boat: str, node: str) -> list[Path]:
    """What a program for a desk is made of, beside its export."""
    return [*sources_of(firmware.boat(boat).boat.nodes[node].kind), *(FIRMWARE / f"{name}.c" for name in OF_A_PORT)]


def test_no_heap_no_floating_point_and_no_other_header() -> None:
    for path in sorted(FIRMWARE.glob("*.[ch]")):
        code = re.sub(r"/\*.*?\*/|\"[^\"\n]*\"", "", path.read_text(), flags=re.DOTALL)
        assert not re.search(r"\b(float|double|malloc|calloc|realloc|free|alloca)\b|\d\.\d", code), path.name
        if path.name not in OF_A_SYSTEM:
            assert set(re.findall(r"#include <(.*)>", path.read_text())) <= {"stdbool.h", "stdint.h", "stddef.h"}, path.name


@pytest.mark.parametrize(("boat", "node"), NODES)
@pytest.mark.parametrize("by", ["gcc", "clang"])
def test_builds_for_a_bench_compile_without_a_warning(boat: str, node: str, by: str, firmware: Firmware, tmp_path: Path) -> None:
    """All others are compiled, and run, by the traces, under the same options."""
    compiler(by)
    exported = write_files(tmp_path, c_files(firmware.boat(boat), node), replace=False)
    sources = [*sources_for_a_desk(firmware, boat, node), *(path for path in exported if path.suffix == ".c")]
    switches = ("-DNODE_BENCH", *(f"-DBROKEN_{switch}" for switch in SWITCHES))
    compile_c(sources, [tmp_path, FIRMWARE], "-Wconversion", "-Wshadow", "-fsyntax-only", *switches, by=by)


@pytest.fixture(scope="module")
def program(firmware: Firmware) -> Path:
    """Marsh Tern's wheelhouse station for a desk."""
    return firmware.compiled("marsh_tern", "wheelhouse", sources_for_a_desk(firmware, "marsh_tern", "wheelhouse"))


class Adapter:
    """The other end of slcan, as a file descriptor: answers every frame with `z`."""

    def __init__(self, file: int) -> None:
        self.file = file
        self.held = b""

    def line(self) -> bytes:
        while b"\r" not in self.held:
            self.held += os.read(self.file, 256)
        line, _, self.held = self.held.partition(b"\r")
        if line.startswith(b"t"):
            os.write(self.file, b"z\r")
        return line

    def frame(self, can_id: int) -> bytes:
        """The content of the next frame of this id."""
        while not (line := self.line()).startswith(b"t%03X" % can_id):
            pass
        return bytes.fromhex(line[5:].decode())


def started(program: Path, place: str) -> "subprocess.Popen[bytes]":
    words = [program, "station", "wheelhouse", place]
    return subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE)


def played(adapter: Adapter, process: "subprocess.Popen[bytes]") -> None:
    """It opens the adapter, sends levers as they are read, shows who is in control, and bears what makes no sense."""
    assert process.stdin is not None
    assert process.stdout is not None
    assert [adapter.line() for _ in range(4)] == [b"", b"C", b"S5", b"O"]
    assert process.stdout.readline() == b"shows 4\n"
    lever_id = LEVER.can_id(1)
    unread = check(lever_id, adapter.frame(lever_id))
    assert unread != INVALID
    assert LEVER.unpack(unread)[5] == 1
    good = "".join(f"lever.{lever}{track} 500\n" for lever in (1, 2) for track in ("", "b"))
    process.stdin.write(f"nonsense\nlever.9 1\n{good}".encode())
    process.stdin.flush()
    while LEVER.unpack(check(lever_id, adapter.frame(lever_id)))[5]:
        pass
    os.write(adapter.file, b"t14\rtXYZ8\r\x07T0000028180011223344556677\r" + b"t2" * 40 + b"\r")
    for counter in (7, 8):
        can_id = DRIVE_OBEYS.can_id(2)
        data = DRIVE_OBEYS.pack(can_id, counter, 3, 5, 0, 1, 1, 0, 1)
        os.write(adapter.file, b"t%03X8%s1234\r" % (can_id, data.hex().upper().encode()))
    assert process.stdout.readline() == b"shows 3\n"


def ended(process: "subprocess.Popen[bytes]") -> tuple[int, list[str]]:
    _, errors = process.communicate()
    return process.returncode, errors.decode().splitlines()


def test_by_tcp(program: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        process = started(program, f"127.0.0.1:{listener.getsockname()[1]}")
        connection, _ = listener.accept()
        with connection:
            played(Adapter(connection.fileno()), process)
        status, errors = ended(process)
    assert status == 1
    assert errors[0].startswith("station wheelhouse of Marsh Tern")
    assert errors[1:] == ["not an input and its value: nonsense", "a station has no input lever.9", "the adapter is gone"]


def test_by_a_pseudo_terminal(program: Path) -> None:
    ours, theirs = os.openpty()
    tty.setraw(theirs)
    process = started(program, os.ttyname(theirs))
    try:
        played(Adapter(ours), process)
    finally:
        os.close(ours)
        os.close(theirs)
    assert ended(process)[0] == 1


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "usage: "),
        (["drive", "port_drive", "127.0.0.1:1"], "this program is the station wheelhouse, and no other"),
        (["/nowhere/at/all"], "No such file or directory: /nowhere/at/all"),
        (["1=127.0.0.1:1"], "this node is not on that bus, or it was named before: 1=127.0.0.1:1"),
        (["nine=127.0.0.1:1"], "not the number of a bus: nine=127.0.0.1:1"),
    ],
)
def test_what_it_can_not_begin_with(words: list[str], said: str, program: Path) -> None:
    done = subprocess.run([program, *words], capture_output=True, text=True)
    assert done.returncode == 2
    assert done.stderr.startswith(said)
    assert done.stderr.count("\n") == 1


def test_every_kind_is_named() -> None:
    """A kind that has its files here is one that the traces are played through."""
    texts = "".join(path.read_text() for path in FIRMWARE.glob("*.c"))
    assert set(re.findall(r'const node the_node = \{"(\w+)"', texts)) == set(OF_KIND)
