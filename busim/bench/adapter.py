"""One CAN adapter through python-can: found, opened, read, and every trouble with it in words. The only place that opens one.

For whoever speaks to real hardware, `busim listen` and the bench alike:

    for found in adapters_found(): ...                                    # what --list prints
    with open_adapter(Wanted("slcan", "/dev/ttyACM0", 250_000)) as adapter:   # Wanted(..., listen_only=True) never sends
        adapter.silent, adapter.words                                      # does it only listen, and what to say about that
        adapter.receive(0.2)                                               # a LogFrame, or None; garbage is counted
        adapter.send(can_id, data)                                         # refused where it was opened to listen only

`AdapterError` is one line with what to try. python-can and pyserial are loaded when the first of these is called.
"""

import errno
import logging
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Final

from busim import adapter_labels as labels
from busim.bench.wire_trouble import Stamps, WireTrouble
from busim.logs.frame import ERROR, LogFrame
from busim.logs.source import frame_of
from busim.reading.problem import nearest, printable

if TYPE_CHECKING:
    import can

LISTENS_ONLY: Final[dict[str, dict[str, Any]]] = {
    "slcan": {"listen_only": True},
    "vector": {"listen_only": True},
    "nixnet": {"listen_only": True},
    "kvaser": {"driver_mode": False},
    "seeedstudio": {"operation_mode": "silent"},
}
"""Interface -> what tells it to listen only. PASSIVE_STATE are told by a state."""
PASSIVE_STATE: Final = ("pcan", "systec")
WITHOUT_WIRE: Final = ("virtual", "udp_multicast")
DETECTED: Final = ("gs_usb", "pcan", "kvaser", "ixxat", "vector", "systec", "canalystii", "usb2can")
"""Interfaces that can be asked what is plugged in."""
CAN_LINK_TYPE: Final = "280"
"""ARPHRD_CAN of the Linux kernel's if_arp.h."""


class AdapterError(Exception):
    """What is wrong with an adapter, and what to try, in one line."""


class RefusedError(Exception):
    """An adapter answers that it will not; the message says what, and what to try, with `{bit_rate}` left to be filled in."""


@dataclass(frozen=True)
class Wanted:
    """`channel` as python-can wants it for the interface: a serial port, can0, a number."""

    interface: str
    channel: str
    bit_rate: int
    listen_only: bool = False

    @property
    def rate_words(self) -> str:
        """0 where it is set elsewhere, and not known here."""
        return str(self.bit_rate) if self.bit_rate else labels.RATE_ELSEWHERE


@dataclass(frozen=True)
class Found:
    """`interface` and `channel` as they are given to open it."""

    interface: str
    channel: str
    words: str


class Adapter:
    """An open adapter. `silent`: true where it was told to listen only, None where that can't be told; `garbage` counts what came
    and was no frame; `stamps` knows by whose clock frames are stamped; `echoes` counts own frames that came back from the bus."""

    def __init__(self, bus: "can.BusABC", wanted: Wanted, silent: bool | None) -> None:
        self.bus = bus
        self.wanted = wanted
        self.silent = silent
        self.spoilt = 0
        self.echoes = 0
        self.trouble = WireTrouble()
        self.stamps = Stamps(wanted.interface)

    @property
    def garbage(self) -> int:
        return self.spoilt + int(getattr(self.bus, "garbage", 0))

    @property
    def bells(self) -> int:
        """Frames and commands that it refused, as far as it says so."""
        return int(getattr(self.bus, "bells", 0))

    @property
    def words(self) -> str:
        if self.wanted.interface in WITHOUT_WIRE:
            return labels.ADAPTER_NO_WIRE
        if self.silent:
            return labels.ADAPTER_SILENT
        if not self.wanted.listen_only:
            return labels.ADAPTER_AS_ASKED
        words = labels.ADAPTER_BY_LINK if self.wanted.interface == "socketcan" else labels.ADAPTER_ACKNOWLEDGES
        return words.format(channel=printable(self.wanted.channel), bit_rate=self.wanted.rate_words)

    def receive(self, timeout_s: float) -> LogFrame | None:
        """The next frame, stamped by the adapter where it has a clock, else by the computer. Errors: AdapterError, it is gone."""
        until = time.monotonic() + timeout_s
        while True:
            try:
                message = self.bus.recv(max(until - time.monotonic(), 0))
            except (ValueError, IndexError):
                self.spoilt += 1  # what is no frame: some readers raise whatever it leads them to
                if time.monotonic() >= until:
                    return None
                continue
            except Exception as error:
                raise AdapterError(_trouble(error, self.wanted, labels.ADAPTER_GONE)) from error
            if message is None:
                return None
            if not message.is_rx:
                self.echoes += 1
                continue
            frame = frame_of(message)
            if frame[2] == ERROR:
                self.trouble.error_frame(frame[3], frame[4])
            else:
                self.stamps.see(frame[0])
            return frame

    def look(self) -> None:
        """To be called about once a second: asks an adapter that can tell for trouble on the bus; it shows in `trouble` when the
        answer is in. Errors: AdapterError."""
        bus: Any = self.bus
        if not hasattr(bus, "ask_status"):
            return
        self.trouble.flags(bus.take_status())
        try:
            bus.ask_status()
        except Exception as error:
            raise AdapterError(_trouble(error, self.wanted, labels.ADAPTER_GONE)) from error

    def send(self, can_id: int, data: bytes) -> None:
        """One plain frame. Errors: AdapterError."""
        if self.wanted.listen_only:
            raise AdapterError(labels.ADAPTER_NEVER_SENDS)
        import can

        try:
            self.bus.send(can.Message(arbitration_id=can_id, data=data, is_extended_id=False))
        except Exception as error:
            raise AdapterError(_trouble(error, self.wanted, labels.ADAPTER_GONE)) from error

    def close(self) -> None:
        try:
            self.bus.shutdown()
        except Exception as error:
            # It may be unplugged already: nothing is left to be lost.
            logging.getLogger(__name__).debug("closing: %s", error)

    def __enter__(self) -> "Adapter":
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, traceback: TracebackType | None) -> None:
        self.close()


def open_adapter(wanted: Wanted) -> Adapter:
    """Errors: AdapterError."""
    import can

    _hush()
    known = sorted(can.VALID_INTERFACES)
    if wanted.interface not in known:
        near = nearest(wanted.interface, known)
        meant = labels.ADAPTER_MEANT.format(name=near) if near else labels.ADAPTER_KNOWN.format(names=", ".join(known))
        raise AdapterError(labels.ADAPTER_UNKNOWN.format(interface=printable(wanted.interface), meant=meant))
    options: dict[str, Any] = {"bitrate": wanted.bit_rate}
    silent: bool | None = None
    if wanted.listen_only and wanted.interface in LISTENS_ONLY:
        options |= LISTENS_ONLY[wanted.interface]
        silent = True
    elif wanted.listen_only and wanted.interface in PASSIVE_STATE:
        options["state"] = can.BusState.PASSIVE
        silent = True
    if wanted.interface == "socketcan":
        del options["bitrate"]  # the link has one already
        options["receive_own_messages"] = True  # which come back once somebody acknowledged them
    try:
        return Adapter(_bus(wanted, options), wanted, silent)
    except Exception as error:
        raise AdapterError(_trouble(error, wanted, labels.ADAPTER_NOT_OPEN)) from error


def _bus(wanted: Wanted, options: dict[str, Any]) -> "can.BusABC":
    if wanted.interface == "slcan":
        from busim.bench.serial_adapter import SerialAdapter

        return SerialAdapter(wanted.channel, wanted.bit_rate, listen_only=wanted.listen_only)
    import can

    return can.Bus(interface=wanted.interface, channel=wanted.channel, **options)


def adapters_found() -> Iterator[Found]:
    """Everything that looks like an adapter on this computer. Asks each driver; what has none here says nothing."""
    _hush()
    for link in sorted(Path("/sys/class/net").glob("*/type")):
        try:
            if link.read_text().strip() == CAN_LINK_TYPE:
                yield Found("socketcan", link.parent.name, labels.FOUND_LINK)
        except OSError:
            continue
    import can
    from serial.tools import list_ports  # type: ignore[import-untyped]

    for port in sorted(list_ports.comports()):
        yield Found("slcan", port.device, printable(f"{labels.FOUND_SERIAL}: {port.description or ''}"))
    try:
        configurations = can.detect_available_configs(interfaces=DETECTED)
    except Exception as error:
        # A driver that is half installed raises whatever it likes.
        logging.getLogger(__name__).debug("looking for adapters: %s", error)
        return
    for configuration in configurations:
        yield Found(str(configuration["interface"]), str(configuration["channel"]), labels.FOUND_DRIVER)


def _hush() -> None:
    """python-can logs what goes wrong as well as raising it."""
    logger = logging.getLogger("can")
    logger.addHandler(logging.NullHandler())
    logger.propagate = False


# ------------------------------------------------------------------------------------------------ trouble in words

_HINTS: Final = {
    errno.ENOENT: labels.TRY_NONE,
    errno.ENODEV: labels.TRY_NONE,
    errno.ENXIO: labels.TRY_NONE,
    errno.EACCES: labels.TRY_PERMISSION,
    errno.EPERM: labels.TRY_PERMISSION,
    errno.EBUSY: labels.TRY_BUSY,
    errno.EAGAIN: labels.TRY_BUSY,
    errno.ENETDOWN: labels.TRY_DOWN,
    errno.EIO: labels.TRY_PLUG,
    errno.EAFNOSUPPORT: labels.TRY_LINUX,
    errno.ECONNREFUSED: labels.TRY_NOBODY,
    errno.EINVAL: labels.TRY_RATE,
    errno.EOPNOTSUPP: labels.TRY_RATE,
    errno.ENOBUFS: labels.TRY_ALONE,
}
_MISSING_LIBRARY: Final = ("library", ".dll", ".so", "no backend available", "not installed")
"""What drivers say, where what they stand on is not there."""


def _trouble(error: BaseException, wanted: Wanted, words: str) -> str:
    """One line: what could not be done with which adapter, why, and what to try."""
    place = {"interface": wanted.interface, "channel": printable(wanted.channel), "bit_rate": wanted.rate_words}
    for each in _chain(error):
        if isinstance(each, RefusedError):
            return labels.ADAPTER_REFUSES.format(words=str(each).format(**place), **place)
    why = printable(" ".join(str(error).split())[:200]) or type(error).__name__
    hint = _hint(error)
    return words.format(why=why, hint=hint.format(**place), **place)


def _chain(error: BaseException) -> Iterator[BaseException]:
    """It, and everything it came of: drivers are wrapped, and wrapped again."""
    seen: set[int] = set()
    waiting: BaseException | None = error
    while waiting is not None and id(waiting) not in seen:
        seen.add(id(waiting))
        yield waiting
        waiting = waiting.__cause__ or waiting.__context__


def _hint(error: BaseException) -> str:
    chain = [*_chain(error)]
    for each in chain:
        number = each.errno if isinstance(each, OSError) else getattr(each, "error_code", None)
        if number in _HINTS:
            return _HINTS[number]
    for each in chain:
        # Of an import that failed python-can keeps the text alone; some drivers go on without what they could not load.
        if isinstance(each, ImportError | NameError | AttributeError) or type(each).__name__ == "CanInterfaceNotImplementedError":
            return labels.TRY_DRIVER
        if any(text in str(each).lower() for text in _MISSING_LIBRARY):
            return labels.TRY_DRIVER
    if any(isinstance(each, ValueError | TypeError) for each in chain):
        return labels.TRY_VALUES
    return labels.TRY_PLUG
