"""The JSON schema of the boat file, against an independent validator: it takes good boats, and marks what an editor could mark.

What several values must be together is beyond a schema; those rules have their tests in `test_boat_rules.py`.
"""

import copy
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator
from pydantic import ValidationError
from ruamel.yaml import YAML

from busim.boat.begin_layout import Size, lay_out
from busim.boat.begin_text import boat_text
from busim.boat.model import BoatFile
from busim.boat.schema import boat_schema, schema_text
from busim.boat.shipped import shipped_folder

from ..cli.command_line import call_busim
from .test_begin import option_names, taken_up

ROOT = Path(__file__).parents[2]
FIRST_BOAT = shipped_folder() / "first_boat" / "boat.yaml"


@cache
def validator() -> Draft202012Validator:
    return Draft202012Validator(json.loads(schema_text()))


def parsed(text: str) -> Any:
    return YAML(typ="safe", pure=True).load(text)


@cache
def first_boat() -> Any:
    return parsed(FIRST_BOAT.read_text(encoding="utf-8"))


def everything() -> str:
    text = boat_text(lay_out(Size(2, 3, 9)))
    return taken_up(text, option_names(text))


def places_of_errors(boat: Any) -> list[tuple[Any, ...]]:
    return [tuple(error.absolute_path) for error in validator().iter_errors(boat)]


def test_it_is_a_schema_of_the_draft_it_names() -> None:
    schema = boat_schema()
    assert schema["$schema"] == Draft202012Validator.META_SCHEMA["$id"]
    Draft202012Validator.check_schema(schema)


def test_the_first_boat_keeps_it() -> None:
    assert places_of_errors(first_boat()) == []


@pytest.mark.parametrize("size", [Size(1, 1, 0), Size(2, 6, 40)])
def test_a_begun_boat_keeps_it(size: Size) -> None:
    assert places_of_errors(parsed(boat_text(lay_out(size)))) == []


def test_a_boat_with_every_option_keeps_it() -> None:
    assert places_of_errors(parsed(everything())) == []


BROKEN: dict[str, tuple[tuple[Any, ...], Any, tuple[Any, ...]]] = {
    # what is changed, to what, where the validator says so
    "unknown section": (("lights",), {}, ()),
    "unknown key": (("boat", "lenght_m"), 12, ("boat",)),
    "a key of another section": (("stations", "wheelhouse", "address"), 1, ("stations", "wheelhouse")),
    "text for a number": (("boat", "max_run_m"), "4", ("boat", "max_run_m")),
    "true for a number": (("nodes", "wheelhouse", "address"), True, ("nodes", "wheelhouse", "address")),
    "true for the format": (("busim",), True, ("busim",)),
    "true for the first engine": (("drives", "engine", "instance"), True, ("drives", "engine", "instance")),
    "a part for a whole number": (("nodes", "wheelhouse", "address"), 1.5, ("nodes", "wheelhouse", "address")),
    "nothing for a number": (("boat", "mass_kg"), None, ("boat", "mass_kg")),
    "too large": (("nodes", "wheelhouse", "address"), 63, ("nodes", "wheelhouse", "address")),
    "not more than": (("buses", "main", "trunk_m"), 0, ("buses", "main", "trunk_m")),
    "a rate no bus has": (("buses", "main", "bit_rate"), 300_000, ("buses", "main", "bit_rate")),
    "a word that is none of them": (("zones", "cabin_lamp", "kind"), "dimable", ("zones", "cabin_lamp", "kind")),
    "a name for a list": (("stations", "wheelhouse", "may_take"), "engine", ("stations", "wheelhouse", "may_take")),
    "a list for a section": (("zones",), [], ("zones",)),
    "a bad name of a section": (("zones", "Cabin Lamp"), {}, ("zones",)),
    "a bad name of a page": (("panels", "companionway", "pages", "1st"), {}, ("panels", "companionway", "pages")),
    "a bad name of a node": (("stations", "wheelhouse", "node"), "Wheel House", ("stations", "wheelhouse", "node")),
    "another format": (("busim",), 2, ("busim",)),
    "an empty name": (("boat", "name"), "", ("boat", "name")),
    "too many": (("buses",), {f"bus_{n}": {"bit_rate": 250_000, "trunk_m": 5} for n in range(9)}, ("buses",)),
}


def changed(loc: tuple[Any, ...], value: Any) -> Any:
    boat = copy.deepcopy(first_boat())
    section = boat
    for step in loc[:-1]:
        section = section[step]
    section[loc[-1]] = value
    return boat


@pytest.mark.parametrize(("loc", "value", "place"), BROKEN.values(), ids=BROKEN.keys())
def test_a_broken_boat_is_marked_where_it_is_broken(loc: tuple[Any, ...], value: Any, place: tuple[Any, ...]) -> None:
    boat = changed(loc, value)
    assert place in places_of_errors(boat)
    with pytest.raises(ValidationError):  # and busim itself says no too
        BoatFile.model_validate_json(json.dumps(boat))


@pytest.mark.parametrize("missing", ["busim", "boat", "buses", "supplies", "nodes"])
def test_a_missing_section_is_marked(missing: str) -> None:
    boat = {key: value for key, value in first_boat().items() if key != missing}
    (error,) = validator().iter_errors(boat)
    assert missing in error.message


def leaves(value: Any, loc: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    if isinstance(value, dict | list):
        for key, inner in value.items() if isinstance(value, dict) else enumerate(value):
            yield from leaves(inner, (*loc, key))
    else:
        yield loc


WORDS = ("neutral", "idle", "stays", "springs_to_neutral", "priority", "switched", "engine", "no name", "")
VALUES = st.one_of(
    st.none(), st.booleans(), st.integers(-10, 100_000), st.floats(-10, 1000).map(lambda number: round(number, 2)),
    st.sampled_from(WORDS), st.lists(st.integers(0, 5), max_size=2),
)  # fmt: skip


@given(loc=st.sampled_from(list(leaves(first_boat()))), value=VALUES)
def test_what_busim_takes_is_never_marked(loc: tuple[Any, ...], value: Any) -> None:
    boat = changed(loc, value)
    try:
        BoatFile.model_validate_json(json.dumps(boat))
    except ValidationError:
        return
    assert places_of_errors(boat) == []


def properties(schema: Any, loc: str = "") -> Iterator[tuple[str, Any]]:
    for name, inner in schema.get("properties", {}).items():
        yield f"{loc}.{name}", inner
    for name, inner in schema.get("$defs", {}).items():
        yield from properties(inner, name)


def test_every_key_has_a_description() -> None:
    found = dict(properties(boat_schema()))
    assert found.keys() >= {".boat", ".hull", "Boat.max_run_m", "Drive.on_loss", "Weakness.date"}
    assert [loc for loc, inner in found.items() if not inner.get("description")] == []


def test_it_is_the_same_in_every_process() -> None:
    code = "from busim.boat.schema import schema_text; print(schema_text(), end='')"
    for seed in ("1", "2"):
        variables = {**os.environ, "PYTHONHASHSEED": seed}
        done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, env=variables, capture_output=True, text=True, check=True)
        assert done.stdout == schema_text()


# -- The command -----------------------------------------------------------------------------------------------------------


def test_the_command_prints_json_and_nothing_else(tmp_path: Path) -> None:
    ended = call_busim("export", "schema", folder=tmp_path)
    assert (ended.status, ended.err) == (0, "")
    assert json.loads(ended.out) == boat_schema()


def test_the_boat_it_is_for_may_be_broken_but_must_be_there(tmp_path: Path) -> None:
    (tmp_path / "boat.yaml").write_text("busim: 1\nboat: [")
    for words in ((), (".",), ("boat.yaml",)):
        assert call_busim("export", "schema", *words, folder=tmp_path).out == schema_text()
    ended = call_busim("export", "schema", "gone.yaml", folder=tmp_path)
    assert (ended.status, ended.out, ended.err) == (2, "", "gone.yaml: no such file, a boat file was expected\n")
