"""Holds a rerun against a record: every second's frames, events and run code, text against text."""

from contextlib import ExitStack
from dataclasses import dataclass
from types import TracebackType
from typing import TextIO

from busim.events.journal import Event, Frame
from busim.reading.problem import refused
from busim.record.reader import Record
from busim.record.writer import EVENTS, FRAMES, SECONDS, second_texts


@dataclass(frozen=True)
class Difference:
    """The first second in which something differs, and the file it differs in: SECONDS where the run code does."""

    second: int
    file: str


class Comparison:
    """Give `keep` to the rerun and call `end` when it is over. What a cut-short record holds beyond its last whole second is
    left out. Errors: InputError where a file of the record can't be read."""

    def __init__(self, record: Record) -> None:
        self.record = record
        self.buses = list(record.boat.buses)
        self.seconds = 0
        """How many seconds the rerun had so far."""
        self.difference: Difference | None = None
        self.opened = ExitStack()
        self.files: dict[str, TextIO] = {}
        with ExitStack() as opening:
            for name in (SECONDS, FRAMES, EVENTS):
                path = record.folder / name
                if not path.is_file():
                    raise refused(path, "is missing, or is no plain file")
                try:
                    # Characters that are not UTF-8 are a difference like any other.
                    self.files[name] = opening.enter_context(path.open(encoding="utf-8", errors="replace", newline=""))
                except OSError as error:
                    raise refused(path, f"can't be read: {error.strerror}") from error
            self.opened = opening.pop_all()

    def keep(self, frames: list[Frame], events: list[Event], digest: str) -> None:
        self.seconds += 1
        if self.difference is not None or self.seconds > self.record.seconds:
            return
        texts = second_texts(self.buses, self.seconds, frames, events, digest)
        for name, file in self.files.items():
            if file.read(len(texts[name])) != texts[name]:
                self.difference = Difference(self.seconds, name)
                return

    def end(self) -> None:
        if self.difference is not None:
            return
        if self.record.seconds > self.seconds:
            self.difference = Difference(self.seconds + 1, SECONDS)
        elif self.record.seconds == self.seconds:
            for name in (FRAMES, EVENTS):
                if self.files[name].read(1):
                    self.difference = Difference(self.seconds + 1, name)

    def __enter__(self) -> "Comparison":
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, traceback: TracebackType | None) -> None:
        self.opened.close()
