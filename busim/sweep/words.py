"""A row of the failure-mode table in words: what stands in the terminal, on the page and in JSON."""

from typing import Any

from busim import sweep_labels as words
from busim.boat.model import BoatFile
from busim.faults.table import BY_NAME
from busim.requirements.verdict import ACCEPTED, FAIL
from busim.sweep.crew import does, remains, sees, told_by
from busim.sweep.rows import NEVER_REACHED, FaultRow, Row, middle
from busim.units import MS, SECOND

_VERDICTS = {FAIL: words.FAILED, ACCEPTED: words.ACCEPTED}


def seconds(span_ns: int | None) -> str:
    if span_ns is None:
        return words.NONE
    return words.NOT_REACHED if span_ns == NEVER_REACHED else f"{span_ns / SECOND:.2f} s"


def metres(span_mm: int | None) -> str:
    return words.NONE if span_mm is None else f"{span_mm / 1000:.1f} m"


def worst_and_middle(spans: list[int], say: Any) -> str:
    """The worst of some spans and the one in the middle, each as `say` says it."""
    if not spans:
        return words.NONE
    return words.WORST_MEDIAN.format(worst=say(max(spans)), median=say(middle(spans)))


def verdict_words(row: Row) -> str:
    said = _VERDICTS.get(row.verdict, words.PASSED)
    ids = row.failed or row.accepted
    return f"{said}: {', '.join(sorted(ids))}" if ids else said


def table_row(row: FaultRow) -> tuple[str, ...]:
    whole = row.whole
    place = whole.worst.place if whole.worst is not None else words.NONE
    return (
        whole.fault,
        place,
        words.SEVERITIES[whole.worst_severity],
        seconds(max(whole.found_ns)) if whole.found_ns else words.NOBODY,
        seconds(whole.slowest_out_ns),
        metres(max(whole.run_mm, default=None)),
        seconds(max(whole.again_ns, default=None)),
        verdict_words(whole),
    )


def card(row: Row, boat: BoatFile) -> dict[str, str]:
    """Everything that is said of a fault, by the terms of `CARD_TERMS`, in their order."""
    run = row.worst
    out = worst_and_middle(row.to_neutral_ns, seconds)
    way_off = f"{seconds(max(row.way_off_ms, default=0) * MS)}, {metres(max(row.way_off_mm, default=None))}"
    return {
        "effect": BY_NAME[row.fault].effect if row.fault in BY_NAME else words.NONE,
        "runs": f"{row.runs:,}",
        "modes": ", ".join(f"{mode} ({words.SEVERITIES[worst]})" for mode, worst in row.modes.items()),
        "found": told_by(row),
        "found_after": worst_and_middle(row.found_ns, seconds),
        "severity": words.SEVERITIES[row.worst_severity],
        "to_idle": worst_and_middle(row.to_idle_ns, seconds),
        "to_neutral": f"{words.NOT_REACHED}, {row.never_out:,} x; else {out}" if row.never_out else out,
        "run": worst_and_middle(row.run_mm, metres),
        "way_off": way_off if row.way_off_ms else words.NONE,
        "works": ", ".join(sorted(row.works or ())) or words.NONE,
        "works_not": ", ".join(sorted(row.works_not)) or words.NONE,
        "unneeded": words.UNNEEDED.format(count=row.unneeded, runs=row.runs),
        "again": worst_and_middle(row.again_ns, seconds),
        "sees": sees(row),
        "does": does(row, boat),
        "verdict": verdict_words(row),
        "residual": remains(row, boat),
        "reproduce": run.reproduce if run is not None else words.NONE,
    }


def plain_row(row: Row, boat: BoatFile) -> dict[str, Any]:
    """For `--json`: numbers beside the words."""
    run = row.worst
    return {
        "fault": row.fault,
        "place": row.place,
        "runs": row.runs,
        "modes": {mode: words.SEVERITIES[worst] for mode, worst in row.modes.items()},
        "severity": words.SEVERITIES[row.worst_severity],
        "verdict": row.verdict,
        "failed": dict(sorted(row.failed.items())),
        "accepted": dict(sorted(row.accepted.items())),
        "latent": row.latent,
        "found_runs": len(row.found_ns),
        "found_by": told_by(row),
        "found_worst_ns": max(row.found_ns, default=None),
        "found_median_ns": middle(row.found_ns),
        "to_idle_worst_ns": max(row.to_idle_ns, default=None),
        "to_neutral_worst_ns": max(row.to_neutral_ns, default=None),
        "to_neutral_median_ns": middle(row.to_neutral_ns),
        "never_out_runs": row.never_out,
        "run_worst_mm": max(row.run_mm, default=None),
        "way_off_worst_ms": max(row.way_off_ms, default=None),
        "way_off_worst_mm": max(row.way_off_mm, default=None),
        "thrust_again_worst_ns": max(row.again_ns, default=None),
        "unneeded_runs": row.unneeded,
        "works": sorted(row.works or ()),
        "works_not": sorted(row.works_not),
        "crew_sees": sees(row),
        "crew_does": does(row, boat),
        "residual": remains(row, boat),
        "worst": None if run is None else {"key": run.key, "seed": run.seed, "at_ns": run.at_ns, "reproduce": run.reproduce},
    }
