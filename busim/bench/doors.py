"""How programs come in: loopback TCP and pseudo-terminals, as plain non-blocking byte streams. Nothing else is ever opened.

`read` gives bytes, b"" where there is nothing now, None where the other side is gone; `write` says how many bytes were taken.
"""

import contextlib
import errno
import os
import socket
from typing import Final, Protocol

LOOPBACK: Final = "127.0.0.1"
CHUNK: Final = 65_536


class Stream(Protocol):
    words: str

    def fileno(self) -> int: ...

    def read(self) -> bytes | None: ...

    def write(self, data: bytes) -> int:
        """OSError where the other side is gone."""
        ...

    def close(self) -> None: ...


class SocketStream:
    def __init__(self, connection: socket.socket, words: str) -> None:
        connection.setblocking(False)
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self.connection = connection
        self.words = words

    def fileno(self) -> int:
        return self.connection.fileno()

    def read(self) -> bytes | None:
        try:
            return self.connection.recv(CHUNK) or None
        except BlockingIOError:
            return b""
        except OSError:
            return None

    def write(self, data: bytes) -> int:
        try:
            return self.connection.send(data)
        except BlockingIOError:
            return 0

    def close(self) -> None:
        self.connection.close()


class TerminalStream:
    """A pseudo-terminal. While nobody has come, its other end is held open here: else reading would say at once that nobody is
    there. With the first bytes that end is let go, so that it is heard when the program closes its own."""

    def __init__(self) -> None:
        try:
            import tty
        except ImportError as error:  # Windows has no such thing
            raise OSError(errno.ENOSYS, os.strerror(errno.ENOSYS)) from error
        self.ours, self.theirs = os.openpty()
        tty.setraw(self.theirs)
        os.set_blocking(self.ours, False)
        self.words = os.ttyname(self.theirs)

    def fileno(self) -> int:
        return self.ours

    def read(self) -> bytes | None:
        try:
            received = os.read(self.ours, CHUNK)
        except BlockingIOError:
            return b""
        except OSError as error:
            if error.errno != errno.EIO:
                raise
            return None
        if self.theirs >= 0:
            os.close(self.theirs)
            self.theirs = -1
        return received or None

    def write(self, data: bytes) -> int:
        try:
            return os.write(self.ours, data)
        except BlockingIOError:
            return 0

    def close(self) -> None:
        for end in (self.ours, self.theirs):
            with contextlib.suppress(OSError):
                os.close(end)


def loopback_listener(port: int) -> socket.socket:
    """A listening socket on this computer alone; `port` 0 takes a free one. OSError where it is taken."""
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((LOOPBACK, port))
        listener.listen(8)
        listener.setblocking(False)
    except OSError:
        listener.close()
        raise
    return listener
