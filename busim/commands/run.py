"""`busim run`: one run."""

import json
import shlex
from pathlib import Path
from typing import Any

from busim import labels
from busim.boat.load import LoadedBoat
from busim.commands import ending
from busim.commands.boats import boat_line, find_boat, find_scenario, results_folder, shown_path, typed_path
from busim.commands.kinds import classes_for, kind_options, kinds_text, replaced_kinds
from busim.commands.run_output import json_object, text_lines
from busim.commands.shrinking import refuse_to_overwrite, write_shrunk
from busim.host.host import NodeError
from busim.reading.problem import printable
from busim.record.writer import RecordWriter, new_folder
from busim.run.run import Outcome, carry_out


def run_once(
    boat_path: Path | None,
    scenario_path: Path | None,
    seed: int,
    *,
    record: bool,
    as_json: bool,
    kinds: list[str],
    shrunk: Path | None = None,
) -> int:
    if shrunk is not None:
        refuse_to_overwrite(shrunk)
    boat = find_boat(boat_path)
    scenario = find_scenario(scenario_path, boat)
    replaced = replaced_kinds(kinds, boat.boat)
    classes = classes_for(replaced, boat.boat, boat.plan)
    words = ["busim", "run", typed_path(boat.path), "--scenario", typed_path(scenario.path), "--seed", str(seed)]
    reproduce = shlex.join([*words, *kind_options(replaced)])
    if not as_json:
        print(boat_line(boat))
        name = printable(scenario.scenario.scenario)
        print(labels.SCENARIO_LINE.format(name=name, path=shown_path(scenario.path), seed=seed, seconds=scenario.scenario.lasts_s))
        if replaced:
            print(labels.REPLACED_LINE.format(kinds=kinds_text(replaced)))
        print(flush=True)
    writer = None
    if record:
        writer = RecordWriter(new_folder(results_folder(boat), "run"), boat.boat, scenario.scenario, seed, replaced)
    try:
        outcome = carry_out(boat.boat, boat.plan, classes, scenario.scenario, seed, writer.keep if writer else None)
    except (KeyboardInterrupt, NodeError):
        if writer:
            ending.say_error(labels.RECORD_ENDS.format(folder=shown_path(writer.folder), seconds=writer.second))
        raise
    finally:
        if writer:
            writer.close()
    status = status_of(outcome)
    said = write_shrunk(shrunk, boat, classes, scenario, outcome, kind_options(replaced)) if shrunk is not None else ""
    if as_json:
        print_json(outcome, _named(boat, replaced, writer), scenario.scenario.scenario, status, reproduce)
        return status
    for line in text_lines(outcome):
        print(line)
    if writer:
        print(labels.RECORD_LINE.format(folder=shown_path(writer.folder)))
    print(labels.REPRODUCE_LINE.format(line=printable(reproduce)))
    if said:
        print(said)
    return status


def _named(boat: LoadedBoat, replaced: dict[str, str], writer: RecordWriter | None) -> dict[str, Any]:
    return {
        "boat": {"name": boat.boat.boat.name, "file": str(boat.path)},
        "fingerprints": fingerprints(boat.plan.helm_fingerprint, boat.plan.lighting_fingerprint),
        "kinds_replaced": replaced,
        "record": str(writer.folder) if writer else None,
    }


def fingerprints(helm: int, lighting: int) -> dict[str, str]:
    return {"helm": f"{helm:04x}", "lighting": f"{lighting:04x}"}


def print_json(outcome: Outcome, named: dict[str, Any], scenario: str, status: int, reproduce: str) -> None:
    print(json.dumps(json_object(outcome, named, scenario, status, reproduce), indent=1))


def status_of(outcome: Outcome) -> int:
    """The exit status of a run that was carried out."""
    if outcome.failed:
        return ending.FAILED
    return ending.NOT_SHOWN if outcome.open else ending.PASSED
