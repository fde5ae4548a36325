"""`busim run --from RECORD`: the rerun of a record, held against everything that was kept."""

import shlex
from pathlib import Path

from busim import VERSION, labels
from busim.boat.derive import wire_plan
from busim.boat.model import BoatFile
from busim.boat.rules import broken_rules
from busim.commands import ending
from busim.commands.boats import shown_path, typed_path
from busim.commands.kinds import classes_for, kind_options, kinds_text, replaced_kinds
from busim.commands.run import fingerprints, print_json, status_of
from busim.commands.run_output import text_lines
from busim.protocol.plan import WirePlan
from busim.reading.document import Document
from busim.reading.problem import printable, refused
from busim.reading.tree import Positions
from busim.record.compare import Comparison, Difference
from busim.record.reader import Record, read_record
from busim.record.writer import HEAD, SECONDS
from busim.run.run import carry_out
from busim.scenario.load import problems_with
from busim.scenario.model import ScenarioFile


def rerun(folder: Path, *, as_json: bool, kinds: list[str]) -> int:
    """Run a record's boat and scenario again and hold every second against what was kept."""
    record = read_record(folder)
    refuse_misfits(record)
    reproduce = shlex.join(["busim", "run", "--from", typed_path(folder), *kind_options(record.kinds)])
    if replaced_kinds(kinds, record.boat) != record.kinds:
        # Nothing in a results folder is trusted: whose code is run is for the one who types to say.
        words = labels.KINDS_UNLIKE if kinds else labels.KINDS_UNSAID
        raise refused(folder, words.format(line=printable(reproduce)))
    plan = wire_plan(record.boat)
    classes = classes_for(record.kinds, record.boat, plan)
    with Comparison(record) as comparison:
        if not as_json:
            _print_head(record, plan)
        outcome = carry_out(record.boat, plan, classes, record.scenario, record.seed, comparison.keep)
        comparison.end()
    if comparison.difference is not None:
        _refuse_difference(record, comparison.difference)
    status = status_of(outcome)
    if as_json:
        named = {
            "boat": {"name": record.boat.boat.name, "file": str(folder)},
            "fingerprints": fingerprints(plan.helm_fingerprint, plan.lighting_fingerprint),
            "kinds_replaced": record.kinds,
            "record": str(folder),
        }
        print_json(outcome, named, record.scenario.scenario, status, reproduce)
        return status
    for line in text_lines(outcome):
        print(line)
    if record.seconds < comparison.seconds:
        print(labels.CUT_SHORT.format(seconds=record.seconds))
    else:
        print(labels.SAME_AGAIN.format(digest=outcome.digest))
    return status


def _print_head(record: Record, plan: WirePlan) -> None:
    name, scenario, path = printable(record.boat.boat.name), record.scenario, shown_path(record.folder)
    print(labels.BOAT_LINE.format(name=name, path=path, helm=plan.helm_fingerprint, lighting=plan.lighting_fingerprint))
    name = printable(scenario.scenario)
    print(labels.SCENARIO_LINE.format(name=name, path=path, seed=record.seed, seconds=scenario.lasts_s))
    if record.kinds:
        print(labels.REPLACED_LINE.format(kinds=kinds_text(record.kinds)))
    print(flush=True)


def refuse_misfits(record: Record) -> None:
    """What has the right shape and still is no boat, or no scenario of this boat: busim writes no such head."""
    path = record.folder / HEAD
    boat: Document[BoatFile] = Document(path, "", record.boat, Positions())
    if problems := broken_rules(boat):
        raise refused(path, f"is damaged in boat: {problems[0].words}")
    scenario: Document[ScenarioFile] = Document(path, "", record.scenario, Positions())
    if problem := next(problems_with(scenario, record.boat), None):
        raise refused(path, f"is damaged in scenario: {problem.words}")


def _refuse_difference(record: Record, difference: Difference) -> None:
    if difference.file != SECONDS:
        raise refused(record.folder / difference.file, labels.CHANGED_SINCE.format(second=difference.second))
    if record.version != VERSION:
        words = labels.OTHER_VERSION.format(theirs=printable(record.version), ours=VERSION, second=difference.second)
        raise refused(record.folder / HEAD, words)
    raise ending.ContradictionError(labels.NOT_THE_SAME.format(second=difference.second))
