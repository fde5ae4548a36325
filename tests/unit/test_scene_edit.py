"""A scene put into a boat file: comments and order stay, the file is replaced whole or not at all."""

import os
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busim.boat import scene_edit
from busim.boat.load import load_boat
from busim.boat.scene_edit import SceneText, check_text, difference, replace_text, with_scene
from busim.reading.problem import InputError

CONFIGS = Path(__file__).parents[2] / "configs"
MARSH_TERN = (CONFIGS / "marsh_tern" / "boat.yaml").read_text(encoding="utf-8")
FIRST_BOAT = (CONFIGS / "first_boat" / "boat.yaml").read_text(encoding="utf-8")
NIGHT = SceneText(99, {"galley": 250, "saloon_table": 0}, {}, 600)
NIGHT_LINES = ["  table:", "    number: 99", "    fade_ms: 600", "    levels: {galley: 250, saloon_table: 0}"]


def loaded(text: str, folder: Path) -> dict[str, object]:
    (folder / "boat.yaml").write_text(text, encoding="utf-8")
    return {name: scene.model_dump() for name, scene in load_boat(folder).boat.scenes.items()}


def test_a_new_scene_is_the_last_one_and_nothing_else_changes(tmp_path: Path) -> None:
    text = with_scene(MARSH_TERN, "table", NIGHT)
    before, after = loaded(MARSH_TERN, tmp_path), loaded(text, tmp_path)
    assert list(after) == [*before, "table"]
    assert after["table"] == {"number": 99, "levels": {"galley": 250, "saloon_table": 0}, "colours": {}, "fade_ms": 600}
    lines = text.split("\n")
    start = next(number for number, line in enumerate(lines) if line == "  table:")
    assert lines[start : start + len(NIGHT_LINES)] == NIGHT_LINES
    assert lines[:start] + lines[start + len(NIGHT_LINES) :] == MARSH_TERN.split("\n"), "every other line is as it was"


@pytest.mark.slow
@pytest.mark.parametrize("name", ["bright", "red_night", "leaving"])
def test_a_scene_that_is_there_is_changed_in_its_place(tmp_path: Path, name: str) -> None:
    before = loaded(MARSH_TERN, tmp_path)
    scene = SceneText(before[name]["number"], {"galley": 1}, {}, 0)  # type: ignore[index]
    text = with_scene(MARSH_TERN, name, scene)
    after = loaded(text, tmp_path)
    assert list(after) == list(before)
    assert after[name]["levels"] == {"galley": 1}  # type: ignore[index]
    assert {each: after[each] for each in after if each != name} == {each: before[each] for each in before if each != name}
    comments = [line.partition("#")[2] for line in MARSH_TERN.split("\n") if "#" in line and '"#' not in line]
    assert [comment for comment in comments if comment not in text] == []


def test_a_file_without_scenes_gets_them_at_its_end(tmp_path: Path) -> None:
    text = with_scene(FIRST_BOAT, "table", SceneText(1, {"cabin_lamp": 1000}, {}, 0))
    assert text.startswith(FIRST_BOAT.rstrip("\n"))
    assert list(loaded(text, tmp_path)) == ["table"]


def test_colours_are_written_as_the_file_has_them(tmp_path: Path) -> None:
    colours = {"saloon_floor": "#ff8000", "saloon_ceiling": "2700 K"}
    scene = SceneText(99, {"saloon_floor": 300, "saloon_ceiling": 100}, colours, 0)
    assert loaded(with_scene(MARSH_TERN, "table", scene), tmp_path)["table"]["colours"] == colours  # type: ignore[index]


@settings(deadline=None, max_examples=30)
@given(
    name=st.from_regex("[a-z][a-z0-9_]{0,12}", fullmatch=True),
    levels=st.dictionaries(st.sampled_from(["galley", "saloon_table", "aft_berth"]), st.integers(0, 1000), min_size=1),
)
def test_again_is_the_same_and_taking_it_back_too(name: str, levels: dict[str, int]) -> None:
    once = with_scene(MARSH_TERN, name, SceneText(99, levels, {}, 0))
    assert with_scene(once, name, SceneText(99, levels, {}, 0)) == once
    assert once != MARSH_TERN


BY_HAND = """boat: 1   # hers
scenes:          # what we call for
    reading:     # in the bunk
        number: 4
        # the ceiling blinds
        levels:
            ceiling: 100   # low
            bunk: 400      # just right
        fade_ms: 900

    # for the watch
    watch: {number: 5, levels: {ceiling: 0, bunk: 20}}   # red
# the end
panels: {}
"""


def test_comments_order_and_the_way_it_is_written_stay_inside_a_scene_too() -> None:
    changed = with_scene(BY_HAND, "reading", SceneText(4, {"ceiling": 100, "bunk": 450}, {}, 0))
    assert changed == BY_HAND.replace("bunk: 400", "bunk: 450")
    changed = with_scene(BY_HAND, "watch", SceneText(5, {"bunk": 30}, {}, 0))
    assert [line.split("#")[0].rstrip() for line in changed.split("\n")] == [
        line.split("#")[0].rstrip() for line in BY_HAND.replace("{ceiling: 0, bunk: 20}", "{bunk: 30}").split("\n")
    ]
    assert changed.count("#") == BY_HAND.count("#")
    new = with_scene(BY_HAND, "new", SceneText(6, {"bunk": 1}, {"bunk": "#ff0000"}, 5))
    added = ["    new:", "      number: 6", "      fade_ms: 5", "      levels: {bunk: 1}", '      colours: {bunk: "#ff0000"}']
    assert [line for line in new.split("\n") if line not in BY_HAND.split("\n")] == added


def test_scenes_in_braces_are_changed_by_a_round_trip_of_the_file() -> None:
    text = "boat: 1   # hers\nscenes: {one: {number: 1, levels: {lamp: 10}}}   # few\nzones: {lamp: 2}\n"
    changed = with_scene(text, "one", SceneText(1, {"lamp": 20}, {}, 0))
    assert changed.replace("20", "10").split() == text.split()
    assert "two: {" not in text
    assert "number: 2" in with_scene(text, "two", SceneText(2, {"lamp": 5}, {}, 0))


def test_line_ends_of_another_system_stay() -> None:
    there = BY_HAND.replace("\n", "\r\n")
    changed = with_scene(there, "reading", SceneText(4, {"ceiling": 100, "bunk": 450}, {}, 0))
    assert changed == there.replace("bunk: 400", "bunk: 450")


def test_what_is_no_yaml_is_said(tmp_path: Path) -> None:
    for text in ("scenes:\n  one: {number: 1\n", "scenes: {one: [\n", "scenes:\n  one: 7\n"):
        with pytest.raises(InputError):
            with_scene(text, "one", SceneText(1, {"lamp": 1}, {}, 0))


def test_the_difference_shows_what_changes_and_no_more() -> None:
    changes = difference(MARSH_TERN, with_scene(MARSH_TERN, "table", NIGHT))
    assert [line[1:] for line in changes if line.startswith("+")] == NIGHT_LINES
    assert not [line for line in changes if line.startswith("-")]


def test_what_would_be_no_boat_file_is_not_saved() -> None:
    with pytest.raises(InputError, match="there is no zone"):
        check_text(with_scene(MARSH_TERN, "table", SceneText(99, {"galey": 250}, {}, 0)))
    check_text(with_scene(MARSH_TERN, "table", NIGHT))


def test_a_file_that_somebody_changed_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "boat.yaml"
    path.write_text("as it is now")
    with pytest.raises(InputError, match="changed by somebody else"):
        replace_text(path, "as it was read", "new")
    assert path.read_text() == "as it is now"


def test_a_crash_while_saving_leaves_the_old_file_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "boat.yaml"
    path.write_text("old")

    def crash(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(scene_edit.os, "replace", crash)
    with pytest.raises(KeyboardInterrupt):
        replace_text(path, "old", "new")
    assert path.read_text() == "old"
    assert os.listdir(tmp_path) == ["boat.yaml"], "nothing is left lying about"


def test_a_file_with_other_line_ends_is_replaced_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "boat.yaml"
    path.write_bytes(b"one\r\ntwo\r\n")
    replace_text(path, "one\r\ntwo\r\n", "one\r\nthree\r\n")
    assert path.read_bytes() == b"one\r\nthree\r\n"
    path.write_bytes(b"\xff\xfe")
    with pytest.raises(InputError, match="changed by somebody else"):
        replace_text(path, "one", "two")


def test_saving_keeps_who_may_read_it(tmp_path: Path) -> None:
    path = tmp_path / "boat.yaml"
    path.write_text("old")
    path.chmod(0o640)
    replace_text(path, "old", "new")
    assert path.read_text() == "new"
    assert path.stat().st_mode & 0o777 == 0o640


def test_a_folder_that_can_not_be_written_is_said(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="can't be saved"):
        replace_text(tmp_path / "nowhere" / "boat.yaml", "", "new")
