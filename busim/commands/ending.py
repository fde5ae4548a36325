"""How a command ends: exit statuses, and the one place where a failure becomes a line on standard error."""

import contextlib
import os
import sys
from typing import Final

PASSED: Final = 0
FAILED: Final = 1
BAD_INPUT: Final = 2
NOT_SHOWN: Final = 3
CONTRADICTION: Final = 4
INTERRUPTED: Final = 130


class ContradictionError(Exception):
    """busim contradicted itself; the message says how."""


def say_error(words: str) -> None:
    """On standard error, whatever encoding it has."""
    try:
        print(words, file=sys.stderr)
    except UnicodeEncodeError:
        print(words.encode("ascii", "backslashreplace").decode(), file=sys.stderr)
    except OSError:
        pass


def hush() -> None:
    """Nobody reads our output any more (`| head`): keep the interpreter from complaining about that at exit."""
    with contextlib.suppress(OSError):
        sys.stdout = open(os.devnull, "w")  # noqa: SIM115
