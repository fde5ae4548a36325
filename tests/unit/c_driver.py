"""The exported C of a boat, compiled once for all tests of it, and spoken to in lines (see `c_driver.c`)."""

import shutil
import subprocess
from collections.abc import Iterable, Sequence
from pathlib import Path

import pytest

from busim.boat.load import LoadedBoat
from busim.export.c_files import c_files
from busim.export.vectors_c import MOST_SIGNALS, glue
from busim.export.written import write_files

STRICT = ("-std=c99", "-Wall", "-Wextra", "-Wpedantic", "-Werror")
SANITIZED = ("-O1", "-fsanitize=address,undefined", "-fno-sanitize-recover=all")
MAIN = Path(__file__).parent / "c_driver.c"


def compiler(name: str = "gcc") -> str:
    """Its path. Where there is none, the test is skipped, in words."""
    found = shutil.which(name)
    if found is None:
        pytest.skip(f"there is no {name} on this machine: the exported C is not compiled here")
    return found


def compile_c(sources: Iterable[Path], folders: Iterable[Path], *options: str, by: str = "gcc") -> None:
    """Compile with warnings as errors. What the compiler says is part of a failure."""
    includes = [f"-I{folder}" for folder in folders]
    done = subprocess.run([compiler(by), *STRICT, *options, *includes, *map(str, sources)], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""


class CDriver:
    """The exported C of one node of a boat. `ask` sends lines and gives as many answers.

    It is compiled when it is asked first: what a test asks of Python before that is asked where there is no compiler too.
    """

    def __init__(self, boat: LoadedBoat, node: str, folder: Path) -> None:
        self.texts = c_files(boat, node)
        self.folder = folder
        self.program = folder / "driver"

    def _build(self) -> None:
        compiler()
        exported = self.folder / "c"
        paths = write_files(exported, self.texts, replace=False)
        (self.folder / "glue.h").write_text("\n\n".join([f"#define TEST_MOST_SIGNALS {MOST_SIGNALS}u", *glue()]) + "\n")
        sources = [MAIN, *(path for path in paths if path.suffix == ".c")]
        compile_c(sources, (exported, self.folder), *SANITIZED, "-o", str(self.program))

    def ask(self, lines: Sequence[str]) -> list[str]:
        """One process for all of them. Errors: AssertionError where a sanitizer spoke."""
        if not self.program.exists():
            self._build()
        done = subprocess.run([self.program], input="\n".join(lines) + "\n", capture_output=True, text=True)
        assert (done.returncode, done.stderr) == (0, "")
        answers = done.stdout.splitlines()
        assert len(answers) == len(lines)
        return answers
