"""Failing scenarios made short. What a run comes to is played by a rule of the test's own, so that what is left can be known."""

import json
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest

from busim.requirements.verdict import FAIL, PASS
from busim.run import shrink as module
from busim.run.shrink import Shrunk, shrink
from busim.scenario.model import ScenarioFile
from busim.scenario.write import plain_scenario
from busim.units import SECOND

REQUIREMENT = "drive.rearm"
Rule = Callable[[ScenarioFile], float | None]
"""When the requirement fails, in seconds; None: it does not."""


def take(at_s: float, **key: Any) -> dict[str, Any]:
    return {"at_s": at_s, "key": {"station": "wheelhouse", "name": "take", **key}}


def lever(at_s: float, to_permille: int, over_ms: int = 0) -> dict[str, Any]:
    return {"at_s": at_s, "lever": {"station": "wheelhouse", "drive": "engine", "to_permille": to_permille, "over_ms": over_ms}}


def cut(at_s: float, **more: Any) -> dict[str, Any]:
    return {"at_s": at_s, **more, "cut": {"bus": "main", "at_m": 8.0}}


class Play:
    """`shrink` with a rule in a simulated run's place."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, rule: Rule) -> None:
        self.rule = rule
        self.played: list[ScenarioFile] = []
        monkeypatch.setattr(module, "carry_out", self.carry_out)

    def carry_out(self, boat: Any, plan: Any, kinds: Any, scenario: ScenarioFile, seed: int) -> Any:
        self.played.append(scenario)
        at_s = self.rule(scenario)
        if at_s is not None and at_s > scenario.lasts_s:
            at_s = None
        verdict = SimpleNamespace(
            id=REQUIREMENT, verdict=PASS if at_s is None else FAIL, at_ns=None if at_s is None else round(at_s * SECOND)
        )
        other = SimpleNamespace(id="drive.wake", verdict=FAIL, at_ns=0)
        return SimpleNamespace(verdicts=[other, verdict])

    def shrink(self, lasts_s: float, actions: list[Any], faults: list[Any], most_runs: int = 300) -> Shrunk:
        plain = {"scenario": "s", "lasts_s": lasts_s, "actions": actions, "faults": faults}
        scenario = ScenarioFile.model_validate_json(json.dumps(plain))
        anything: Any = None
        return shrink(anything, anything, anything, scenario, 7, REQUIREMENT, most_runs)


def test_only_what_it_takes_is_left(monkeypatch: pytest.MonkeyPatch) -> None:
    def rule(scenario: ScenarioFile) -> float | None:
        ahead = [each.at_s for each in scenario.actions if each.lever is not None and each.lever.to_permille > 0]
        return max(ahead[0], scenario.faults[0].at_s) + 2 if ahead and scenario.faults else None

    play = Play(monkeypatch, rule)
    actions = [take(1.0), lever(3.37, 640, 410), take(9.0), lever(11.0, -300), lever(20.0, 100), take(25.0)]
    shrunk = play.shrink(60, actions, [cut(13.21, for_s=2.77), cut(30.0)])
    left = plain_scenario(shrunk.scenario)
    assert shrunk.whole
    assert (len(left["actions"]), len(left["faults"])) == (1, 1)
    assert left["actions"][0]["lever"] == {"station": "wheelhouse", "drive": "engine", "to_permille": 500, "over_ms": 0}
    assert "for_s" not in left["faults"][0]
    assert left["expect"] == {REQUIREMENT: "pass"}
    assert "seed 7" in left["words"]
    assert left["lasts_s"] <= 4
    assert rule(shrunk.scenario) is not None


def test_order_is_kept_where_it_matters(monkeypatch: pytest.MonkeyPatch) -> None:
    def rule(scenario: ScenarioFile) -> float | None:
        takes = [each.at_s for each in scenario.actions if each.key is not None]
        return takes[-1] if len(takes) == 2 and scenario.faults and takes[0] < scenario.faults[0].at_s < takes[1] else None

    shrunk = Play(monkeypatch, rule).shrink(60, [take(5.0), take(40.0)], [cut(20.0)])
    moments = [shrunk.scenario.actions[0].at_s, shrunk.scenario.faults[0].at_s, shrunk.scenario.actions[1].at_s]
    assert moments == sorted(set(moments))
    assert moments[-1] < 5, "what lies between is drawn together"


def test_a_duration_it_hangs_on_stays(monkeypatch: pytest.MonkeyPatch) -> None:
    def rule(scenario: ScenarioFile) -> float | None:
        return 3.0 if scenario.faults and scenario.faults[0].for_s == 0.237 else None

    shrunk = Play(monkeypatch, rule).shrink(9, [], [cut(1.0, for_s=0.237)])
    assert shrunk.scenario.faults[0].for_s == 0.237


def test_a_failure_without_a_moment_is_at_the_end(monkeypatch: pytest.MonkeyPatch) -> None:
    class AtTheEnd(Play):
        def carry_out(self, boat: Any, plan: Any, kinds: Any, scenario: ScenarioFile, seed: int) -> Any:
            outcome = super().carry_out(boat, plan, kinds, scenario, seed)
            outcome.verdicts[1].at_ns = None
            return outcome

    shrunk = AtTheEnd(monkeypatch, lambda scenario: 0.0 if scenario.lasts_s >= 9 else None).shrink(9, [take(1.0)], [])
    assert shrunk.scenario.lasts_s == 9
    assert shrunk.scenario.actions == ()


@pytest.mark.parametrize("most_runs", [1, 2, 5])
def test_no_more_runs_than_allowed(monkeypatch: pytest.MonkeyPatch, most_runs: int) -> None:
    play = Play(monkeypatch, lambda scenario: 1.0 if len(scenario.actions) >= 20 else None)
    shrunk = play.shrink(60, [take(at_s + 0.3) for at_s in range(30)], [cut(9.0)], most_runs)
    assert len(play.played) == shrunk.runs == most_runs
    assert not shrunk.whole


def test_nothing_is_tried_twice(monkeypatch: pytest.MonkeyPatch) -> None:
    play = Play(monkeypatch, lambda scenario: 1.0 if len(scenario.actions) == 3 else None)
    play.shrink(30, [take(1.0), take(2.0), take(3.0)], [])
    assert len({repr(each) for each in play.played}) == len(play.played)


def test_what_does_not_fail_is_not_shrunk(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(ValueError, match=r"s does not fail drive\.rearm at seed 7"):
        Play(monkeypatch, lambda scenario: None).shrink(9, [take(1.0)], [])
