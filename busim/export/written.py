"""Exported files on disk: which are ours to write over, and how they are written so that nothing is lost.

Every exported file carries a mark with a sum over its own text. What carries none, or was changed since, is somebody's work and is
only written over when that is asked for.
"""

import os
import re
import tempfile
from pathlib import Path
from typing import Final
from zlib import crc32

from busim.reading.problem import InputError, Problem, refused

_WORDS: Final = "Exported by busim, sum "
MARK: Final = f"{_WORDS}00000000"
"""Stands once in the text of every export; the zeros become the sum when it is written."""
_SUM: Final = re.compile(re.escape(_WORDS) + r"([0-9a-f]{8})")
LARGEST_BYTES: Final = 16 * 1024 * 1024


def with_sum(text: str) -> str:
    """The text with its sum in its mark. Errors: ValueError where it has not exactly one mark."""
    if text.count(MARK) != 1:
        raise ValueError(f"an exported file has {text.count(MARK)} marks")
    return text.replace(MARK, f"{_WORDS}{crc32(text.encode()):08x}")


def write_files(folder: Path, texts: dict[str, str], *, replace: bool) -> list[Path]:
    """Write each text, by its path in the folder, all or none as far as can be told beforehand; their paths.

    Errors: InputError for what may not be written over, and for what can't be written.
    """
    try:
        if folder.exists() and not folder.is_dir():
            raise refused(folder, "is a file, a folder was to be written to")
    except (OSError, ValueError) as error:
        raise refused(folder, f"can't be written to: {_reason(error)}") from None
    targets = {folder / name: with_sum(text) for name, text in texts.items()}
    problems = [Problem(path, None, None, words) for path in targets if (words := _obstacle(path, replace))]
    if problems:
        raise InputError(problems)
    for path, text in targets.items():
        _write(path, text)
    return list(targets)


def left_over(folder: Path, texts: dict[str, str]) -> list[Path]:
    """Files of an earlier export into this folder that this one does not have any more: of a node that is gone, say."""
    kinds = {Path(name).name for name in texts}
    try:
        found = [path for path in [*folder.glob("*"), *folder.glob("*/*")] if path.name in kinds and path.is_file()]
    except OSError:
        return []
    now = {folder / name for name in texts}
    return sorted(path for path in found if path not in now and _SUM.search(_read(path) or ""))


def _obstacle(path: Path, replace: bool) -> str:
    """Why nothing may be written there; "" where nothing speaks against it."""
    try:
        if path.is_dir():
            return "is a folder, a file was to be written there"
        if not os.path.lexists(path):
            return ""
        if not path.is_file():
            return "is no plain file: nothing was written"
    except (OSError, ValueError) as error:
        return f"can't be written: {_reason(error)}"
    if replace:
        return ""
    text = _read(path)
    if text is None or (found := _SUM.search(text)) is None:
        return "is there already and no export of busim's: nothing was written (--replace writes over it)"
    zeroed = text[: found.start(1)] + "00000000" + text[found.end(1) :]
    if f"{crc32(zeroed.encode()):08x}" != found[1]:
        return "was changed since it was exported: nothing was written (--replace writes over it)"
    return ""


def _read(path: Path) -> str | None:
    try:
        if path.stat().st_size > LARGEST_BYTES:
            return None
        return path.read_bytes().decode("utf-8")
    except (OSError, UnicodeDecodeError):
        return None


def _write(path: Path, text: str) -> None:
    """The old file stays whole until the new one is."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        try:
            with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
                file.write(text)
            os.chmod(name, 0o666 & ~_mask())
            os.replace(name, path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except (OSError, ValueError) as error:
        raise refused(path, f"can't be written: {_reason(error)}") from None


def _mask() -> int:
    """What the user's own settings take away from new files: a temporary file is private whatever they are."""
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _reason(error: Exception) -> str:
    return (error.strerror if isinstance(error, OSError) else None) or "its name can't be a file's name"
