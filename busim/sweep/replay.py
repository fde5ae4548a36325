"""One run of a sweep again, by its key: as a scenario that `busim run` plays to the same end."""

import json
from typing import Any

from busim.reading.problem import nearest
from busim.scenario.model import ScenarioFile
from busim.sweep import grid
from busim.sweep.branch import Branch
from busim.sweep.grid import Job
from busim.sweep.outcome import SweptRun
from busim.sweep.plan import Asked, whole_grid
from busim.sweep.work import Setup, Worker


def job_of(setup: Setup, key: str, seed: int) -> Job | str:
    """The run of that key in the whole grid; else what was probably meant, "" where nothing is near."""
    found = grid.job_of(setup.boat, key, seed)
    return found or nearest(key, [job.key for job in whole_grid(setup.boat, Asked(seed, full=False, only=())).jobs]) or ""


def play(setup: Setup, job: Job) -> tuple[SweptRun, Branch]:
    worker = Worker(setup)
    return worker.run(worker.settle(job), job)


def scenario_text(scenario: ScenarioFile) -> str:
    """The scenario as YAML that reads back to the same: one entry a line, in flow style."""
    lines = [f"scenario: {json.dumps(scenario.scenario)}"]
    if scenario.words is not None:
        lines.append(f"words: {json.dumps(scenario.words)}")
    lines.append(f"lasts_s: {_number(scenario.lasts_s)}")
    for section, entries in (("actions", scenario.actions), ("faults", scenario.faults)):
        if entries:
            lines.append(f"{section}:")
            lines += [f"  - {_flow(entry.model_dump(mode='json', exclude_none=True))}" for entry in entries]
    return "\n".join(lines) + "\n"


def _flow(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key}: {_flow(each)}" for key, each in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_flow, value)) + "]"
    return _number(value) if isinstance(value, float) else json.dumps(value)


def _number(value: float) -> str:
    """Without an exponent, to the last nanosecond."""
    return f"{value:.9f}".rstrip("0").rstrip(".") if value >= 1e-9 or value == 0 else repr(value)
