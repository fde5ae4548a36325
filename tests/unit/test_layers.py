"""Packages depend one way: each imports only what the tour in DEVELOPERS.md lets it, and the simulator stays light."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]

MAY_IMPORT: dict[str, set[str]] = {
    "units": set(),
    "signals": set(),
    "labels": set(),
    "screen_labels": {"labels"},
    "seam": {"units"},
    "frames": set(),
    "protocol": {"units"},
    "reading": set(),
    "boat": {"reading", "protocol", "units"},
    "events": {"protocol.plan", "units"},
    "bus": {"frames", "seam", "units"},
    "host": {"bus", "events.journal", "seam", "units"},
    "plant": {"host", "events.journal", "units"},
    "faults": {"boat", "bus", "host", "plant", "protocol", "seam", "units"},
    "simulator": {"boat", "bus", "events", "faults", "host", "plant", "protocol", "seam", "units"},
    "requirements": {"boat.derive", "events", "protocol.plan", "units"},
    "scenario": {"boat", "faults", "reading", "requirements.table", "units"},
    "run": {
        "boat", "events", "faults.table", "labels", "plant.hull", "protocol.alarms", "protocol.plan", "protocol.tables",
        "protocol.values", "reading.problem", "requirements", "scenario",
        "seam", "simulator", "units",
    },
    "lighting": {"boat", "events", "faults", "protocol.plan", "requirements", "seam", "simulator", "units"},
    "transfer": {"boat", "events", "host", "protocol", "seam", "simulator.build", "units"},
    "rehearsal": {
        "boat", "events", "faults.table", "frames.length", "protocol", "requirements", "run.accepted", "run.timeline", "scenario",
        "screen_labels", "seam", "simulator", "units",
    },
    "dashboard": {
        "boat.model", "boat.scene_edit", "faults", "host.host", "labels", "protocol.plan", "protocol.values", "reading.problem",
        "rehearsal", "requirements.verdict", "run.timeline", "scenario.model", "screen_labels", "units",
    },
    "export": {"boat", "protocol", "reading.problem", "units"},
    "logs": {
        "boat.derive", "boat.model", "events", "labels", "plant.hull", "protocol", "reading.problem", "requirements", "run.losses",
        "run.timeline", "units",
    },
    "sweep": {
        "boat", "events", "faults", "frames", "host.host", "labels", "plant.hull", "protocol", "reading", "requirements",
        "run", "scenario", "seam", "signals", "simulator", "sweep_labels", "units",
    },
    "sweep_labels": set(),
    "adapter_labels": set(),
    "bench": {
        "adapter_labels",
        "bench_labels", "boat", "bus", "events", "faults.table", "host", "labels", "logs", "protocol",
        "reading.complaints", "reading.problem", "record.writer", "rehearsal.script", "requirements", "run", "scenario", "seam",
        "signals", "simulator", "units",
    },
    "bench_labels": set(),
    "record": {"boat.model", "events", "reading", "scenario.model", "units"},
}  # fmt: skip
"""Package -> the packages (or single modules) of busim it may import. `commands` may import everything."""


def imports_of(path: Path) -> set[str]:
    """Modules a file imports when it runs: what only type checkers see does not count."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING":
            node.body = []
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module is not None:
            assert node.level == 0, f"{path}: relative import"
            found.add(node.module)
    return found


def package_of(path: Path) -> str:
    return path.relative_to(ROOT / "busim").parts[0].removesuffix(".py")


@pytest.mark.parametrize("package", sorted(MAY_IMPORT))
def test_a_package_imports_only_what_it_may(package: str) -> None:
    folder = ROOT / "busim" / package
    for path in sorted(folder.rglob("*.py")) if folder.is_dir() else [folder.with_suffix(".py")]:
        for module in imports_of(path):
            if module.split(".")[0] != "busim" or module == "busim":
                continue
            inside = module.removeprefix("busim.")
            allowed = {package, *MAY_IMPORT[package]}
            assert any(inside == name or inside.startswith(f"{name}.") for name in allowed), f"{path.name} imports {module}"


def test_every_package_is_in_the_table() -> None:
    packages = {package_of(path) for path in (ROOT / "busim").rglob("*.py")} - {"__init__", "__main__", "commands"}
    assert packages == set(MAY_IMPORT)


def test_nothing_in_busim_imports_nodes() -> None:
    for path in (ROOT / "busim").rglob("*.py"):
        assert not any(module.split(".")[0] == "nodes" for module in imports_of(path)), path


def test_nodes_import_only_the_seam_the_protocol_and_units() -> None:
    for path in (ROOT / "nodes").rglob("*.py"):
        for module in imports_of(path):
            if module.split(".")[0] == "busim":
                allowed = module in ("busim.seam", "busim.units") or module.startswith("busim.protocol")
                assert allowed, f"{path.name} imports {module}"


def test_requirements_share_nothing_with_nodes_or_codec() -> None:
    for path in (ROOT / "busim" / "requirements").rglob("*.py"):
        for module in imports_of(path):
            assert module not in ("busim.protocol.codec", "busim.protocol.tables", "busim.protocol.catalogue"), path


def test_the_simulator_loads_no_screen_no_adapter_no_event_loop() -> None:
    """In a process of its own: a run's modules, nodes included, do not pull in what only a screen or a bench needs."""
    code = (
        "import sys, busim.run.run, nodes.drive, nodes.station, nodes.panel, nodes.zone_driver\n"
        "bad = [name for name in ('textual', 'can', 'serial', 'asyncio', 'rich', 'typer') if name in sys.modules]\n"
        "print(bad)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    assert done.stdout.strip() == "[]"


def test_the_tour_names_every_package() -> None:
    tour = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    for package in MAY_IMPORT:
        assert f"`busim/{package}`" in tour or f"`busim/{package}.py`" in tour, package
