"""An slcan adapter as busim opens it: python-can's own, but that answers are read, lines are looked at, and troubles counted.

python-can's reads a byte at a time, drops every answer (that the adapter refuses the bit rate, say), takes a line that was cut
short for a shorter frame, and stops for good at a byte that is no character. Loaded when one is opened, as it loads python-can.
"""

import contextlib
import errno
import os
import re
import select
import time
from collections.abc import Iterator
from typing import Final

from can.exceptions import error_check
from can.interfaces.slcan import slcanBus

from busim import adapter_labels as labels
from busim.bench import slcan
from busim.bench.adapter import RefusedError

ANSWER_S = 0.3
"""How long an answer to a command is waited for."""
START_S = 2.0
"""How long some small computers take to start once their port is opened (common practice, no source)."""
QUIET_S = 0.05
QUIET_MOST_S = 1.0
LONGEST_LINE: Final = 200
"""More than the longest frame, of CAN FD. What goes on without an end is no line of an adapter."""
READ_BYTES: Final = 4096

_COMMANDS: Final = {rate: f"S{digit.decode()}" for digit, rates in slcan.RATES.items() for rate in rates}
_FRAME: Final = re.compile(r"([tT])([0-9A-F]+)|([rR])([0-9A-F]+)|[dDbBx][0-9A-F]+", re.IGNORECASE)
_STATUS: Final = re.compile(r"F[0-9A-Fa-f]{2}")
_ANSWER: Final = re.compile(r"[zZ]?|[VN][0-9A-Za-z]{1,8}")
_STAMP_DIGITS: Final = 4
_REFUSED: Final = slcan.BELL.decode()
_ANSWERS: Final = (slcan.OK.decode(), _REFUSED)


def is_frame(line: str) -> bool:
    """Is this, without its end, a whole frame? One whose data was cut short is none."""
    if not _FRAME.fullmatch(line):
        return False
    kind = line[0]
    if kind not in "tTrR":
        return True  # CAN FD and dialects: python-can's to read
    head = 4 if kind in "tr" else 9
    if len(line) <= head or not line[head].isdecimal() or int(line[head]) > 8 or int(line[1:head], 16) >> (11 if head == 4 else 29):
        return False
    whole = head + 1 + (2 * int(line[head]) if kind in "tT" else 0)
    return len(line) in (whole, whole + _STAMP_DIGITS)


class SerialAdapter(slcanBus):
    """`garbage` counts lines that are no frame and no answer; `bells` what was refused; `status` has the flags since asked last,
    None before the adapter ever told them. Errors of opening: RefusedError, and what python-can raises."""

    def __init__(self, channel: str, bit_rate: int, *, listen_only: bool) -> None:
        if bit_rate not in _COMMANDS:
            raise RefusedError(labels.ADAPTER_NO_SUCH_RATE.format(rates=", ".join(f"{rate:,}" for rate in sorted(_COMMANDS))))
        self.rate_command = _COMMANDS[bit_rate]
        self.garbage = 0
        self.bells = 0
        self.status: int | None = None
        self.answers = False
        """It answered to being opened. Some never answer anything."""
        self.rate_taken = False
        """It answered that it took the bit rate."""
        self._asked = False
        self._heard: list[str] = []
        try:
            super().__init__(channel, sleep_after_open=0, listen_only=listen_only)
        except BaseException:
            with self._let_go():
                raise

    @contextlib.contextmanager
    def _let_go(self) -> Iterator[None]:
        """Closes what there is at the end. python-can leaves the port open where saying goodbye fails, and pyserial its socket,
        which it forgets at once."""
        port = getattr(self, "serialPortOrig", None)
        line = getattr(port, "_socket", None)
        try:
            yield
        finally:
            for left in (port, line):
                if left is not None:
                    with contextlib.suppress(OSError):
                        left.close()

    def shutdown(self) -> None:
        with self._let_go():
            super().shutdown()

    # ------------------------------------------------------------------------------------------------ opening

    def open(self) -> None:
        """Off the bus, the bit rate, on the bus: each with its answer. What the adapter held before belongs to another program."""
        with error_check("Could not have the port alone"):
            self.serialPortOrig.exclusive = True  # two programs on one port take each other's lines
        self._leave_bus()
        for command in (self.rate_command, "L" if self._listen_only else "O"):
            self._heard.clear()
            self._write(command)
            answer = self._answer(ANSWER_S) if self.answers else None
            if answer == _REFUSED:
                raise RefusedError(self._refusal(command))
            if command == self.rate_command:
                self.rate_taken = answer is not None
        self.garbage, self.bells, self.status = 0, 0, None
        for line in self._heard:
            self._queue.put_nowait(line)

    def _leave_bus(self) -> None:
        """Until it is quiet, or shows that it never answers. Some take two seconds to start once their port is opened."""
        for wait_s in (ANSWER_S, START_S):
            self._write("")
            self._write("C")  # one that is not on the bus may refuse to leave it
            until = time.monotonic() + QUIET_MOST_S + wait_s
            while (line := self._read(QUIET_S if self.answers else wait_s)) is not None and time.monotonic() < until:
                self.answers = self.answers or line in _ANSWERS
            if self.answers:
                return

    def _refusal(self, command: str) -> str:
        if command == self.rate_command:
            return labels.ADAPTER_REFUSES_RATE
        return labels.ADAPTER_REFUSES_TO_LISTEN if command == "L" else labels.ADAPTER_REFUSES_TO_OPEN

    def _answer(self, timeout_s: float) -> str | None:
        """The next line that is an answer; frames before it are kept."""
        until = time.monotonic() + timeout_s
        while (line := self._read(max(until - time.monotonic(), 0))) is not None:
            if line in _ANSWERS:
                return line
            self._heard.append(line)
        return None

    # ------------------------------------------------------------------------------------------------ reading

    def _read(self, timeout: float | None) -> str | None:
        """The next line that means something. Errors: python-can's, where the port is gone."""
        until = time.monotonic() + (timeout or 0)
        while True:
            while (line := self._next_line()) is not None:
                if self._means_something(line):
                    return line
            with error_check("Could not read from serial device"):
                came = self._come()
            self._buffer.extend(came)
            if not came and timeout is not None and time.monotonic() >= until:
                return None

    def _come(self) -> bytes:
        """What is there, or a byte that comes within the port's timeout. pyserial's own reading forgets what it has where the other
        end of a socket closes."""
        port = self.serialPortOrig
        line = getattr(port, "_socket", None)
        if line is None:
            return bytes(port.read(max(1, port.in_waiting)))
        if not select.select([line], [], [], port.timeout)[0]:
            return b""
        came = line.recv(READ_BYTES)
        if not came:
            raise ConnectionResetError(errno.ECONNRESET, os.strerror(errno.ECONNRESET))
        return bytes(came)

    def _next_line(self) -> str | None:
        buffer = self._buffer
        ends = [at for at in (buffer.find(slcan.OK), buffer.find(slcan.BELL)) if at >= 0]
        if not ends:
            if len(buffer) > LONGEST_LINE:
                buffer.clear()
                self.garbage += 1
            return None
        line = bytes(buffer[: min(ends) + 1]).decode("ascii", "replace")
        del buffer[: min(ends) + 1]
        return line

    def _means_something(self, line: str) -> bool:
        text = line[:-1].lstrip("\n")
        if line.endswith(_REFUSED):
            self._asked, asked = False, self._asked
            if asked:
                return False  # it knows no status flags
            self.bells += 1
            return True
        if _STATUS.fullmatch(text):
            self._asked = False
            self.status = (self.status or 0) | int(text[1:], 16)
            return False
        if is_frame(text) or _ANSWER.fullmatch(text):
            return True
        self.garbage += 1
        return False

    # ------------------------------------------------------------------------------------------------ trouble on the bus

    def ask_status(self) -> None:
        """Ask for the status flags; they come among the frames, into `status`, from an adapter that knows them."""
        self._asked = True
        self._write("F")

    def take_status(self) -> int | None:
        """The flags that came since they were taken last; None where no answer came."""
        status, self.status = self.status, None
        return status
