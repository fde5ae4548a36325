"""Logs judged: what a run's own frames say of it, in every format python-can writes, and what each requirement says of logs."""

from functools import cache
from pathlib import Path

import can
import pytest

from busim.boat.load import load_boat
from busim.logs.channels import Channels
from busim.logs.frame import LogFrame
from busim.logs.judge import Judge, Judgement
from busim.logs.source import LogSource
from busim.requirements.in_a_log import NotInALog, Reported, Wire
from busim.requirements.table import BY_ID, REQUIREMENTS
from busim.requirements.verdict import FAIL, NOT_EXERCISED, PASS
from busim.run.run import Outcome, carry_out
from busim.scenario.load import load_scenario
from busim.simulator.kinds import load_kinds

CONFIGS = Path(__file__).parents[2] / "configs"
SCENARIOS = sorted((path.parents[1].name, path.stem) for path in CONFIGS.glob("*/scenarios/*.yaml"))
FAST = ("cold_start_then_cut", "bad_frames", "hand_over")
PLAYED = [pytest.param(*each, marks=[] if each[1] in FAST else [pytest.mark.slow]) for each in SCENARIOS]
LOOKS_LIKE_A_PRESS = ("alarm_flood", "station.neutral_now")
"""A key that is stuck sends what a pressed one sends, and the gear does not come out: a log can't tell."""


@cache
def played(boat_name: str, name: str) -> tuple[Outcome, list[LogFrame]]:
    """A run, and its frames as a log has them: to the microsecond, and without who accepted them."""
    loaded = load_boat(CONFIGS / boat_name)
    scenario = load_scenario(CONFIGS / boat_name / "scenarios" / f"{name}.yaml", loaded.boat).scenario
    frames: list[LogFrame] = []
    buses = [bus for bus, _, _ in loaded.plan.buses]

    def keep(some: list[tuple[int, int, int, bytes, int]], events: object, digest: str) -> None:
        frames.extend((at_ns // 1000 * 1000, buses[bus], 0, can_id, data) for at_ns, bus, can_id, data, _ in some)

    return carry_out(loaded.boat, loaded.plan, load_kinds(), scenario, 1, keep), frames


def judged(boat_name: str, frames: list[LogFrame]) -> Judgement:
    loaded = load_boat(CONFIGS / boat_name)
    channels = Channels(loaded.plan, {})
    judge = Judge(loaded.boat, loaded.plan, channels, lambda line: None)
    channels.learn(frames[:5000])
    judge.feed(iter(frames))
    return judge.finish()


@pytest.mark.parametrize("requirement", REQUIREMENTS, ids=lambda each: each.id)
def test_each_requirement_says_what_a_log_shows_of_it(requirement: object) -> None:
    assert isinstance(getattr(requirement, "in_a_log", None), Wire | Reported | NotInALog)


@pytest.mark.slow
@pytest.mark.parametrize(("boat_name", "name"), PLAYED)
def test_a_log_is_judged_as_the_run_or_says_less(boat_name: str, name: str) -> None:
    """No failure of the run is a pass of the log, no failure of the log is none of the run, and reports are no plain pass."""
    outcome, frames = played(boat_name, name)
    told = {verdict.id: verdict.verdict for verdict in judged(boat_name, frames).verdicts}
    for verdict in outcome.verdicts:
        kind, said = BY_ID[verdict.id].in_a_log, told[verdict.id]
        if isinstance(kind, NotInALog):
            assert said == NOT_EXERCISED, verdict.id
            continue
        assert not (isinstance(kind, Reported) and said == PASS), verdict.id
        if verdict.verdict == FAIL:
            assert not said.startswith(PASS), verdict.id
        if said == FAIL and (name, verdict.id) != LOOKS_LIKE_A_PRESS:
            assert verdict.verdict == FAIL, verdict.id


def test_a_loss_that_a_log_shows_is_found_in_it() -> None:
    _, frames = played("marsh_tern", "cold_start_then_cut")
    told = {verdict.id: verdict.verdict for verdict in judged("marsh_tern", frames).verdicts}
    assert told["drive.loss_to_idle"] == told["drive.loss_to_neutral"] == "pass (self-reported)"


@pytest.mark.parametrize("suffix", [".asc", ".blf", ".csv", ".log", ".trc"])
def test_every_format_that_python_can_writes_is_read_alike(suffix: str, tmp_path: Path) -> None:
    _, frames = played("first_boat", "cold_start_then_cut")
    path = tmp_path / f"trip{suffix}"
    with can.Logger(path) as writer:
        for at_ns, _, _, can_id, data in frames:
            plain = {"arbitration_id": can_id, "data": data, "is_extended_id": False, "channel": 0, "is_rx": True}
            writer(can.Message(timestamp=at_ns / 1e9, **plain))
    with LogSource(path) as source:
        read = list(source.frames())
    assert [(frame[3], frame[4]) for frame in read] == [(frame[3], frame[4]) for frame in frames]
    verdicts = [verdict.verdict for verdict in judged("first_boat", read).verdicts]
    assert verdicts == [verdict.verdict for verdict in judged("first_boat", frames).verdicts]


def test_frames_are_taken_as_they_come(tmp_path: Path) -> None:
    """A log of any length: nothing is read ahead of what is judged."""
    path = tmp_path / "long.log"
    path.write_text("".join(f"({number / 1000:.6f}) can0 123#00\n" for number in range(20_000)), encoding="ascii")
    with LogSource(path) as source:
        first = next(source.frames())
        assert first[3] == 0x123
