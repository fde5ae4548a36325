"""A copy of busim whose simulator, nodes and judges are compiled with mypyc: that it does the same, and how much faster it is.

    python -m tests.benchmarks.compiled FOLDER [--seconds 10] [--runs 5]

FOLDER is made, or what such a copy before has left there is measured again. Needs a C compiler, Python's headers, and
setuptools; takes two to three minutes of one core. Nothing of it goes into the package: what is installed is Python alone.

For measuring, and nothing else: a world of compiled parts can't be saved, so that no sweep can branch from it. mypyc could be told
to save them; then what a class that is not compiled adds to one that is, a node of a builder's own or a fault, would be lost
from what was saved without a word.

What mypyc does not take is changed in the copy on the way (`TEXTS`, `decorated`), each with its reason.
"""

import argparse
import ast
import importlib.util
import os
import shutil
import statistics
import subprocess
import sys
import sysconfig
from collections.abc import Iterator
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).resolve().parents[2]
FOLDERS: Final = ("busim/frames", "busim/events", "busim/bus", "busim/host", "busim/plant", "busim/requirements", "nodes")
FILES: Final = (
    "busim/units.py", "busim/seam.py", "busim/simulator/kernel.py", "busim/simulator/levers.py",
    *(f"busim/protocol/{name}.py" for name in ("counter", "crc8", "codec", "ids")),
)  # fmt: skip
"""Not all of the protocol: `plan` lives by `cached_property`, which a compiled class works out anew each time, and tables are
read once."""

TEXTS: Final = (
    ("busim/units.py", "NEVER: Final = 2**62", "NEVER: Final = 2**61"),
    # Below 2**62 an int is kept in a machine word; with 2**62 every comparison with NEVER leaves it.
)
CHANGES_CLASS: Final = ("Segment", "TroubledSegment", "StuckSegment", "_NoSegment")
"""These put on another class and take it off again, which a compiled class can't: their methods alone are compiled."""
NOT_COMPILED: Final = {"Exception", "Protocol", "NamedTuple", "Enum", "IntEnum"}

BUILD: Final = """
from mypyc.build import mypycify
from setuptools import setup
paths = {!r}
modules = mypycify(paths, opt_level="1", debug_level="0", multi_file=True, only_compile_paths=paths)
setup(name="compiled", packages=[], py_modules=[], ext_modules=modules)
"""
"""As one file of C it takes three times as long, and with more optimisation longer still."""

DONE: Final = "compiled"
"""A file in a copy that is whole."""

SPEED: Final = """
import sys, time
from tests.benchmarks.kernel import SETTLED_NS, build
from busim.units import SECOND
seconds, mix, observed = int(sys.argv[1]), sys.argv[2], sys.argv[3] == "observed"
until_ns = SETTLED_NS + seconds * SECOND
world = build(observed, until_ns, mix)
began = time.process_time()
world.run(until_ns)
print(seconds / (time.process_time() - began), world.journal.digest)
"""
VARIANTS: Final = (("plain", "observed"), ("plain", "bare"), ("marsh_tern", "observed"), ("marsh_tern", "bare"))


def what_is_missing() -> str:
    """Why nothing can be compiled here, in words; empty where it can."""
    compiler = (sysconfig.get_config_var("CC") or "cc").split()[0]
    if shutil.which(compiler) is None:
        return f"there is no C compiler here: {compiler} was expected"
    if not (Path(sysconfig.get_paths()["include"]) / "Python.h").exists():
        return "Python's headers are not installed: Python.h was expected"
    for module in ("mypyc", "setuptools"):
        if importlib.util.find_spec(module) is None:
            return f"{module} is not installed"
    return ""


def modules(copy: Path) -> list[str]:
    """What is compiled, as paths in the copy."""
    listed = [str(path.relative_to(copy)) for folder in FOLDERS for path in sorted((copy / folder).glob("*.py"))]
    return [*FILES, *(path for path in listed if not path.endswith("__init__.py"))]


def decorated(text: str) -> str:
    """Every class may be subclassed by one that is not compiled: a builder's own nodes, the twins."""
    lines, tree = text.split("\n"), ast.parse(text)
    marks = dict(_marks(tree))
    if not marks:
        return text
    for line in sorted(marks, reverse=True):
        lines.insert(line - 1, marks[line])
    docstring = tree.body[0].end_lineno or 0
    lines.insert(docstring, "from mypy_extensions import mypyc_attr as _mypyc_attr")
    return "\n".join(lines)


def _marks(tree: ast.Module) -> Iterator[tuple[int, str]]:
    for node in ast.walk(tree):
        if not isinstance(node, ast.ClassDef) or {ast.unparse(base) for base in node.bases} & NOT_COMPILED:
            continue
        first = min([node.lineno, *(decorator.lineno for decorator in node.decorator_list)])
        changes = node.name in CHANGES_CLASS
        yield first, f"@_mypyc_attr({'native_class=False' if changes else 'allow_interpreted_subclasses=True'})"


def make(copy: Path, paths: list[str] | None = None) -> None:
    """Copy, and compile `paths` or all that is worth it. CalledProcessError where that fails; ValueError where a text that has to
    change is gone."""
    for name in ("busim", "nodes", "configs", "tests"):
        shutil.copytree(ROOT / name, copy / name, ignore=shutil.ignore_patterns("__pycache__"))
    for path, old, new in TEXTS:
        text = (copy / path).read_text(encoding="utf-8")
        if old not in text:
            raise ValueError(f"{path}: {old} is not there any more")
        (copy / path).write_text(text.replace(old, new), encoding="utf-8")
    paths = paths or modules(copy)
    for path in paths:
        (copy / path).write_text(decorated((copy / path).read_text(encoding="utf-8")), encoding="utf-8")
    (copy / "mypy.ini").write_text("[mypy]\n", encoding="utf-8")
    (copy / "compile.py").write_text(BUILD.format(paths), encoding="utf-8")
    subprocess.run([sys.executable, "compile.py", "-q", "build_ext", "--inplace"], cwd=copy, check=True, capture_output=True)
    shutil.rmtree(copy / "build")
    (copy / DONE).touch()


def measured(tree: Path, seconds: int, mix: str, observed: str) -> tuple[float, str]:
    """(simulated seconds per second of processor time, digest) of the tree in a process of its own."""
    command = [sys.executable, "-c", SPEED, str(seconds), mix, observed]
    environment = {**os.environ, "PYTHONPATH": str(tree)}
    output = subprocess.run(command, cwd=tree, env=environment, check=True, capture_output=True, text=True).stdout
    speed, digest = output.split()
    return float(speed), digest


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--seconds", type=int, default=10)
    parser.add_argument("--runs", type=int, default=5)
    options = parser.parse_args()
    copy = options.folder.resolve()
    trouble = "" if (copy / DONE).exists() else f"{copy} is there, and no such copy" if copy.exists() else what_is_missing()
    if not trouble and not copy.exists():
        try:
            make(copy)
        except (subprocess.CalledProcessError, ValueError, OSError) as error:
            shutil.rmtree(copy, ignore_errors=True)
            said = error.stderr.decode(errors="replace").strip() if isinstance(error, subprocess.CalledProcessError) else ""
            trouble = f"it can't be compiled: {said or error}"
    if trouble:
        print(trouble, file=sys.stderr)
        return 2
    same = True
    for mix, observed in VARIANTS:
        pairs = [[measured(tree, options.seconds, mix, observed) for tree in (ROOT, copy)] for _ in range(options.runs)]
        same = same and len({digest for pair in pairs for _, digest in pair}) == 1
        ratio = statistics.median(compiled / plain for (plain, _), (compiled, _) in pairs)
        plain, compiled = (statistics.median(pair[tree][0] for pair in pairs) for tree in (0, 1))
        print(f"  {mix:10} {observed:8} {plain:4.0f} x real time, compiled {compiled:4.0f}: {ratio:.2f} times as fast")
    print("the digests are the same" if same else "THE DIGESTS DIFFER")
    return 0 if same else 1


if __name__ == "__main__":
    sys.exit(main())
