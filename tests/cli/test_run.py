"""`busim run`: every exit status by a real case, text and JSON, seeds, the line that gives a run again."""

import json
import re
import shlex
from pathlib import Path
from typing import Any

import pytest

from busim.requirements.table import BY_ID

from .command_line import FIRST_LINE, ONE_SECOND, Ended, call_busim, run_busim
from .conftest import Written

pytestmark = pytest.mark.slow

STAYS_IN_GEAR = "drive=tests.twins.drives:StaysInGear"


def scenario(folder: Path, expect: str, *, lasts_s: int = 2) -> str:
    """A scenario in which nothing happens and something is expected. Returns what comes after --scenario."""
    (folder / "scenarios" / "made.yaml").write_text(f"scenario: made\nlasts_s: {lasts_s}\nexpect: {{{expect}}}\n")
    return "made"


def run_code(ended: Ended) -> str:
    return next(line for line in ended.lines if line.startswith("run code: "))


# ---------------------------------------------------------------------------------------------------- exit statuses


def test_0_everything_required_passed(own_boat: Path) -> None:
    ended = run_busim("run", folder=own_boat)
    assert (ended.status, ended.err) == (0, "")
    assert "everything required here passed" in ended.lines


def test_1_a_requirement_failed(own_boat: Path) -> None:
    """A drive that never takes the gear out. What was exercised and fails counts, whether the scenario names it or not."""
    ended = run_busim("run", "--kind", STAYS_IN_GEAR, folder=own_boat)
    assert ended.status == 1
    assert "kinds replaced: drive by tests.twins.drives:StaysInGear" in ended.lines
    assert "FAILED: drive.loss_to_neutral" in ended.lines
    text = (own_boat / "scenarios" / "cold_start_then_cut.yaml").read_text()
    (own_boat / "scenarios" / "unnamed.yaml").write_text(text.replace("  drive.loss_to_neutral: pass\n", ""))
    assert call_busim("run", "--scenario", "unnamed", "--kind", STAYS_IN_GEAR, folder=own_boat).status == 1


def test_1_a_scenario_that_expects_a_failure_which_does_not_come(own_boat: Path) -> None:
    ended = call_busim("run", "--scenario", scenario(own_boat, "light.press: fail"), folder=own_boat)
    assert ended.status == 1
    assert "NOT AS EXPECTED: light.press came to: not exercised" in ended.lines


def test_0_a_failure_that_is_expected(own_boat: Path) -> None:
    """Such a scenario shows that a requirement can fail at all."""
    file = own_boat / "scenarios" / "cold_start_then_cut.yaml"
    file.write_text(file.read_text().replace("drive.loss_to_neutral: pass", "drive.loss_to_neutral: fail"))
    assert call_busim("run", "--kind", STAYS_IN_GEAR, folder=own_boat).status == 0
    assert call_busim("run", folder=own_boat).status == 1


def test_2_input_is_wrong(own_boat: Path, rewritten: Written) -> None:
    rewritten(("bit_rate: 250000", "bit_rate: fast"))
    ended = run_busim("run", folder=own_boat)
    assert ended.status == 2
    assert ended.out == ""
    assert re.fullmatch(r"boat\.yaml:\d+:\d+: bit_rate: .+\n", ended.err)


def test_3_something_required_was_not_exercised(own_boat: Path) -> None:
    ended = run_busim("run", "--scenario", scenario(own_boat, "drive.rearm: pass"), folder=own_boat)
    assert ended.status == 3
    assert "not shown, though the scenario expects it: drive.rearm" in ended.lines
    assert "everything required here passed" not in ended.lines


def test_4_the_rerun_differs_from_the_record(own_boat: Path) -> None:
    assert call_busim("run", "--record", folder=own_boat).status == 0
    seconds = own_boat / "results" / "run-0001" / "seconds.txt"
    lines = seconds.read_text().splitlines(keepends=True)
    digest = lines[6].split()[2]
    lines[6] = lines[6].replace(digest, digest[::-1])
    seconds.write_text("".join(lines))
    ended = run_busim("run", "--from", "results/run-0001", folder=own_boat)
    assert ended.status == 4
    assert "the rerun differs from the record in second 7" in ended.err
    assert not any("passed" in line for line in ended.lines)


# 130 is in test_endings.py.

# ---------------------------------------------------------------------------------------------------- text


@pytest.mark.parametrize("columns", [80, 120])
def test_tables_fit_the_terminal(own_boat: Path, columns: int) -> None:
    ended = call_busim("run", "--scenario", "cut_healed", folder=own_boat, columns=columns)
    assert ended.status == 0
    tables = ended.lines[ended.lines.index("control lost") : -1]
    assert max(map(len, tables)) <= columns
    assert [line for line in tables if line.split()[:1] == ["drive.rearm"]]


def test_text_says_what_happened_in_order_and_ends_with_the_line_to_repeat_it(own_boat: Path) -> None:
    ended = call_busim("run", folder=own_boat)
    assert re.fullmatch(FIRST_LINE, ended.lines[0])
    times = [float(match[1]) for line in ended.lines if (match := re.match(r" +(\d+\.\d{3}) s  ", line))]
    assert len(times) > 20
    assert times == sorted(times)
    heads = [ended.lines.index(head) for head in ("what happened", "control lost", "everything required here passed")]
    assert heads == sorted(heads)
    assert {line.split()[0] for line in ended.lines if line.strip()} >= set(BY_ID), "every requirement has its row"
    assert ended.lines[-1].startswith("again: busim run ")


@pytest.mark.parametrize(
    ("permille", "moved_at_s", "idle"), [(155, 2, "0 ms"), (160, 7.9, r"2[45]\d ms"), (900, 2, r"1,4\d\d ms")]
)
def test_the_table_of_losses_gives_the_time_to_idle(own_boat: Path, permille: int, moved_at_s: float, idle: str) -> None:
    """In gear at idle already; back at idle before anybody could know that control was lost; with the throttle well open."""
    (own_boat / "scenarios" / "made.yaml").write_text(f"""
scenario: made
lasts_s: 14
actions:
  - at_s: 1
    key: {{station: wheelhouse, name: take}}
  - at_s: 2
    lever: {{station: wheelhouse, drive: engine, to_permille: {200 if moved_at_s > 2 else permille}}}
  - at_s: {max(moved_at_s, 3)}
    lever: {{station: wheelhouse, drive: engine, to_permille: {permille}, over_ms: 40}}
faults:
  - at_s: 8
    cut: {{bus: main, at_m: 8}}
""")
    ended = call_busim("run", "--scenario", "made", folder=own_boat)
    assert ended.status == 0
    (row,) = [line for line in ended.lines if line.startswith("  engine ")]
    assert re.match(rf"  engine  7\.98\d s +{idle}, \d+\.\d\d m +[\d,]+ ms, \d+\.\d\d m  ", row), row


def test_evidence_names_its_source_in_the_words_of_the_trade(own_boat: Path) -> None:
    ended = call_busim("run", folder=own_boat, columns=200)
    assert re.search(r"drive\.loss_to_neutral .* gear out \(at \d+\.\d{3} s; machinery\)", ended.out)
    assert "plant" not in ended.out


# ---------------------------------------------------------------------------------------------------- JSON


def as_json(*words: str, folder: Path, status: int = 0) -> dict[str, Any]:
    ended = call_busim("run", "--json", *words, folder=folder)
    assert (ended.status, ended.err) == (status, "")
    parsed = json.loads(ended.out)
    assert isinstance(parsed, dict)
    return parsed


def test_json_has_the_keys_of_the_design_and_says_what_the_text_says(own_boat: Path) -> None:
    """Keys: design, s. 9."""
    found = as_json(folder=own_boat)
    text = call_busim("run", folder=own_boat)
    assert {"boat", "fingerprints", "seed", "digest", "verdicts", "faults"} <= set(found)
    assert found["json"] == 1
    assert found["boat"] == {"name": "Reed Bunting", "file": "boat.yaml"}
    assert text.lines[0].endswith("helm {helm}, lighting {lighting}".format(**found["fingerprints"]))
    assert found["digest"] in run_code(text)
    assert {verdict["id"] for verdict in found["verdicts"]} == set(BY_ID)
    keys = {"id", "verdict", "limit", "measured", "unit", "source", "at_ns", "evidence", "weakness", "reproduce"}
    assert all(set(verdict) == keys for verdict in found["verdicts"])
    (fault,) = found["faults"]
    assert {"fault", "place", "to_idle_ns", "to_neutral_ns", "run_m"} <= set(fault)
    assert (fault["fault"], fault["place"], fault["drive"]) == ("cut", "main at 8 m", "engine")
    assert [line["words"] for line in found["timeline"]] == [
        line.split(" s  ", 1)[1] for line in text.lines if re.match(r" +\d+\.\d{3} s  ", line)
    ]


def test_json_ends_with_the_same_status_as_text(own_boat: Path) -> None:
    for status, expect in ((0, ""), (1, "light.press: fail"), (3, "light.press: pass")):
        found = as_json("--scenario", scenario(own_boat, expect), folder=own_boat, status=status)
        assert found["exit_status"] == status
        assert bool(found["failed"]) == (status == 1)
        assert bool(found["not_shown"]) == (status == 3)


def test_json_of_wrong_input_is_nothing_on_standard_output(own_boat: Path) -> None:
    ended = call_busim("run", "--json", "--scenario", "nowhere", folder=own_boat)
    assert (ended.status, ended.out) == (2, "")


# ---------------------------------------------------------------------------------------------------- seeds, again


def test_a_seed_is_a_run(own_boat: Path) -> None:
    """Same seed, same run, and 1 is what is played when none is given; another seed draws other clocks and start-up times."""
    made = scenario(own_boat, "")
    code = {seed: run_code(call_busim("run", "--scenario", made, "--seed", seed, folder=own_boat)) for seed in ("1", "2", "7")}
    assert len(set(code.values())) == 3
    assert run_code(call_busim("run", "--scenario", made, folder=own_boat)) == code["1"]
    elsewhere = run_busim("run", "--scenario", made, "--seed", "7", folder=own_boat, changed={"PYTHONHASHSEED": "3"})
    assert run_code(elsewhere) == code["7"]


def test_the_line_that_gives_a_run_again_does(own_boat: Path) -> None:
    """With everything in it that needs quoting, typed by a shell's rules, from the folder it was printed in."""
    folder = own_boat.parent / "it's $HOME & [co]"
    own_boat.rename(folder)
    words = ("run", folder.name, "--scenario", "one_second", "--seed", "41", "--kind", STAYS_IN_GEAR)
    ended = call_busim(*words, folder=folder.parent)
    assert ended.status == 0
    line = shlex.split(ended.lines[-1].removeprefix("again: "))
    assert line[0] == "busim"
    assert call_busim(*line[1:], folder=folder.parent) == ended
    found = as_json(*words[1:], folder=folder.parent)
    assert all(shlex.split(verdict["reproduce"]) == line for verdict in found["verdicts"])


def test_a_run_of_the_shipped_boat_is_given_again_from_anywhere(tmp_path: Path) -> None:
    (tmp_path / "one.yaml").write_text(ONE_SECOND)
    ended = call_busim("run", "--scenario", "one.yaml", folder=tmp_path)
    line = shlex.split(ended.lines[-1].removeprefix("again: busim "))
    assert run_code(call_busim(*line, folder=tmp_path)) == run_code(ended)


# ---------------------------------------------------------------------------------------------------- where results go


def test_nothing_is_written_without_being_asked(own_boat: Path) -> None:
    before = sorted(own_boat.parent.rglob("*"))
    assert call_busim("run", "own", "--scenario", "one_second", folder=own_boat.parent).status == 0
    assert sorted(own_boat.parent.rglob("*")) == before


def test_results_go_beside_the_boat_file(own_boat: Path) -> None:
    ended = call_busim("run", "own", "--scenario", "one_second", "--record", folder=own_boat.parent)
    assert ended.status == 0
    assert "record: own/results/run-0001" in ended.lines
    assert (own_boat / "results" / "run-0001" / "head.json").is_file()


def test_results_of_the_boat_that_ships_go_under_the_current_folder(tmp_path: Path) -> None:
    (tmp_path / "one.yaml").write_text(ONE_SECOND)
    found = as_json("--scenario", "one.yaml", "--record", folder=tmp_path)
    assert found["record"] == "results/run-0001"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["one.yaml", "results"]
