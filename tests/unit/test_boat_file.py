"""The boat file as a whole: the first boat, bad input as a builder meets it, what `--resolved` prints, beginning a new boat."""

import os
import re
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import BaseModel, ValidationError
from ruamel.yaml import YAML

import busim
from busim.boat.begin import begin
from busim.boat.findings import findings
from busim.boat.load import LoadedBoat, boat_file_of, load_boat
from busim.boat.model import BoatFile, Section, TimingSection
from busim.boat.resolved import resolved_lines
from busim.boat.shipped import shipped_folder
from busim.reading.problem import InputError

Edited = Callable[..., Any]
FIRST_BOAT = shipped_folder() / "first_boat" / "boat.yaml"
FIRST_TEXT = FIRST_BOAT.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def first_boat() -> LoadedBoat:
    return load_boat(FIRST_BOAT)


def refusals(path: Path) -> list[str]:
    """What is said about the file at `path`, without the path."""
    with pytest.raises(InputError) as caught:
        load_boat(path)
    return [str(problem).removeprefix(str(path)).removeprefix(":").strip() for problem in caught.value.problems]


# -- The first boat --------------------------------------------------------------------------------------------------------


def test_the_first_boat_is_what_it_says(first_boat: LoadedBoat) -> None:
    boat = first_boat.boat
    assert list(boat.stations) == ["wheelhouse"]
    assert list(boat.drives) == ["engine"]
    assert list(boat.panels) == ["companionway"]
    assert list(boat.zones) == ["cabin_lamp"]
    assert (boat.boat.max_run_m, boat.boat.docking_speed_kn) == (4, 3)
    along_the_trunk = sorted(boat.nodes, key=lambda name: boat.nodes[name].taps["main"].at_m)
    assert along_the_trunk == ["wheelhouse", "companionway", "lamp_driver", "engine_room"]
    assert findings(first_boat.document) == []


def test_the_first_boat_says_nothing_false_about_itself(first_boat: LoadedBoat) -> None:
    # Numbers its comments derive from others: 70 mm / 50 mm/s, half of 70 mm / 40 mm/s, 4 m at 3 kn, the wait for idle.
    plan = first_boat.plan
    for words in ("full stroke in 1.4 s", "half stroke in 875 ms", "4 m at 3 kn are 2,592 ms", "1,447 ms"):
        assert words in FIRST_TEXT
    assert (plan.drives[0].shift_ms, plan.drives[0].idle_wait_ms) == (875, 1447)


def test_the_first_boat_can_be_read_in_two_minutes() -> None:
    # Some 230 words a minute is common for plain text (from memory), so 460 in two; keys and values are looked at, not read.
    prose = " ".join(re.findall(r"#(.*)", FIRST_TEXT))
    assert len(re.findall(r"[A-Za-z]{2,}", prose)) < 460
    assert max(map(len, FIRST_TEXT.splitlines())) <= 132


def test_a_plain_reader_sees_the_same_first_boat(first_boat: LoadedBoat) -> None:
    plain = YAML(typ="safe", pure=True).load(FIRST_TEXT)
    assert first_boat.boat.model_dump(exclude_unset=True, mode="json") == plain


def test_a_folder_means_its_boat_file(first_boat: LoadedBoat) -> None:
    loaded = load_boat(FIRST_BOAT.parent)
    assert loaded.path == FIRST_BOAT
    assert loaded.plan == first_boat.plan
    assert boat_file_of(FIRST_BOAT) == FIRST_BOAT


def test_a_folder_without_a_boat_file(tmp_path: Path) -> None:
    assert refusals(tmp_path) == ["is a folder without a boat.yaml in it"]


def test_a_boat_file_that_is_a_folder_or_a_pipe(tmp_path: Path) -> None:
    (tmp_path / "one" / "boat.yaml").mkdir(parents=True)
    (tmp_path / "two").mkdir()
    os.mkfifo(tmp_path / "two" / "boat.yaml")
    for folder, words in (("one", "is a folder, a boat file was expected"), ("two", "is a pipe, a boat file was expected")):
        with pytest.raises(InputError) as caught:
            load_boat(tmp_path / folder)
        assert str(caught.value) == f"{tmp_path / folder / 'boat.yaml'}: {words}"


@pytest.mark.parametrize("name", ["a\0b", "x" * 5000, "none.yaml"])
def test_a_path_to_nothing(name: str) -> None:
    with pytest.raises(InputError):
        load_boat(Path(name))


# -- Bad input of a builder ------------------------------------------------------------------------------------------------

WEAKNESS = (
    "\naccepted_weaknesses:\n"
    "  - {{weakness: w, requirements: [{requirement}], faults: [x], reason: why not, date: {date}}}\n"
)
PIECES = ["", "[", "]", "{", "}", ":", "\n", "  ", "- ", "'", '"', "&a ", "*a", "!x ", "-1", "1e99", "null", "true", "x"]

BAD = {
    "unknown key": (("    channel: 1\n", "    channel: 1\n    §chanel: 2\n"), ['unknown key "chanel": did you mean channel?']),
    "unknown section": (("\nzones:\n", "\n§zoness:\n"), ['unknown key "zoness": did you mean zones?']),
    "missing key": (
        ("  cabin_lamp:\n    number: 1\n", "  §cabin_lamp:\n"),
        ["number is missing: its number on the bus"],
    ),
    "too large": (("address: 21\n", "address: §300\n"), ["address: 300 is too large, at most 62"]),
    "true for a number": (("mass_kg: 7800", "mass_kg: §true"), ["mass_kg: a number is wanted, not true"]),
    "text for a number": (('mass_kg: 7800', 'mass_kg: §"12"'), ["mass_kg: a number is wanted, not text: write 12 without quotes"]),
    "nan": (("mass_kg: 7800", "mass_kg: §.nan"), ["mass_kg: a number is wanted, not .nan"]),
    "inf": (("mass_kg: 7800", "mass_kg: §.inf"), ["mass_kg: a number is wanted, not .inf"]),
    "10^40": (("address: 21\n", f"address: §{10**40}\n"), ["address: a number of 41 digits is too large, at most 62"]),
    "number for a name": (("node: lamp_driver\n", "node: §7\n"), ["node: text is wanted, not 7: put it in quotes"]),
    "bit rate": (
        ("bit_rate: 250000", "bit_rate: §250"),
        ["bit_rate: 250 is not possible: one of 10000, 20000, 50000, 100000, 125000, 250000, 500000, 800000, 1000000"],
    ),
    "choice": (("kind: switched", "kind: §swiched"), ['kind: "swiched" is not possible: did you mean switched?']),
    "duplicate key": (("    channel: 1\n", "    channel: 1\n    §channel: 1\n"), None),
    "yes for true": (("neutral_switch: true", "neutral_switch: §yes"), ['neutral_switch: write true or false, not "yes"']),
    "name with capitals": (
        ("  cabin_lamp:\n", "  §Cabin_Lamp:\n"),
        ['the name "Cabin_Lamp" can\'t be used: small letters a to z, digits and _, at most 31, and a letter first'],
    ),
    "name with markup": (
        ("  cabin_lamp:\n", '  §"[bold]lamp[/]":\n'),
        ['the name "[bold]lamp[/]" can\'t be used: small letters a to z, digits and _, at most 31, and a letter first'],
    ),
    "name with control characters": (
        ("  cabin_lamp:\n", '  §"lamp\\e[2J":\n'),
        ['the name "lamp\\x1b[2J" holds a character that can\'t be seen (\\x1b)'],
    ),
    "path for a name": (
        ("  cabin_lamp:\n", "  §../lamp:\n"),
        ['the name "../lamp" can\'t be used: small letters a to z, digits and _, at most 31, and a letter first'],
    ),
    "boat name of two lines": (("name: Reed Bunting", 'name: §"Reed\\nBunting"'), ["name: one line of text is wanted"]),
    "no boat name": (("name: Reed Bunting", 'name: §""'), ["name: is empty"]),
    "format of another time": (("busim: 1 ", "busim: §2 "), ["busim: 2 is not possible: one of 1"]),
    "terminator before the start": (("[0, 12]", "[§-1, 12]"), ["terminators_m, item 1: -1 is too small, at least 0"]),
    "level": (
        ("\npanels:\n", "\nscenes: {night: {number: 1, levels: {cabin_lamp: §1001}}}\n\npanels:\n"),
        ["cabin_lamp: 1001 is too large, at most 1000"],
    ),
    "date": (
        ("\naccepted_weaknesses:\n", WEAKNESS.format(requirement="drive.rearm", date="§2024-05-31")),
        ['"2024-05-31" reads as a date: put it in quotes'],
    ),
    "day that is none": (
        ("\naccepted_weaknesses:\n", WEAKNESS.format(requirement="drive.rearm", date="§'2024-02-30'")),
        ['date: a day is wanted, as year-month-day in quotes, like "2024-05-31"'],
    ),
    "no requirement": (
        ("\naccepted_weaknesses:\n", WEAKNESS.format(requirement="§Drive", date="'2024-05-31'")),
        ["requirements, item 1: the id of a requirement is wanted, like drive.loss_to_neutral"],
    ),
}  # fmt: skip


@pytest.mark.parametrize(("edit", "words"), BAD.values(), ids=BAD.keys())
def test_one_mistake_is_one_problem_at_its_place(edited: Edited, edit: tuple[str, str], words: list[str] | None) -> None:
    boat = edited(edit)
    line, column = boat.place
    expected = words if words is not None else [f'"channel" is written twice, first on line {line - 1}']
    assert refusals(boat.path) == [f"{line}:{column}: {each}" for each in expected]


def test_a_key_mistyped_is_unknown_and_what_was_meant_is_missing(edited: Edited) -> None:
    boat = edited(("  lamp_driver:\n", "  ¶lamp_driver:\n"), ("address: 21\n", "§adress: 21\n"))
    line, column = boat.place
    assert refusals(boat.path) == [
        f"{boat.other_line}:3: address is missing: sender address; 1 to 15 for whoever sends safety messages",
        f'{line}:{column}: unknown key "adress": did you mean address?',
    ]


def test_an_empty_mapping_lacks_every_section(tmp_path: Path) -> None:
    (tmp_path / "boat.yaml").write_text("{}")
    missing = [line.split(" is missing")[0] for line in refusals(tmp_path / "boat.yaml")]
    assert missing == ["1:1: boat", "1:1: buses", "1:1: busim", "1:1: nodes", "1:1: supplies"]


def test_all_mistakes_at_once(edited: Edited) -> None:
    boat = edited(
        ("waterline_m: 10.4", "waterline_m: long"),
        ("bit_rate: 250000", "bit_rate: 250"),
        ("address: 21\n", "address: 300\n"),
        ("neutral_switch: true", "neutral_switch: on"),
        ("    channel: 1\n", "    channel: 1\n    channel: 2\n"),
        ("lever_ms: 20 ", "lever: 20 "),
    )
    lines = refusals(boat.path)
    assert len(lines) == 6
    assert [int(line.split(":")[0]) for line in lines] == sorted(int(line.split(":")[0]) for line in lines)


@pytest.mark.slow
@settings(max_examples=150, deadline=None)
@given(data=st.data())
def test_a_mutated_boat_loads_or_is_refused_and_soon(data: st.DataObject, tmp_path_factory: pytest.TempPathFactory) -> None:
    text = FIRST_TEXT
    for _ in range(data.draw(st.integers(1, 4))):
        start = data.draw(st.integers(0, len(text)))
        end = min(len(text), start + data.draw(st.integers(0, 60)))
        piece = data.draw(
            st.sampled_from(PIECES) | st.text(max_size=5) | st.just(text[start:end] * 2)
        )
        text = text[:start] + piece + text[end:]
    path = tmp_path_factory.getbasetemp() / "mutated.yaml"
    path.write_text(text, encoding="utf-8", errors="surrogatepass")
    quickest = float("inf")
    for _ in range(3):
        started = time.process_time()
        try:
            loaded: LoadedBoat | None = load_boat(path)
        except InputError as error:
            loaded, said = None, error.problems
        # Time of this process for the quickest of three: how fast it is, and not how busy the machine was.
        quickest = min(quickest, time.process_time() - started)
        if quickest < 1:
            break
    assert quickest < 1
    if loaded is None:
        assert said
        assert all(str(problem).isprintable() for problem in said)
    else:
        assert all(line.isprintable() for line in resolved_lines(loaded))
        findings(loaded.document)


# Mutating values inside the model's bounds gets past the shapes to the rules, the derivations and the plan.
NUMBERS = st.integers(-3, 70) | st.sampled_from([0, 1, 100, 250, 500, 1000, 5000, 0.01, 0.5, 1e-9])


@pytest.mark.slow
@settings(max_examples=150, deadline=None)
@given(data=st.data())
def test_a_boat_of_other_numbers_and_names_loads_or_is_refused(
    data: st.DataObject, tmp_path_factory: pytest.TempPathFactory
) -> None:
    text = re.sub(r"#.*", "", FIRST_TEXT)
    found = list(re.finditer(r"(?<=[ \[])(?:\d+(?:\.\d+)?|[a-z_]{3,}(?![a-z_]*:))", text))
    for match in sorted(data.draw(st.lists(st.sampled_from(found), min_size=1, max_size=4, unique=True)), key=lambda m: -m.start()):
        if match[0][0].isdigit():
            other = str(data.draw(NUMBERS))
        else:
            other = data.draw(st.sampled_from([each[0] for each in found if not each[0][0].isdigit()]))
        text = text[: match.start()] + other + text[match.end() :]
    path = tmp_path_factory.getbasetemp() / "numbers.yaml"
    path.write_text(text, encoding="utf-8")
    try:
        loaded = load_boat(path)
    except InputError:
        return
    assert loaded.plan.helm_fingerprint > 0
    assert all(drive.idle_wait_ms > 0 for drive in loaded.plan.drives)
    assert list(resolved_lines(loaded))
    findings(loaded.document)


# -- The model -------------------------------------------------------------------------------------------------------------


def sections() -> list[type[BaseModel]]:
    found, new = set(), {BoatFile}
    while new:
        found |= new
        new = {
            inner
            for section in new
            for information in section.model_fields.values()
            for inner in _classes(information.annotation)
            if issubclass(inner, BaseModel) and inner not in found
        }
    return sorted(found, key=lambda section: section.__name__)


def _classes(annotation: Any) -> list[type]:
    inner = [each for argument in get_args(annotation) for each in _classes(argument)]
    return [annotation, *inner] if isinstance(annotation, type) and not get_args(annotation) else inner


@pytest.mark.parametrize("section", sections(), ids=lambda section: section.__name__)
def test_every_section_is_frozen_strict_and_finite_and_refuses_what_it_does_not_know(section: type[BaseModel]) -> None:
    assert issubclass(section, Section)
    for setting, value in (("frozen", True), ("strict", True), ("extra", "forbid"), ("allow_inf_nan", False)):
        assert section.model_config.get(setting) == value


def test_every_default_of_timing_keeps_the_rules_and_has_its_reason() -> None:
    assert TimingSection() == TimingSection.model_validate_json("{}")
    assert all(information.description for information in TimingSection.model_fields.values())


def test_the_model_can_not_be_changed(first_boat: LoadedBoat) -> None:
    with pytest.raises(ValidationError, match="frozen"):
        first_boat.boat.busim = 1


# -- Resolved --------------------------------------------------------------------------------------------------------------


def test_resolved_shows_every_value_with_its_line(first_boat: LoadedBoat) -> None:
    lines = dict(line.split(" = ", 1) for line in resolved_lines(first_boat))
    text_lines = FIRST_TEXT.splitlines()
    for path, shown in lines.items():
        if (match := re.fullmatch(r"(.*)  \(line (\d+)\)", shown)) is not None:
            assert path.rsplit(".", 1)[-1].partition("[")[0] in text_lines[int(match[2]) - 1], path
    # Every single value of the file, found by another reader, has its line.
    for path in _leaves(YAML(typ="safe", pure=True).load(FIRST_TEXT), ""):
        assert re.search(r"\(line \d+\)$", lines[path]), path


def _leaves(value: Any, path: str) -> list[str]:
    if isinstance(value, dict):
        return [leaf for key, inner in value.items() for leaf in _leaves(inner, f"{path}.{key}" if path else key)]
    if isinstance(value, list) and any(isinstance(inner, dict) for inner in value):
        return [leaf for index, inner in enumerate(value) for leaf in _leaves(inner, f"{path}[{index}]")]
    return [path]


def test_resolved_says_where_what_is_not_written_comes_from(edited: Edited) -> None:
    boat = edited(("    shift_rpm: 1000 ", "    #"), ("      queue: priority ", "      ¶queue: priority "))
    lines = dict(line.split(" = ", 1) for line in resolved_lines(load_boat(boat.path)))
    assert lines["nodes.engine_room.queue"] == f"priority  (from types.boards.our_board line {boat.other_line})"
    assert lines["nodes.engine_room.build"] == "1  (default: software build, modulo 256)"
    assert lines["timing.max_gap"] == "3  (default: two frames lost in a row are ridden through)"
    assert lines["drives.engine.shift_rpm"] == "1000  (derived: 1.25 x idle_rpm)"
    assert lines["drives.engine.loss_to_neutral_ms"] == "2592  (derived: max_run_m at docking_speed_kn)"
    assert lines["drives.engine.idle_wait_ms"].startswith("1447  (derived: ")
    assert lines["drives.engine.loss_to_idle_ms"].startswith("1700  (derived: ")
    assert lines["hull.turning_diameter_m"].endswith("  (derived: 3.5 waterlines)")
    assert lines["rudder"] == "none  (default: the rudder, where the bus moves it)"


def test_resolved_ends_with_the_fingerprints(first_boat: LoadedBoat) -> None:
    plan = first_boat.plan
    assert list(resolved_lines(first_boat))[-2:] == [
        f"fingerprints.helm = {plan.helm_fingerprint:04x}  (derived)",
        f"fingerprints.lighting = {plan.lighting_fingerprint:04x}  (derived)",
    ]


def test_resolved_of_what_stands_in_a_type_or_a_list(edited: Edited) -> None:
    boat = edited(
        ("    throttle:\n      stroke_mm: 70 ", "    throttle:\n      type: linear\n      #"),
        ("\ntypes:\n", "\ntypes:\n  actuators:\n    linear: {¶stroke_mm: 70}\n"),
        ("\naccepted_weaknesses:\n", WEAKNESS.format(requirement="drive.rearm", date="'2024-05-31'")),
        ("    board: our_board\n  lamp_driver:", "    settings: {a: [1, {b: x}]}\n  lamp_driver:"),
    )
    lines = dict(line.split(" = ", 1) for line in resolved_lines(load_boat(boat.path)))
    assert lines["drives.engine.throttle.stroke_mm"] == f"70  (from types.actuators.linear line {boat.other_line})"
    assert lines["types.actuators.linear.stroke_mm"] == f"70  (line {boat.other_line})"
    assert "types.actuators.linear.speed_mm_s" not in lines
    assert lines["accepted_weaknesses[0].reason"].startswith('"why not"  (line ')
    assert lines["nodes.companionway.settings.a[1].b"].startswith("x  (line ")
    assert lines["nodes.companionway.watchdog_ms"] == "none  (default: external watchdog; left out: none fitted)"


# -- Beginning -------------------------------------------------------------------------------------------------------------


def test_begin_copies_the_first_boat_with_its_scenarios(tmp_path: Path) -> None:
    written = begin(tmp_path / "new" / "boat")
    assert written[0] == tmp_path / "new" / "boat" / "boat.yaml"
    assert written[0].read_bytes() == FIRST_BOAT.read_bytes()
    scenarios = sorted(path.name for path in (FIRST_BOAT.parent / "scenarios").glob("*.yaml"))
    assert [path.name for path in written[1:]] == scenarios
    assert load_boat(tmp_path / "new" / "boat").plan == load_boat(FIRST_BOAT).plan


@pytest.fixture
def configs_of_ours(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A package folder with a first boat of two scenarios beside it."""
    source = tmp_path / "checkout" / "configs" / "first_boat"
    (source / "scenarios").mkdir(parents=True)
    for name in ("boat.yaml", "scenarios/one.yaml", "scenarios/two.yaml"):
        (source / name).write_text(name)
    (source / "results").mkdir()
    package = tmp_path / "checkout" / "busim"
    package.mkdir()
    monkeypatch.setattr(busim, "__file__", str(package / "__init__.py"))
    return package


def test_begin_overwrites_nothing_and_writes_nothing_beside(tmp_path: Path, configs_of_ours: Path) -> None:
    target = tmp_path / "mine"
    (target / "scenarios").mkdir(parents=True)
    (target / "scenarios" / "two.yaml").write_text("of my own")
    with pytest.raises(InputError) as caught:
        begin(target)
    assert str(caught.value) == f"{target}/scenarios/two.yaml: is there already and is never overwritten"
    assert (target / "scenarios" / "two.yaml").read_text() == "of my own"
    assert not (target / "boat.yaml").exists()


def test_begin_copies_boat_and_scenarios_and_nothing_else(tmp_path: Path, configs_of_ours: Path) -> None:
    target = tmp_path / "mine"
    begin(target)
    assert sorted(str(path.relative_to(target)) for path in target.rglob("*")) == [
        "boat.yaml", "scenarios", "scenarios/one.yaml", "scenarios/two.yaml",
    ]  # fmt: skip


def test_begin_does_not_write_through_a_link(tmp_path: Path) -> None:
    (tmp_path / "boat.yaml").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(InputError, match="is there already"):
        begin(tmp_path)
    assert not (tmp_path / "elsewhere").exists()


def test_begin_where_a_file_is_in_the_way(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match="file: is in the way"):
        begin(tmp_path / "file")
    with pytest.raises(InputError, match="part of its path is a file"):
        begin(tmp_path / "file" / "below")


def test_begin_where_nothing_may_be_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: Any, **__: Any) -> None:
        raise PermissionError(13, "Permission denied")

    # Permissions themselves don't hold back every user that tests run as.
    monkeypatch.setattr(Path, "mkdir", refuse)
    with pytest.raises(InputError, match="can't be written: the permissions of its folder do not let you"):
        begin(tmp_path / "new")


@pytest.mark.parametrize("name", ["a\0b", "x" * 5000])
def test_begin_where_no_folder_can_be(name: str) -> None:
    with pytest.raises(InputError, match="can't be written"):
        begin(Path(name))


def test_the_installed_copy_comes_before_the_checkout(tmp_path: Path, configs_of_ours: Path) -> None:
    assert shipped_folder() == tmp_path / "checkout" / "configs"
    inside = configs_of_ours / "configs" / "first_boat"
    inside.mkdir(parents=True)
    (inside / "boat.yaml").write_text("x")
    assert shipped_folder() == configs_of_ours / "configs"


def test_no_shipped_boats_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(busim, "__file__", str(tmp_path / "busim" / "__init__.py"))
    with pytest.raises(InputError, match="install busim again"):
        shipped_folder()
