"""What `busim sweep` prints, as text and as JSON: what is swept and what not, how it goes, the failure-mode table, the end."""

from collections.abc import Iterator
from dataclasses import asdict
from typing import Any, Final

from busim import VERSION, labels, sweep_labels
from busim.boat.model import BoatFile
from busim.commands.tables import table
from busim.reading.problem import printable
from busim.sweep.outcome import SweptRun
from busim.sweep.pairs_words import pair_words, plain_pair, told_of, worst_of
from busim.sweep.plan import Plan
from busim.sweep.rows import FaultRow
from busim.sweep.settled import LEFT_OUT
from busim.sweep.summary import BY_PEOPLE_ONLY, Summary, applies
from busim.sweep.words import plain_row, table_row
from busim.units import SECOND

JSON_VERSION: Final = 1
MOST_FAULTS: Final = 6
"""Of one requirement, so many places are named."""


def failing_modes(plan: Plan) -> Iterator[str]:
    yield labels.SWEEP_NOT_SWEPT
    for mode in plan.failing:
        yield printable(labels.SWEEP_FAILS_UNDISTURBED.format(mode=mode.mode, why=mode.why))


def head_lines(plan: Plan, folder: str) -> Iterator[str]:
    head = plan.head
    yield labels.SWEEP_HEAD.format(faults=len(head.faults_modelled), cells=head.cells, runs=head.runs, seed=head.seed)
    for name, why in head.faults_not_modelled:
        yield labels.SWEEP_UNMODELLED.format(name=name, why=why)
    for mode in head.modes:
        if mode.state == LEFT_OUT and mode.why != labels.SWEEP_NOT_ASKED:
            yield printable(labels.SWEEP_LEFT_OUT.format(mode=mode.mode, why=mode.why))
    for cells in head.empty:
        yield labels.SWEEP_EMPTY.format(cells=cells.cells, what=cells.fault or cells.mode or labels.SWEEP_SEVERAL, why=cells.why)
    for line in head.thinned:
        yield labels.SWEEP_THINNED_LINE.format(line=line)
    yield labels.SWEEP_FOLDER.format(folder=folder)
    yield ""


def progress_line(done: int, runs: int, failed: int, left_s: float) -> str:
    return labels.SWEEP_PROGRESS.format(done=done, runs=runs, failed=failed, minutes=int(left_s // 60), seconds=int(left_s % 60))


def result_lines(summary: Summary, rows: list[FaultRow], boat: BoatFile, again: str) -> Iterator[str]:
    head = summary.head
    yield from table(sweep_labels.TABLE_HEAD, [tuple(map(printable, table_row(row))) for row in rows])
    yield ""
    for failure in sorted(summary.failures.values(), key=lambda row: row.requirement):
        most = failure.faults.most_common(MOST_FAULTS)
        faults = "; ".join(f"{name} ({count})" for name, count in most)
        more = len(failure.faults) - len(most)
        words = labels.SWEEP_MORE.format(more=more) if more else ""
        name = failure.requirement
        yield printable(labels.SWEEP_FAILURE.format(requirement=name, runs=failure.runs, faults=faults, more=words))
        verdict = next(each for each in failure.first.verdicts if each.id == failure.requirement)
        yield printable(f"    {verdict.evidence}")
        yield printable(f"    {labels.REPRODUCE_LINE.format(line=failure.first.reproduce)}")
    yield from _accepted(summary, boat)
    yield from _coverage(summary, boat)
    if summary.runs < head.runs:
        yield labels.SWEEP_LEFT.format(left=head.runs - summary.runs, runs=head.runs)
        yield labels.REPRODUCE_LINE.format(line=printable(again))
    simulated_s = summary.simulated_ns // SECOND
    yield labels.SWEEP_TOTAL.format(runs=summary.runs, seconds=simulated_s, failed=summary.failed_runs)
    if not summary.failed_runs and summary.runs == head.runs:
        yield labels.SWEEP_PASSED


def _accepted(summary: Summary, boat: BoatFile) -> Iterator[str]:
    """What the owner lives with and runs showed; and, of a whole sweep, what none did: it may be struck from the boat file."""
    for name, shown in sorted(summary.accepted.items()):
        most = shown.most_common(MOST_FAULTS)
        what = "; ".join(labels.SWEEP_UNDER.format(name=given, fault=fault, count=count) for (given, fault), count in most)
        more = labels.SWEEP_MORE.format(more=len(shown) - len(most)) if len(shown) > len(most) else ""
        yield printable(labels.SWEEP_ACCEPTED.format(name=name, count=sum(shown.values()), what=what + more))
    if summary.runs < summary.head.runs or summary.head.only:
        return
    for weakness in boat.accepted_weaknesses:
        seen = summary.accepted.get(weakness.weakness, ())
        requirements = {requirement for requirement, _ in seen}
        faults = {word for _, fault in seen for word in (fault, fault.partition(": ")[0])}
        unseen = [each for each in weakness.requirements if each not in requirements]
        unseen += [each for each in weakness.faults if each not in faults]
        if unseen:
            yield printable(labels.SWEEP_ACCEPTED_UNSEEN.format(name=weakness.weakness, what="; ".join(unseen)))


def _coverage(summary: Summary, boat: BoatFile) -> Iterator[str]:
    for name, known in summary.head.rows_known:
        taken = sum(1 for machine, _ in summary.rows if machine == name)
        if taken:
            yield labels.SWEEP_ROWS.format(table=name, taken=taken, known=known)
    never = summary.never_exercised(boat)
    if never and not summary.head.only and summary.runs == summary.head.runs:
        yield labels.SWEEP_NEVER.format(names=", ".join(never))
    for name, why in BY_PEOPLE_ONLY.items():
        if applies(name, boat) and name not in summary.exercised:
            yield labels.SWEEP_PEOPLE.format(name=name, why=why)
    if summary.inconclusive:
        names = ", ".join(f"{name} ({count})" for name, count in sorted(summary.inconclusive.items()))
        yield labels.SWEEP_INCONCLUSIVE.format(names=names)


def pair_lines(pairs: list[SweptRun]) -> Iterator[str]:
    yield ""
    yield from told_of(pairs)
    for run in worst_of(pairs):
        yield printable(f"  {pair_words(run)}")
        yield printable(f"    {labels.REPRODUCE_LINE.format(line=run.reproduce)}")


def json_object(
    summary: Summary, rows: list[FaultRow], boat: BoatFile, folder: str, exit_status: int, pairs: list[SweptRun]
) -> dict[str, Any]:
    head = summary.head
    return {
        "version": JSON_VERSION,
        "busim": VERSION,
        "boat": {"name": head.boat, "file": head.file},
        "fingerprints": {"helm": head.helm, "lighting": head.lighting},
        "seed": head.seed,
        "folder": folder,
        "runs_planned": head.runs,
        "runs": summary.runs,
        "runs_failed": summary.failed_runs,
        "simulated_s": summary.simulated_ns / SECOND,
        "exit_status": exit_status,
        "modes": [asdict(mode) for mode in head.modes],
        "faults_not_modelled": dict(head.faults_not_modelled),
        "empty": [asdict(cells) for cells in head.empty],
        "thinned": list(head.thinned),
        "never_exercised": summary.never_exercised(boat),
        "rows_taken": {name: sum(1 for machine, _ in summary.rows if machine == name) for name, _ in head.rows_known},
        "rows_known": dict(head.rows_known),
        "faults": [
            {**plain_row(row.whole, boat), "places": [plain_row(place, boat) for place in row.places]} for row in rows
        ],
        "pairs": [plain_pair(run) for run in pairs],
    }
