"""A scenario that fails a requirement, made as short as it goes while it still does: what is left is what it takes.

Each step is tried by a whole run at the same seed. What is tried, in turn until nothing helps any more: end the run soon after the
failure; leave out actions and faults, many at once, then one by one; move what happens to rounder and to earlier moments; let
faults last to the end, or shorter and rounder; say less of each action.
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from busim.boat.model import BoatFile
from busim.protocol.plan import WirePlan
from busim.requirements.verdict import FAIL
from busim.run.run import carry_out
from busim.scenario.model import ScenarioFile
from busim.scenario.write import plain_scenario
from busim.seam import Node
from busim.units import SECOND

MOST_RUNS: Final = 300
AFTER_S: Final = 1
"""What is left of the run after the failure, at most."""
PLAIN_VALUES: Final = {"to_permille": (0, 500, 1000, -500, -1000), "over_ms": (0,), "for_ms": (200,)}
"""Values that say nothing in particular, to be put where a scenario has one that might."""

Plain = dict[str, Any]


@dataclass(frozen=True)
class Shrunk:
    """`runs` it took. `whole`: nothing more helps; else the runs were used up."""

    scenario: ScenarioFile
    runs: int
    whole: bool


class _SpentError(Exception):
    """All the runs that were allowed are done."""


class _Shrinking:
    def __init__(
        self, boat: BoatFile, plan: WirePlan, kinds: dict[str, type[Node]], seed: int, requirement: str, most_runs: int
    ) -> None:
        self.boat = boat
        self.plan = plan
        self.kinds = kinds
        self.seed = seed
        self.requirement = requirement
        self.most_runs = most_runs
        self.runs = 0
        self.failed_ns = 0
        """When the last scenario that failed did."""
        self.best: Plain = {}
        self.tried: set[str] = set()

    def fails(self, plain: Plain) -> bool:
        """Whether this still fails it; if so it is the best so far."""
        told = repr(plain)
        if told in self.tried:
            return False
        self.tried.add(told)
        if self.runs >= self.most_runs:
            raise _SpentError
        self.runs += 1
        scenario = _whole(plain)
        outcome = carry_out(self.boat, self.plan, self.kinds, scenario, self.seed)
        verdict = next(verdict for verdict in outcome.verdicts if verdict.id == self.requirement)
        if verdict.verdict != FAIL:
            return False
        self.failed_ns = verdict.at_ns if verdict.at_ns is not None else round(scenario.lasts_s * SECOND)
        self.best = plain
        return True

    def until_nothing_helps(self) -> None:
        while True:
            before = self.best
            self._cut_the_end()
            for section in ("actions", "faults"):
                self._leave_out(section)
            for each in self._simpler_entries():
                self.fails(each)
            if self.best is before:
                return

    def _cut_the_end(self) -> None:
        last_s = -(-self.failed_ns // SECOND) + AFTER_S
        if last_s < self.best["lasts_s"]:
            self.fails(_ended(self.best, last_s)) or self.fails(_ended(self.best, last_s + 5))

    def _leave_out(self, section: str) -> None:
        size = len(self.best.get(section, ()))
        while size:
            at = 0
            while at < len(self.best.get(section, ())):
                entries = self.best[section]
                if not self.fails({**self.best, section: [*entries[:at], *entries[at + size :]]}):
                    at += size
            size //= 2

    def _simpler_entries(self) -> Iterator[Plain]:
        """Candidates, each made of the best so far when it is asked for."""
        for section in ("faults", "actions"):
            for place in range(len(self.best.get(section, ()))):
                for simpler in _simpler(self.best[section][place], section == "faults"):
                    candidate = {**self.best, section: _replaced(self.best[section], place, simpler)}
                    yield candidate
                    if self.best is candidate:
                        break
        moments = sorted({entry["at_s"] for section in ("actions", "faults") for entry in self.best.get(section, ())})
        for earlier_s, later_s in zip([0.0, *moments], moments, strict=False):
            for gap_s in (1.0, (later_s - earlier_s) / 2):
                if gap_s < later_s - earlier_s:
                    yield _moved(self.best, later_s, later_s - earlier_s - gap_s)


def shrink(
    boat: BoatFile,
    plan: WirePlan,
    kinds: dict[str, type[Node]],
    scenario: ScenarioFile,
    seed: int,
    requirement: str,
    most_runs: int = MOST_RUNS,
) -> Shrunk:
    """The shortest scenario found that still fails `requirement` at `seed`. It expects it to pass, so that a run of it fails.

    Errors: ValueError where the scenario does not fail it; those of `carry_out`.
    """
    shrinking = _Shrinking(boat, plan, kinds, seed, requirement, most_runs)
    plain = {**plain_scenario(scenario), "expect": {requirement: "pass"}}
    plain["words"] = f"What is left of it that still fails {requirement} at seed {seed}."
    if not shrinking.fails(plain):
        raise ValueError(f"{scenario.scenario} does not fail {requirement} at seed {seed}")
    try:
        shrinking.until_nothing_helps()
    except _SpentError:
        return Shrunk(_whole(shrinking.best), shrinking.runs, whole=False)
    return Shrunk(_whole(shrinking.best), shrinking.runs, whole=True)


def _ended(plain: Plain, last_s: float) -> Plain:
    """The same, over at `last_s`; what would happen later is left out, what would end later lasts to the end."""
    ended = {**plain, "lasts_s": min(last_s, plain["lasts_s"])}
    for section in ("actions", "faults"):
        if section in plain:
            ended[section] = [
                {key: value for key, value in entry.items() if key != "for_s" or entry["at_s"] + value < last_s}
                for entry in plain[section]
                if entry["at_s"] <= last_s
            ]
    return ended


def _simpler(entry: Plain, is_fault: bool) -> Iterator[Plain]:
    """The same thing, said with less, or with rounder numbers."""
    for at_s in (float(round(entry["at_s"])), round(entry["at_s"], 1)):
        if at_s != entry["at_s"]:
            yield {**entry, "at_s": at_s}
    if is_fault:
        if "for_s" in entry:
            yield {key: value for key, value in entry.items() if key != "for_s"}
            for for_s in (1.0, round(entry["for_s"], 1)):
                if 0 < for_s < entry["for_s"] or (for_s != entry["for_s"] and for_s == round(entry["for_s"], 1) > 0):
                    yield {**entry, "for_s": for_s}
        return
    kind = next(key for key in entry if key != "at_s")
    for key, values in PLAIN_VALUES.items():
        value = entry[kind].get(key)
        if value is not None and value not in values:
            for simpler in sorted(values, key=lambda each: abs(each - value)):
                yield {**entry, kind: {**entry[kind], key: simpler}}


def _replaced(entries: list[Plain], place: int, entry: Plain) -> list[Plain]:
    return [*entries[:place], entry, *entries[place + 1 :]]


def _moved(plain: Plain, from_s: float, by_s: float) -> Plain:
    """Everything from `from_s` on happens earlier."""
    moved = {**plain, "lasts_s": max(1.0, plain["lasts_s"] - int(by_s))}
    for section in ("actions", "faults"):
        if section in plain:
            moved[section] = [
                {**entry, "at_s": round(entry["at_s"] - by_s, 3)} if entry["at_s"] >= from_s else entry for entry in plain[section]
            ]
    return moved


def _whole(plain: Plain) -> ScenarioFile:
    return ScenarioFile.model_validate_json(json.dumps(plain))
