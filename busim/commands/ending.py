"""How a command ends: exit statuses, and the one place where a failure becomes a line on standard error."""

import contextlib
import os
import sys
from typing import Final, TextIO

PASSED: Final = 0
FAILED: Final = 1
BAD_INPUT: Final = 2
NOT_SHOWN: Final = 3
CONTRADICTION: Final = 4
INTERRUPTED: Final = 130


class ContradictionError(Exception):
    """busim contradicted itself; the message says how."""


def say_error(words: str) -> None:
    """On standard error, whatever encoding it has, and though nobody may be able to read it."""
    with contextlib.suppress(OSError, ValueError):
        try:
            print(words, file=sys.stderr, flush=True)
        except UnicodeEncodeError:
            print(words.encode("ascii", "backslashreplace").decode(), file=sys.stderr, flush=True)


def hush(stream: TextIO | None = None) -> None:
    """Nobody reads our output any more (`| head`), or it can't be written: what is left of it must not be tried again at exit.
    `stream` left out: standard output."""
    with contextlib.suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        try:
            os.dup2(nowhere, (stream or sys.stdout).fileno())
        finally:
            os.close(nowhere)


def open_streams() -> None:
    """Make both streams usable: one that was closed before the start (`>&-`) goes nowhere, one that knows few characters
    gets escapes for the rest and no error."""
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115
        elif (reconfigure := getattr(stream, "reconfigure", None)) is not None:
            reconfigure(errors="backslashreplace")
