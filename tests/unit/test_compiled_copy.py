"""A copy of busim of which a part is compiled runs, and does the same. The whole: `python -m tests.benchmarks.compiled FOLDER`."""

import ast
from pathlib import Path

import pytest

from tests.benchmarks.compiled import ROOT, decorated, make, measured, modules, what_is_missing

PART = ["busim/frames/length.py", "busim/protocol/counter.py", "busim/protocol/crc8.py", "busim/events/journal.py"]


@pytest.mark.slow
@pytest.mark.skipif(bool(what_is_missing()), reason=what_is_missing() or "nothing is missing")
def test_a_run_of_a_partly_compiled_copy_has_the_same_digest(tmp_path: Path) -> None:
    make(tmp_path / "copy", PART)
    _, compiled = measured(tmp_path / "copy", 1, "plain", "bare")
    assert list((tmp_path / "copy" / "busim" / "frames").glob("length.*.*")), "it was compiled"
    _, plain = measured(ROOT, 1, "plain", "bare")
    assert compiled == plain


@pytest.mark.slow
def test_every_class_of_what_is_compiled_is_marked_and_the_rest_left_alone() -> None:
    paths = modules(ROOT)
    assert "nodes/drive.py" in paths
    assert "busim/bus/segment.py" in paths
    assert not [path for path in paths if path.endswith("__init__.py")]
    for path in paths:
        text = (ROOT / path).read_text(encoding="utf-8")
        before, after = ast.parse(text), ast.parse(decorated(text))
        classes = [node for node in ast.walk(after) if isinstance(node, ast.ClassDef)]
        marked = [node for node in classes if "_mypyc_attr" in ast.unparse(node)]
        assert bool(marked) == ("_mypyc_attr" in decorated(text))
        for node in marked:
            del node.decorator_list[0]
        after.body = [node for node in after.body if "_mypyc_attr" not in ast.unparse(node)]
        assert ast.dump(after) == ast.dump(before)
