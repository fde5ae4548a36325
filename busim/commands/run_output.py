"""What `busim run` prints, as text and as JSON."""

from collections.abc import Iterator
from typing import Any, Final

from busim import VERSION, labels
from busim.commands.tables import table, wrapped
from busim.reading.problem import printable
from busim.requirements.verdict import ACCEPTED, FAIL, Verdict
from busim.run.losses import LossOfControl
from busim.run.run import Outcome
from busim.units import MS, seconds_text

JSON_VERSION: Final = 1


def text_lines(outcome: Outcome) -> Iterator[str]:
    """Timeline, losses, verdicts, what it comes to."""
    yield labels.TIMELINE_HEAD
    width = max((len(seconds_text(line.at_ns)) for line in outcome.lines), default=0)
    for line in outcome.lines:
        yield f"  {seconds_text(line.at_ns):>{width}} s  {printable(line.words)}"
    if outcome.losses:
        yield ""
        yield labels.LOSS_TITLE
        yield from table(labels.LOSS_HEAD, [_loss_row(loss) for loss in outcome.losses])
    yield ""
    yield from table(labels.VERDICT_HEAD, [verdict_row(verdict) for verdict in outcome.verdicts])
    yield from _weaknesses(outcome)
    yield ""
    failed = [verdict.id for verdict in outcome.verdicts if verdict.id in outcome.failed and verdict.verdict == FAIL]
    if failed:
        yield labels.SOME_FAILED.format(names=", ".join(failed))
    for verdict in outcome.verdicts:
        if verdict.id in outcome.failed and verdict.verdict != FAIL:
            yield labels.NOT_AS_EXPECTED.format(name=verdict.id, verdict=verdict.verdict)
    if outcome.open:
        yield labels.SOME_OPEN.format(names=", ".join(outcome.open))
    if not outcome.failed and not outcome.open:
        yield labels.ALL_PASSED
    yield labels.DIGEST_LINE.format(digest=outcome.digest, frames=outcome.frames, seconds=outcome.seconds)


def _weaknesses(outcome: Outcome) -> Iterator[str]:
    """What the owner lives with: in full where this run showed it, by name where it did not."""
    shown = {verdict.weakness for verdict in outcome.verdicts if verdict.verdict == ACCEPTED}
    for weakness in outcome.weaknesses:
        if weakness.weakness in shown:
            words = labels.WEAKNESS_LINE.format(name=weakness.weakness, date=weakness.date, reason=weakness.reason)
            yield from wrapped(printable(words))
    if others := [weakness.weakness for weakness in outcome.weaknesses if weakness.weakness not in shown]:
        yield from wrapped(printable(labels.WEAKNESSES_NOT_SHOWN.format(names="; ".join(others))))


def _quantity(value: int | None, unit: str) -> str:
    if value is None:
        return labels.NOT_YET
    return f"{value / 100:g} deg" if unit == "cdeg" else f"{value:,} {unit}"


def verdict_row(verdict: Verdict) -> tuple[str, ...]:
    evidence = printable(verdict.evidence)
    if verdict.at_ns is not None:
        evidence += f" (at {seconds_text(verdict.at_ns)} s; {labels.SOURCES.get(verdict.source, verdict.source)})"
    limit = _quantity(verdict.limit, verdict.unit)
    return verdict.id, verdict.verdict, limit, _quantity(verdict.measured, verdict.unit), evidence


def _loss_row(loss: LossOfControl) -> tuple[str, ...]:
    off = labels.NOT_YET
    if loss.way_off_s is not None and loss.way_off_m is not None:
        off = f"{loss.way_off_s:,.0f} s, {loss.way_off_m:,.1f} m"
    return (
        loss.drive,
        f"{seconds_text(loss.base_ns)} s",
        _reached(loss.to_idle_ns, loss.run_to_idle_mm, loss.ground_to_idle_mm),
        _reached(loss.to_neutral_ns, loss.run_mm, loss.ground_mm),
        off,
    )


def _reached(after_ns: int | None, run_mm: int | None, ground_mm: int | None) -> str:
    """How soon, and how far she had run by then."""
    if after_ns is None:
        return labels.NOT_YET
    run = labels.NO_HULL if run_mm is None else f"{run_mm / 1000:.2f} m"
    if ground_mm is not None:
        run = labels.OVER_GROUND.format(run=run, ground=ground_mm / 1000)
    return f"{_quantity(-(-after_ns // MS), 'ms')}, {run}"


def verdict_object(verdict: Verdict, reproduce: str) -> dict[str, Any]:
    return {
        "id": verdict.id,
        "verdict": verdict.verdict,
        "limit": verdict.limit,
        "measured": verdict.measured,
        "unit": verdict.unit,
        "source": verdict.source,
        "at_ns": verdict.at_ns,
        "evidence": verdict.evidence,
        "weakness": verdict.weakness or None,
        "reproduce": reproduce,
    }


def json_object(outcome: Outcome, named: dict[str, Any], scenario: str, exit_status: int, reproduce: str) -> dict[str, Any]:
    """The versioned JSON of a run. `named` says of what: `boat`, `fingerprints`, `kinds_replaced`, `record`."""
    return {
        "json": JSON_VERSION,
        "busim": VERSION,
        **named,
        "scenario": scenario,
        "seed": outcome.seed,
        "digest": outcome.digest,
        "frames": outcome.frames,
        "simulated_s": outcome.seconds,
        "exit_status": exit_status,
        "failed": outcome.failed,
        "not_shown": outcome.open,
        "accepted_weaknesses": [weakness.model_dump() for weakness in outcome.weaknesses],
        "verdicts": [verdict_object(verdict, reproduce) for verdict in outcome.verdicts],
        "faults": [
            {
                "fault": loss.fault,
                "place": loss.place,
                "drive": loss.drive,
                "from_ns": loss.base_ns,
                "to_idle_ns": loss.to_idle_ns,
                "run_to_idle_m": None if loss.run_to_idle_mm is None else loss.run_to_idle_mm / 1000,
                "to_neutral_ns": loss.to_neutral_ns,
                "run_m": None if loss.run_mm is None else loss.run_mm / 1000,
                "over_ground_m": None if loss.ground_mm is None else loss.ground_mm / 1000,
                "way_off_s": None if loss.way_off_s is None else round(loss.way_off_s, 1),
                "way_off_m": None if loss.way_off_m is None else round(loss.way_off_m, 2),
            }
            for loss in outcome.losses
        ],
        "timeline": [{"at_ns": line.at_ns, "words": line.words} for line in outcome.lines],
    }
