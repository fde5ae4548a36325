"""Records that were damaged or changed since: each is caught, or makes no difference; none is trusted."""

import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from busim.record.writer import EVENTS, FRAMES, HEAD, SECONDS
from tests.cli.command_line import Ended, call_busim

SCENARIO = """
scenario: a lamp
lasts_s: 3
actions:
  - at_s: 1
    touch: {panel: companionway, control: lamp}
  - at_s: 1.5
    key: {station: wheelhouse, name: take}
"""
FIRST = Path(__file__).parents[2] / "configs" / "first_boat"
Change = Callable[[dict[str, Any]], Any]


@pytest.fixture(scope="module")
def original(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("original")
    shutil.copytree(FIRST, folder, dirs_exist_ok=True)
    (folder / "made.yaml").write_text(SCENARIO)
    assert call_busim("run", "--scenario", "made.yaml", "--record", folder=folder).status == 0
    return folder / "results" / "run-0001"


@pytest.fixture
def record(original: Path, tmp_path: Path) -> Path:
    """A record of three seconds, to spoil."""
    return Path(shutil.copytree(original, tmp_path / "kept"))


def rerun(record: Path, *more: str) -> Ended:
    return call_busim("run", "--from", record.name, *more, folder=record.parent)


def changed_head(record: Path, change: Change) -> None:
    head = json.loads((record / HEAD).read_text(encoding="utf-8"))
    change(head)
    (record / HEAD).write_text(json.dumps(head), encoding="utf-8")


def assert_refused(ended: Ended, start: str, words: str = "") -> None:
    assert ended.status == 2
    assert "requirement" not in ended.out, "no verdict comes of it"
    assert len(ended.err.splitlines()) == 1
    assert ended.err.startswith(start)
    assert words in ended.err
    assert ended.err.strip().isprintable()
    assert len(ended.err) < 400


# ---------------------------------------------------------------------------------------------------- a damaged head

NOT_HEADS = {
    "empty": b"",
    "half": b'{"record": 1, "bus',
    "a list": b"[]",
    "nothing": b"null",
    "a number": b"1e999",
    "not UTF-8": b'{"record": "\xff\xfe"}',
    "deep": b"[" * 200_000,
    "deep objects": b'{"a":' * 100_000,
    "a number of 10,000 digits": b'{"seed": ' + b"9" * 10_000 + b"}",
    "large": b" " * 2_000_001,
    "pickled": b"\x80\x04\x95\x00",
}


@pytest.mark.parametrize("content", NOT_HEADS.values(), ids=NOT_HEADS)
def test_a_head_that_is_none(record: Path, content: bytes) -> None:
    (record / HEAD).write_bytes(content)
    assert_refused(rerun(record), "kept/head.json: is ")


@pytest.mark.parametrize("key", ["record", "busim", "digest", "seed", "kinds", "scenario", "boat"])
@pytest.mark.parametrize("value", ["gone", None, [], {}, "x", -1, 1.5, True, 10**30, {"\x1b[31m": "\x1b"}, [[[]]]], ids=repr)
def test_a_head_with_a_part_missing_or_of_another_type(record: Path, key: str, value: Any) -> None:
    if (key, value) in (("kinds", {}), ("busim", "x"), ("record", True), ("digest", True)):
        return  # just what may stand there; True is 1
    changed_head(record, lambda head: head.pop(key) if value == "gone" else head.__setitem__(key, value))
    # What could be classes is asked about, and not called damaged.
    assert_refused(rerun(record), "kept: " if key == "kinds" and isinstance(value, dict) else "kept/head.json: ")


def _second_node_at_the_same_address(head: dict[str, Any]) -> None:
    head["boat"]["nodes"]["engine_room"]["address"] = 1


def _touch_of(head: dict[str, Any]) -> Any:
    return head["scenario"]["actions"][0]["touch"]


DAMAGES: dict[str, tuple[Change, str]] = {
    "an older record": (lambda head: head.update(record=0), "another version"),
    "an older digest": (lambda head: head.update(digest=0), "another version"),
    "a rule is broken": (_second_node_at_the_same_address, "is damaged in boat: "),
    "a node is gone": (lambda head: head["boat"]["nodes"].pop("engine_room"), "is damaged in boat: "),
    "a bus is gone": (lambda head: head["boat"].update(buses={}), "is damaged in boat: "),
    "an unknown key": (lambda head: head["boat"].update({"\x1b]0;x\x07": 1}), r"is damaged at boat.\x1b]0;x\x07: "),
    "text for a number": (lambda head: head["boat"]["boat"].update(mass_kg="7800"), "is damaged at boat.boat.mass_kg: "),
    "not a number": (lambda head: head["boat"]["boat"].update(mass_kg=float("nan")), "is damaged at boat.boat.mass_kg: "),
    "half a character": (lambda head: head["boat"]["boat"].update(name="\ud800"), "is damaged at boat"),
    "a panel that is not there": (lambda head: _touch_of(head).update(panel="x"), "is damaged in scenario: "),
    "a control that is not there": (lambda head: _touch_of(head).update(control="x"), "is damaged in scenario: "),
    "two things at once": (lambda head: head["scenario"]["actions"][0].update(power={"node": "engine_room", "on": True}),
                            "is damaged at scenario.actions.0: "),
    "an action after the end": (lambda head: head["scenario"]["actions"][0].update(at_s=4), "is damaged in scenario: "),
    "an unknown requirement": (lambda head: head["scenario"].update(expect={"x.y": "pass"}), "is damaged in scenario: "),
    "a class by number": (lambda head: head.update(kinds={"drive": 5}), "its kinds are not what busim writes"),
}  # fmt: skip


@pytest.mark.parametrize("damage", DAMAGES)
def test_a_head_that_is_no_boat_or_scenario(record: Path, damage: str) -> None:
    change, words = DAMAGES[damage]
    changed_head(record, change)
    assert_refused(rerun(record), "kept/head.json: ", words)


def test_settings_nested_deep(record: Path) -> None:
    """Where anything may stand, it may be deep: read or refused, and no more than that."""
    for depth in (30, 400, 900):
        text = (record / HEAD).read_text(encoding="utf-8")
        deep = "[" * depth + "]" * depth
        (record / HEAD).write_text(text.replace('"settings": {}', f'"settings": {{"x": {deep}}}', 1), encoding="utf-8")
        assert rerun(record).status in (0, 2)
        (record / HEAD).write_text(text, encoding="utf-8")


@pytest.mark.parametrize("name", [HEAD, FRAMES, EVENTS, SECONDS])
@pytest.mark.parametrize("instead", ["nothing", "folder", "pipe"])
def test_a_file_that_is_gone_or_is_no_file(record: Path, name: str, instead: str) -> None:
    """A pipe in its place is not waited for."""
    (record / name).unlink()
    if instead == "folder":
        (record / name).mkdir()
    elif instead == "pipe":
        os.mkfifo(record / name)
    assert_refused(rerun(record), "kept: is no record: it has no head.json" if name == HEAD else f"kept/{name}: is missing")


# ---------------------------------------------------------------------------------------------------- changed since


def first_digit_changed(text: str, at: int) -> str:
    """`text` with the first decimal digit from position `at` on made another."""
    at = next(index for index in range(at, len(text)) if text[index].isdecimal())
    return text[:at] + str((int(text[at]) + 1) % 10) + text[at + 1 :]


def test_unchanged(record: Path) -> None:
    assert rerun(record).status == 0


CAUGHT: dict[str, Change] = {
    "seed": lambda head: head.update(seed=2),
    "a clock": lambda head: head["boat"]["types"]["boards"]["our_board"].update(clock_ppm=101),
    "a delay": lambda head: head["boat"]["types"]["boards"]["our_board"].update(processing_us=201),
    "a place on the trunk": lambda head: head["boat"]["nodes"]["lamp_driver"].update(address=22),
    "a moment": lambda head: head["scenario"]["actions"][0].update(at_s=1.1),
    "a timeout": lambda head: head["boat"]["timing"].update(control_timeout_ms=260),
}


@pytest.mark.parametrize("what", CAUGHT)
def test_what_is_changed_in_the_head_makes_another_run(record: Path, what: str) -> None:
    changed_head(record, CAUGHT[what])
    ended = rerun(record)
    assert ended.status == 4
    assert ended.err.startswith("busim contradicts itself: the rerun differs from the record in second ")
    assert "passed" not in ended.out


IRRELEVANT: dict[str, Change] = {
    "the name of the scenario": lambda head: head["scenario"].update(scenario="called otherwise"),
    "the name of the boat": lambda head: head["boat"]["boat"].update(name="Called Otherwise"),
    "a reason": lambda head: head["boat"]["drives"]["engine"]["on_loss"].update(why="because"),
    "busim's version, where it runs the same": lambda head: head.update(busim="0.0.1"),
}


@pytest.mark.parametrize("what", IRRELEVANT)
def test_what_takes_no_part_in_the_run_makes_no_difference(record: Path, what: str) -> None:
    changed_head(record, IRRELEVANT[what])
    assert rerun(record).status == 0


def test_another_busim_that_runs_it_differently_is_no_contradiction(record: Path) -> None:
    changed_head(record, lambda head: head.update(busim="0.0.1\x1b", seed=2))
    ended = rerun(record)
    assert_refused(ended, r"kept/head.json: was written by busim 0.0.1\x1b, and busim ", "runs it differently from second 1 on")


@pytest.mark.parametrize("second", [1, 2, 3])
def test_a_changed_run_code_is_found_in_its_second(record: Path, second: int) -> None:
    lines = (record / SECONDS).read_text().splitlines(keepends=True)
    lines[second - 1] = first_digit_changed(lines[second - 1], lines[second - 1].rindex(" "))
    (record / SECONDS).write_text("".join(lines))
    ended = rerun(record)
    assert ended.status == 4
    assert f"in second {second} " in ended.err


@pytest.mark.parametrize("name", [FRAMES, EVENTS])
@pytest.mark.parametrize("share", [0.0, 0.5, 0.97])
def test_changed_frames_and_events_are_found_though_the_run_code_is_right(record: Path, name: str, share: float) -> None:
    text = (record / name).read_text()
    (record / name).write_text(first_digit_changed(text, int(len(text) * share)))
    assert_refused(rerun(record), f"kept/{name}: was changed after the run: second ")


@pytest.mark.parametrize("name", [FRAMES, EVENTS])
@pytest.mark.parametrize("change", ["a line more", "a line less", "emptied", "line ends", "not UTF-8"])
def test_frames_and_events_added_or_taken_away(record: Path, name: str, change: str) -> None:
    data = (record / name).read_bytes()
    lines = data.splitlines(keepends=True)
    (record / name).write_bytes(
        {
            "a line more": data + lines[-1],
            "a line less": b"".join(lines[:-1]),
            "emptied": b"",
            "line ends": data.replace(b"\n", b"\r\n"),
            "not UTF-8": data.replace(b"main", b"ma\xffn").replace(b"start", b"st\xffrt"),
        }[change]
    )
    assert_refused(rerun(record), f"kept/{name}: was changed after the run: second ")


@pytest.mark.parametrize(
    ("text", "line"),
    [("1 5\n", 1), ("2 5 " + "0" * 32 + "\n", 1), ("1 x " + "0" * 32 + "\n", 1), ("1 5 abc\n", 1), ("\n", 1)],
)
def test_seconds_that_are_not_as_busim_writes_them(record: Path, text: str, line: int) -> None:
    (record / SECONDS).write_text(text)
    assert_refused(rerun(record), f"kept/seconds.txt:{line}:1: is damaged")


@pytest.mark.parametrize("data", [b"\xff\n", b"1 " * 4_000_001], ids=["no text", "too many"])
def test_seconds_that_are_no_text_or_too_many(record: Path, data: bytes) -> None:
    (record / SECONDS).write_bytes(data)
    assert_refused(rerun(record), "kept/seconds.txt: is ")


def test_seconds_that_the_run_never_had(record: Path) -> None:
    with (record / SECONDS).open("a") as file:
        file.write(f"4 100 {'0' * 32}\n")
    ended = rerun(record)
    assert ended.status == 4
    assert "in second 4 " in ended.err


def test_a_torn_last_line_is_the_second_that_was_being_written(record: Path) -> None:
    text = (record / SECONDS).read_text()
    (record / SECONDS).write_text(text[:-10])
    ended = rerun(record)
    assert ended.status == 0
    assert ended.lines[-1].startswith("the record ends after 2 s")


# ---------------------------------------------------------------------------------------------------- whose code is run


def test_a_record_names_classes_but_does_not_have_them_run_unasked(record: Path, tmp_path: Path) -> None:
    """A record may come from somebody else: which code is run is for the one who types it."""
    (tmp_path / "somebodys.py").write_text("open('was_run', 'w').close()\nfrom nodes.drive import Drive\n")
    changed_head(record, lambda head: head.update(kinds={"drive": "somebodys:Drive"}))
    line = "busim run --from kept --kind drive=somebodys:Drive"
    assert_refused(rerun(record), "kept: this record was played with classes of somebody's own. To run them, say so: ", line)
    assert_refused(rerun(record, "--kind", "drive=nodes.drive:Drive"), "kept: the record was not played with those classes: ", line)
    assert not (tmp_path / "was_run").exists()
    assert rerun(record, "--kind", "drive=somebodys:Drive").status == 0
    assert (tmp_path / "was_run").exists()


def test_a_record_without_classes_of_its_own_is_not_rerun_with_others(record: Path) -> None:
    ended = rerun(record, "--kind", "drive=nodes.drive:Drive")
    assert_refused(ended, "kept: the record was not played with those classes: busim run")
