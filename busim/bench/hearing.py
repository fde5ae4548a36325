"""Listening to a live bus: every frame kept as it comes, then handed on; troubles and silences said; nothing is ever sent.

A frame is on the disk before anybody looks at it, so that neither Ctrl-C nor an adapter that is unplugged loses one.
"""

import contextlib
from collections.abc import Callable
from pathlib import Path
from typing import Final

from busim import adapter_labels as labels
from busim.bench.adapter import Adapter, AdapterError
from busim.bench.pacing import clock_ns
from busim.logs.frame import LogFrame, candump_text
from busim.reading.problem import refused
from busim.units import SECOND

WAIT_S: Final = 0.1
BATCH_MOST: Final = 200
SILENT_NS: Final = 3 * SECOND
"""Long enough for everything a node sends by itself (once a second)."""
GARBAGE_MOST: Final = 20


class Keeping:
    """A log as candump writes it. It has to be a new file whose name says so to whoever reads it. Errors: InputError."""

    def __init__(self, path: Path) -> None:
        self.path = path
        if path.suffix != ".log":
            raise refused(path, labels.RECORD_SUFFIX)
        try:
            self.file = path.open("x", encoding="ascii", newline="\n", buffering=1)
        except FileExistsError:
            raise refused(path, labels.RECORD_IS_THERE) from None
        except (OSError, ValueError) as error:
            raise refused(path, labels.RECORD_NOT_WRITTEN.format(why=getattr(error, "strerror", None) or error)) from None

    def keep(self, frame: LogFrame) -> None:
        try:
            self.file.write(candump_text(frame))
        except OSError as error:
            raise refused(self.path, labels.RECORD_NOT_WRITTEN.format(why=error.strerror)) from None

    def drop(self) -> None:
        """Nothing came that could be kept."""
        self.file.close()
        with contextlib.suppress(OSError):
            self.path.unlink()

    def close(self) -> None:
        self.file.close()


class Hearing:
    """`run` until told; `take` is given the frames, `say` what is to be read meanwhile. `frames` counts."""

    def __init__(
        self, adapter: Adapter, channel: str, take: Callable[[list[LogFrame]], None], say: Callable[[str], None],
        keeping: Keeping | None = None, clock: Callable[[], int] = clock_ns,
    ) -> None:  # fmt: skip
        """`channel` is what the log calls it: one word."""
        self.adapter = adapter
        self.channel = channel
        self.take = take
        self.say = say
        self.keeping = keeping
        self.clock = clock
        self.frames = 0
        self.told: set[str] = set()
        self._silent = False

    def run(self, until_ns: int | None, ended: Callable[[], bool]) -> None:
        """Until `until_ns` of the clock. Errors: AdapterError, InputError; what came before has been handed on."""
        heard_ns = look_ns = self.clock()
        while not ended() and (until_ns is None or self.clock() < until_ns):
            frames = self.frames
            self._batch()
            now_ns = self.clock()
            if self.frames != frames:
                heard_ns, self._silent = now_ns, False
            elif now_ns - heard_ns >= SILENT_NS and not self._silent:
                self._silent = True
                self.say(labels.NOTHING_NOW if self.frames else self.why_nothing())
            if now_ns - look_ns >= SECOND:
                look_ns = now_ns
                self.adapter.look()
                self._tell_trouble()
            garbage = self.adapter.garbage
            if garbage > GARBAGE_MOST and garbage > self.frames:
                raise AdapterError(labels.ADAPTER_GARBAGE.format(
                    interface=self.adapter.wanted.interface, channel=self.adapter.wanted.channel, count=garbage
                ))  # fmt: skip

    def _batch(self) -> None:
        """What is there, or comes within a moment."""
        batch: list[LogFrame] = []
        try:
            frame = self.adapter.receive(WAIT_S)
            while frame is not None:
                stamp_ns, _, *rest = frame
                named: LogFrame = (stamp_ns, self.channel, *rest)  # type: ignore[assignment]
                if self.keeping is not None:
                    self.keeping.keep(named)
                batch.append(named)
                self.frames += 1
                frame = self.adapter.receive(0) if len(batch) < BATCH_MOST else None
        finally:
            if batch:
                self.take(batch)

    def _tell_trouble(self) -> None:
        for words in self.adapter.trouble.words():
            if words not in self.told:
                self.told.add(words)
                self.say(words)

    def why_nothing(self) -> str:
        return labels.NOTHING_HEARD.format(bit_rate=self.adapter.wanted.rate_words)

    def notes(self) -> list[str]:
        """What there is to know about the log."""
        notes = [self.adapter.stamps.words(), *self.adapter.trouble.words()]
        if self.adapter.garbage:
            notes.append(labels.GARBAGE_LEFT_OUT.format(count=self.adapter.garbage))
        if not self.adapter.trouble.known:
            notes.append(labels.TROUBLE_NOT_TOLD)
        return notes
