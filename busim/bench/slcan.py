"""The adapter's end of slcan, the ASCII protocol of serial CAN adapters: bytes in, bytes out, and no I/O.

Source: LAWICEL CANUSB manual and CAN232 manual, command tables. What they leave open, and what is decided here:

* `O` without a rate set before opens at the rate of the bus: many programs leave the rate to the adapter. At another rate than
  that of the bus it answers BEL: on a wire such a node would destroy everybody's frames.
* `S7` is 800 kbit/s in the manual and 750 kbit/s in some programs: it is both.
* 29-bit and remote frames (`T`, `r`, `R`) are read as the manual has them and answered with BEL: the simulated bus carries none.
* Frames come by themselves (auto poll, `X1`); polling (`X0`, `P`, `A`) answers BEL. A frame that was taken for transmission is
  answered `z` or `Z` and CR.
* An empty line answers CR: programs send some to clear what an adapter holds of an older line.
"""

import re
from typing import Final, Protocol

OK: Final = b"\r"
BELL: Final = b"\a"
LONGEST_LINE: Final = 32
"""More than the longest command, a 29-bit frame of 8 bytes: 26 characters."""
VERSION: Final = b"V0101"
SERIAL_NUMBER: Final = b"NBSIM"
STAMP_RANGE_MS: Final = 60_000

RATES: Final = {
    b"0": (10_000,), b"1": (20_000,), b"2": (50_000,), b"3": (100_000,), b"4": (125_000,), b"5": (250_000,), b"6": (500_000,),
    b"7": (800_000, 750_000), b"8": (1_000_000,),
}  # fmt: skip
_TIMING_CLOCK_HZ: Final = 8_000_000
"""What BTR0 and BTR1 of the manual's controller (SJA1000 at 16 MHz) divide."""

# Bits of the answer to F.
RECEIVE_FULL: Final = 1
TRANSMIT_FULL: Final = 2
ERROR_WARNING: Final = 4
OVERRUN: Final = 8
PASSIVE: Final = 32
BUS_ERROR: Final = 128

_FRAME: Final = re.compile(rb"t([0-7][0-9A-Fa-f]{2})([0-8])((?:[0-9A-Fa-f]{2}){0,8})")
_OTHER_FRAME: Final = re.compile(
    rb"T[01][0-9A-Fa-f]{7}[0-8](?:[0-9A-Fa-f]{2}){0,8}|r[0-7][0-9A-Fa-f]{2}[0-8]|R[01][0-9A-Fa-f]{7}[0-8]"
)
_TIMING: Final = re.compile(rb"s[0-9A-Fa-f]{4}")
_SETTING: Final = re.compile(rb"[mM][0-9A-Fa-f]{8}|W[0-3]|U[0-6]|Q[0-2]")
"""Filters, the speed of the serial line, opening at power-up: taken, and without effect. A program that filters gets more than it
asked for, which it has to bear on any bus."""

CLOSED: Final = 0
OPEN: Final = 1
LISTENING: Final = 2


class Wire(Protocol):
    """What the adapter's end is connected to."""

    def go_on_bus(self, *, listen_only: bool) -> None: ...

    def leave_bus(self) -> None: ...

    def transmit(self, can_id: int, data: bytes) -> bool:
        """False where it can't be taken: the queue is full, or the controller is bus-off."""
        ...

    def flags(self) -> int:
        """The status bits since they were asked for last."""
        ...


def frame_line(can_id: int, data: bytes, stamp_ms: int | None = None) -> bytes:
    """One 11-bit data frame, with the adapter's time stamp where one is given."""
    stamp = "" if stamp_ms is None else f"{stamp_ms % STAMP_RANGE_MS:04X}"
    return f"t{can_id:03X}{len(data)}{data.hex().upper()}{stamp}\r".encode()


def rate_of(command: bytes) -> tuple[int, ...] | None:
    """The bit rates that `S` or `s` with its digits asks for, None where it is no such command."""
    if command[:1] == b"S" and len(command) == 2:
        return RATES.get(command[1:])
    if _TIMING.fullmatch(command):
        low, high = int(command[1:3], 16), int(command[3:5], 16)
        quanta = 1 + (high & 0xF) + 1 + (high >> 4 & 7) + 1
        return (round(_TIMING_CLOCK_HZ / ((low & 0x3F) + 1) / quanta),)
    return None


class Slcan:
    """One adapter. `feed` takes what a program wrote and gives what it is answered."""

    def __init__(self, wire: Wire, bit_rate: int) -> None:
        self.wire = wire
        self.bit_rate = bit_rate
        self.state = CLOSED
        self.stamped = False
        self.refused = 0
        """Commands answered with BEL."""
        self.other_frames = 0
        """29-bit and remote frames among them."""
        self.wrong_rate: tuple[int, ...] | None = None
        """The rate with which opening was refused last."""
        self._rates: tuple[int, ...] | None = None
        self._line = bytearray()
        self._too_long = False

    def feed(self, received: bytes) -> bytes:
        """Any bytes, cut anywhere."""
        answers = bytearray()
        *ended, rest = received.split(b"\r")
        for part in ended:
            self._collect(part)
            line, too_long = bytes(self._line), self._too_long
            self._line.clear()
            self._too_long = False
            answer = BELL if too_long else self._answer(line.lstrip(b"\n"))
            self.refused += answer == BELL
            answers += answer
        self._collect(rest)
        return bytes(answers)

    def _collect(self, part: bytes) -> None:
        if self._too_long or len(self._line) + len(part) > LONGEST_LINE:
            self._too_long = True
            self._line.clear()
        else:
            self._line += part

    def leave(self) -> None:
        """The program is gone."""
        if self.state != CLOSED:
            self.state = CLOSED
            self.wire.leave_bus()

    def _answer(self, line: bytes) -> bytes:
        frame = _FRAME.fullmatch(line)
        if frame is not None:
            data = frame[3]
            if self.state != OPEN or len(data) != 2 * int(frame[2]):
                return BELL
            return b"z\r" if self.wire.transmit(int(frame[1], 16), bytes.fromhex(data.decode())) else BELL
        if not line:
            return OK
        if line == b"V":
            return VERSION + OK
        if line == b"N":
            return SERIAL_NUMBER + OK
        return self._when_closed(line) if self.state == CLOSED else self._when_open(line)

    def _when_open(self, line: bytes) -> bytes:
        if line == b"C":
            self.leave()
            return OK
        if line == b"F":
            return f"F{self.wire.flags():02X}\r".encode()
        if _OTHER_FRAME.fullmatch(line):
            self.other_frames += 1
        return BELL

    def _when_closed(self, line: bytes) -> bytes:
        if line in (b"O", b"L"):
            return self._open(listen_only=line == b"L")
        if line in (b"Z0", b"Z1"):
            self.stamped = line == b"Z1"
            return OK
        rates = rate_of(line)
        if rates is not None:
            self._rates = rates
            return OK
        return OK if line == b"X1" or _SETTING.fullmatch(line) else BELL

    def _open(self, *, listen_only: bool) -> bytes:
        if self._rates is not None and self.bit_rate not in self._rates:
            self.wrong_rate = self._rates
            return BELL
        self.wrong_rate = None
        self.state = LISTENING if listen_only else OPEN
        self.wire.go_on_bus(listen_only=listen_only)
        return OK
