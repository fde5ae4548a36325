"""`busim run --presses`: what becomes of many presses, on the first boat; and a panel that keeps quiet is caught."""

import json
from pathlib import Path

import pytest

from .command_line import ROOT, call_busim

FIRST_BOAT = str(ROOT / "configs" / "first_boat")


@pytest.mark.slow
def test_the_table_adds_up(tmp_path: Path) -> None:
    done = call_busim("run", FIRST_BOAT, "--presses", "40", "--json", folder=tmp_path)
    assert done.status == 0
    read = json.loads(done.out)
    rows = {row["trouble"]: row for row in read["presses"]}
    assert list(rows) == ["quiet", "storm", "bit errors", "driver resets", "cut", "together"]
    for row in rows.values():
        assert row["registered"] == row["acted_on"] + row["reported"] + row["lost"] <= row["pressed"]
        assert row["lost"] == 0
    assert rows["together"]["pressed"] == 40 == sum(row["pressed"] for row in rows.values()) - 40
    quiet = rows["quiet"]
    assert quiet["acted_on"] == quiet["pressed"]
    # 0.1 s feels instant (Miller 1968; Card 1991): contact closed to a tenth of the change.
    assert quiet["median_us"] <= quiet["p99_us"] <= quiet["worst_us"] < 100_000
    assert read["status"] == 0
    assert read["reproduce"].endswith("--presses 40 --seed 1")
    assert not list(tmp_path.iterdir()), "nothing is written"


@pytest.mark.slow
def test_as_text_and_again_the_same(tmp_path: Path) -> None:
    first = call_busim("run", FIRST_BOAT, "--presses", "15", "--seed", "7", folder=tmp_path)
    assert first.status == 0
    assert "every press that a live panel registered was acted on or reported" in first.out
    assert first.lines[-1].startswith("again: busim run ")
    assert call_busim("run", FIRST_BOAT, "--presses", "15", "--seed", "7", folder=tmp_path).out == first.out


@pytest.mark.slow
def test_a_panel_that_gives_up_without_a_word_is_caught(tmp_path: Path) -> None:
    words = ("run", FIRST_BOAT, "--presses", "200", "--kind", "panel=tests.twins.others:KeepsQuiet", "--json")
    done = call_busim(*words, folder=tmp_path)
    rows = {row["trouble"]: row for row in json.loads(done.out)["presses"]}
    assert rows["cut"]["lost"] > 0
    assert done.status == 1


@pytest.mark.parametrize("more", [("--scenario", "reversal"), ("--record",), ("--from", "x")])
def test_it_plays_presses_of_its_own(tmp_path: Path, more: tuple[str, ...]) -> None:
    done = call_busim("run", "--presses", "10", *more, folder=tmp_path)
    assert done.status == 2
    assert "--presses plays presses of its own" in done.err


@pytest.mark.parametrize("number", ["0", "-1", "1.5", "many", "10000001"])
def test_a_number_is_wanted(tmp_path: Path, number: str) -> None:
    done = call_busim("run", "--presses", number, folder=tmp_path)
    assert done.status == 2
    assert "a whole number from 1 to 10000000 is wanted" in done.err


def test_a_boat_without_anything_to_press(tmp_path: Path) -> None:
    text = (ROOT / "configs" / "first_boat" / "boat.yaml").read_text(encoding="utf-8")
    (tmp_path / "boat.yaml").write_text(text.replace("does: toggle", 'does: "on"'), encoding="utf-8")
    done = call_busim("run", str(tmp_path), "--presses", "10", folder=tmp_path)
    assert done.status == 2
    assert "there is nothing to press" in done.err
