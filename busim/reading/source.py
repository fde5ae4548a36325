"""The text of a file, or why it can't be had. Whatever can be refused before parsing is refused here, cheaply.

A parser in plain Python takes about 5 ms a kB, and seconds for thousands of brackets or for some lines of 100 kB, so these
are looked at first.
"""

import os
import re
import stat
from pathlib import Path
from typing import Final

from busim.reading.problem import refused

LARGEST_BYTES: Final = 256 * 1024
LONGEST_LINE: Final = 10_000
DEEPEST: Final = 40
TOO_DEEP: Final = f"nested too deep: more than {DEEPEST} levels"

_NOT_FILES: Final = (
    (stat.S_ISDIR, "is a folder"),
    (stat.S_ISFIFO, "is a pipe"),
    (stat.S_ISCHR, "is a device"),
    (stat.S_ISBLK, "is a device"),
    (stat.S_ISSOCK, "is a socket"),
)

# Quoted text and comments are stepped over; a quote inside a word (don't) opens nothing.
_BRACKETS: Final = re.compile(
    r"""(?<![^\s\[{,:])"(?:[^"\\]|\\.)*+" | (?<![^\s\[{,:])'[^']*+' | (?<!\S)\#[^\n]* | [\[{] | [\]}]""", re.VERBOSE | re.DOTALL
)
_NOT_TEXT: Final = re.compile("[^\t\n\r\x20-\x7e\x85\xa0-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""Outside YAML 1.2.2, production 1 (c-printable); from memory."""


def read_text(path: Path, what: str) -> str:
    """The text of the file at `path`, which should be a `what` ("boat file").

    Errors: InputError for what is missing, unreadable, not a regular file, empty, too large, not UTF-8, or has
    lines too long or brackets too deep.
    """
    data = _read_bytes(path, what)
    text = _decoded(path, data)
    if not text.strip():
        raise refused(path, f"is empty, a {what} was expected")
    if (bad := _NOT_TEXT.search(text)) is not None:
        raise refused(path, f"is not a plain text file: it holds the character {ord(bad[0]):#04x}", *place_in(text, bad.start()))
    _refuse_deep(path, text)
    for number, line in enumerate(text.split("\n"), start=1):
        if len(line) > LONGEST_LINE:
            raise refused(path, f"this line is longer than {LONGEST_LINE:,} characters", number, 1)
    return text


def _read_bytes(path: Path, what: str) -> bytes:
    try:
        # Looked at before it is opened: opening a pipe waits for its other end, and opening a device may do something.
        mode = os.stat(path).st_mode
        for is_kind, words in _NOT_FILES:
            if is_kind(mode):
                raise refused(path, f"{words}, a {what} was expected")
        descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
        with open(descriptor, "rb") as file:
            if stat.S_ISREG(os.fstat(descriptor).st_mode):
                data = file.read(LARGEST_BYTES + 1)
            else:
                raise refused(path, f"is not a plain file, a {what} was expected")
    except FileNotFoundError:
        raise refused(path, f"no such file, a {what} was expected") from None
    except NotADirectoryError:
        raise refused(path, f"no such file, a {what} was expected: part of its path is not a folder") from None
    except PermissionError:
        raise refused(path, "may not be read: its permissions do not let you") from None
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else "its name can't be a file's name"
        raise refused(path, f"can't be read: {reason}") from None
    if len(data) > LARGEST_BYTES:
        raise refused(path, f"is larger than {LARGEST_BYTES // 1024} kB: no {what} needs that much")
    return data


def _decoded(path: Path, data: bytes) -> str:
    start = data[:64]
    has_mark = start.startswith((b"\xff\xfe", b"\xfe\xff", b"\0\0\xfe\xff"))
    if has_mark or (len(start) > 3 and not (any(start[::2]) and any(start[1::2]))):
        raise refused(path, "is saved as UTF-16 or UTF-32: save it as UTF-8", 1, 1)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        good = data[: error.start]
        line_start = good.rfind(b"\n") + 1
        column = len(good[line_start:].decode("utf-8", "replace")) + 1
        raise refused(path, "is not text in UTF-8: save it as UTF-8", good.count(b"\n") + 1, column) from None


def _refuse_deep(path: Path, text: str) -> None:
    depth = 0
    for match in _BRACKETS.finditer(text):
        if match[0] in "[{":
            depth += 1
            if depth > DEEPEST:
                raise refused(path, TOO_DEEP, *place_in(text, match.start()))
        elif match[0] in "]}" and depth:
            depth -= 1


def place_in(text: str, index: int) -> tuple[int, int]:
    """(line, column), both from 1, of the character at `index`."""
    return text.count("\n", 0, index) + 1, index - text.rfind("\n", 0, index)
