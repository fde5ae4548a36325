"""The command line, used wrong: one clear line each, exit status 2, nothing written."""

import os
from pathlib import Path

import pytest

from .command_line import call_busim, run_busim

WRONG = {
    ("chek",): "Did you mean 'check'?",
    ("qwertz",): "No such command",
    ("check", "--resolve",): "--resolved",
    ("run", "--wat"): "No such option: --wat",
    ("run", "a", "b"): "unexpected extra argument",
    ("begin",): "Missing argument 'DIR'",
    ("export",): "Missing argument 'KIND'",
    ("export", "protocl"): 'there is nothing called "protocl" to export: did you mean protocol?',
    ("run", "--seed"): "requires an argument",
    ("run", "--seed", "-1"): "a whole number from 0 to",
    ("run", "--seed", "one"): "a whole number from 0 to",
    ("run", "--seed", "1.5"): "a whole number from 0 to",
    ("run", "--seed", "٣"): "a whole number from 0 to",
    ("run", "--seed", str(2**63)): "a whole number from 0 to",
    ("run", "--seed", "9" * 5000): "a whole number from 0 to",
    ("run", "--from", "nowhere"): "nowhere: there is no such record",
    ("run", "--from", "."): ".: is no record: it has no head.json",
    ("run", "--from", "nowhere", "--seed", "2"): "leave them out",
    ("run", "own", "--from", "nowhere"): "leave them out",
    ("run", "--from", "nowhere", "--record"): "leave them out",
    ("run", "nowhere"): "nowhere: no such file, a boat file was expected",
    ("run", "."): ".: is a folder without a boat.yaml in it",
    ("run", ""): "a boat.yaml",
    ("run", "x" * 5000): "can't be read: File name too long",
    ("run", "own", "--scenario", ""): "scenario",
    ("run", "own", "--scenario", "revesal"): "revesal: no such file, a scenario file was expected: did you mean reversal?",
    ("run", "own", "--scenario", "qqq"): "there are: bad_frames, brief_cut",
    ("run", "own", "--scenario", "own"): "own: is a folder, a scenario file was expected",
    ("run", "own", "--scenario", "own/boat.yaml"): 'unknown key "boat"',
    ("run", "own/scenarios/reversal.yaml"): "reversal.yaml:",
}


@pytest.mark.parametrize("words", WRONG, ids=lambda words: " ".join(words)[:40] or "empty")
def test_a_wrong_command_line_is_answered_in_words(own_boat: Path, words: tuple[str, ...]) -> None:
    before = sorted(own_boat.parent.rglob("*"))
    ended = call_busim(*words, folder=own_boat.parent)
    assert ended.status == 2
    assert ended.out == ""
    assert WRONG[words] in ended.err
    assert sorted(own_boat.parent.rglob("*")) == before


def test_a_boat_without_scenarios(own_boat: Path) -> None:
    for path in (own_boat / "scenarios").iterdir():
        path.unlink()
    ended = call_busim("run", folder=own_boat)
    assert ended.status == 2
    assert "scenarios/cold_start_then_cut.yaml: no such file, and no scenario was named" in ended.err
    (own_boat / "scenarios").rmdir()
    assert call_busim("run", folder=own_boat).err == ended.err
    (own_boat / "mine.yaml").write_text("scenario: mine\nlasts_s: 1\n")
    assert call_busim("run", "--scenario", "mine.yaml", folder=own_boat).status == 0


def test_a_scenario_is_named_by_name_by_file_name_or_by_path(own_boat: Path) -> None:
    named = ("one_second", "one_second.yaml", "scenarios/one_second.yaml")
    assert len({call_busim("run", "--scenario", name, folder=own_boat).out for name in named}) == 1
    ended = call_busim("run", "own", "--scenario", "one_second", folder=own_boat.parent)
    assert "scenario: one second (own/scenarios/one_second.yaml)   seed 1, 1 s" in ended.lines


@pytest.mark.parametrize("kind", ["pipe", "binary", "large", "utf-16"])
def test_a_boat_that_is_no_boat_file(tmp_path: Path, kind: str) -> None:
    """What `busim.reading` refuses arrives at the command line as its words and status 2."""
    boat = tmp_path / "boat.yaml"
    if kind == "pipe":
        os.mkfifo(boat)
    else:
        boat.write_bytes({"binary": bytes(range(256)), "large": b"#" * 5_000_000, "utf-16": "busim: 1".encode("utf-16")}[kind])
    ended = call_busim("check", folder=tmp_path)
    assert ended.status == 2
    assert ended.err.startswith("boat.yaml:")
    assert len(ended.err.splitlines()) == 1


ESCAPE = "\x1b[31mred\x1b[0m"
MARKUP = "[bold]{0} {name} %s %(x)d[/]"


@pytest.mark.parametrize("name", [ESCAPE, MARKUP, "\u202egnp", "two\nlines"])
@pytest.mark.parametrize("words", [("{}",), ("run", "{}"), ("run", "--scenario", "{}"), ("run", "--kind", "{}"),
                                   ("run", "--from", "{}"), ("export", "{}"), ("run", "--{}")])  # fmt: skip
def test_what_was_typed_is_shown_literally_or_escaped(tmp_path: Path, words: tuple[str, ...], name: str) -> None:
    ended = call_busim(*(word.replace("{}", name) for word in words), folder=tmp_path)
    assert ended.status == 2
    assert "\x1b" not in ended.err
    assert "\u202e" not in ended.err or words == ("run", "--{}"), "the option parser escapes control characters only"
    if name == MARKUP:
        assert MARKUP in ended.err.replace("\n", " ")


def test_names_in_files_are_shown_literally(own_boat: Path) -> None:
    """Nothing a person wrote is taken for markup, a format or an escape: not in text, and not in JSON."""
    folder = own_boat.parent / "[red]{own}%d"
    own_boat.rename(folder)
    boat, scenario = folder / "boat.yaml", folder / "scenarios" / "one_second.yaml"
    boat.write_text(boat.read_text().replace("name: Reed Bunting", f"name: '{MARKUP}'"))
    scenario.write_text(f"scenario: '{MARKUP}'\nlasts_s: 1\n")
    ended = call_busim("run", folder.name, "--scenario", "one_second", folder=folder.parent)
    assert ended.status == 0
    assert ended.lines[0].startswith(f"boat: {MARKUP} ([red]{{own}}%d/boat.yaml)   fingerprints")
    assert ended.lines[1].startswith(f"scenario: {MARKUP} (")
    assert call_busim("check", folder.name, folder=folder.parent).lines[0] == ended.lines[0]


@pytest.mark.parametrize(("text", "escaped"), [(r'"a\e[31mb"', r"\x1b"), ('"a\\u202eb"', r"\u202e"), ('"a\\u0007b"', r"\x07")])
def test_control_characters_in_files_are_refused_and_named(own_boat: Path, text: str, escaped: str) -> None:
    boat = own_boat / "boat.yaml"
    boat.write_text(boat.read_text().replace("name: Reed Bunting", f"name: {text}"))
    scenario = own_boat / "scenarios" / "one_second.yaml"
    scenario.write_text(f"scenario: {text}\nlasts_s: 1\n")
    ended = call_busim("check", folder=own_boat)
    assert ended.status == 2
    assert "can't be seen" in ended.err
    assert escaped in ended.err
    assert ended.err.strip().isprintable()


def test_a_wrong_word_answers_at_once_and_loads_nothing(tmp_path: Path) -> None:
    """A slip of the hand does not wait for the simulator."""
    heavy = ("ruamel.yaml", "can", "rich", "busim.boat.model", "busim.simulator.build", "nodes")
    before = f"import sys, atexit; atexit.register(lambda: print([name for name in {heavy} if name in sys.modules]))"
    assert run_busim("chek", folder=tmp_path, before=before).out == "[]\n"
