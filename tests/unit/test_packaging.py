"""What a user installs: both packages, the marker, the types, the boats; and the README's commands."""

import re
import zipfile
from pathlib import Path

import pytest

from busim.boat.load import load_boat
from busim.boat.shipped import shipped_folder
from busim.simulator import kinds
from busim.simulator.kinds import KindError, load_kinds

ROOT = Path(__file__).parents[2]


@pytest.mark.slow
def test_the_wheel_has_both_packages_and_the_boats(tmp_path: Path) -> None:
    from hatchling.builders.wheel import WheelBuilder

    (wheel,) = WheelBuilder(str(ROOT)).build(directory=str(tmp_path), versions=["standard"])
    with zipfile.ZipFile(wheel) as archive:
        names = set(archive.namelist())
    wanted = ("busim/py.typed", "nodes/__init__.py", "busim/configs/first_boat/boat.yaml", "busim/commands/main.py")
    for name in (*wanted, "busim/export/fixed/busim_rules.c", "busim/export/fixed/busim_rules.h"):
        assert name in names
    assert any(name.startswith("busim/configs/first_boat/scenarios/") for name in names)
    assert not any(name.startswith(("tests/", "configs/")) for name in names)


def test_the_shipped_boat_is_found_from_the_checkout() -> None:
    assert load_boat(shipped_folder() / "first_boat").boat.boat.name


def test_a_foreign_package_called_nodes_is_told_apart(monkeypatch: pytest.MonkeyPatch) -> None:
    import types

    foreign = types.ModuleType("nodes")
    monkeypatch.setattr(kinds.importlib, "import_module", lambda name: foreign)
    with pytest.raises(KindError, match="not busim's"):
        load_kinds()


def test_the_readme_gives_one_line_to_run_and_one_to_test() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    (run,) = re.findall(r"^<!-- run command -->`(.*)`$", readme, re.MULTILINE)
    (test,) = re.findall(r"^<!-- test command -->`(.*)`$", readme, re.MULTILINE)
    assert run.endswith("busim rehearse")
    assert test.endswith("pytest -n 2 --dist loadgroup")
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert "<!-- test command -->" in script


def test_versions_are_ranges_and_there_is_no_lock_file() -> None:
    text = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    assert "==" not in text
    assert not [*ROOT.glob("*.lock"), *ROOT.glob("requirements*.txt")]
