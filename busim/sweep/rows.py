"""The failure-mode table: swept runs gathered by fault and place, with the worst of everything. Pure arithmetic on records.

It reads runs one at a time and keeps of each only what a row needs, so that a sweep of any length fits.
"""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from statistics import median_low
from typing import Final

from busim.requirements.verdict import ACCEPTED, FAIL, PASS
from busim.sweep.outcome import SweptRun
from busim.sweep.severity import NOTHING, severity_of

NEVER_REACHED: Final = -1
"""In place of a time: it never came to that."""


@dataclass
class Row:
    """One fault at one place, or at all of its places. Times in ns, distances in mm; spans of every run that has one."""

    fault: str
    place: str
    runs: int = 0
    modes: dict[str, int] = field(default_factory=dict)
    """Mode -> severity of the worst run in it."""
    found_ns: list[int] = field(default_factory=list)
    found_by: Counter[tuple[str, str]] = field(default_factory=Counter)
    to_idle_ns: list[int] = field(default_factory=list)
    to_neutral_ns: list[int] = field(default_factory=list)
    run_mm: list[int] = field(default_factory=list)
    way_off_ms: list[int] = field(default_factory=list)
    way_off_mm: list[int] = field(default_factory=list)
    never_out: int = 0
    """Runs in which a drive that lost control never had its gear out."""
    again_ns: list[int] = field(default_factory=list)
    unneeded: int = 0
    """Runs that lost thrust although boat.availability asks for it, whether accepted or not."""
    works: set[str] | None = None
    """What could be had at the end of every run."""
    works_not: set[str] = field(default_factory=set)
    failed: Counter[str] = field(default_factory=Counter)
    accepted: Counter[str] = field(default_factory=Counter)
    worst: SweptRun | None = None
    worst_severity: int = NOTHING

    @property
    def verdict(self) -> str:
        return FAIL if self.failed else ACCEPTED if self.accepted else PASS

    @property
    def latent(self) -> bool:
        """Nobody was ever told, and nothing came of it."""
        return not self.found_ns and self.worst_severity == NOTHING

    @property
    def slowest_out_ns(self) -> int | None:
        return NEVER_REACHED if self.never_out else max(self.to_neutral_ns, default=None)

    def take(self, run: SweptRun) -> None:
        self.runs += 1
        severity = severity_of(run)
        self.modes[run.mode] = max(severity, self.modes.get(run.mode, NOTHING))
        if run.found:
            self.found_ns.append(run.found[0].after_ns)
            self.found_by[run.found[0].who, run.found[0].what] += 1
        for loss in run.losses:
            _note(self.to_idle_ns, loss.to_idle_ns)
            _note(self.to_neutral_ns, loss.to_neutral_ns)
            _note(self.run_mm, loss.run_mm)
            _note(self.way_off_ms, loss.way_off_ms)
            _note(self.way_off_mm, loss.way_off_mm)
        self.never_out += any(loss.to_neutral_ns is None for loss in run.losses)
        _note(self.again_ns, run.thrust_again_ns)
        weak = {verdict.id for verdict in run.verdicts if verdict.verdict == ACCEPTED}
        self.unneeded += "boat.availability" in weak or "boat.availability" in run.failed
        self.works = set(run.works) if self.works is None else self.works & set(run.works)
        self.works_not |= set(run.works_not)
        self.failed.update(run.failed)
        self.accepted.update(weak)
        if self.worst is None or badness(run, severity) > badness(self.worst, self.worst_severity):
            self.worst, self.worst_severity = run, severity


def _note(spans: list[int], span: int | None) -> None:
    if span is not None:
        spans.append(span)


def badness(run: SweptRun, severity: int) -> tuple[int, int, int, int, int]:
    """What makes one run worse than another; of two alike the first counts."""
    never = sum(loss.to_neutral_ns is None for loss in run.losses)
    return bool(run.failed), severity, never, run.to_neutral_ns or 0, run.run_mm or 0


@dataclass(frozen=True)
class FaultRow:
    """All of one fault, and each of its places, the worst first."""

    whole: Row
    places: tuple[Row, ...]


def gather(runs: Iterable[SweptRun]) -> list[FaultRow]:
    """The table, the severest first; of faults alike, by name."""
    wholes: dict[str, Row] = {}
    places: dict[str, dict[str, Row]] = {}
    for run in runs:
        wholes.setdefault(run.fault, Row(run.fault, "")).take(run)
        places.setdefault(run.fault, {}).setdefault(run.place, Row(run.fault, run.place)).take(run)
    rows = [FaultRow(whole, tuple(sorted(places[name].values(), key=_order))) for name, whole in wholes.items()]
    return sorted(rows, key=lambda row: _order(row.whole))


def _order(row: Row) -> tuple[bool, int, int, int, str, str]:
    out_ns = row.slowest_out_ns
    slow = out_ns is not None and out_ns == NEVER_REACHED
    return not row.failed, -row.worst_severity, -int(slow), -(out_ns or 0), row.fault, row.place


def middle(spans: list[int]) -> int | None:
    """The median, as one of the values."""
    return median_low(spans) if spans else None
