"""The record of a run: what its files hold, read by another library where one can; what is left of it after a crash.

Its head, damaged or changed, is in test_record_changed.py.
"""

import json
import shutil
import signal
from itertools import pairwise
from pathlib import Path
from typing import Any

import can
import pytest

from busim import VERSION
from busim.boat.load import load_boat
from busim.boat.shipped import shipped_folder
from busim.events.journal import DIGEST_VERSION, Event, Frame
from busim.events.table import BY_KIND
from busim.record.writer import EVENTS, FRAMES, HEAD, SECONDS, RecordWriter, new_folder
from busim.run.run import Outcome, carry_out
from busim.scenario.load import load_scenario
from busim.simulator.kinds import load_kinds
from busim.units import SECOND
from tests.cli.command_line import call_busim, run_busim

pytestmark = pytest.mark.slow

FIRST_BOAT = shipped_folder() / "first_boat"


class Recorded:
    """A run of the first boat, its record in `folder`, and what the record was given."""

    def __init__(self, results: Path, scenario: Path, seed: int = 1) -> None:
        boat = load_boat(FIRST_BOAT)
        loaded = load_scenario(scenario, boat.boat)
        self.blocks: list[tuple[list[Frame], list[Event], str]] = []
        writer = RecordWriter(new_folder(results, "run"), boat.boat, loaded.scenario, seed, {})
        self.folder = writer.folder

        def keep(*block: Any) -> None:
            self.blocks.append(block)
            writer.keep(*block)

        self.outcome: Outcome = carry_out(boat.boat, boat.plan, load_kinds(), loaded.scenario, seed, keep)
        writer.close()

    def lines(self, name: str) -> list[str]:
        return (self.folder / name).read_text(encoding="utf-8").splitlines()

    @property
    def frames(self) -> list[Frame]:
        return [frame for frames, _, _ in self.blocks for frame in frames]

    @property
    def events(self) -> list[Event]:
        return [event for _, events, _ in self.blocks for event in events]


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Recorded:
    return Recorded(tmp_path_factory.mktemp("results"), FIRST_BOAT / "scenarios" / "cold_start_then_cut.yaml")


# ---------------------------------------------------------------------------------------------------- files


def test_frames_are_read_by_another_library(recorded: Recorded) -> None:
    """python-can's reader of candump logs gives the same ids, data, and times to the microsecond, on the bus's name."""
    with can.LogReader(recorded.folder / FRAMES) as reader:
        messages = list(reader)
    assert len(messages) == len(recorded.frames) > 2000
    for message, (at_ns, _, can_id, data, _) in zip(messages, recorded.frames, strict=True):
        assert (message.arbitration_id, bytes(message.data), message.dlc) == (can_id, data, len(data))
        assert round(message.timestamp * 1_000_000) == at_ns // 1000
        assert message.channel == "main"
        assert not any((message.is_extended_id, message.is_remote_frame, message.is_error_frame, message.is_fd))


def test_events_have_the_fields_of_the_table(recorded: Recorded) -> None:
    objects = [json.loads(line) for line in recorded.lines(EVENTS)]
    assert len(objects) == len(recorded.events)
    for found, event in zip(objects, recorded.events, strict=True):
        assert list(found) == ["at_ns", "position", "kind", *BY_KIND[found["kind"]].fields]
        assert tuple(found.values()) == event
    kinds = {found["kind"] for found in objects}
    assert "frame" not in kinds, "frames are in their own file"
    assert {"controller", "row", "output", "lever", "key", "gear", "motion", "lamp", "power", "start", "fault"} <= kinds


def test_frames_and_events_have_one_order(recorded: Recorded) -> None:
    """`position` is how many frames of its second come before an event."""
    for frames, events, _ in recorded.blocks:
        for at_ns, position, *_ in events:
            assert all(frame[0] <= at_ns for frame in frames[:position])
            assert all(frame[0] >= at_ns for frame in frames[position:])
        assert all(first[0] <= second[0] for first, second in pairwise(events))


def test_seconds_count_the_frames_and_carry_the_run_code(recorded: Recorded) -> None:
    lines = [line.split(" ") for line in recorded.lines(SECONDS)]
    assert [int(number) for number, _, _ in lines] == list(range(1, 21))
    times_us = [round(float(line[1:].split(")")[0]) * 1_000_000) for line in recorded.lines(FRAMES)]
    for number, count, _ in lines:
        of_second, times_us = times_us[: int(count)], times_us[int(count) :]
        assert all((int(number) - 1) * 1_000_000 <= at_us <= int(number) * 1_000_000 for at_us in of_second)
    assert not times_us
    assert lines[-1][2] == recorded.outcome.digest


def test_the_run_code_is_a_chain(recorded: Recorded, tmp_path: Path) -> None:
    """Two runs that differ in their tenth second have the same code before it, and another in every second from then on."""
    text = (FIRST_BOAT / "scenarios" / "cold_start_then_cut.yaml").read_text(encoding="utf-8")
    brief = "  - at_s: 9.5\n    touch: {panel: companionway, control: lamp}\nfaults:"
    other = tmp_path / "other.yaml"
    other.write_text(text.replace("faults:", brief), encoding="utf-8")
    ours, theirs = recorded.lines(SECONDS), Recorded(tmp_path / "results", other).lines(SECONDS)
    assert ours[:9] == theirs[:9]
    assert all(first != second for first, second in zip(ours[9:], theirs[9:], strict=True))


def test_the_head_holds_what_the_run_is_made_from_and_no_date(recorded: Recorded, tmp_path: Path) -> None:
    head = json.loads((recorded.folder / HEAD).read_text(encoding="utf-8"))
    assert list(head) == ["record", "busim", "digest", "seed", "kinds", "scenario", "boat"]
    assert (head["busim"], head["digest"], head["seed"], head["kinds"]) == (VERSION, DIGEST_VERSION, 1, {})
    assert head["boat"]["timing"]["drive_ms"] == 40, "defaults are written out"
    again = Recorded(tmp_path, FIRST_BOAT / "scenarios" / "cold_start_then_cut.yaml")
    assert sorted(path.name for path in again.folder.iterdir()) == sorted([HEAD, FRAMES, EVENTS, SECONDS])
    for name in (HEAD, FRAMES, EVENTS, SECONDS):
        assert (again.folder / name).read_bytes() == (recorded.folder / name).read_bytes(), name


def test_who_looks_on_changes_nothing(recorded: Recorded) -> None:
    boat = load_boat(FIRST_BOAT)
    scenario = load_scenario(FIRST_BOAT / "scenarios" / "cold_start_then_cut.yaml", boat.boat).scenario
    assert carry_out(boat.boat, boat.plan, load_kinds(), scenario, 1).digest == recorded.outcome.digest


def test_a_run_is_whole_seconds(tmp_path: Path) -> None:
    """A scenario of two and a half seconds is played for three: no loose end that no run code covers."""
    (tmp_path / "made.yaml").write_text("scenario: made\nlasts_s: 2.5\n")
    made = Recorded(tmp_path / "results", tmp_path / "made.yaml")
    assert len(made.lines(SECONDS)) == 3
    assert made.outcome.seconds == 3
    assert made.frames[-1][0] > 2.9 * SECOND


# ---------------------------------------------------------------------------------------------------- folders


def test_folders_are_numbered_and_never_written_again(tmp_path: Path) -> None:
    results = tmp_path / "deep" / "results"
    assert new_folder(results, "run").name == "run-0001"
    assert new_folder(results, "run").name == "run-0002"
    (results / "run-0007").mkdir()
    (results / "run-notes").mkdir()
    (results / "sweep-0031").mkdir()
    (results / "run-0009").write_text("a file of somebody's")
    assert new_folder(results, "run").name == "run-0010"
    (results / "run-12345").mkdir()
    assert new_folder(results, "run").name == "run-12346"
    assert (results / "run-0009").read_text() == "a file of somebody's"


def test_two_runs_that_start_at_once_get_a_folder_each(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The second has looked before the first has made its folder."""
    new_folder(tmp_path, "run")
    monkeypatch.setattr(Path, "glob", lambda *_: iter(()))
    assert new_folder(tmp_path, "run").name == "run-0002"


def test_two_records_in_a_row(tmp_path: Path) -> None:
    (tmp_path / "one.yaml").write_text("scenario: one second\nlasts_s: 1\n")
    words = ("run", "--scenario", "one.yaml", "--record")
    assert "record: results/run-0001" in call_busim(*words, folder=tmp_path).lines
    first = {path: path.read_bytes() for path in (tmp_path / "results" / "run-0001").iterdir()}
    assert "record: results/run-0002" in call_busim(*words, "--seed", "2", folder=tmp_path).lines
    assert {path: path.read_bytes() for path in (tmp_path / "results" / "run-0001").iterdir()} == first
    for number in ("1", "2"):
        assert call_busim("run", "--from", f"results/run-000{number}", folder=tmp_path).status == 0


# ---------------------------------------------------------------------------------------------------- reruns


def test_a_rerun_says_that_it_is_the_same(recorded: Recorded, tmp_path: Path) -> None:
    """In another process, from another folder, without the boat file."""
    ended = run_busim("run", "--from", str(recorded.folder), folder=tmp_path)
    assert (ended.status, ended.err) == (0, "")
    assert ended.lines[0].startswith("boat: Reed Bunting (")
    assert ended.lines[-1] == f"the rerun is the same as the record, run code {recorded.outcome.digest}"


def test_a_rerun_as_json(recorded: Recorded, tmp_path: Path) -> None:
    ended = call_busim("run", "--json", "--from", str(recorded.folder), folder=tmp_path)
    found = json.loads(ended.out)
    assert found["digest"] == recorded.outcome.digest
    assert found["record"] == str(recorded.folder)
    assert {"boat", "fingerprints", "seed", "digest", "verdicts", "faults"} <= set(found)
    assert len(found["verdicts"]) == len(recorded.outcome.verdicts)
    assert found["verdicts"][0]["reproduce"].startswith("busim run --from ")


# ---------------------------------------------------------------------------------------------------- crashes

KILLED = """
import os, signal
from busim.record.writer import RecordWriter
keep = RecordWriter.keep
def keep_and_die(self, frames, events, digest):
    if self.second == 4:
        {last_deed}
        os.kill(os.getpid(), signal.SIGKILL)
    keep(self, frames, events, digest)
RecordWriter.keep = keep_and_die
"""
HALF_A_SECOND = """from busim.record.writer import second_texts
        texts = second_texts(self.buses, 5, frames, events, digest)
        for name, share in zip(self.files, ({shares})):
            self.files[name].write(texts[name][: int(len(texts[name]) * share)])
            self.files[name].flush()"""


@pytest.mark.parametrize(
    "last_deed",
    ["pass", *map(HALF_A_SECOND.replace, ["{shares}"] * 5, ("0.37, 0, 0", "1, 0.5, 0", "1, 1, 0", "1, 1, 0.6", "1, 1, 0.99"))],
    ids=["between seconds", "in its frames", "in its events", "before its line", "in its line", "before its line feed"],
)
def test_a_killed_process_loses_at_most_the_last_second(tmp_path: Path, last_deed: str, recorded: Recorded) -> None:
    """The process kills itself while it writes its fifth second: four are whole, and a rerun agrees with them."""
    code = KILLED.format(last_deed=last_deed)
    shutil.copytree(FIRST_BOAT, tmp_path, dirs_exist_ok=True)
    ended = run_busim("run", "--record", folder=tmp_path, before=code)
    assert ended.status == -signal.SIGKILL
    left = tmp_path / "results" / "run-0001"
    whole = [line for line in (left / SECONDS).read_text().splitlines(keepends=True) if line.endswith("\n")]
    assert "".join(whole).splitlines() == recorded.lines(SECONDS)[:4]
    frames = sum(int(line.split(" ")[1]) for line in whole)
    assert (left / FRAMES).read_text().splitlines()[:frames] == recorded.lines(FRAMES)[:frames]
    events = sum(len(block[1]) for block in recorded.blocks[:4])
    assert (left / EVENTS).read_text().splitlines()[:events] == recorded.lines(EVENTS)[:events]
    again = call_busim("run", "--from", "results/run-0001", folder=tmp_path)
    assert (again.status, again.err) == (0, "")
    assert again.lines[-1] == "the record ends after 4 s (it was cut short); the rerun is the same up to there"


def test_a_record_that_never_had_a_second(tmp_path: Path) -> None:
    code = KILLED.format(last_deed="pass").replace("== 4", "== 0")
    assert run_busim("run", "--record", folder=tmp_path, before=code).status == -signal.SIGKILL
    again = call_busim("run", "--from", "results/run-0001", folder=tmp_path)
    assert again.status == 0
    assert again.lines[-1].startswith("the record ends after 0 s")
