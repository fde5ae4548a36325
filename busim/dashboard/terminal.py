"""Whether the terminal is still there. Who gets no signal when it is closed would carry the boat on, and record, for ever."""

import select
import sys


def gone() -> bool:
    """Nobody holds the other end of standard input any more. False where that can't be asked."""
    if not hasattr(select, "poll"):
        return False
    try:
        number = sys.__stdin__.fileno() if sys.__stdin__ is not None else -1
    except (OSError, ValueError):
        return True
    asked = select.poll()
    asked.register(number, 0)  # what is wrong with it is told without being asked for
    return bool(asked.poll(0))
