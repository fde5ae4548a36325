"""The simulated boat with programs plugged in: one loop over the boat's time, the programs' bytes, and lines that people type.

Each program is a guest with a seat of its own. Whatever one of them does, or no longer does, the boat and the others go on.
"""

import os
import selectors
import socket
import sys
from collections.abc import Callable
from typing import Final, TextIO

from busim import labels
from busim.bench.doors import LOOPBACK, SocketStream, Stream, TerminalStream
from busim.bench.guest import Seat
from busim.bench.hands import HandsError, read_line, usage
from busim.bench.live import LONGEST_NS, LiveBoat
from busim.bench.pacing import Pace
from busim.bench.slcan import Slcan, frame_line
from busim.reading.problem import printable
from busim.units import MS

SEATS: Final = 8
"""Programs at once."""
HELD_MOST: Final = 1 << 18
"""Bytes kept for a program that does not read them: two seconds of a full bus at 500 kbit/s."""
WRITTEN_MOST: Final = 1 << 16
LINE_MOST: Final = 1000


class Client:
    """One program: what it is owed, and its end of the adapter."""

    def __init__(self, stream: Stream, seat: Seat, bit_rate: int, number: int) -> None:
        self.stream = stream
        self.seat = seat
        self.slcan = Slcan(seat, bit_rate)
        self.number = number
        self.owed = bytearray()
        self.gone = ""
        """Why it is no longer served, in words."""
        seat.hears = self._hears

    def _hears(self, now_ns: int, can_id: int, data: bytes) -> None:
        if not self.gone:
            self.owed += frame_line(can_id, data, now_ns // MS if self.slcan.stamped else None)

    def take(self) -> bytes:
        """What it wrote."""
        received = self.stream.read()
        if received is None:
            self.gone = labels.CLIENT_LEFT
            return b""
        return received

    def give(self) -> None:
        """As much of what it is owed as it takes."""
        try:
            if self.owed:
                taken = self.stream.write(bytes(self.owed[:WRITTEN_MOST]))
                del self.owed[:taken]
        except OSError:
            self.gone = labels.CLIENT_LEFT
        if len(self.owed) > HELD_MOST:
            self.gone = labels.CLIENT_STUCK.format(kib=HELD_MOST >> 10)

    def leave(self) -> None:
        self.slcan.leave()
        self.seat.hears = lambda now_ns, can_id, data: None
        self.stream.close()


class Plug:
    """`run` until `until_ns`, or until `ended` says so; `close` afterwards."""

    def __init__(
        self, live: LiveBoat, bit_rate: int, seats: list[Seat], say: Callable[[str], None], pace: Pace | None = None
    ) -> None:
        self.live = live
        self.bit_rate = bit_rate
        self.free = list(seats)
        self.say = say
        self.pace = pace or Pace()
        self.clients: list[Client] = []
        self.come = 0
        # Not the best of its kind: the others round their waiting to whole milliseconds.
        self.selector = selectors.SelectSelector()
        self.listener: socket.socket | None = None
        self.read_lines = bytearray()
        self.written: list[tuple[Client, bytes]] = []

    # ------------------------------------------------------------------------------------------------ doors

    def open_port(self, listener: socket.socket) -> None:
        self.listener = listener
        self.selector.register(listener, selectors.EVENT_READ, self._accept)
        self.say(labels.PLUG_PORT.format(host=LOOPBACK, port=listener.getsockname()[1]))

    def open_terminal(self) -> None:
        """One more pseudo-terminal for one program; it waits for whoever opens it. OSError where there is none to be had."""
        stream = TerminalStream()
        self._admit(stream)
        self.say(labels.PLUG_TERMINAL.format(path=stream.words))

    def listen_to(self, lines: TextIO) -> None:
        """Lines that people type. What can't be waited for is not listened to: a file, or on Windows anything but sockets."""
        if sys.platform == "win32":
            return
        try:
            self.selector.register(lines, selectors.EVENT_READ, lambda: self._typed(lines))
        except (ValueError, OSError):
            return

    def _accept(self) -> None:
        assert self.listener is not None
        try:
            connection, (host, port) = self.listener.accept()
        except OSError:
            return  # it has gone again
        words = f"{host}:{port}"
        if not self.free:
            connection.close()
            self.say(labels.CLIENT_TOO_MANY.format(client=words, most=len(self.clients)))
            return
        self._admit(SocketStream(connection, words))
        self.say(labels.CLIENT_CAME.format(client=words, node=self.clients[-1].seat.host.name))

    def _admit(self, stream: Stream) -> None:
        self.come += 1
        client = Client(stream, self.free.pop(0), self.bit_rate, self.come)
        self.clients.append(client)
        self.selector.register(client.stream, selectors.EVENT_READ, lambda: self._wrote(client))

    # ------------------------------------------------------------------------------------------------ the loop

    def run(self, until_ns: int = LONGEST_NS, ended: Callable[[], bool] = lambda: False) -> None:
        live, pace = self.live, self.pace
        pace.begin(live.now_ns)
        while live.now_ns < until_ns and not ended():
            due_ns = live.next_ns
            for key, _ in self.selector.select(pace.wait_s(due_ns)):
                key.data()
            now_ns = min(pace.now_ns(live.now_ns), until_ns)
            if due_ns <= now_ns:
                pace.note(due_ns, now_ns)
            live.advance(now_ns)
            # What was written is handed over at the moment at which it was there, and not at the one of the last frame.
            written, self.written = self.written, []
            for client, received in written:
                self._feed(client, received)
            for client in [*self.clients]:
                client.give()
                if client.gone:
                    self._dismiss(client)
            for line in live.news():
                self.say(labels.PLUG_NEWS.format(seconds=line.at_ns / 1e9, words=printable(line.words)))

    def _wrote(self, client: Client) -> None:
        received = client.take()
        if received:
            self.written.append((client, received))

    def _feed(self, client: Client, received: bytes) -> None:
        if client.gone:
            return
        before = client.slcan.wrong_rate
        client.owed += client.slcan.feed(received)
        wrong = client.slcan.wrong_rate
        if wrong and wrong != before:
            self.say(labels.CLIENT_RATE.format(client=client.stream.words, asked=wrong[0], bit_rate=self.bit_rate))

    def _dismiss(self, client: Client) -> None:
        self.selector.unregister(client.stream)
        self.clients.remove(client)
        client.leave()
        self.free.insert(0, client.seat)
        self.say(self._told(client, client.gone))
        if isinstance(client.stream, TerminalStream):
            self.open_terminal()

    def _told(self, client: Client, how: str) -> str:
        seat, slcan = client.seat, client.slcan
        words = labels.CLIENT_DONE.format(
            client=client.stream.words, how=how, heard=seat.heard, sent=seat.sent, refused=slcan.refused
        )
        seat.heard = seat.sent = seat.turned_away = 0
        return words + (labels.CLIENT_OTHER_FRAMES.format(count=slcan.other_frames) if slcan.other_frames else "")

    def _typed(self, lines: TextIO) -> None:
        received = os.read(lines.fileno(), 4096)
        if not received:
            self.selector.unregister(lines)
            return
        self.read_lines += received
        *ended, rest = self.read_lines.split(b"\n")
        self.read_lines = rest[:LINE_MOST]
        for raw in ended:
            text = raw[:LINE_MOST].decode("utf-8", "replace").strip()
            if not text:
                continue
            if text == labels.HANDS_HELP:
                for line in usage():
                    self.say(f"  {line}")
                continue
            try:
                self.live.do(*read_line(text, self.live.boat))
            except HandsError as error:
                self.say(printable(str(error)))

    def close(self) -> None:
        """The end: every program is let go."""
        for client in self.clients:
            if client.slcan.refused or client.seat.heard or client.seat.sent:
                self.say(self._told(client, labels.CLIENT_AT_END))
            client.leave()
        self.clients = []
        if self.listener is not None:
            self.listener.close()
        self.selector.close()
