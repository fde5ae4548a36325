"""Reading any file into a model: what is refused and in which words, where problems stand, and what plain scalars are.

Scalars are checked against YAML 1.2.2, core schema, s. 10.3.2 (from memory), and against ruamel.yaml's own loader as an
independent reader.
"""

import json
import math
import os
import time
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any, Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel, ConfigDict, Field
from ruamel.yaml import YAML

from busim.reading.document import Document, read_document
from busim.reading.problem import InputError, Problem, nearest, printable, quoted
from busim.reading.source import DEEPEST, LARGEST_BYTES, LONGEST_LINE, read_text
from busim.reading.tree import read_tree


class Part(BaseModel):
    model_config = ConfigDict(frozen=True, strict=True, extra="forbid", allow_inf_nan=False)


class Lamp(Part):
    watts: float = Field(gt=0, le=100, description="what it takes")
    count: int = Field(default=1, ge=1, le=9)
    colour: Literal["red", "white"] = "white"
    lit: bool = False


class Cut(Part):
    do: Literal["cut"]
    at_m: float


class Wait(Part):
    do: Literal["wait"]
    for_ms: int


class Boat(Part):
    name: str = "x"
    lamps: dict[str, Lamp] = Field(default_factory=dict)
    lengths: tuple[float, ...] = ()
    steps: tuple[Annotated[Cut | Wait, Field(discriminator="do")], ...] = ()


def read(folder: Path, text: str | bytes) -> Document[Boat]:
    path = folder / "file.yaml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_document(path, Boat, what="test file")


def refusals(folder: Path, text: str | bytes) -> list[str]:
    """What is said about `text`, without the path."""
    with pytest.raises(InputError) as caught:
        read(folder, text)
    lines = str(caught.value).splitlines()
    assert lines == [str(problem) for problem in caught.value.problems]
    start = str(folder / "file.yaml")
    assert all(line.startswith(start) for line in lines)
    return [line.removeprefix(start).removeprefix(":").strip() for line in lines]


# -- What is no text file --------------------------------------------------------------------------------------------------


def quickest_s(call: Callable[[], object]) -> float:
    """Time of this process for the quickest of five calls, or of as many as it takes to be under a second: how fast it is, and
    not how busy the machine was."""
    quickest = float("inf")
    for _ in range(5):
        started = time.process_time()
        call()
        quickest = min(quickest, time.process_time() - started)
        if quickest < 1:
            break
    return quickest


def refused_path(path: Path) -> str:
    with pytest.raises(InputError) as caught:
        read_document(path, Boat, what="test file")
    (problem,) = caught.value.problems
    assert problem.path == path
    assert problem.line is None
    return problem.words


def test_a_missing_file(tmp_path: Path) -> None:
    assert refused_path(tmp_path / "none.yaml") == "no such file, a test file was expected"


def test_a_path_through_a_file(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    assert refused_path(tmp_path / "file" / "x.yaml").startswith("no such file")


def test_a_folder(tmp_path: Path) -> None:
    assert refused_path(tmp_path) == "is a folder, a test file was expected"


def test_a_pipe_is_refused_without_waiting_for_its_other_end(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    assert refused_path(tmp_path / "pipe") == "is a pipe, a test file was expected"


def test_a_device() -> None:
    assert refused_path(Path(os.devnull)) == "is a device, a test file was expected"


def test_a_file_that_may_not_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "file.yaml").write_text("name: x")

    def refuse(*_: Any) -> int:
        raise PermissionError(13, "Permission denied")

    # Permissions themselves don't hold back every user that tests run as.
    monkeypatch.setattr(os, "open", refuse)
    assert refused_path(tmp_path / "file.yaml") == "may not be read: its permissions do not let you"


def test_a_link_to_itself(tmp_path: Path) -> None:
    (tmp_path / "loop").symlink_to(tmp_path / "loop")
    assert refused_path(tmp_path / "loop").startswith("can't be read: ")


@pytest.mark.parametrize("name", ["a\0b", "x" * 5000])
def test_a_path_that_can_be_none(name: str) -> None:
    assert refused_path(Path(name)).startswith("can't be read: ")


@pytest.mark.parametrize("text", ["", " \n\t\n", "\ufeff"])
def test_an_empty_file(tmp_path: Path, text: str) -> None:
    assert refusals(tmp_path, text) == ["is empty, a test file was expected"]


@pytest.mark.parametrize("text", ["# words\n", "---\n# words\n", "null\n", "~"])
def test_a_file_that_says_nothing(tmp_path: Path, text: str) -> None:
    assert refusals(tmp_path, text) == ["is empty but for comments, a test file was expected"]


@pytest.mark.parametrize(
    "data",
    [
        "name: Möwe".encode("utf-16"),
        "name: x".encode("utf-16-be"),
        "name: x".encode("utf-16-le"),
        "name: x".encode("utf-32"),
        "name: x".encode("utf-32-be"),
    ],
)
def test_utf_16_and_its_like(tmp_path: Path, data: bytes) -> None:
    assert refusals(tmp_path, data) == ["1:1: is saved as UTF-16 or UTF-32: save it as UTF-8"]


def test_latin_1_is_refused_where_it_stops_being_utf_8(tmp_path: Path) -> None:
    assert refusals(tmp_path, b"lengths: []\nname: M\xf6we") == ["2:8: is not text in UTF-8: save it as UTF-8"]


def test_columns_count_characters_and_not_bytes(tmp_path: Path) -> None:
    assert refusals(tmp_path, "name: Möwe ü".encode() + b"\xff") == ["1:13: is not text in UTF-8: save it as UTF-8"]


@pytest.mark.parametrize(("data", "words"), [
    (b"name: x\nlengths: \x00", "2:10: is not a plain text file: it holds the character 0x00"),
    (b"name: \x1b[31mred", "1:7: is not a plain text file: it holds the character 0x1b"),
    (b"\x7fELF\x02\x01\x01" + bytes(9) + b"\x03\x00>\x00\x01", "1:1: is not a plain text file: it holds the character 0x7f"),
])  # fmt: skip
def test_binary_and_control_characters(tmp_path: Path, data: bytes, words: str) -> None:
    assert refusals(tmp_path, data) == [words]


def test_a_byte_order_mark_of_utf_8_is_no_part_of_the_text(tmp_path: Path) -> None:
    document = read(tmp_path, b"\xef\xbb\xbfname: x")
    assert document.value.name == "x"
    assert document.positions.at(("name",)) == (1, 7)


def test_windows_line_ends_count_once(tmp_path: Path) -> None:
    assert read(tmp_path, "name: x\r\n\r\nlengths: [1]\r\n").positions.at(("lengths", 0)) == (3, 11)


# -- What costs too much ---------------------------------------------------------------------------------------------------


def test_size_is_refused_from_the_first_byte_over(tmp_path: Path) -> None:
    line = b"# " + b"x" * 77 + b"\n"
    fits = (b"name: x\n" + line * LARGEST_BYTES)[: LARGEST_BYTES - 1] + b"\n"
    assert len(fits) == LARGEST_BYTES
    assert read(tmp_path, fits).value.name == "x"
    assert refusals(tmp_path, fits + b"\n") == ["is larger than 256 kB: no test file needs that much"]


def test_a_line_is_refused_from_the_first_character_over(tmp_path: Path) -> None:
    start = "lengths: []\nname: "
    fits = start + "x" * (LONGEST_LINE - len("name: "))
    assert len(read(tmp_path, fits).value.name) == LONGEST_LINE - 6
    assert refusals(tmp_path, fits + "x") == ["2:1: this line is longer than 10,000 characters"]


@pytest.mark.parametrize("opening", ["[", "{", "- ", "[{", '["a", ', "[ # ]\n"])
def test_3000_deep(tmp_path: Path, opening: str) -> None:
    text = opening * 3000
    (words,) = refusals(tmp_path, text)
    assert words.endswith("nested too deep: more than 40 levels")
    assert quickest_s(lambda: refusals(tmp_path, text)) < 1


def test_depth_is_refused_from_the_first_level_over(tmp_path: Path) -> None:
    def nested(levels: int) -> dict[str, str]:
        inner = "[" * (levels - 1) + "]" * (levels - 1)
        indented = "\n".join("  " * level + "a:" for level in range(levels))
        return {"flow": f"name: {inner}", "block": indented}

    for text in nested(DEEPEST).values():
        assert "nested" not in "".join(refusals(tmp_path, text))
    for kind, text in nested(DEEPEST + 1).items():
        words = refusals(tmp_path, text)
        assert words[-1].endswith("nested too deep: more than 40 levels"), kind


@pytest.mark.parametrize("text", [
    "name: \"[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[\"",
    "name: '[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[['",
    "name: x # [[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[",
    "lengths: [\n" + "1,\n" * 50 + "]",
])  # fmt: skip
def test_brackets_that_nest_nothing_are_let_through(tmp_path: Path, text: str) -> None:
    read(tmp_path, text)


EXPENSIVE = {
    "five megabytes": "a: b\n" * 1_000_000,
    "3,000 brackets hidden from a careless look": "a: b 'x\nc: " + "[" * 3000 + " '",
    "dashes": "- " * 1500,
    "question marks": "? " * 1500,
    "anchors": "\n".join("- &a x" for _ in range(30_000)),
    "alias bomb": "a0: &a0 [x, x]\n" + "".join(f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 9)}]\n" for n in range(1, 30)),
    "aliases": "name:\n" + " - *a\n" * 40_000,
    "one key over and over": "a: 1\n" * 50_000,
    "unknown keys": "".join(f"{'x' * 50}{n}: 1\n" for n in range(4_500)),
    "wrong sections": "lamps:\n" + "".join(f"  n{n}: {{wats: 3}}\n" for n in range(12_000)),
    "values without end": "lengths: [\n" + "1,\n" * 80_000 + "]",
    "exclamation marks": ("- " + "!" * 9000 + " x\n") * 28,
    "a text of many lines": "nam: '" + "a\n" * 120_000 + "'",
    "blank lines": "\n" * 200_000 + "a",
    "documents": "---\n" * 60_000,
    "hashes": "#\n" * 120_000,
    "digits": "name: " + "1" * 9000,
}


@pytest.mark.slow
@pytest.mark.parametrize("text", EXPENSIVE.values(), ids=EXPENSIVE.keys())
def test_what_is_expensive_is_answered_within_a_second(tmp_path: Path, text: str) -> None:
    assert quickest_s(lambda: refusals(tmp_path, text)) < 1
    assert len(refusals(tmp_path, text)) <= 402


# -- What YAML allows and we do not ----------------------------------------------------------------------------------------


REFUSED_YAML = {
    "name: 'x": ["1:9: is not YAML: a quote is opened and never closed"],
    "name: a: b": ["1:8: is not YAML: a ':' where none can stand: is the line above finished, and the indentation right?"],
    "lamps:\n\ta: 1": ["2:1: is not YAML: a tab where spaces are wanted: indent with spaces"],
    "lengths: [1": ["1:12: is not YAML: a ',' or the closing bracket is missing"],
    "lengths: ]": ["1:10: is not YAML: a value is missing, or a bracket is closed that was never opened"],
    "name: x\n lengths: []": [
        "2:9: is not YAML: a ':' where none can stand: is the line above finished, and the indentation right?"
    ],
    "name: @x": ["1:7: is not YAML: a character that can't begin a value: put such text in quotes"],
    'name: "a\\qb"': ["1:10: is not YAML: a backslash in double quotes: use single quotes, or write it twice"],
    'name: "\\U00110000"': ["1:8: is not YAML: there is no character \\U00110000"],
    "name: x\n---\nname: y": ["2:1: a second document begins here: one file holds one"],
    "name: &a x": ["1:7: &a names a value (an anchor): write values out where they are used"],
    "name: *a": ["1:7: *a refers to another place (an alias): write the value out"],
    "lamps:\n  <<: {watts: 1}": ["2:3: '<<' takes values over from another place (a merge): write them out"],
    "name: !!str x": ['1:7: "tag:yaml.org,2002:str" is a tag: write the value without it'],
    "name: !!python/object:os.system x": ['1:7: "tag:yaml.org,2002:python/object:os.system" is a tag: write the value without it'],
    "name: !x y": ['1:7: "!x" is a tag: write the value without it'],
    "name: x\nname: y": ['2:1: "name" is written twice, first on line 1'],
    "lamps:\n  a: {watts: 1, watts: 2}": ['2:17: "watts" is written twice, first on line 2'],
    "lamps: {1: {watts: 1}}": ['1:9: a name was expected here, not "1": names begin with a letter'],
    "lamps: {true: {watts: 1}}": ['1:9: a name was expected here, not "true": names begin with a letter'],
    "lamps: {~: {watts: 1}}": ['1:9: a name was expected here, not "~": names begin with a letter'],
    "lamps: {1.5: {watts: 1}}": ['1:9: a name was expected here, not "1.5": names begin with a letter'],
    "lamps: {? [a]: {watts: 1}}": ["1:11: a name was expected here, not a list, section or alias"],
    "name: 2024-05-31": ['1:7: "2024-05-31" reads as a date: put it in quotes'],
    "name: 2024-5-3T10:00:00Z": ['1:7: "2024-5-3T10:00:00Z" reads as a date: put it in quotes'],
    '"\\e[31m": x': ['1:1: the name "\\x1b[31m" holds a character that can\'t be seen (\\x1b)'],
    'name: "\\e[31m"': ["1:7: this text holds a character that can't be seen (\\x1b)"],
    'name: "\\u202egnp.exe"': ["1:7: this text holds a character that can't be seen (\\u202e)"],
    'name: "\\ud800"': ["1:7: this text holds a character that can't be seen (\\ud800)"],
    "%YAML 1.1\n---\nname: x": ["1:1: lines that begin with % are not used here"],
    "name: " + "1" * 101: ["1:7: a number of 101 characters is too long"],
    "[1, 2]": ["1:1: a section of names and values is wanted, not a list"],
    "words": ['1:1: a section of names and values is wanted, not "words"'],
}


@pytest.mark.parametrize(("text", "problems"), REFUSED_YAML.items(), ids=range(len(REFUSED_YAML)))
def test_refused_yaml_and_where(tmp_path: Path, text: str, problems: list[str]) -> None:
    assert refusals(tmp_path, text) == problems


def test_all_of_it_is_found_at_once_with_what_is_wrong_in_shape(tmp_path: Path) -> None:
    text = "name: &a 2024-05-31\nlamps:\n  a: {wats: 3}\n  a: {watts: !x 3}\n  <<: *a\nlengths: [*a, one]\n"
    places = [line.split(": ")[0] for line in refusals(tmp_path, text)]
    assert places == ["1:7", "1:7", "3:3", "3:7", "4:3", "4:14", "5:3", "5:7", "6:11", "6:15"]


def test_what_comes_before_a_mistake_in_yaml_is_reported_with_it(tmp_path: Path) -> None:
    assert refusals(tmp_path, "name: *a\nlengths: ]") == [
        "1:7: *a refers to another place (an alias): write the value out",
        "2:10: is not YAML: a value is missing, or a bracket is closed that was never opened",
    ]


# -- What plain scalars are ------------------------------------------------------------------------------------------------

SCALARS = {
    # YAML 1.2.2, s. 10.3.2
    "null": None, "Null": None, "NULL": None, "~": None, "": None,
    "true": True, "false": False,
    "0": 0, "-19": -19, "+12": 12, "0o7": 7, "0x3A": 58, "0o14": 12, "0b11": "0b11",
    "0.": 0.0, "-0.0": -0.0, ".5": 0.5, "+12e03": 12000.0, "-2E+05": -200000.0, "1e3": 1000.0,
    ".inf": math.inf, "-.Inf": -math.inf, "+.INF": math.inf,
    # Text in YAML 1.2, something else in 1.1
    "on": "on", "off": "off", "yes": "yes", "no": "no", "y": "y", "NO": "NO", "12:30": "12:30", "1:20:30": "1:20:30",
    "1_000": "1_000",
    "0o8": "0o8", "0x": "0x", "1e": "1e", "1.2.3": "1.2.3", ".": ".", "+": "+", "inf": "inf", "nan": "nan",
    # Octal in 1.1, decimal in 1.2
    "010": 10, "007": 7,
    # Stricter than the core schema: only the two words
    "True": "True", "TRUE": "TRUE", "False": "False",
    '"12"': "12", "'true'": "true", '"~"': "~",
}  # fmt: skip


@pytest.mark.parametrize(("text", "value"), SCALARS.items(), ids=SCALARS.keys())
def test_scalars(tmp_path: Path, text: str, value: Any) -> None:
    found = read_tree(f"a: {text}", tmp_path).value["a"]
    assert type(found) is type(value)
    assert found == value


def test_not_a_number_is_read_as_such(tmp_path: Path) -> None:
    assert math.isnan(read_tree("a: .nan", tmp_path).value["a"])


digits = st.text(alphabet="0123456789", min_size=1, max_size=9)
signs = st.sampled_from(["", "-", "+"])
SPELLINGS = st.one_of(
    st.builds("{}{}".format, signs, digits),
    st.builds("{}{}.{}".format, signs, digits, digits),
    st.builds("{}{}.{}e{}{}".format, signs, digits, digits, st.sampled_from("-+"), st.integers(0, 99)),
    st.builds("{}e{}".format, digits, st.integers(0, 99)),
    st.builds("{:02d}:{:02d}".format, st.integers(0, 99), st.integers(0, 59)),
    st.builds("0o{:o}".format, st.integers(0, 10**6)),
    st.builds("0x{:x}".format, st.integers(0, 10**6)),
    st.sampled_from(["on", "off", "yes", "no", "y", "n", "On", "OFF", "Yes", "NO", "true", "false", "~", "null", "", "+", "1.2.3"]),
)


@given(SPELLINGS)
def test_scalars_agree_with_an_independent_reader(text: str) -> None:
    # Its loader differs from the core schema in what is not drawn here: 1_000 and 0b1 are numbers to it, .0E0 is text.
    expected = YAML(typ="safe", pure=True).load(f"a: {text}\n")["a"]
    found = read_tree(f"a: {text}\n", Path("x")).value["a"]
    assert type(found) is type(expected)
    assert found == expected


names = st.text(alphabet="abcdefgh_", min_size=1, max_size=8).filter(lambda name: name not in ("null", "true", "false"))
plain = st.none() | st.booleans() | st.integers(-(10**20), 10**20) | st.floats(allow_nan=False, allow_infinity=False) | names
trees = st.recursive(plain, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(names, inner, max_size=4), max_leaves=15)


@pytest.mark.slow
@given(st.dictionaries(names, trees, min_size=1, max_size=4))
def test_json_is_yaml_and_comes_back_as_it_was(value: dict[str, Any]) -> None:
    # YAML 1.2.2, s. 1.2 (from memory): every JSON text is YAML.
    tree = read_tree(json.dumps(value, indent=1), Path("x"))
    assert tree.problems == []
    assert json.dumps(tree.value) == json.dumps(value)


# -- What pydantic finds, in words -----------------------------------------------------------------------------------------

SHAPES = {
    "lamps: {a: {watts: 300}}": ["1:20: watts: 300 is too large, at most 100"],
    "lamps: {a: {watts: 0}}": ["1:20: watts: 0 is too small, more than 0"],
    "lamps: {a: {watts: 1, count: 0}}": ["1:30: count: 0 is too small, at least 1"],
    "lamps: {a: {watts: 1, count: 1.5}}": ["1:30: count: a whole number is wanted, not 1.5"],
    "lamps: {a: {watts: 1, count: 1e3}}": ["1:30: count: a whole number is wanted: write 1000"],
    "lamps: {a: {watts: true}}": ["1:20: watts: a number is wanted, not true"],
    "lamps: {a: {watts: '12'}}": ["1:20: watts: a number is wanted, not text: write 12 without quotes"],
    "lamps: {a: {watts: 12W}}": ['1:20: watts: a number is wanted, not "12W"'],
    "lamps: {a: {watts: 12:30}}": ['1:20: watts: a number is wanted, not "12:30"'],
    "lamps: {a: {watts: .nan}}": ["1:20: watts: a number is wanted, not .nan"],
    "lamps: {a: {watts: nan}}": ['1:20: watts: a number is wanted, not "nan"'],
    "lamps: {a: {watts: -.inf}}": ["1:20: watts: a number is wanted, not -.inf"],
    "lamps: {a: {watts: 1e999}}": ["1:20: watts: a number is wanted, not .inf"],
    "lamps: {a: {watts: 1, count: 1" + "0" * 40 + "}}": ["1:30: count: a number of 41 digits is too large, at most 9"],
    "lamps: {a: {watts: 1" + "0" * 40 + "}}": ["1:20: watts: a number of 41 digits is too large, at most 100"],
    "lamps: {a: {watts: ~}}": ["1:20: watts: a number is wanted, not nothing"],
    "lamps: {a: {watts: [1]}}": ["1:13: watts: a number is wanted, not a list"],
    "lamps: {a: {watts: {b: 1}}}": ["1:13: watts: a number is wanted, not a section"],
    "lamps: {a: {watts: 1, lit: on}}": ['1:28: lit: write true or false, not "on"'],
    "lamps: {a: {watts: 1, lit: True}}": ['1:28: lit: write true or false, not "True"'],
    "lamps: {a: {watts: 1, lit: 1}}": ["1:28: lit: write true or false, not 1"],
    "lamps: {a: {watts: 1, lit: dim}}": ['1:28: lit: true or false is wanted, not "dim"'],
    "lamps: {a: {watts: 1, colour: rad}}": ['1:31: colour: "rad" is not possible: did you mean red?'],
    "lamps: {a: {watts: 1, colour: blue}}": ['1:31: colour: "blue" is not possible: one of red, white'],
    "lamps: {a: {watts: 1, colour: 3}}": ["1:31: colour: 3 is not possible: one of red, white"],
    "name: 3": ["1:7: name: text is wanted, not 3: put it in quotes"],
    "name: true": ["1:7: name: text is wanted, not true: put it in quotes"],
    "name: [a]": ["1:1: name: text is wanted, not a list"],
    "lamps: 3": ["1:8: lamps: a section of names and values is wanted, not 3"],
    "lamps: {a: x}": ['1:12: a: a section of names and values is wanted, not "x"'],
    "lengths: 3": ["1:10: lengths: a list is wanted, not 3"],
    "lengths: [1, x]": ['1:14: lengths, item 2: a number is wanted, not "x"'],
    "lamps: {a: {}}": ["1:9: watts is missing: what it takes"],
    "lamps: {a: {wats: 1}}": ["1:9: watts is missing: what it takes", '1:13: unknown key "wats": did you mean watts?'],
    "lamps: {a: {watts: 1, zzz: 1}}": ['1:23: unknown key "zzz": known here: watts, count, colour, lit'],
    "Lamps: {}": ['1:1: unknown key "Lamps": did you mean lamps?'],
    "steps: [{do: cut}]": ["1:9: at_m is missing"],
    "steps: [{do: cut, at_n: 3}]": ["1:9: at_m is missing", '1:19: unknown key "at_n": did you mean at_m?'],
    "steps: [{do: cut, at_m: x}]": ['1:25: at_m: a number is wanted, not "x"'],
    "steps: [{do: cat, at_m: 1}]": ['1:14: do: "cat" is not possible: did you mean cut?'],
    "steps: [{at_m: 1}]": ["1:9: do is missing"],
    "lamps: {a: {watts: 1, '[red]x[/]': 1}}": ['1:23: unknown key "[red]x[/]": known here: watts, count, colour, lit'],
    "lamps: {a: {watts: " + "w" * 100 + "}}": ["1:20: watts: a number is wanted, not \"" + "w" * 60 + '..."'],
}


@pytest.mark.parametrize(("text", "problems"), SHAPES.items(), ids=range(len(SHAPES)))
def test_wrong_shapes_in_words_and_where(tmp_path: Path, text: str, problems: list[str]) -> None:
    assert refusals(tmp_path, text) == problems


# -- Positions -------------------------------------------------------------------------------------------------------------


def test_positions_of_keys_values_and_what_is_not_there(tmp_path: Path) -> None:
    positions = read(tmp_path, "name: x\nlamps:\n  a:\n    watts: 5\nsteps:\n  - do: cut\n    at_m: 3\n").positions
    assert positions.at(("lamps", "a", "watts")) == (4, 12)
    assert positions.key_at(("lamps", "a", "watts")) == (4, 5)
    assert positions.at(("lamps", "a")) == (3, 3)
    assert positions.at(("lamps", "a", "count")) == (3, 3)
    assert positions.at(("lamps", "b", "count")) == (2, 1)
    assert positions.at(("steps", 0)) == (6, 5)
    assert positions.at(("steps", 0, "cut", "at_m")) == (7, 11)  # the tag of a union is no step of the text
    assert positions.at(("nothing",)) == positions.at(()) == (1, 1)
    assert positions.holds(("lamps", "a"))
    assert not positions.holds(("lamps", "a", "count"))


# -- Text from outside -----------------------------------------------------------------------------------------------------


@given(st.text())
def test_what_is_printed_of_any_text_is_printable(text: str) -> None:
    assert printable(text).isprintable()
    assert quoted(text).isprintable()
    assert len(quoted(text)) <= 60 * 10 + 5


@given(st.text(alphabet=st.characters(exclude_categories=["C", "Z"])))
def test_text_that_is_printable_is_left_alone(text: str) -> None:
    assert printable(text) == text


def test_markup_is_text() -> None:
    assert quoted("[bold red]x[/]") == '"[bold red]x[/]"'


def test_a_problem_names_its_place_and_escapes_its_path() -> None:
    assert str(Problem(Path("a/b.yaml"), 3, 7, "words")) == "a/b.yaml:3:7: words"
    assert str(Problem(Path("a\x1b\n.yaml"), None, None, "words")) == "a\\x1b\\n.yaml: words"


def test_problems_are_sorted_by_place_and_said_once() -> None:
    path = Path("x")
    later, earlier, whole = Problem(path, 10, 1, "b"), Problem(path, 9, 5, "a"), Problem(path, None, None, "c")
    assert InputError([later, earlier, whole, later]).problems == (whole, earlier, later)


def test_nearest_names() -> None:
    assert nearest("engin_room", ["engine_room", "wheelhouse"]) == "engine_room"
    assert nearest("Engine-Room", ["engine_room"]) == "engine_room"
    assert nearest("xyz", ["engine_room"]) is None
    assert nearest("x" * 100_000, ["engine_room"]) is None


def assert_read_or_refused(path: Path) -> None:
    try:
        read_document(path, Boat, what="test file")
    except InputError as error:
        said = error.problems
    else:
        return
    assert said
    assert all(problem.words and str(problem).isprintable() for problem in said)


@given(st.binary(max_size=200))
def test_any_bytes_are_read_or_refused(tmp_path_factory: pytest.TempPathFactory, data: bytes) -> None:
    path = tmp_path_factory.getbasetemp() / "bytes.yaml"
    path.write_bytes(data)
    assert_read_or_refused(path)


YAML_PIECES = st.sampled_from(
    ["[", "]", "{", "}", ",", ":", ": ", "- ", "? ", "\n", "\n  ", "  ", "'", '"', "&a ", "*a", "!", "!!x ", "|", ">", "|2\n", "%",
     "@", "`", "#", " #", "a", "b: ", "1", "-", "---", "\n---\n", "\n...\n", "<<: ", "\\", "\\U00110000", "\\x", "\t", "~", "é",
     "=", "!<",
     "lamps", "watts", "name", "%YAML 1.1\n", "%TAG ! x\n", "2024-01-01", "\x85", "\u2028", "\ufeff"]
)  # fmt: skip


@given(st.lists(YAML_PIECES, max_size=30).map("".join))
def test_any_yaml_is_read_or_refused(tmp_path_factory: pytest.TempPathFactory, text: str) -> None:
    path = tmp_path_factory.getbasetemp() / "pieces.yaml"
    path.write_text(text, encoding="utf-8")
    assert_read_or_refused(path)


def test_read_text_gives_the_text_as_it_stands(tmp_path: Path) -> None:
    (tmp_path / "x").write_bytes("name: Möwe\r\n".encode())
    assert read_text(tmp_path / "x", "test file") == "name: Möwe\r\n"
