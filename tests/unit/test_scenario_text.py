"""Scenarios written as text and read back: all that ship, and values that YAML would take for something else."""

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from ruamel.yaml import YAML

from busim.boat.load import load_boat
from busim.scenario.load import load_scenario
from busim.scenario.model import ScenarioFile
from busim.scenario.write import plain_scenario, scenario_text

CONFIGS = Path(__file__).parents[2] / "configs"
SHIPPED = sorted(CONFIGS.glob("*/scenarios/*.yaml"))


def read_back(text: str) -> object:
    """Read by the library, and not by our own reader."""
    return json.loads(json.dumps(YAML(typ="safe", pure=True).load(text)))


@pytest.mark.slow
@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: f"{path.parents[1].name}-{path.stem}")
def test_what_ships_comes_back_the_same(path: Path, tmp_path: Path) -> None:
    boat = load_boat(path.parents[1]).boat
    scenario = load_scenario(path, boat).scenario
    written = tmp_path / "written.yaml"
    written.write_text(scenario_text(plain_scenario(scenario)), encoding="utf-8")
    assert load_scenario(written, boat).scenario == scenario


MARKS = st.sampled_from(" :#'\"{}[],&*!|>%@`-?~")
WORDS = st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")) | MARKS, max_size=20)


@given(WORDS, st.floats(0.001, 86_400), st.lists(WORDS, max_size=3))
def test_any_words_and_numbers_come_back_the_same(words: str, number: float, names: list[str]) -> None:
    plain = {"scenario": words, "lasts_s": number, "faults": [{"at_s": number, "some": {"nodes": names, "on": True}}]}
    assert read_back(scenario_text(plain)) == plain


@pytest.mark.parametrize("word", ["on", "No", "null", "1e3", "12", "0x1f", "-", "a: b", "# b", " a", "a ", "", "~", "ä"])
def test_a_word_stays_a_word(word: str) -> None:
    plain = {"scenario": word, "lasts_s": 1}
    assert read_back(scenario_text(plain)) == plain


def test_what_says_nothing_is_left_out() -> None:
    plain = {"scenario": "s", "lasts_s": 5, "actions": [{"at_s": 0, "key": {"station": "a", "name": "take", "for_ms": 200}}]}
    scenario = ScenarioFile.model_validate_json(json.dumps(plain))
    assert plain_scenario(scenario)["actions"] == [{"at_s": 0.0, "key": {"station": "a", "name": "take"}}]
