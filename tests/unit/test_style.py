"""Rules of the house that a machine can hold: linter and types clean, no clocks where time is an argument, short files."""

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SOURCES = [*sorted((ROOT / "busim").rglob("*.py")), *sorted((ROOT / "nodes").rglob("*.py"))]
TIMELESS = ("nodes", "busim/bus", "busim/host", "busim/plant", "busim/simulator", "busim/frames", "busim/protocol", "busim/events",
            "busim/requirements", "busim/run")  # fmt: skip
LONGEST_FILE = 450


@pytest.mark.slow
def test_the_linter_finds_nothing() -> None:
    done = subprocess.run([sys.executable, "-m", "ruff", "check", "--no-cache", "."], cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.slow
def test_types_are_strict_and_clean(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "mypy", "--cache-dir", str(tmp_path)], cwd=ROOT, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize("folder", TIMELESS)
def test_no_clock_and_no_unseeded_chance_where_time_is_an_argument(folder: str) -> None:
    for path in (ROOT / folder).rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = []
            if isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom):
                names = [f"{node.module}.{alias.name}" for alias in node.names]
            for name in names:
                assert name.split(".")[0] not in ("time", "datetime", "threading", "asyncio", "logging"), f"{path}: {name}"
                if name.split(".")[0] == "random":
                    assert (name, path.name) == ("random.Random", "build.py"), f"{path}: chance is drawn where the world is built"


def test_files_can_be_read_in_one_go() -> None:
    long = {str(path.relative_to(ROOT)): count for path in SOURCES if (count := len(path.read_text().splitlines())) > LONGEST_FILE}
    assert not long


def test_no_file_is_called_after_nothing() -> None:
    empty_words = {"utils", "util", "helpers", "helper", "common", "misc", "manager", "managers", "base"}
    assert not [path for path in SOURCES if path.stem in empty_words]


def test_every_module_says_what_it_is() -> None:
    for path in SOURCES:
        assert ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))), path


def test_nothing_names_this_machine_or_a_registry() -> None:
    hosts = "|".join(("pypi" + r"\.org", "pythonhosted" + r"\.org", "npmjs" + r"\.(com|org)", "files" + r"\.python"))
    pattern = re.compile(rf"/(home|root|work)/\w|{hosts}")
    texts = [*ROOT.glob("*.md"), ROOT / "pyproject.toml", *(ROOT / "configs").rglob("*.yaml"), *(ROOT / "tests").rglob("*.py")]
    for path in [*SOURCES, *texts]:
        if path != Path(__file__):
            assert not pattern.search(path.read_text(encoding="utf-8")), path
