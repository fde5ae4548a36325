"""What all tests share: the tables of requirement x scenario that stand at the end of a test run's output."""

from collections.abc import Iterator
from typing import Any

import pytest

COVERAGE = pytest.StashKey[dict[tuple[str, str], dict[str, str]]]()
"""(boat, scenario) -> requirement -> verdict, filled by `unit/test_coverage_of_requirements.py`."""

SHORT = {"not exercised": "-", "pass (self-reported)": "pass (self)"}


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session) -> None:
    """A worker process hands over what its tests found."""
    output = getattr(session.config, "workeroutput", None)
    if output is not None:
        found = session.config.stash.get(COVERAGE, {})
        output["coverage"] = [[boat, scenario, row] for (boat, scenario), row in found.items()]


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Any) -> None:
    found = node.config.stash.setdefault(COVERAGE, {})
    for boat, scenario, row in getattr(node, "workeroutput", {}).get("coverage", []):
        found.setdefault((boat, scenario), {}).update(row)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    verdicts = config.stash.get(COVERAGE, None)
    for boat in sorted({boat for boat, _ in verdicts or {}}):
        terminalreporter.section(f"requirements exercised by the scenarios of {boat}")
        for line in table({scenario: row for (name, scenario), row in (verdicts or {}).items() if name == boat}):
            terminalreporter.write_line(line)


def table(verdicts: dict[str, dict[str, str]]) -> Iterator[str]:
    """One row a requirement, one column a scenario."""
    requirements = list(dict.fromkeys(name for row in verdicts.values() for name in row))
    first = max(map(len, requirements))
    widths = {scenario: max(len(scenario), len("pass (self)")) for scenario in verdicts}
    yield "  ".join(["requirement".ljust(first), *(scenario.ljust(width) for scenario, width in widths.items())]).rstrip()
    for requirement in requirements:
        found = {name: row.get(requirement, "") for name, row in verdicts.items()}
        cells = [SHORT.get(verdict, verdict).ljust(widths[name]) for name, verdict in found.items()]
        yield "  ".join([requirement.ljust(first), *cells]).rstrip()
