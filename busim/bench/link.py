"""What is between the bench and the device under test: an adapter, a firmware's own process, or the simulated bus itself.

`receive` gives what came since it was asked last and never waits; `send` hands one frame over. LinkError is one line with what
to try. Only here does the bench do I/O with a device.
"""

import selectors
import socket
import subprocess
from collections.abc import Generator
from typing import Any, Final, Protocol

from busim import bench_labels as labels
from busim.bench import slcan
from busim.bench.doors import LOOPBACK, SocketStream, loopback_listener
from busim.bench.guest import Seat
from busim.bench.pacing import clock_ns
from busim.bench.probe import Known, probe
from busim.bench.slcan import Slcan, frame_line
from busim.logs.frame import PLAIN
from busim.units import MS

Received = tuple[bool, int, bytes]
"""(plain 11-bit data frame, id, data)"""

CONNECT_S: Final = 20
PROBES: Final = 5
PROBE_S: Final = 0.3
ASSUMED_NS: Final = 2 * MS
"""What a way to an adapter and back takes that can't be asked: *assumed*, a USB one polled every millisecond, twice."""
GARBAGE_MOST: Final = 20
"""Lines that are no frames: fewer may be of a program that used the adapter before."""
OWED_MOST: Final = 1 << 16


class LinkError(Exception):
    """The device can't be reached any more, or never could; the message says what to try."""


class Link(Protocol):
    words: str
    notes: list[str]
    """What was noticed that is no error."""

    def fileno(self) -> int | None: ...

    def receive(self) -> list[Received]: ...

    def send(self, can_id: int, data: bytes) -> None: ...

    def close(self) -> None: ...


class InWorld:
    """The device is a node of the simulated boat: a seat beside it hears it, and speaks to it, by the simulated bus."""

    words = labels.LINK_SIMULATED

    def __init__(self, seat: Seat) -> None:
        self.seat = seat
        self.notes: list[str] = []
        self.heard: list[Received] = []
        seat.hears = lambda now_ns, can_id, data: self.heard.append((True, can_id, data))

    def fileno(self) -> int | None:
        return None

    def receive(self) -> list[Received]:
        heard, self.heard = self.heard, []
        return heard

    def send(self, can_id: int, data: bytes) -> None:
        self.seat.transmit(can_id, data)

    def close(self) -> None:
        self.seat.hears = lambda now_ns, can_id, data: None


class Firmware:
    """A program of its own, started with HOST:PORT as its one word, that connects there and speaks slcan as to an adapter."""

    def __init__(self, program: list[str], bit_rate: int) -> None:
        self.notes: list[str] = []
        self.words = labels.LINK_FIRMWARE.format(program=program[0])
        self.came: list[Received] = []
        self.slcan = Slcan(self, bit_rate)
        self.owed = bytearray()
        self.open = False
        listener = loopback_listener(0)
        place = f"{LOOPBACK}:{listener.getsockname()[1]}"
        try:
            self.process = subprocess.Popen([*program, place], stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL)
        except OSError as error:
            listener.close()
            raise LinkError(labels.FIRMWARE_NOT_STARTED.format(program=program[0], why=error.strerror)) from error
        try:
            self.stream = self._connected(listener, program[0])
        except LinkError:
            self._end()
            raise
        finally:
            listener.close()

    def _connected(self, listener: socket.socket, program: str) -> SocketStream:
        with selectors.DefaultSelector() as selector:
            selector.register(listener, selectors.EVENT_READ)
            for _ in range(CONNECT_S * 10):
                if selector.select(0.1):
                    connection, _ = listener.accept()
                    return SocketStream(connection, program)
                if self.process.poll() is not None:
                    raise LinkError(labels.FIRMWARE_ENDED.format(program=program, status=self.process.returncode))
        raise LinkError(labels.FIRMWARE_SILENT.format(program=program, seconds=CONNECT_S))

    # what the adapter's end is connected to

    def go_on_bus(self, *, listen_only: bool) -> None:
        self.open = True

    def leave_bus(self) -> None:
        self.open = False

    def transmit(self, can_id: int, data: bytes) -> bool:
        self.came.append((True, can_id, data))
        return True

    def flags(self) -> int:
        return 0

    # the link

    def fileno(self) -> int | None:
        return self.stream.fileno()

    def receive(self) -> list[Received]:
        received = self.stream.read()
        if received is None:
            raise LinkError(labels.FIRMWARE_GONE.format(program=self.stream.words))
        self.owed += self.slcan.feed(received)
        self._give()
        came, self.came = self.came, []
        return came

    def send(self, can_id: int, data: bytes) -> None:
        if self.open:
            self.owed += frame_line(can_id, data)
            self._give()

    def _give(self) -> None:
        try:
            del self.owed[: self.stream.write(bytes(self.owed))]
        except OSError:
            raise LinkError(labels.FIRMWARE_GONE.format(program=self.stream.words)) from None
        if len(self.owed) > OWED_MOST:
            raise LinkError(labels.FIRMWARE_STUCK.format(program=self.stream.words))

    def close(self) -> None:
        self.stream.close()
        self._end()

    def _end(self) -> None:
        self.process.terminate()
        try:
            self.process.wait(5)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()


class OverAdapter:
    """A real adapter through python-can. `adapter` is an open `busim.bench.adapter.Adapter`, or alike."""

    def __init__(self, adapter: Any, error: type[Exception]) -> None:
        self.adapter = adapter
        self.error = error
        self.notes: list[str] = []
        self.words = f"{adapter.wanted.interface} {adapter.wanted.channel}"
        self.round_trip_ns = ASSUMED_NS
        """The way to the adapter and back; ASSUMED_NS where it can't be asked."""
        bus = adapter.bus
        if hasattr(bus, "serialPortOrig"):
            bus.serialPortOrig.timeout = 0  # what is there, at once
            self._probe(bus)
        else:
            self.notes.append(labels.ROUND_TRIP_ASSUMED.format(ms=ASSUMED_NS / MS))
        self.notes.append(labels.STAMPED_HERE)

    def probe(self) -> Generator[int, str, Known]:
        """What is known of the adapter, once something may be sent. Errors: LinkError."""
        try:
            return (yield from probe(self.adapter, self.send))
        except self.error as error:
            raise LinkError(str(error)) from error

    def ask_for_trouble(self) -> None:
        """The answer shows in `trouble` when this is asked again. Errors: LinkError."""
        try:
            self.adapter.look()
        except self.error as error:
            raise LinkError(str(error)) from error

    @property
    def trouble(self) -> list[str]:
        """What the adapter told of trouble on the bus, in words."""
        words: list[str] = self.adapter.trouble.words()
        return words

    def _probe(self, bus: Any) -> None:
        """How long its answers take: asked for its version, which puts nothing on the bus."""
        times = []
        for _ in range(PROBES):
            begins_ns = clock_ns()
            try:
                version = bus.get_version(PROBE_S)
            except Exception as error:  # a line that is no answer
                self.notes.append(labels.NO_VERSION.format(why=type(error).__name__))
                return
            if version == (None, None):
                self.notes.append(labels.NO_VERSION.format(why=labels.NO_ANSWER))
                return
            times.append(clock_ns() - begins_ns)
        self.round_trip_ns = max(times)
        self.notes.append(labels.ROUND_TRIP.format(ms=self.round_trip_ns / MS, hardware=version[0], software=version[1]))

    @property
    def bells(self) -> int:
        """Frames or commands the adapter refused."""
        return int(self.adapter.bells)

    def fileno(self) -> int | None:
        try:
            number = self.adapter.bus.fileno()
        except Exception:  # each interface has its own way to have none
            return None
        return number if isinstance(number, int) and number >= 0 else None

    def receive(self) -> list[Received]:
        came: list[Received] = []
        try:
            while True:
                frame = self.adapter.receive(0)
                if frame is not None:
                    _, _, kind, can_id, data = frame
                    came.append((kind == PLAIN, can_id, data))
                elif not self._more():
                    break
        except self.error as error:
            raise LinkError(str(error)) from error
        if self.adapter.garbage > GARBAGE_MOST:
            raise LinkError(labels.ADAPTER_GARBAGE.format(adapter=self.words, count=self.adapter.garbage))
        return came

    def _more(self) -> bool:
        """An answer to a command comes as no frame: behind it there may be some."""
        bus = self.adapter.bus
        if not hasattr(bus, "serialPortOrig"):
            return False
        return b"\r" in bus._buffer or slcan.BELL in bus._buffer or bool(bus.serialPortOrig.in_waiting)

    def send(self, can_id: int, data: bytes) -> None:
        try:
            self.adapter.send(can_id, data)
        except self.error as error:
            raise LinkError(str(error)) from error

    def close(self) -> None:
        self.adapter.close()
