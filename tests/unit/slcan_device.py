"""An slcan adapter of hardware that is not there: on loopback TCP or on a pseudo-terminal, and as faulty as a test wants it.

It runs in a thread of its own and waits for bytes only. What it does follows the manual of the slcan protocol that
`busim/bench/slcan.py` names, but for what a test spoils.
"""

import contextlib
import os
import select
import socket
import threading
import tty
from collections.abc import Callable
from types import SimpleNamespace, TracebackType
from typing import Final

import pytest

from busim.bench import serial_adapter

OK: Final = b"\r"
BELL: Final = b"\a"

def without_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody has to start here, and pyserial need not give a server time after a connection was closed."""
    monkeypatch.setattr(serial_adapter, "START_S", 0.05)
    monkeypatch.setattr("serial.urlhandler.protocol_socket.time", SimpleNamespace(sleep=lambda seconds: None))


Answer = bytes | Callable[[bytes], bytes]


class SlcanDevice:
    """`replies`: the first letter of a command -> what is answered, in place of the usual; b"" is nothing at all. `opened`: what is
    said once it is on the bus. `told` holds every command. Leaving it, or `unplug`, is its end."""

    def __init__(
        self, *, terminal: bool = False, replies: dict[bytes, Answer] | None = None, opened: bytes = b"",
        greeting: bytes = b"", beats: Callable[[], bytes] | None = None,
    ) -> None:  # fmt: skip
        self.replies: dict[bytes, Answer] = {b"V": b"V0101\r", b"F": b"F00\r", b"t": b"z\r", **(replies or {})}
        self.opened = opened
        self.greeting = greeting
        self.beats = beats
        """Asked for more to say, about every 10 ms, once it is on the bus."""
        self.told: list[bytes] = []
        self.over = threading.Event()
        self.on_bus = False
        self.listener: socket.socket | None = None
        if terminal:
            self.ours, self.theirs = os.openpty()
            tty.setraw(self.theirs)
            self.channel = os.ttyname(self.theirs)
        else:
            self.listener = socket.create_server(("127.0.0.1", 0))
            self.channel = f"socket://127.0.0.1:{self.listener.getsockname()[1]}"
        self.thread = threading.Thread(target=self._serve, daemon=True)

    def __enter__(self) -> "SlcanDevice":
        self.thread.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, traceback: TracebackType | None) -> None:
        self.unplug()

    def unplug(self) -> None:
        self.over.set()
        self.thread.join(10)
        assert not self.thread.is_alive()

    # ------------------------------------------------------------------------------------------------ in its thread

    def _serve(self) -> None:
        if self.listener is not None:
            with self.listener:
                while not select.select([self.listener], [], [], 0.01)[0]:
                    if self.over.is_set():
                        return
                connection, _ = self.listener.accept()
            with connection:
                connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                self._talk(connection.fileno())
            return
        try:
            self._talk(self.ours)
        finally:
            os.close(self.ours)
            with contextlib.suppress(OSError):
                os.close(self.theirs)

    def _talk(self, number: int) -> None:
        held = b""
        with contextlib.suppress(OSError):
            if self.greeting:
                os.write(number, self.greeting)
            while True:
                over = self.over.is_set()  # asked first: what was written before that is still read
                if select.select([number], [], [], 0.01)[0]:
                    received = os.read(number, 4096)
                    if not received:
                        return
                    *commands, held = (held + received).split(OK)
                    for command in commands:
                        self._do(number, command)
                elif over:
                    return
                if self.on_bus and self.beats is not None:
                    os.write(number, self.beats())

    def _do(self, number: int, command: bytes) -> None:
        self.told.append(command)
        answer = self.replies.get(command[:1], OK)
        os.write(number, answer(command) if callable(answer) else answer)
        if command[:1] in (b"O", b"L"):
            self.on_bus = True
            os.write(number, self.opened)
