"""The link to a real adapter, with python-can's slcan on one end and bytes in the test's hand on the other."""

import socket
import time
from collections.abc import Iterator

import pytest

from busim import bench_labels as labels
from busim.bench import link as link_module
from busim.bench import serial_adapter
from busim.bench.adapter import AdapterError, Wanted, open_adapter
from busim.bench.doors import loopback_listener
from busim.bench.link import GARBAGE_MOST, LinkError, OverAdapter, Received


class AdapterEnd:
    """What an adapter would say and be told."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        for module, name in ((link_module, "PROBE_S"), (serial_adapter, "ANSWER_S"), (serial_adapter, "START_S")):
            monkeypatch.setattr(module, name, 0.0)  # nobody answers here
        self.listener = loopback_listener(0)
        self.listener.setblocking(True)
        channel = f"socket://127.0.0.1:{self.listener.getsockname()[1]}"
        adapter = open_adapter(Wanted("slcan", channel, 250_000))
        self.connection, _ = self.listener.accept()
        self.link = OverAdapter(adapter, AdapterError)

    def says(self, text: bytes) -> None:
        self.connection.sendall(text)

    def hears(self, count: int) -> list[Received]:
        """What the link gives, until there is so much. AssertionError after a minute."""
        came: list[Received] = []
        until = time.monotonic() + 60
        while len(came) < count:
            assert time.monotonic() < until, came
            came += self.link.receive()
        return came

    def close(self) -> None:
        self.link.close()
        self.connection.close()
        self.listener.close()


@pytest.fixture
def end(monkeypatch: pytest.MonkeyPatch) -> Iterator[AdapterEnd]:
    end = AdapterEnd(monkeypatch)
    yield end
    end.close()


def test_frames_come_though_answers_come_between_them(end: AdapterEnd) -> None:
    end.says(b"z\rz\rt2812ABCD\rz\r\rt1230\rz\r")
    assert end.hears(2) == [(True, 0x281, b"\xab\xcd"), (True, 0x123, b"")]


def test_others_than_plain_frames_are_told_apart(end: AdapterEnd) -> None:
    end.says(b"T0000028100\rr2810\rt2810\r"[:-1] + b"\r")
    came = end.hears(2)
    assert [plain for plain, _, _ in came].count(True) <= 1
    assert not came[0][0]


def test_a_frame_goes_out_as_slcan_has_it(end: AdapterEnd) -> None:
    end.connection.settimeout(10)
    end.link.send(0x085, bytes(range(8)))
    seen = b""
    while b"t08580001020304050607\r" not in seen:
        seen += end.connection.recv(4096)
    assert b"S5\r" in seen  # the bit rate was told


def test_refused_frames_are_counted(end: AdapterEnd) -> None:
    end.says(b"\a\a\at1230\r")
    end.hears(1)
    assert end.link.bells == 3


def test_cut_lines_and_bytes_that_are_no_characters_are_borne(end: AdapterEnd) -> None:
    end.says(b"t28\r" + bytes([0x80, 0xFF, 0xFE]) + b"\rt281\rt1230\r")
    assert end.hears(1) == [(True, 0x123, b"")]
    assert 0 < end.link.adapter.garbage <= 3


def test_nothing_but_garbage_is_one_clear_message(end: AdapterEnd) -> None:
    end.says(b"tXYZ\r" * (GARBAGE_MOST + 1))
    with pytest.raises(LinkError, match="were no frames"):
        end.hears(1)


def test_an_adapter_that_is_unplugged_is_one_clear_message(end: AdapterEnd) -> None:
    end.connection.shutdown(socket.SHUT_RDWR)
    end.connection.close()
    with pytest.raises(LinkError, match="gone"):
        end.hears(1)


def test_one_that_does_not_say_its_version_is_noted(end: AdapterEnd) -> None:
    assert any("version" in note for note in end.link.notes)
    assert end.link.round_trip_ns == link_module.ASSUMED_NS
    assert labels.STAMPED_HERE in end.link.notes
