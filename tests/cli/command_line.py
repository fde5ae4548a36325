"""Two ways to run `busim` in a test: in a process of its own, as a shell does; and in this one, which is fast.

Whatever is run, no traceback may show.
"""

import contextlib
import io
import os
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from unittest import mock

from busim.commands.main import run_command_line

ROOT = Path(__file__).parents[2]
ENTRY = "from busim.commands.main import run_command_line; run_command_line()"
FIRST_LINE = r"boat: .+ \(.+\)   fingerprints: helm [0-9a-f]{4}, lighting [0-9a-f]{4}"
ONE_SECOND = "scenario: one second\nlasts_s: 1\n"


@dataclass(frozen=True)
class Ended:
    """How it ended: exit status, and what it said on standard output and standard error."""

    status: int
    out: str
    err: str

    @property
    def lines(self) -> list[str]:
        return self.out.splitlines()


def _seen(ended: Ended) -> Ended:
    assert "Traceback" not in ended.out + ended.err
    assert "Exception ignored" not in ended.err
    return ended


def environment(**changed: str) -> dict[str, str]:
    """What a plain terminal of 100 columns gives a program; the package under test is found though it is not installed."""
    kept = {name: os.environ[name] for name in ("PATH", "SYSTEMROOT") if name in os.environ}
    return {**kept, "PYTHONPATH": str(ROOT), "LANG": "C.UTF-8", "HOME": str(ROOT), "COLUMNS": "100", **changed}


def command(*words: str, before: str = "") -> list[str]:
    """The command line of the installed `busim`; `before` is run in the same process first."""
    return [sys.executable, "-c", f"{before}\n{ENTRY}", *words]


def run_busim(
    *words: str, folder: Path, changed: dict[str, str] | None = None, without: Sequence[str] = (), before: str = ""
) -> Ended:
    """`busim words...` in a process of its own, in `folder`, with the environment changed."""
    variables = {name: value for name, value in environment(**(changed or {})).items() if name not in without}
    done = subprocess.run(command(*words, before=before), cwd=folder, env=variables, capture_output=True)
    return _seen(Ended(done.returncode, done.stdout.decode("utf-8", "replace"), done.stderr.decode("utf-8", "replace")))


def call_busim(*words: str, folder: Path, columns: int = 100) -> Ended:
    """`busim words...` in this process, in `folder`."""
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8", write_through=True) for _ in range(2))
    status: int | str | None = 0
    with (
        contextlib.chdir(folder),
        mock.patch.dict(os.environ, COLUMNS=str(columns)),
        mock.patch.object(sys, "argv", ["busim", *words]),
        mock.patch.object(sys, "path", [*sys.path]),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        try:
            run_command_line()
        except SystemExit as ending:
            status = ending.code
    assert isinstance(status, int)
    said = [stream.buffer.getvalue().decode("utf-8") for stream in (out, err)]  # type: ignore[attr-defined]
    return _seen(Ended(status, *said))
