"""Every command, used right: what it says, what it writes, and with which exit status it ends."""

import re
import shlex
from pathlib import Path

import pytest

from busim import VERSION

from .command_line import FIRST_LINE, Ended, call_busim, run_busim
from .conftest import Written

COMMANDS = ("begin", "check", "run", "export")


def assert_names_the_boat(ended: Ended, file: str) -> None:
    """The first line names boat, file and fingerprints."""
    assert re.fullmatch(FIRST_LINE, ended.lines[0]), ended.lines[0]
    assert f"Reed Bunting ({file})" in ended.lines[0]


# ---------------------------------------------------------------------------------------------------- help


def test_busim_alone_shows_its_commands_and_the_caution(tmp_path: Path) -> None:
    ended = run_busim(folder=tmp_path)
    assert ended.status == 2, "nothing was asked for"
    assert ended.out == ""
    assert "Usage: busim " in ended.err
    assert all(re.search(rf"^  {name} ", ended.err, re.MULTILINE) for name in COMMANDS)
    assert "never part of a boat's control" in " ".join(ended.err.split())


@pytest.mark.parametrize("words", [(), *((name,) for name in COMMANDS)])
@pytest.mark.parametrize("columns", [80, 120])
def test_help_of_everything_fits_the_terminal(tmp_path: Path, words: tuple[str, ...], columns: int) -> None:
    ended = call_busim(*words, "--help", folder=tmp_path, columns=columns)
    assert ended.status == 0
    assert ended.err == ""
    assert ended.out.startswith(" ".join(["Usage: busim", *words]))
    assert max(map(len, ended.lines)) <= columns
    assert "..." not in ended.out.replace("ARGS]...", ""), "no sentence is cut short"


def test_version(tmp_path: Path) -> None:
    assert call_busim("--version", folder=tmp_path) == Ended(0, f"busim {VERSION}\n", "")


# ---------------------------------------------------------------------------------------------------- begin


def test_a_new_boat_is_begun_checked_and_run(tmp_path: Path) -> None:
    """The way of a new user: what `begin` says to type next is typed, as it stands."""
    begun = call_busim("begin", "my boat", folder=tmp_path)
    assert begun.status == 0
    assert begun.lines[0] == "wrote my boat/boat.yaml"
    first, second = re.findall(r"busim (\S+ '[^']+')", begun.lines[-1])
    checked = call_busim(*shlex.split(first), folder=tmp_path)
    assert checked.status == 0
    assert_names_the_boat(checked, "my boat/boat.yaml")
    ran = call_busim(*shlex.split(second), folder=tmp_path)
    assert ran.status == 0
    assert_names_the_boat(ran, "my boat/boat.yaml")
    assert "everything required here passed" in ran.lines


def test_begin_twice_refuses_and_touches_nothing(tmp_path: Path) -> None:
    assert call_busim("begin", "boat", folder=tmp_path).status == 0
    changed = tmp_path / "boat" / "boat.yaml"
    changed.write_text("mine\n")
    (tmp_path / "boat" / "scenarios" / "reversal.yaml").unlink()
    before = {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    again = call_busim("begin", "boat", folder=tmp_path)
    assert again.status == 2
    assert again.out == ""
    assert "boat/boat.yaml: is there already and is never overwritten" in again.err
    assert {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()} == before


@pytest.mark.parametrize("name", ["file", "file/below"])
def test_begin_where_a_file_is_in_the_way(tmp_path: Path, name: str) -> None:
    (tmp_path / "file").write_text("mine")
    ended = call_busim("begin", name, folder=tmp_path)
    assert ended.status == 2
    assert len(ended.err.splitlines()) == 1
    assert (tmp_path / "file").read_text() == "mine"


# ---------------------------------------------------------------------------------------------------- which boat


def test_without_a_boat_the_one_in_the_current_folder_is_meant(own_boat: Path, rewritten: Written) -> None:
    rewritten(("name: Reed Bunting", "name: Own Boat"))
    for words in (["check"], ["run", "--scenario", "one_second"], ["export", "protocol"]):
        assert call_busim(*words, folder=own_boat).lines[0].startswith("boat: Own Boat (boat.yaml)")


@pytest.mark.slow
@pytest.mark.parametrize("words", [("check",), ("run",), ("export", "protocol")])
def test_without_any_boat_the_one_that_ships_is_meant(tmp_path: Path, words: tuple[str, ...]) -> None:
    ended = call_busim(*words, folder=tmp_path)
    assert ended.status == 0
    assert re.fullmatch(FIRST_LINE, ended.lines[0])
    assert "marsh_tern/boat.yaml)" in ended.lines[0]


def test_a_broken_boat_file_in_the_current_folder_is_never_passed_over(tmp_path: Path) -> None:
    """Also a dangling link: the boat that ships must not be taken for the builder's own."""
    (tmp_path / "boat.yaml").symlink_to("gone.yaml")
    ended = call_busim("check", folder=tmp_path)
    assert ended.status == 2
    assert ended.err == "boat.yaml: no such file, a boat file was expected\n"


@pytest.mark.parametrize("named", ["own", "own/", "own/boat.yaml", "./own"])
def test_a_boat_is_named_by_file_or_folder(own_boat: Path, named: str) -> None:
    assert_names_the_boat(call_busim("check", named, folder=own_boat.parent), "own/boat.yaml")


def test_a_folder_whose_name_begins_with_a_dash(own_boat: Path) -> None:
    own_boat.rename(own_boat.parent / "-own")
    ended = call_busim("run", "./-own", "--scenario", "one_second", folder=own_boat.parent)
    assert ended.status == 0
    line = ended.lines[-1].removeprefix("again: busim ")
    assert call_busim(*shlex.split(line), folder=own_boat.parent).lines[-2] == ended.lines[-2]


# ---------------------------------------------------------------------------------------------------- check, export


def test_check_with_nothing_against_the_boat(own_boat: Path) -> None:
    ended = call_busim("check", folder=own_boat)
    assert (ended.status, ended.err) == (0, "")
    assert ended.lines[-1] == "nothing found against it"


def test_check_with_findings_ends_with_1_and_says_where(own_boat: Path, rewritten: Written) -> None:
    rewritten(("terminators_m: [0, 12]", "terminators_m: [0]"))
    ended = call_busim("check", folder=own_boat)
    assert ended.status == 1
    assert any(re.match(r"finding: boat\.yaml:\d+:\d+: main has 1 terminators", line) for line in ended.lines)
    assert ended.lines[-1] == "1 finding"


def test_check_resolved_says_line_or_default_of_every_value(own_boat: Path) -> None:
    ended = call_busim("check", "--resolved", folder=own_boat)
    assert ended.status == 0
    text = (own_boat / "boat.yaml").read_text().splitlines()
    at = {match[1]: int(match[2]) for line in ended.lines if (match := re.match(r"(\S+) = .*  \(line (\d+)\)", line))}
    assert "trunk_m" in text[at["buses.main.trunk_m"] - 1]
    assert "dwell_ms" in text[at["drives.engine.dwell_ms"] - 1]
    assert any(line.startswith("timing.drive_ms = 40  (default") for line in ended.lines)


def test_export_protocol_is_a_page(own_boat: Path) -> None:
    ended = call_busim("export", "protocol", folder=own_boat)
    assert (ended.status, ended.err) == (0, "")
    assert_names_the_boat(ended, "boat.yaml")
    assert ended.lines[2].startswith("# ")
    assert len(ended.lines) > 100
