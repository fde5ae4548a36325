"""Reads logs as candump writes them with -l or -L: "(seconds.fraction) channel id#data", one frame a line.

A log that a killed recorder left ends in half a line, and an editor may have spoilt another: such lines are counted, the first is
named, and the rest is read. Read in blocks, so that no log is too long, nor any line.
"""

from collections.abc import Iterator
from typing import Final, Protocol

from busim.logs.frame import ERROR, EXTENDED, FLEXIBLE, PLAIN, REMOTE, LogFrame

BLOCK_BYTES: Final = 1 << 18
LONGEST_LINE: Final = 4096
ERROR_FLAG: Final = 0x20000000


class Blocks(Protocol):
    """What is read in blocks, as much as is there: the end of a file that was cut short costs no more than that."""

    def read1(self, size: int, /) -> bytes: ...


class Candump:
    """Iterate `frames`. Afterwards: `lines` read, `spoilt` of them no frames, `first_spoilt` (line number, text); `half_line`: the
    last one is not whole."""

    def __init__(self, file: Blocks) -> None:
        self.file = file
        self.lines = 0
        self.spoilt = 0
        self.first_spoilt: tuple[int, str] | None = None
        self.half_line = False

    def frames(self) -> Iterator[LogFrame]:
        rest = b""
        while block := self.file.read1(BLOCK_BYTES):
            *lines, rest = (rest + block).split(b"\n")
            yield from self._of(lines)
            if len(rest) > LONGEST_LINE:
                # No line of a log: what comes until the next line feed is part of it, and spoilt by itself.
                self._note(rest)
                rest = b""
        if rest.strip(b"\0 \t\r"):
            spoilt = self.spoilt
            yield from self._of([rest])
            self.half_line = self.spoilt > spoilt

    def _of(self, lines: list[bytes]) -> Iterator[LogFrame]:
        for line in lines:
            self.lines += 1
            text = line.decode("ascii", "replace")
            try:
                stamp, channel, frame = text.split()[:3]
                seconds, _, fraction = stamp[1:-1].partition(".")
                if frame[3] == "#" and len(fraction) == 6 and frame[4:5] not in ("R", "#", "r"):
                    # Nearly every line, so by the shortest way.
                    yield int(seconds + fraction) * 1000, channel, PLAIN, int(frame[:3], 16), bytes.fromhex(frame[4:])
                else:
                    yield _rare(seconds, fraction, channel, frame)
            except (ValueError, IndexError):
                if text.strip("\0 \t\r"):
                    self._note(line)

    def _note(self, line: bytes) -> None:
        self.spoilt += 1
        if self.first_spoilt is None:
            self.first_spoilt = (self.lines, line[:LONGEST_LINE].decode("ascii", "replace").strip())


def _rare(seconds: str, fraction: str, channel: str, frame: str) -> LogFrame:
    """Anything but a plain frame with microseconds. Errors: ValueError."""
    stamp_ns = int(seconds) * 10**9 + int((fraction + "0" * 9)[:9])
    head, mark, data = frame.partition("#")
    if not mark or not 1 <= len(head) <= 8:
        raise ValueError(frame)
    can_id = int(head, 16)
    if len(head) > 3 and can_id & ERROR_FLAG:
        return stamp_ns, channel, ERROR, can_id & 0x1FFFFFFF, bytes.fromhex(data)
    if can_id > 0x1FFFFFFF:
        raise ValueError(frame)
    if data[:1] == "#":
        return stamp_ns, channel, FLEXIBLE, can_id, bytes.fromhex(data[2:])
    if data[:1].upper() == "R":
        return stamp_ns, channel, REMOTE, can_id, b""
    payload = bytes.fromhex(data.replace(".", ""))
    if len(payload) > 8:
        raise ValueError(frame)
    return stamp_ns, channel, EXTENDED if len(head) > 3 or can_id > 0x7FF else PLAIN, can_id, payload


def looks_like_one(start: bytes) -> bool:
    """Is this how a candump log begins, whatever it is called? One of its first lines is a frame."""
    for line in start.splitlines()[:10]:
        words = line.split()
        if len(words) >= 3 and words[0][:1] == b"(" and words[0][-1:] == b")" and b"#" in words[2]:
            return True
    return False
