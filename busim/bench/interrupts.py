"""Ctrl-C and other wishes to end, noted and acted on between two steps: a world torn out of one is no world any more."""

import signal
from types import FrameType, TracebackType
from typing import Any, Final

_SIGNALS: Final = tuple(getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name))
"""Windows has no SIGHUP."""


class Interrupts:
    """While it is entered, these signals set `asked` and do nothing else."""

    def __init__(self) -> None:
        self.asked = False
        self._before: dict[int, Any] = {}

    def _note(self, number: int, frame: FrameType | None) -> None:
        self.asked = True

    def __enter__(self) -> "Interrupts":
        self._before = {number: signal.signal(number, self._note) for number in _SIGNALS}
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, traceback: TracebackType | None) -> None:
        for number, before in self._before.items():
            signal.signal(number, before)
