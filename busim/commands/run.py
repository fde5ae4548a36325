"""`busim run`: one run, and the rerun of a record."""

import json
import shlex
from pathlib import Path
from typing import Any

from busim import labels
from busim.boat.derive import wire_plan
from busim.commands import ending
from busim.commands.boats import boat_line, find_boat, find_scenario, results_folder, shown_path
from busim.commands.run_output import json_object, text_lines
from busim.events.journal import Event, Frame
from busim.reading.problem import printable, refused
from busim.record.reader import read_record
from busim.record.writer import RecordWriter, new_folder
from busim.run.run import Outcome, carry_out
from busim.simulator.kinds import load_kinds


def run_once(
    boat_path: Path | None, scenario_path: Path | None, seed: int, *, record: bool, as_json: bool, kinds: list[str]
) -> int:
    boat = find_boat(boat_path)
    scenario = find_scenario(scenario_path, boat)
    replaced = _replaced(kinds)
    classes = load_kinds(replaced)
    reproduce = _line(boat.path, scenario.path, seed, replaced)
    if not as_json:
        print(boat_line(boat))
        name = printable(scenario.scenario.scenario)
        print(labels.SCENARIO_LINE.format(name=name, path=shown_path(scenario.path), seed=seed, seconds=scenario.scenario.lasts_s))
        if replaced:
            print(labels.REPLACED_LINE.format(kinds=_kinds_text(replaced)))
        print()
    writer = None
    if record:
        writer = RecordWriter(new_folder(results_folder(boat), "run"), boat.boat, scenario.scenario, seed, replaced)
    try:
        outcome = carry_out(boat.boat, boat.plan, classes, scenario.scenario, seed, writer.keep if writer else None)
    finally:
        if writer:
            writer.close()
    status = _status(outcome)
    if as_json:
        named: dict[str, Any] = {
            "name": boat.boat.boat.name,
            "file": str(boat.path),
            "helm_fingerprint": f"{boat.plan.helm_fingerprint:04x}",
            "lighting_fingerprint": f"{boat.plan.lighting_fingerprint:04x}",
            "kinds_replaced": replaced,
        }
        if writer:
            named["record"] = str(writer.folder)
        print(json.dumps(json_object(outcome, named, scenario.scenario.scenario, status, reproduce), indent=1))
        return status
    for line in text_lines(outcome):
        print(line)
    if writer:
        print(labels.RECORD_LINE.format(folder=shown_path(writer.folder)))
    print(labels.REPRODUCE_LINE.format(line=reproduce))
    return status


def rerun(folder: Path, *, as_json: bool) -> int:
    """Run a record's boat and scenario again and hold the digest after every second against what was kept."""
    record = read_record(folder)
    plan = wire_plan(record.boat)
    digests: list[str] = []

    def keep(frames: list[Frame], events: list[Event], digest: str) -> None:
        digests.append(digest)

    outcome = carry_out(record.boat, plan, load_kinds(record.kinds), record.scenario, record.seed, keep)
    for second, (kept, again) in enumerate(zip(record.digests, digests, strict=False), start=1):
        if kept != again:
            raise ending.ContradictionError(labels.NOT_THE_SAME.format(second=second))
    if len(record.digests) > len(digests):
        raise ending.ContradictionError(labels.NOT_THE_SAME.format(second=len(digests) + 1))
    status = _status(outcome)
    if as_json:
        named = {
            "name": record.boat.boat.name,
            "file": str(folder),
            "helm_fingerprint": f"{plan.helm_fingerprint:04x}",
            "lighting_fingerprint": f"{plan.lighting_fingerprint:04x}",
            "kinds_replaced": record.kinds,
        }
        line = f"busim run --from {shlex.quote(shown_path(folder))}"
        print(json.dumps(json_object(outcome, named, record.scenario.scenario, status, line), indent=1))
        return status
    name = printable(record.boat.boat.name)
    helm, lighting = plan.helm_fingerprint, plan.lighting_fingerprint
    print(labels.BOAT_LINE.format(name=name, path=shown_path(folder), helm=helm, lighting=lighting))
    if record.kinds:
        print(labels.REPLACED_LINE.format(kinds=_kinds_text(record.kinds)))
    print()
    for line in text_lines(outcome):
        print(line)
    if len(record.digests) < len(digests):
        print(labels.CUT_SHORT.format(seconds=len(record.digests)))
    else:
        print(labels.SAME_AGAIN.format(digest=outcome.digest))
    return status


def _status(outcome: Outcome) -> int:
    if outcome.failed:
        return ending.FAILED
    return ending.NOT_SHOWN if outcome.open else ending.PASSED


def _replaced(kinds: list[str]) -> dict[str, str]:
    replaced = {}
    for text in kinds:
        kind, equals, place = text.partition("=")
        if not equals or not kind:
            raise refused(Path("--kind"), f"{printable(text)} is not KIND=MODULE:CLASS")
        replaced[kind] = place
    return replaced


def _kinds_text(kinds: dict[str, str]) -> str:
    return printable(", ".join(f"{kind} by {place}" for kind, place in sorted(kinds.items())))


def _line(boat: Path, scenario: Path, seed: int, kinds: dict[str, str]) -> str:
    """The command line that gives this very run again."""
    words = ["busim", "run", shown_path(boat), "--scenario", shown_path(scenario), "--seed", str(seed)]
    for kind, place in sorted(kinds.items()):
        words += ["--kind", f"{kind}={place}"]
    return shlex.join(words)
