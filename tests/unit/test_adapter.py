"""The adapter by itself: how it is opened, what its lines are taken for, and every trouble with it as one line with what to try."""

import errno
import sys
from collections.abc import Iterator
from typing import Any

import can
import pytest
from hypothesis import given
from hypothesis import strategies as st

from busim import adapter_labels as labels
from busim.bench import adapter as adapter_module
from busim.bench import serial_adapter
from busim.bench.adapter import Adapter, AdapterError, Wanted, adapters_found, open_adapter
from busim.bench.serial_adapter import is_frame
from busim.bench.slcan import frame_line
from busim.bench.wire_trouble import BUS_OFF, ERRORS, LOST, NO_ACKNOWLEDGEMENT, PASSIVE, STAMPS_WANTED, Stamps, WireTrouble
from busim.logs.frame import PLAIN, LogFrame

from .slcan_device import BELL, Answer, SlcanDevice, without_waits

RATE = 250_000
DOORS = pytest.mark.parametrize("terminal", [False, True], ids=["tcp", "pty"])


@pytest.fixture(autouse=True)
def _no_long_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    without_waits(monkeypatch)


def opened(device: SlcanDevice, *, listen_only: bool = True, bit_rate: int = RATE) -> Adapter:
    return open_adapter(Wanted("slcan", device.channel, bit_rate, listen_only=listen_only))


def frames_of(adapter: Adapter, count: int) -> Iterator[LogFrame]:
    while count:
        frame = adapter.receive(5)
        assert frame is not None
        yield frame
        count -= 1


# ------------------------------------------------------------------------------------------------ opening, and reading


@DOORS
def test_it_is_opened_to_listen_only_and_its_frames_come(terminal: bool) -> None:
    with SlcanDevice(terminal=terminal, opened=b"t2812ABCD\rt1230\r") as device, opened(device) as adapter:
        frames = [*frames_of(adapter, 2)]
        assert [frame[2:] for frame in frames] == [(PLAIN, 0x281, b"\xab\xcd"), (PLAIN, 0x123, b"")]
        assert (adapter.silent, adapter.words, adapter.garbage) == (True, labels.ADAPTER_SILENT, 0)
    assert [command for command in device.told if command] == [b"C", b"S5", b"L", b"C"]


def test_it_acknowledges_where_that_is_asked() -> None:
    with SlcanDevice() as device, opened(device, listen_only=False) as adapter:
        assert (adapter.silent, adapter.words) == (None, labels.ADAPTER_AS_ASKED)
    assert b"O" in device.told


def test_what_another_program_left_in_it_is_left_out() -> None:
    """It was on the bus when it was opened, at who knows which bit rate."""
    with SlcanDevice(greeting=b"t7FF0\rt7FF0\r2810\r", opened=b"t1230\r") as device, opened(device) as adapter:
        assert [frame[3] for frame in frames_of(adapter, 1)] == [0x123]
        assert adapter.garbage == 0


@pytest.mark.parametrize("bit_rate", [10_000, 250_000, 800_000, 750_000, 1_000_000])
def test_bit_rates_have_their_numbers(bit_rate: int) -> None:
    """S0 to S8 of the slcan manual; S7 is 800 there and 750 kbit/s in python-can."""
    number = {10_000: b"S0", 250_000: b"S5", 800_000: b"S7", 750_000: b"S7", 1_000_000: b"S8"}[bit_rate]
    with SlcanDevice() as device, opened(device, bit_rate=bit_rate):
        assert number in device.told


def test_one_that_never_answers_is_opened_all_the_same() -> None:
    silent: dict[bytes, Answer] = dict.fromkeys((b"", b"C", b"S", b"L", b"O", b"V", b"F"), b"")
    with SlcanDevice(replies=silent, opened=b"t1230\r") as device, opened(device) as adapter:
        assert [frame[3] for frame in frames_of(adapter, 1)] == [0x123]
        assert not adapter.bus.answers  # type: ignore[attr-defined]


def test_a_stamp_of_the_adapter_belongs_to_no_frame() -> None:
    with SlcanDevice(opened=b"t1231AA1234\r") as device, opened(device) as adapter:
        assert [frame[2:] for frame in frames_of(adapter, 1)] == [(PLAIN, 0x123, b"\xaa")]


@pytest.mark.parametrize(
    "line",
    ["t", "t28", "t281", "t2812AB", "t2812ABC", "t2819", "tFFF0", "t28A2ABCG", "T0000028", "T000002812AB", "TFFFFFFFF0", "r28",
     "$GPRMC"],
)
def test_a_line_that_was_cut_short_is_no_frame(line: str) -> None:
    """python-can takes t2812AB for a frame of one byte."""
    assert not is_frame(line)


@given(st.integers(0, 0x7FF), st.binary(max_size=8), st.integers(0, 59_999) | st.none())
def test_a_whole_line_is_a_frame(can_id: int, data: bytes, stamp_ms: int | None) -> None:
    line = frame_line(can_id, data, stamp_ms).decode()[:-1]
    assert is_frame(line)
    assert not any(is_frame(line[:end]) for end in range(len(line)) if len(line) - end not in (0, 4))


@DOORS
def test_spoilt_lines_are_counted_and_the_rest_is_read(terminal: bool) -> None:
    spoilt = b"t28\r\xff\xfe\x80\rt2812A\rhello\rtXYZ0\r" + b"x" * 300 + b"\r"
    with SlcanDevice(terminal=terminal, opened=spoilt + b"t1230\r") as device, opened(device) as adapter:
        assert [frame[3] for frame in frames_of(adapter, 1)] == [0x123]
        assert adapter.garbage in (6, 7)  # the long one may come in two


@given(st.binary(max_size=200))
def test_no_bytes_are_too_odd(text: bytes) -> None:
    reader = serial_adapter.SerialAdapter.__new__(serial_adapter.SerialAdapter)
    reader._buffer, reader._asked, reader.garbage, reader.bells, reader.status = bytearray(text + b"\r"), False, 0, 0, None
    while (line := reader._next_line()) is not None:
        reader._means_something(line)
    assert len(reader._buffer) <= serial_adapter.LONGEST_LINE


# ------------------------------------------------------------------------------------------------ troubles


@pytest.mark.parametrize(
    ("refuses", "listen_only", "said"),
    [
        (b"S", True, "refuses a bit rate of 250000 bit/s"),
        (b"L", True, "refuses to listen only"),
        (b"O", False, "refuses to go on the bus"),
    ],
)
def test_what_it_refuses_is_said(refuses: bytes, listen_only: bool, said: str) -> None:
    with SlcanDevice(replies={refuses: BELL}) as device, pytest.raises(AdapterError, match=said) as raised:
        opened(device, listen_only=listen_only)
    assert "\n" not in str(raised.value)
    assert device.channel in str(raised.value)


def test_a_bit_rate_that_no_slcan_adapter_knows_is_refused_before_it_is_opened() -> None:
    with pytest.raises(AdapterError, match="no such bit rate as 33333"):
        open_adapter(Wanted("slcan", "/dev/nothing_here", 33_333))


@DOORS
def test_unplugged_in_the_middle(terminal: bool) -> None:
    with SlcanDevice(terminal=terminal, opened=b"t1230\r") as device:
        adapter = opened(device)
        [*frames_of(adapter, 1)]
        device.unplug()
        with pytest.raises(AdapterError, match="gone") as raised:
            adapter.receive(5)
        adapter.close()
        assert "plug" in str(raised.value)


def test_a_port_that_another_program_has() -> None:
    with SlcanDevice(terminal=True) as device, opened(device):
        with pytest.raises(AdapterError, match="another program has it") as raised:
            opened(device)
        assert device.channel in str(raised.value)


def test_a_bit_rate_that_is_set_elsewhere_is_not_called_none() -> None:
    assert Wanted("socketcan", "can0", 0).rate_words == labels.RATE_ELSEWHERE
    adapter = Adapter(LinkBus(), Wanted("socketcan", "can0", 0, listen_only=True), None)  # type: ignore[arg-type]
    assert "bitrate RATE listen-only on" in adapter.words


def test_nobody_at_the_port() -> None:
    with SlcanDevice() as device:
        pass
    with pytest.raises(AdapterError, match="can't be opened"):
        opened(device)


class RaisedError(Exception):
    """Of a driver's own."""


def wrapped(cause: BaseException, error: BaseException) -> BaseException:
    error.__cause__ = cause
    return error


MISSING_PORT = "could not open port: [Errno 2] No such file or directory: 'X'"


@pytest.mark.parametrize(
    ("error", "hint"),
    [
        (OSError(errno.ENODEV, "No such device"), labels.TRY_NONE),
        (wrapped(FileNotFoundError(errno.ENOENT, MISSING_PORT), can.CanInitializationError("wrapped")), labels.TRY_NONE),
        (PermissionError(errno.EACCES, "Permission denied"), labels.TRY_PERMISSION),
        (OSError(errno.EBUSY, "Device or resource busy"), labels.TRY_BUSY),
        (OSError(errno.ENETDOWN, "Network is down"), labels.TRY_DOWN),
        (can.CanOperationError("Failed to transmit: No buffer space available", errno.ENOBUFS), labels.TRY_ALONE),
        (can.CanOperationError("Error receiving: Network is down", errno.ENETDOWN), labels.TRY_DOWN),
        (ModuleNotFoundError("No module named 'usb'"), labels.TRY_DRIVER),
        (can.CanInterfaceNotImplementedError("Cannot import module can.interfaces.x"), labels.TRY_DRIVER),
        (wrapped(ImportError("libPCBUSB.dylib"), can.CanInitializationError("no")), labels.TRY_DRIVER),
        (can.CanInitializationError("The PCAN-Basic library could not be loaded"), labels.TRY_DRIVER),
        (wrapped(ValueError("bitrate 12345 is not known"), can.CanInitializationError("no")), labels.TRY_VALUES),
        (ValueError("Invalid bitrate, choose one of"), labels.TRY_VALUES),
        (wrapped(NameError("name 'canGetNumberOfChannels' is not defined"), can.CanError("no")), labels.TRY_DRIVER),
        (TypeError("an integer is required"), labels.TRY_VALUES),
        (OSError(errno.EINVAL, "Invalid argument"), labels.TRY_RATE),
        (ConnectionRefusedError(errno.ECONNREFUSED, "Connection refused"), labels.TRY_NOBODY),
        (RaisedError(), labels.TRY_PLUG),
    ],
)
def test_every_cause_has_its_hint_however_deep_it_is_wrapped(
    monkeypatch: pytest.MonkeyPatch, error: BaseException, hint: str
) -> None:
    def failing(**options: object) -> None:
        try:
            raise error
        except BaseException as cause:
            raise RaisedError("a driver's own words, \x1b[31m\nin two lines") from cause

    monkeypatch.setattr(can, "Bus", failing)
    with pytest.raises(AdapterError) as raised:
        open_adapter(Wanted("pcan", "PCAN_USBBUS1", RATE))
    said = str(raised.value)
    assert said.endswith(hint.format(interface="pcan", channel="PCAN_USBBUS1", bit_rate=RATE))
    assert said.isprintable()


def test_a_cause_that_is_its_own_cause_ends() -> None:
    one, other = RaisedError("one"), RaisedError("other")
    one.__context__, other.__context__ = other, one
    assert adapter_module._hint(one) == labels.TRY_PLUG


def test_a_backend_that_is_not_installed(monkeypatch: pytest.MonkeyPatch) -> None:
    """As python-can itself meets it: the module behind the interface can't be imported."""
    for name in [name for name in sys.modules if name == "can.interfaces.gs_usb"]:
        monkeypatch.delitem(sys.modules, name)
    for module in ("usb", "gs_usb", "gs_usb.gs_usb"):
        monkeypatch.setitem(sys.modules, module, None)  # type: ignore[arg-type]
    with pytest.raises(AdapterError, match="not installed here"):
        open_adapter(Wanted("gs_usb", "0", RATE))


@pytest.mark.parametrize("interface", sorted({*can.VALID_INTERFACES} - {*adapter_module.WITHOUT_WIRE}))
def test_whatever_a_computer_lacks_for_it_is_one_line(interface: str) -> None:
    """On the computer that runs this, most kinds of adapter have no driver, and none has this channel."""
    with pytest.raises(AdapterError) as raised:
        open_adapter(Wanted(interface, "no_such_channel", RATE, listen_only=True))
    assert str(raised.value).startswith(f"{interface} no_such_channel: can't be opened (")
    assert str(raised.value).isprintable()


def test_an_interface_nobody_knows_is_named_nearly() -> None:
    with pytest.raises(AdapterError, match="did you mean socketcan"):
        open_adapter(Wanted("socketcam", "can0", RATE))


def test_a_link_that_is_not_there(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever this kernel says to it: one line."""
    with pytest.raises(AdapterError, match="socketcan no_such_link"):
        open_adapter(Wanted("socketcan", "no_such_link", 0, listen_only=True))


def test_looking_for_adapters_bears_a_driver_that_raises(monkeypatch: pytest.MonkeyPatch) -> None:
    def half_installed(**options: object) -> Any:
        raise RaisedError("half installed")

    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: [Port("/dev/ttyX", "a \x07bell")])
    monkeypatch.setattr(can, "detect_available_configs", half_installed)
    found = [each for each in adapters_found() if each.interface == "slcan"]
    assert [(each.channel, each.words.isprintable()) for each in found] == [("/dev/ttyX", True)]


class Port(str):
    """What pyserial finds, as far as we look at it."""

    def __new__(cls, device: str, description: str) -> "Port":
        port = super().__new__(cls, device)
        port.device, port.description = device, description  # type: ignore[attr-defined]
        return port


# ------------------------------------------------------------------------------------------------ trouble on the bus, and stamps


@pytest.mark.parametrize(
    ("flags", "seen"),
    [("00", set()), ("01", {LOST}), ("08", {LOST}), ("20", {PASSIVE}), ("80", {ERRORS}), ("04", {ERRORS}),
     ("A9", {LOST, PASSIVE, ERRORS})],
)
def test_status_flags_tell_of_trouble(flags: str, seen: set[str]) -> None:
    """Bits of the answer to F, of the slcan manual: 0 receive queue full, 2 warning, 3 overrun, 5 error passive, 7 bus error."""
    with SlcanDevice(replies={b"F": f"F{flags}\r".encode()}, beats=lambda: b"t1230\r") as device, opened(device) as adapter:
        adapter.look()
        while adapter.bus.status is None:  # type: ignore[attr-defined]
            assert adapter.receive(5)
        adapter.look()
        assert set(adapter.trouble.seen) == seen
        assert adapter.trouble.known
        assert adapter.bells == 0


def test_one_that_knows_no_flags_refuses_no_frame() -> None:
    with SlcanDevice(replies={b"F": BELL}, opened=b"t1230\r", beats=lambda: b"t1230\r") as device, opened(device) as adapter:
        adapter.look()
        while b"F" not in device.told:
            assert adapter.receive(5)
        [*frames_of(adapter, 3)]
        adapter.look()
        assert (adapter.trouble.known, adapter.bells) == (False, 0)


@pytest.mark.parametrize(
    ("can_id", "data", "seen"),
    [
        (0x004, b"\0\x01\0\0\0\0\0\0", {LOST}),
        (0x004, b"\0\x08\0\0\0\0\0\0", {ERRORS}),
        (0x004, b"\0\x20\0\0\0\0\0\0", {PASSIVE}),
        (0x004, b"\0\x10\0\0\0\0\0\0", {PASSIVE}),
        (0x020, bytes(8), {NO_ACKNOWLEDGEMENT}),
        (0x040, bytes(8), {BUS_OFF}),
        (0x088, bytes(8), {ERRORS}),
        (0x100, bytes(8), set()),
        (0x0AC, b"\0\x11", {LOST, PASSIVE, ERRORS, NO_ACKNOWLEDGEMENT}),
    ],
)
def test_error_frames_tell_of_trouble(can_id: int, data: bytes, seen: set[str]) -> None:
    """Classes and states as in the Linux kernel's include/uapi/linux/can/error.h."""
    trouble = WireTrouble()
    trouble.error_frame(can_id, data)
    assert set(trouble.seen) == seen
    assert len(trouble.words()) == len(seen - ({ERRORS} if PASSIVE in seen else set()))


class LinkBus:
    """What python-can's SocketCAN has, as far as an adapter asks it."""

    def __init__(self, *messages: can.Message) -> None:
        self.messages = [*messages]

    def recv(self, timeout: float) -> can.Message | None:
        return self.messages.pop(0) if self.messages else None


def test_own_frames_that_come_back_are_nobody_elses() -> None:
    own = can.Message(arbitration_id=0x100, is_extended_id=False, is_rx=False)
    theirs = can.Message(arbitration_id=0x101, is_extended_id=False, timestamp=5.0)
    error = can.Message(arbitration_id=0x40, is_error_frame=True, data=bytes(8), is_extended_id=False)
    adapter = Adapter(LinkBus(own, theirs, error), Wanted("socketcan", "can0", RATE), None)  # type: ignore[arg-type]
    frames = [adapter.receive(0), adapter.receive(0)]
    assert [frame[3] for frame in frames if frame] == [0x101, 0x40]
    assert (adapter.echoes, [*adapter.trouble.seen]) == (1, [BUS_OFF])


def test_how_fine_stamps_are() -> None:
    stamps = Stamps("pcan")
    assert stamps.words() == labels.STAMPS_FEW
    for number in range(STAMPS_WANTED):
        stamps.see(1_700_000_000_000_000_000 + number * number * 50_000 + 120)
    assert stamps.words() == labels.STAMPS_FINE.format(us=50)
    assert Stamps("slcan").words() == labels.STAMPS_NONE
    assert Stamps("socketcan").words() == labels.STAMPS_KERNEL
