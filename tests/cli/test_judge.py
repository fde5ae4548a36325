"""`busim judge`: a run's record and its log, judged; what is no log, in one line."""

import json
from pathlib import Path

import pytest

from .command_line import ROOT, Ended, call_busim

BOAT = str(ROOT / "configs" / "first_boat")


@pytest.fixture(scope="module")
def trip(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("trip")
    (folder / "boat.yaml").write_bytes((ROOT / "configs" / "first_boat" / "boat.yaml").read_bytes())
    (folder / "cut.yaml").write_bytes((ROOT / "configs" / "first_boat" / "scenarios" / "cold_start_then_cut.yaml").read_bytes())
    assert call_busim("run", "boat.yaml", "--scenario", "cut.yaml", "--record", folder=folder).status == 0
    return folder


def judge(*words: str, folder: Path) -> Ended:
    return call_busim("judge", *words, folder=folder)


def test_a_log_and_the_record_it_is_of_come_out_alike(trip: Path) -> None:
    record = judge("results/run-0001", "--json", folder=trip)
    log = judge("results/run-0001/frames.log", "boat.yaml", "--json", folder=trip)
    assert record.status == log.status
    one, other = json.loads(record.out), json.loads(log.out)
    assert [each["verdict"] for each in one["verdicts"]] == [each["verdict"] for each in other["verdicts"]]
    told = {each["id"]: each["verdict"] for each in other["verdicts"]}
    assert told["drive.loss_to_neutral"] == "inconclusive", "the drive is beyond the cut, and nobody hears when its gear came out"
    assert told["station.nobody_shown"] == "not exercised"


def test_it_says_what_happened_and_how_to_see_it_again(trip: Path) -> None:
    ended = judge("results/run-0001/frames.log", "boat.yaml", folder=trip)
    assert "wheelhouse" in ended.out
    assert "in 19.670 s of log" in ended.out
    assert ended.lines[-1] == "again: busim judge results/run-0001/frames.log boat.yaml"


def test_another_boats_frames_are_a_finding(trip: Path, tmp_path: Path) -> None:
    text = (trip / "boat.yaml").read_text().replace("control_timeout_ms: 250", "control_timeout_ms: 240")
    (tmp_path / "other.yaml").write_text(text)
    ended = judge(str(trip / "results" / "run-0001" / "frames.log"), "other.yaml", folder=tmp_path)
    assert ended.status == 1
    assert "built from another boat file" in ended.out


BAD = {
    "empty.log": b"",
    "words.log": b"this is no log\n" * 20,
    "random.blf": bytes(range(256)) * 40,
    "random.asc": bytes(range(1, 200)) * 40,
    "what.xyz": b"nothing",
}


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")  # python-can leaves open what it can't begin to read
@pytest.mark.parametrize("name", BAD)
def test_what_is_no_log_is_said_in_one_line(name: str, tmp_path: Path) -> None:
    (tmp_path / name).write_bytes(BAD[name])
    ended = judge(name, BOAT, folder=tmp_path)
    assert ended.status == 2
    assert len(ended.err.splitlines()) == 1
    assert ended.err.startswith(name)


@pytest.mark.parametrize("name", ["nowhere.log", "folder"])
def test_what_is_not_there_or_a_folder_is_said_in_one_line(name: str, tmp_path: Path) -> None:
    (tmp_path / "folder").mkdir()
    ended = judge(name, BOAT, folder=tmp_path)
    assert ended.status == 2
    assert len(ended.err.splitlines()) == 1


def test_a_log_that_was_cut_is_judged_as_far_as_it_goes(trip: Path, tmp_path: Path) -> None:
    whole = (trip / "results" / "run-0001" / "frames.log").read_bytes()
    (tmp_path / "cut.log").write_bytes(whole[: len(whole) // 2 + 7])
    ended = judge("cut.log", BOAT, folder=tmp_path)
    assert ended.status in (0, 3)
    assert "wheelhouse" in ended.out


def test_a_channel_for_a_bus_there_is_not(trip: Path) -> None:
    ended = judge("results/run-0001/frames.log", "boat.yaml", "--bus", "can0=nowhere", folder=trip)
    assert ended.status == 2
    assert "nowhere" in ended.err
