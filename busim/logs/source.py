"""Opens any log: candump's by our own reader, which is the fastest and the most forgiving, every other through python-can.

python-can is loaded only where it is needed. Whatever a reader raises becomes words; what came before it has been read.
"""

import gzip
import warnings
from collections.abc import Iterator
from contextlib import ExitStack
from io import BufferedReader
from pathlib import Path
from types import TracebackType
from typing import Any, Final

from busim import labels
from busim.logs.candump import Candump, looks_like_one
from busim.logs.frame import ERROR, EXTENDED, FLEXIBLE, PLAIN, REMOTE, LogFrame
from busim.reading.problem import printable, quoted, refused

SUFFIXES: Final = (".asc", ".blf", ".csv", ".db", ".log", ".mf4", ".trc")
"""What python-can reads, by the file's ending; .gz may follow all but .db and .mf4."""
START_BYTES: Final = 4096


class LogSource:
    """One log file. `frames` once, within `with`; then `notes` says what could not be read. Errors of opening: InputError."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.notes: list[str] = []
        self.read = 0
        self.opened = ExitStack()
        self.candump: Candump | None = None
        start = self._start()
        if not start.strip(b"\0 \t\r\n"):
            raise refused(path, labels.LOG_EMPTY)
        if looks_like_one(start):
            self.candump = Candump(self.opened.enter_context(self._file()))
            if path.suffix not in (".log", ".gz"):
                self.notes.append(labels.LOG_IS_CANDUMP)
        elif self._suffix() not in SUFFIXES:
            raise refused(path, labels.LOG_SUFFIX.format(suffixes=", ".join(SUFFIXES)))
        elif self._suffix() == ".log":
            raise refused(path, labels.LOG_NO_CANDUMP.format(line=quoted(start.splitlines()[0].decode("ascii", "replace"))))

    def frames(self) -> Iterator[LogFrame]:
        frames = self.candump.frames() if self.candump is not None else self._by_library()
        try:
            for frame in frames:
                self.read += 1
                yield frame
        except (OSError, EOFError) as error:
            self.notes.append(labels.LOG_ENDS_EARLY.format(count=self.read, why=_why(error)))
        if self.candump is not None:
            self._note_candump(self.candump)

    def __enter__(self) -> "LogSource":
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, traceback: TracebackType | None) -> None:
        self.opened.close()

    # ------------------------------------------------------------------------------------------------ opening

    def _suffix(self) -> str:
        suffixes = [suffix.lower() for suffix in self.path.suffixes]
        return (suffixes[-2] if len(suffixes) > 1 else "") if suffixes[-1:] == [".gz"] else "".join(suffixes[-1:])

    def _file(self) -> gzip.GzipFile | BufferedReader:
        if self.path.suffix.lower() == ".gz":
            return gzip.open(self.path, "rb")
        return self.path.open("rb")

    def _start(self) -> bytes:
        try:
            if self.path.is_dir():
                raise refused(self.path, labels.LOG_FOLDER)
            with self._file() as file:
                return file.read(START_BYTES)
        except FileNotFoundError:
            raise refused(self.path, labels.LOG_MISSING) from None
        except (OSError, EOFError, ValueError) as error:
            raise refused(self.path, labels.LOG_UNREADABLE.format(why=_why(error))) from None

    # ------------------------------------------------------------------------------------------------ reading

    def _note_candump(self, candump: Candump) -> None:
        spoilt = candump.spoilt - candump.half_line
        if candump.first_spoilt is not None and spoilt:
            number, text = candump.first_spoilt
            self.notes.append(labels.LOG_SPOILT.format(count=spoilt, line=number, text=quoted(text)))
        if candump.half_line:
            self.notes.append(labels.LOG_HALF_LINE)

    def _by_library(self) -> Iterator[LogFrame]:
        try:
            import can
        except ImportError as error:
            raise refused(self.path, labels.LOG_UNREADABLE.format(why=_why(error))) from None
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            try:
                reader = self.opened.enter_context(can.LogReader(self.path))
                for message in reader:
                    yield frame_of(message)
                if getattr(reader, "file_size", 0) > self.path.stat().st_size:  # a .blf says in its head how long it is
                    self.notes.append(labels.LOG_SHORTER)
            except (GeneratorExit, KeyboardInterrupt):
                raise
            except Exception as error:
                # Readers raise whatever a spoilt byte leads them to.
                if not self.read:
                    raise refused(self.path, labels.LOG_NOT_THIS_FORMAT.format(suffix=self._suffix(), why=_why(error))) from None
                self.notes.append(labels.LOG_ENDS_EARLY.format(count=self.read, why=_why(error)))


def frame_of(message: Any) -> LogFrame:
    """What python-can calls a message. Formats without channels have none."""
    channel = "" if message.channel is None else str(message.channel)
    if message.is_error_frame:
        kind = ERROR
    elif message.is_remote_frame:
        kind = REMOTE
    elif message.is_fd:
        kind = FLEXIBLE
    else:
        kind = EXTENDED if message.is_extended_id else PLAIN
    return round(message.timestamp * 1e9), channel, kind, message.arbitration_id, bytes(message.data)


def _why(error: Exception) -> str:
    if isinstance(error, OSError) and error.strerror:
        return error.strerror
    return printable(f"{error}"[:200]).strip() or type(error).__name__
