"""`busim run --shrink FILE`: the shortest scenario found that still fails what a run failed, written to a new file."""

import shlex
from pathlib import Path
from typing import Any

from busim import labels
from busim.boat.load import LoadedBoat
from busim.commands.boats import shown_path, typed_path
from busim.reading.problem import printable, refused
from busim.requirements.verdict import FAIL
from busim.run.run import Outcome
from busim.run.shrink import shrink
from busim.scenario.load import LoadedScenario
from busim.scenario.write import plain_scenario, scenario_text


def refuse_to_overwrite(path: Path) -> None:
    """Before any work is done. Errors: InputError."""
    if path.exists():
        raise refused(path, "is there already: name a file that is not")
    if not path.parent.is_dir():
        raise refused(path.parent, "is not a folder that is there")


def write_shrunk(
    path: Path, boat: LoadedBoat, classes: dict[str, Any], scenario: LoadedScenario, outcome: Outcome, options: list[str]
) -> str:
    """What came of it, in words. Nothing is written where nothing failed. Errors: OSError where the file can't be written."""
    failed = [verdict.id for verdict in outcome.verdicts if verdict.verdict == FAIL and verdict.id in outcome.failed]
    if not failed:
        return labels.NOTHING_TO_SHRINK
    shrunk = shrink(boat.boat, boat.plan, classes, scenario.scenario, outcome.seed, failed[0])
    with path.open("x", encoding="utf-8") as file:
        file.write(scenario_text(plain_scenario(shrunk.scenario)))
    words = ["busim", "run", typed_path(boat.path), "--scenario", typed_path(path), "--seed", str(outcome.seed)]
    line = printable(shlex.join([*words, *options]))
    entries = len(shrunk.scenario.actions) + len(shrunk.scenario.faults)
    ends = labels.SHRUNK_WHOLE if shrunk.whole else labels.SHRUNK_SPENT
    told = {"requirement": failed[0], "entries": entries, "runs": shrunk.runs, "ends": ends, "path": shown_path(path)}
    return f"{labels.SHRUNK.format(**told)}\n{labels.SHRUNK_RUN.format(line=line)}"
