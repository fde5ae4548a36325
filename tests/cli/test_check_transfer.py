"""`busim check --transfer` as a person uses it."""

import json
import re
from pathlib import Path
from unittest import mock

import pytest

from busim.transfer.search import Search

from .command_line import FIRST_LINE, ROOT, call_busim

FIRST_BOAT, MARSH_TERN = str(ROOT / "configs" / "first_boat"), str(ROOT / "configs" / "marsh_tern")


@pytest.mark.slow
def test_it_says_what_was_explored_and_that_it_closed(tmp_path: Path) -> None:
    ended = call_busim("check", FIRST_BOAT, "--transfer", folder=tmp_path)
    assert (ended.status, ended.err) == (0, "")
    assert re.fullmatch(FIRST_LINE, ended.lines[0])
    assert ended.lines[1] == "explored: wheelhouse, engine_room; steps of 40 ms"
    assert all(line.endswith(", closed") for line in ended.lines if line.startswith("takes "))
    assert "no violation, and nothing left open" in ended.out


def test_json(tmp_path: Path) -> None:
    ended = call_busim("check", FIRST_BOAT, "--transfer", "--takes", "1", "--json", folder=tmp_path)
    said = json.loads(ended.out)
    assert (ended.status, said["exit_status"], said["violation"]) == (0, 0, None)
    (only,) = said["rounds"]
    assert only["closed"]
    assert only["states"] > 10
    assert only["transitions"] > only["states"]


@pytest.mark.slow
def test_what_is_not_closed_ends_with_3(tmp_path: Path) -> None:
    ended = call_busim("check", FIRST_BOAT, "--transfer", "--disturbances", "1", "--depth", "5", folder=tmp_path)
    assert (ended.status, ended.err) == (3, "")
    assert "NOT closed: " in ended.out
    assert "no violation as far as it went" in ended.out
    ended = call_busim("check", FIRST_BOAT, "--transfer", "--disturbances", "1", "--states", "1000", folder=tmp_path)
    assert ended.status == 3


@pytest.mark.slow
@pytest.mark.parametrize(
    ("boat", "kind", "more", "failed"),
    [
        (MARSH_TERN, "drive=tests.twins.drives:NeverChangesOver", ["--takes", "1"], "station.transfer"),
        (MARSH_TERN, "drive=tests.twins.transfer:FollowsAnyNumber", ["--takes", "1"], "drive.refuse_bad_frame"),
        (FIRST_BOAT, "station=tests.twins.transfer:GivesUp", ["--takes", "0", "--disturbances", "1"], "boat.availability"),
    ],
)
def test_a_planted_defect_is_written_as_a_scenario_that_run_fails(
    tmp_path: Path, boat: str, kind: str, more: list[str], failed: str
) -> None:
    ended = call_busim("check", boat, "--transfer", *more, "--kind", kind, "--write", "found.yaml", folder=tmp_path)
    assert (ended.status, ended.err) == (1, "")
    assert "VIOLATION" in ended.out
    assert "WRONG: " in ended.out
    (again,) = [line.partition(", again: busim ")[2] for line in ended.lines if ", again: busim " in line]
    played = call_busim(*again.split(), folder=tmp_path)
    assert played.status == 1, played.out
    assert failed in next(line for line in played.lines if line.startswith("FAILED: "))
    sound = call_busim(*again.partition(" --kind ")[0].split(), folder=tmp_path)
    assert failed not in next((line for line in sound.lines if line.startswith("FAILED: ")), "")


@pytest.mark.slow
def test_without_a_file_the_scenario_is_printed(tmp_path: Path) -> None:
    kind = "drive=tests.twins.transfer:FollowsAnyNumber"
    ended = call_busim("check", MARSH_TERN, "--transfer", "--takes", "1", "--kind", kind, folder=tmp_path)
    assert ended.status == 1
    assert "key: {station: upper_deck, name: take}" in ended.out


def test_misuse(tmp_path: Path) -> None:
    (tmp_path / "there.yaml").write_text("")
    for words, said in (
        (["--takes", "1"], "--takes goes with --transfer"),
        (["--json"], "--json goes with --transfer"),
        (["--transfer", "--resolved"], "one at a time"),
        (["--transfer", "--write", "there.yaml"], "is there already"),
        (["--transfer", "--write", "nowhere/found.yaml"], "there is no folder to write it in"),
        (["--transfer", "--kind", "drive=tests.twins.drives:IgnoresNumber"], "IgnoresNumber does not say in `memory`"),
        (["--transfer", "--takes", "9"], "a whole number from 0 to 5 is wanted"),
    ):
        ended = call_busim("check", FIRST_BOAT, *words, folder=tmp_path, columns=300)
        assert ended.status == 2, words
        assert said in ended.err, words


def test_nodes_that_break_the_rules_are_named(tmp_path: Path) -> None:
    (tmp_path / "mine.py").write_text(
        "from nodes.drive import Drive\n"
        "class Stuck(Drive):\n    __slots__ = ()\n    def on_deadline(self, now_ns):\n        return ()\n"
        "class Breaks(Drive):\n    __slots__ = ()\n    def on_deadline(self, now_ns):\n        return 1 // 0\n"
    )
    for name, said in (("Stuck", "left its deadline at a moment that has passed"), ("Breaks", "ZeroDivisionError")):
        ended = call_busim("check", FIRST_BOAT, "--transfer", "--kind", f"drive=mine:{name}", folder=tmp_path)
        assert ended.status == 2
        assert f"engine_room ({name}): " in ended.err
        assert said in ended.err


def test_ctrl_c_ends_with_what_is_known(tmp_path: Path) -> None:
    with mock.patch.object(Search, "_stuck", side_effect=KeyboardInterrupt):
        ended = call_busim("check", FIRST_BOAT, "--transfer", "--takes", "1", folder=tmp_path)
    assert ended.status == 130
    assert "stopped before it was closed" in ended.out
    assert ended.err == "stopped\n"
