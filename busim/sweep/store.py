"""A sweep's folder: runs are streamed to it one line each as they are done, and sorted once all are.

What was written before a sudden end is whole: a torn last line is left out when the sweep is resumed.
"""

import os
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Final, TextIO

from busim.reading.problem import refused
from busim.sweep.outcome import HEAD, RUNS, STREAMED, SweepHead, SweptRun, head_text, line_of, read_head, read_runs

_NUMBER: Final = re.compile(rb'\{"run":(\d{1,9}),')
"""How a line of a run begins."""


class Store:
    """`done`: numbers of the runs that are on disk already."""

    def __init__(self, folder: Path, head: SweepHead) -> None:
        self.folder = folder
        self.head = head
        self.done: set[int] = set()
        self.file: TextIO | None = None

    @classmethod
    def begun(cls, folder: Path, head: SweepHead) -> "Store":
        """A new one in an empty folder. Errors: InputError where it can't be written."""
        store = cls(folder, head)
        try:
            (folder / HEAD).write_text(head_text(head), encoding="utf-8", newline="\n")
            store.file = (folder / STREAMED).open("w", encoding="utf-8", newline="\n")
        except OSError as error:
            raise refused(folder, f"the sweep can't be written: {error.strerror}") from error
        return store

    @classmethod
    def resumed(cls, folder: Path, head: SweepHead) -> "Store":
        """One that was cut short. Errors: InputError where it is another sweep, or damaged."""
        kept = read_head(folder)
        if kept != head:
            raise refused(folder / HEAD, f"is of another sweep: {_difference(kept, head)}")
        store = cls(folder, head)
        over = (folder / RUNS).exists()
        path = folder / (RUNS if over else STREAMED)
        lines = _lines(path)
        store.done = {number for number, _, _ in lines}
        if not over:
            try:
                os.truncate(path, max((begin + length for _, begin, length in lines), default=0))
                store.file = path.open("a", encoding="utf-8", newline="\n")
            except OSError as error:
                raise refused(folder, f"the sweep can't be written: {error.strerror}") from error
        return store

    def keep(self, run: SweptRun) -> None:
        """Errors: InputError, disk full. What was kept before is whole."""
        if self.file is None:
            raise ValueError("this sweep is over")
        try:
            self.file.write(line_of(run))
            self.file.flush()
        except OSError as error:
            words = f"the sweep stops after {len(self.done)} runs: {error.strerror}. What was kept is whole, and --resume goes on"
            raise refused(self.folder, words) from error
        self.done.add(run.run)

    def runs(self) -> Iterator[SweptRun]:
        """Those on disk; in order of `run` once the sweep is finished."""
        path = self.folder / RUNS
        return read_runs(path if path.exists() else self.folder / STREAMED)

    def finish(self) -> None:
        """All are done: sort them. Errors: InputError."""
        self.close()
        path = self.folder / RUNS
        if path.exists():
            return
        try:
            sorting = self.folder / f"{RUNS}.sorting"
            with sorting.open("wb") as file, (self.folder / STREAMED).open("rb") as streamed:
                for _, begin, length in sorted(_lines(self.folder / STREAMED)):
                    streamed.seek(begin)
                    file.write(streamed.read(length))
            sorting.replace(path)
            (self.folder / STREAMED).unlink()
        except OSError as error:
            raise refused(self.folder, f"the runs can't be sorted: {error.strerror}. What was kept is whole") from error

    def close(self) -> None:
        if self.file is not None:
            try:
                self.file.close()
            except OSError as error:
                raise refused(self.folder, f"the sweep can't be written: {error.strerror}") from error
            finally:
                self.file = None


def _lines(path: Path) -> list[tuple[int, int, int]]:
    """(run, where its line begins, how long it is) of every whole line. Errors: InputError."""
    found = []
    try:
        with path.open("rb") as file:
            begin = 0
            for number, line in enumerate(file, 1):
                if not line.endswith(b"\n"):
                    break
                if (match := _NUMBER.match(line)) is None:
                    raise refused(path, f"line {number} is damaged: it is not what busim writes")
                found.append((int(match[1]), begin, len(line)))
                begin += len(line)
    except OSError as error:
        raise refused(path, f"can't be read: {error.strerror}") from error
    return found


def _difference(kept: SweepHead, head: SweepHead) -> str:
    for name, what in (
        ("busim", "another busim"), ("boat_digest", "another boat file"), ("seed", "another seed"), ("full", "another size"),
        ("only", "other runs (--only)"), ("kinds", "other node classes"), ("modes", "modes that come out otherwise"),
    ):  # fmt: skip
        if getattr(kept, name) != getattr(head, name):
            return what
    return "its grid is another"
