"""What all runs of a sweep come to beside the failure-mode table: what failed, what was never shown, rows taken."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

from busim.boat.model import BoatFile
from busim.requirements.table import REQUIREMENTS
from busim.requirements.verdict import ACCEPTED, INCONCLUSIVE
from busim.sweep.modes import has_plug
from busim.sweep.outcome import SweepHead, SweptRun

BY_PEOPLE_ONLY = {
    "alarm.kept": "nobody silences or acknowledges in a sweep: see Marsh Tern's scenarios silence_returns and alarm_flood",
    "station.neutral_now": "nobody presses neutral now in a sweep: see Marsh Tern's scenarios neutral_now and stuck_neutral_key",
}
"""Requirements that hang on what people do and no fault does, and what shows them."""


@dataclass
class FailureRow:
    """One requirement: runs that failed it, by fault, and the first of them."""

    requirement: str
    runs: int
    faults: Counter[str]
    first: SweptRun


@dataclass
class Summary:
    head: SweepHead
    runs: int = 0
    failed_runs: int = 0
    simulated_ns: int = 0
    failures: dict[str, FailureRow] = field(default_factory=dict)
    inconclusive: Counter[str] = field(default_factory=Counter)
    accepted: dict[str, Counter[tuple[str, str]]] = field(default_factory=dict)
    """Weakness the boat's owner lives with -> (requirement, fault and its place) -> in how many runs."""
    exercised: set[str] = field(default_factory=set)
    rows: set[tuple[str, int]] = field(default_factory=set)
    modes: Counter[str] = field(default_factory=Counter)

    def add(self, run: SweptRun) -> None:
        self.runs += 1
        self.failed_runs += bool(run.failed)
        self.simulated_ns += run.simulated_ns
        self.modes[run.mode] += 1
        for name in run.failed:
            row = self.failures.setdefault(name, FailureRow(name, 0, Counter(), run))
            row.runs += 1
            row.faults[f"{run.fault}: {run.place}"] += 1
        for verdict in run.verdicts:
            if verdict.verdict == ACCEPTED:
                self.accepted.setdefault(verdict.weakness, Counter())[verdict.id, f"{run.fault}: {run.place}"] += 1
            elif verdict.verdict == INCONCLUSIVE:
                self.inconclusive[verdict.id] += 1
        self.exercised.update(run.passed, (verdict.id for verdict in run.verdicts))
        self.rows.update(run.rows)

    def never_exercised(self, boat: BoatFile) -> list[str]:
        """Requirements that apply to this boat, that a sweep can show, and that no run exercised."""
        apply = [each.id for each in REQUIREMENTS if applies(each.id, boat) and each.id not in BY_PEOPLE_ONLY]
        return [name for name in apply if name not in self.exercised]


def summary_of(head: SweepHead, runs: Iterable[SweptRun], undisturbed_rows: Iterable[tuple[str, int]] = ()) -> Summary:
    summary = Summary(head)
    summary.rows.update(undisturbed_rows)
    for run in runs:
        summary.add(run)
    return summary


def applies(requirement: str, boat: BoatFile) -> bool:
    """Can this boat keep or break it at all?"""
    part = requirement.partition(".")[0]
    needs: dict[str, bool] = {
        "drive": bool(boat.drives),
        "rudder": boat.rudder is not None,
        "boat": bool(boat.drives),
        "station": bool(boat.stations),
        "light": bool(boat.panels),
        "station.one_in_control": len(boat.drives) > 1,
        "station.pendant_out": any(has_plug(boat, station) for station in boat.stations),
        "station.loss": len(boat.stations) > 1,
        "light.scene": bool(boat.scenes),
        "light.return": bool(boat.scenes),
        "light.navigation": bool(boat.navigation_lights),
    }
    return needs.get(part, True) and needs.get(requirement, True)
