"""Pairs of faults in words: how many there were, and the worst of them."""

from collections.abc import Iterator, Sequence
from typing import Any, Final

from busim import sweep_labels as words
from busim.sweep.outcome import SweptRun
from busim.sweep.rows import badness
from busim.sweep.severity import TOLD, severity_of

MOST_PAIRS: Final = 12


def worst_of(pairs: Sequence[SweptRun]) -> list[SweptRun]:
    """Pairs in which more was lost than a word about it, the worst first; of alike ones the first drawn."""
    bad = [run for run in pairs if severity_of(run) > TOLD or run.failed]
    return sorted(bad, key=lambda run: badness(run, severity_of(run)), reverse=True)[:MOST_PAIRS]


def told_of(pairs: Sequence[SweptRun]) -> Iterator[str]:
    yield words.PAIRS_TITLE.format(pairs=len(pairs), quiet=sum(not run.found for run in pairs))
    yield words.PAIRS_WORDS if worst_of(pairs) else words.PAIRS_NONE


def pair_words(run: SweptRun) -> str:
    failed = words.PAIR_FAILED.format(names=", ".join(run.failed)) if run.failed else ""
    severity = words.SEVERITIES[severity_of(run)]
    return words.PAIR.format(under=run.under, fault=run.fault, place=run.place, mode=run.mode, severity=severity, failed=failed)


def plain_pair(run: SweptRun) -> dict[str, Any]:
    return {
        "under": run.under,
        "fault": run.fault,
        "place": run.place,
        "mode": run.mode,
        "severity": words.SEVERITIES[severity_of(run)],
        "failed": list(run.failed),
        "to_neutral_ns": run.to_neutral_ns,
        "run_mm": run.run_mm,
        "reproduce": run.reproduce,
    }
