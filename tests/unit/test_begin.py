"""Beginning a boat of a wanted size: the file is valid and plain, its options can be taken up, and its scenario is played.

The text is read back by another YAML reader than busim's own where its meaning is checked.
"""

import re
from collections import Counter
from functools import cache
from itertools import product
from pathlib import Path
from typing import Any

import pytest
from ruamel.yaml import YAML

from busim.boat.begin import begin
from busim.boat.begin_layout import ENGINES, LIGHTS, STATIONS, Size, lay_out
from busim.boat.begin_lines import Lines
from busim.boat.begin_text import boat_text, scenario_text
from busim.boat.findings import findings
from busim.boat.load import LoadedBoat, load_boat
from busim.commands.run import status_of
from busim.reading.problem import InputError
from busim.run.run import Outcome, carry_out
from busim.scenario.load import load_scenario
from busim.simulator.kinds import load_kinds

from ..cli.command_line import call_busim

LONGEST_LINE = 132
OPTION = re.compile(r" *#(?! [^ ])(?!$)")
"""A line of a commented block: # and no space, or # and the block's own indentation."""
OPENS = re.compile(r" *#(?P<yaml>\S.*?) +# \[(?P<name>\w+)\]")
"""The first line of one, with its name."""
OF_EVERY_BOAT = {
    "hull", "second_bus", "pendant", "actuator_types", "cutout", "rudder", "lever_tracks", "on_loss", "accepted_weaknesses",
}  # fmt: skip
OF_TWO_ENGINES = {"on_one_drive_lost", "partition_policy"}


def text_of(engines: int, stations: int, zones: int) -> str:
    return boat_text(lay_out(Size(engines, stations, zones)))


def begun(folder: Path, text: str) -> LoadedBoat:
    path = folder / "boat.yaml"
    path.write_text(text, encoding="utf-8")
    return load_boat(path)


def parsed(text: str) -> Any:
    return YAML(typ="safe", pure=True).load(text)


# -- Valid, and as large as was asked -------------------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize(("engines", "stations", "zones"), product((1, 2), (1, 3, 6), (0, 1, 8, 9, 40)))
def test_every_size_is_valid_and_nothing_is_found_against_it(tmp_path: Path, engines: int, stations: int, zones: int) -> None:
    text = text_of(engines, stations, zones)
    boat = begun(tmp_path, text)
    assert findings(boat.document) == []
    read = parsed(text)
    assert len(read["drives"]) == engines
    assert len(read["stations"]) == stations
    assert len(read.get("zones", {})) == zones
    kinds = [node["kind"] for node in read["nodes"].values()]
    groups = -(-zones // 8)
    assert Counter(kinds) == Counter(drive=engines, station=stations, panel=groups, zone_driver=groups)
    assert max(map(len, text.splitlines())) <= LONGEST_LINE


def test_everything_is_written_out_and_in_its_place() -> None:
    read = parsed(text_of(2, 6, 40))
    assert list(read["drives"]) == ["port", "starboard"]
    assert [drive["instance"] for drive in read["drives"].values()] == [1, 2]
    assert read["drives"]["port"]["offset_m"] < 0 < read["drives"]["starboard"]["offset_m"]  # + is starboard
    assert all(station["may_take"] == ["port", "starboard"] for station in read["stations"].values())
    assert sorted(zone["number"] for zone in read["zones"].values()) == list(range(1, 41))
    by_driver: dict[str, list[int]] = {}
    for zone in read["zones"].values():
        by_driver.setdefault(zone["node"], []).append(zone["channel"])
    assert list(by_driver.values()) == [list(range(1, 9))] * 5
    places = [node["taps"]["main"]["at_m"] for node in read["nodes"].values()]
    assert places == sorted(set(places))
    assert 0 <= places[0] < places[-1] <= read["buses"]["main"]["trunk_m"]


def test_names_are_plain_and_none_comes_twice() -> None:
    zones = [zone for _, _, names in LIGHTS for zone in names]
    nodes = [*STATIONS, *(name for group in LIGHTS for name in group[:2]), *(node for pair in ENGINES.values() for _, node in pair)]
    for names in (zones, nodes):
        assert len(names) == len(set(names))
        assert all(re.fullmatch(r"[a-z]+(_[a-z]+)*", name) for name in names)
    assert len(zones) == 40


def test_every_number_has_a_reason_or_a_question_where_it_comes_first() -> None:
    seen: set[str] = set()
    for line in text_of(2, 3, 9).splitlines():
        number = re.match(r" *(?P<key>\w+): (-?[0-9.]+|\[[0-9., ]+\]|\{at_m: .*\})(?P<comment> +# .+)?$", line)
        if number is not None and number["key"] not in seen:
            seen.add(number["key"])
            assert number["comment"], line
    assert {"waterline_m", "trunk_m", "terminators_m", "address", "main", "stroke_mm", "offset_m", "control_timeout_ms"} <= seen


@pytest.mark.parametrize("size", [(0, 1, 1), (3, 1, 1), (1, 0, 1), (1, 7, 1), (1, 1, -1), (1, 1, 41)])
def test_sizes_beyond_what_can_be_laid_out_are_refused(size: tuple[int, int, int]) -> None:
    with pytest.raises(ValueError, match="is not from"):
        Size(*size)


# -- Options ---------------------------------------------------------------------------------------------------------------


def option_names(text: str) -> set[str]:
    return {found["name"] for line in text.splitlines() if (found := OPENS.match(line)) is not None}


def taken_up(text: str, names: set[str]) -> str:
    """`text` with the blocks of these names in force, as its own head says: the # is taken away."""
    lines, name = [], ""
    for line in text.splitlines():
        if OPTION.match(line) is None:
            name = ""
        elif (opens := OPENS.match(line)) is not None:
            name = opens["name"]
        lines.append(line.replace("#", "", 1) if name in names else line)
    return "\n".join(lines) + "\n"


@cache
def two_engines() -> str:
    return text_of(2, 2, 9)


def test_the_options_are_all_there() -> None:
    assert option_names(two_engines()) == OF_EVERY_BOAT | OF_TWO_ENGINES | {"scenes"}
    assert option_names(text_of(1, 1, 0)) == OF_EVERY_BOAT


def test_each_option_says_what_it_is_for_where_it_stands_first() -> None:
    text, seen = two_engines(), set()
    for line in text.splitlines():
        found = OPENS.match(line)
        if found is not None and found["name"] not in seen:
            seen.add(found["name"])
            assert "?" in line.partition(f"[{found['name']}]")[2], line


@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(OF_EVERY_BOAT | OF_TWO_ENGINES | {"scenes"}))
def test_each_option_taken_up_is_valid_and_in_force(tmp_path: Path, name: str) -> None:
    text = two_engines()
    plain, taken = parsed(text), taken_up(text, {name})
    assert parsed(taken) != plain
    assert beyond_the_pair(tmp_path, taken) == []


def beyond_the_pair(folder: Path, text: str) -> list[str]:
    """Findings but for two: a second bus asks what feeds whom and who is left out, and only its builder can answer."""
    found = [problem.words for problem in findings(begun(folder, text).document)]
    return [words for words in found if "hangs on the supply" not in words and "of the pair only" not in words]


def test_what_the_options_bring() -> None:
    read = parsed(taken_up(two_engines(), OF_EVERY_BOAT | OF_TWO_ENGINES | {"scenes"}))
    assert read["hull"]["top_speed_kn"] > 0
    assert read["buses"]["second"]["twin_of"] == "main"
    assert read["buses"]["pendant_bus"]["pluggable"] is True
    assert read["stations"]["pendant"]["node"] == "pendant"
    assert read["nodes"]["pendant"]["taps"]["pendant_bus"]["plug"] is True
    for name, node in read["nodes"].items():
        on_helm_pair = node["kind"] in ("station", "drive") and name != "pendant"
        assert ("second" in node["taps"]) is on_helm_pair, name
        assert ("pendant_bus" in node["taps"]) is (node["kind"] == "drive" or name == "pendant"), name
    assert read["rudder"]["node"] == "rudder_gear"
    assert [drive["on_loss"]["do"] for drive in read["drives"].values()] == ["idle", "idle"]
    assert [cutout["drive"] for cutout in read["cutouts"].values()] == ["port", "starboard"]
    assert read["accepted_weaknesses"][0]["requirements"] == ["drive.loss_to_neutral"]
    assert read["scenes"]["evening"]["levels"]["saloon"] == 1000


@pytest.mark.parametrize("size", [(1, 1, 0), (1, 1, 1), (2, 6, 40)])
def test_all_options_together_are_valid(tmp_path: Path, size: tuple[int, int, int]) -> None:
    text = text_of(*size)
    for left_out in ("cutout", "on_loss"):  # a gear that stays in is what a cutout stops the engine for: one of the two
        assert beyond_the_pair(tmp_path, taken_up(text, option_names(text) - {left_out})) == []
    both = beyond_the_pair(tmp_path, taken_up(text, option_names(text)))
    assert len(both) == size[0]
    assert all("what a cutout is for" in words for words in both)


def test_a_comment_that_is_words_is_no_option() -> None:
    page = Lines(column=12)
    page.say("words")
    page.put("key: 1", "a reason")
    page.note("that goes on")
    page.option(2, "name", "why?", ["block:", ("  key: 2", "a reason")])
    assert page.lines == ["# words", "key: 1      # a reason", "            # that goes on", "  #block:   # [name] why?",
                          "  #  key: 2  # a reason"]  # fmt: skip
    assert [OPTION.match(line) is not None for line in page.lines] == [False, False, False, True, True]


# -- The scenario ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("engines", "stations", "zones"), [(1, 1, 0), (1, 6, 1), (2, 1, 9), (2, 6, 40)])
def test_the_cut_parts_the_engines_from_everything_else(engines: int, stations: int, zones: int) -> None:
    size = Size(engines, stations, zones)
    cut_m = parsed(scenario_text(lay_out(size)))["faults"][0]["cut"]["at_m"]
    for node in parsed(boat_text(lay_out(size)))["nodes"].values():
        assert (node["taps"]["main"]["at_m"] > cut_m) is (node["kind"] == "drive")


def played(folder: Path, size: Size) -> Outcome:
    begin(folder, size)
    boat = load_boat(folder)
    scenario = load_scenario(folder / "scenarios" / "cold_start_then_cut.yaml", boat.boat)
    return carry_out(boat.boat, boat.plan, load_kinds(), scenario.scenario, 1)


@pytest.mark.slow
@pytest.mark.parametrize(("engines", "stations", "zones"), product((1, 2), (1, 2, 3), (0, 1, 9)))
def test_the_scenario_is_played_and_everything_passes(tmp_path: Path, engines: int, stations: int, zones: int) -> None:
    outcome = played(tmp_path, Size(engines, stations, zones))
    assert status_of(outcome) == 0, (outcome.failed, outcome.open)
    passed = {verdict.id for verdict in outcome.verdicts if verdict.verdict == "pass"}
    wanted = {"drive.loss_to_idle", "drive.loss_to_neutral", "drive.engage_at_idle", "station.nobody_shown"}
    assert passed >= wanted | ({"light.press"} if zones else set())
    # Every engine was under way, and every one of them found neutral.
    assert sorted(loss.drive for loss in outcome.losses) == sorted(name for name, _ in ENGINES[engines])
    assert all(loss.to_neutral_ns is not None for loss in outcome.losses)


# -- The command -----------------------------------------------------------------------------------------------------------


def test_the_command_writes_the_size_and_what_it_says_to_type_next_works(tmp_path: Path) -> None:
    ended = call_busim("begin", "own", "--engines", "2", "--stations", "2", "--zones", "0", folder=tmp_path)
    assert (ended.status, ended.err) == (0, "")
    assert ended.lines[:2] == ["wrote own/boat.yaml", "wrote own/scenarios/cold_start_then_cut.yaml"]
    assert call_busim("check", "own", folder=tmp_path).lines[-1] == "nothing found against it"
    assert call_busim("run", "own", folder=tmp_path).status == 0


@pytest.mark.parametrize(
    ("words", "counts"),
    [("--engines 2", (2, 1, 1)), ("--stations 3", (1, 3, 1)), ("--zones 9", (1, 1, 9)), ("--zones 0", (1, 1, 0))],
)
def test_what_is_left_out_is_one(tmp_path: Path, words: str, counts: tuple[int, int, int]) -> None:
    assert call_busim("begin", "own", *words.split(), folder=tmp_path).status == 0
    assert (tmp_path / "own" / "boat.yaml").read_text(encoding="utf-8") == text_of(*counts)


@pytest.mark.parametrize(
    ("words", "low", "high"),
    [(("--engines", "0"), 1, 2), (("--engines", "3"), 1, 2), (("--stations", "7"), 1, 6), (("--zones", "41"), 0, 40),
     (("--zones", "-1"), 0, 40), (("--zones", "two"), 0, 40), (("--stations", "1.0"), 1, 6), (("--engines", ""), 1, 2),
     (("--zones", "9" * 30), 0, 40)],
)  # fmt: skip
def test_a_size_nobody_can_have_is_refused_and_nothing_is_written(
    tmp_path: Path, words: tuple[str, ...], low: int, high: int
) -> None:
    ended = call_busim("begin", "own", *words, folder=tmp_path)
    assert ended.status == 2
    assert f"a whole number from {low} to {high} is wanted" in ended.err
    assert not (tmp_path / "own").exists()


def test_a_boat_of_a_size_overwrites_nothing(tmp_path: Path) -> None:
    (tmp_path / "scenarios").mkdir()
    (tmp_path / "scenarios" / "cold_start_then_cut.yaml").write_text("mine")
    with pytest.raises(InputError, match=r"cold_start_then_cut\.yaml: is there already and is never overwritten"):
        begin(tmp_path, Size(engines=2))
    assert not (tmp_path / "boat.yaml").exists()
