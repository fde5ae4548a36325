"""Weaknesses somebody accepted, dated: listed in every table, never counted as met, and only for what they name."""

import json
from pathlib import Path

import pytest

from busim.boat.model import Weakness
from busim.events.journal import Journal
from busim.events.table import FROM_PLANT
from busim.requirements.verdict import ACCEPTED, FAIL, INCONCLUSIVE, NOT_EXERCISED, PASS, SELF_REPORTED, Verdict
from busim.run.accepted import Acceptance
from busim.run.run import weigh
from busim.units import SECOND
from tests.cli.command_line import ROOT, call_busim, run_busim

pytestmark = pytest.mark.slow

REQUIREMENT = "drive.self_loss"


def weakness(*faults: str, requirements: tuple[str, ...] = (REQUIREMENT,)) -> Weakness:
    return Weakness(
        weakness="nobody watches", requirements=requirements, faults=faults or ("hang",), reason="a stop pull", date="2025-03-01"
    )


def verdict(word: str = FAIL, at_ns: int | None = 10 * SECOND) -> Verdict:
    return Verdict(REQUIREMENT, word, 3240, 7000, "ms", FROM_PLANT, at_ns, "port: gear in")


def weighed(
    *weaknesses: Weakness, faults: tuple[tuple[int, str, str, int], ...] = ((5, "hang", "port_drive", 1),), word: str = FAIL
) -> str:
    acceptance, journal = Acceptance(weaknesses), Journal()
    acceptance.attach(journal)
    for at_s, fault, place, begins in faults:
        journal.event(at_s * SECOND, "fault", fault, place, begins)
    return acceptance.weigh(verdict(word)).verdict


@pytest.mark.parametrize("faults", [("hang",), ("hang: port_drive",), ("reset", "hang: port_drive")])
def test_a_failure_under_the_fault_that_was_accepted_is_no_failure(faults: tuple[str, ...]) -> None:
    assert weighed(weakness(*faults)) == ACCEPTED
    assert weighed(weakness(*faults, requirements=("drive.wake", REQUIREMENT))) == ACCEPTED


def test_two_faults_that_one_weakness_names_are_covered_together() -> None:
    faults = ((5, "hang", "port_drive", 1), (6, "reset", "port_drive", 1))
    assert weighed(weakness("hang", "reset"), faults=faults) == ACCEPTED
    assert weighed(weakness("hang"), weakness("reset"), faults=faults) == FAIL


SHORT = (5, "hang", "port_drive", 1), (6, "hang", "port_drive", 0)
"""On for a second."""


@pytest.mark.parametrize(
    ("over_within_ms", "faults", "word"),
    [
        (1000, SHORT, ACCEPTED), (999, SHORT, FAIL), (None, SHORT, ACCEPTED),
        (None, SHORT[:1], ACCEPTED), (60_000, SHORT[:1], FAIL),
        (1000, (*SHORT, *((at_s + 2, *rest) for at_s, *rest in SHORT)), ACCEPTED),
        (1000, (*SHORT, (8, "hang", "port_drive", 1)), FAIL),
        (1000, (*SHORT[:1], (6, "hang", "starboard_drive", 1), SHORT[1]), FAIL),
        (1, ((5, "hang", "port_drive", 2),), ACCEPTED),
    ],
)  # fmt: skip
def test_only_what_is_over_soon_enough(
    over_within_ms: int | None, faults: tuple[tuple[int, str, str, int], ...], word: str
) -> None:
    """Each of several counts by itself; one that is on lasts too long, and one that strikes at once lasts no time."""
    assert weighed(weakness().model_copy(update={"over_within_ms": over_within_ms}), faults=faults) == word


def test_it_says_when_and_why() -> None:
    acceptance, journal = Acceptance([weakness()]), Journal()
    acceptance.attach(journal)
    journal.event(5 * SECOND, "fault", "hang", "port_drive", 1)
    found = acceptance.weigh(verdict())
    assert found.evidence == "port: gear in; accepted 2025-03-01: nobody watches"
    assert found.weakness == "nobody watches"
    assert (found.measured, found.limit, found.at_ns) == (7000, 3240, 10 * SECOND)


NOT_COVERED = {
    "nothing is listed": ((), ((5, "hang", "port_drive", 1),)),
    "another requirement": ((weakness(requirements=("drive.wake",)),), ((5, "hang", "port_drive", 1),)),
    "another fault": ((weakness("reset"),), ((5, "hang", "port_drive", 1),)),
    "another place": ((weakness("hang: starboard_drive"),), ((5, "hang", "port_drive", 1),)),
    "words that are no fault's name": ((weakness("the node hangs"),), ((5, "hang", "port_drive", 1),)),
    "no fault at all": ((weakness(),), ()),
    "the fault came later": ((weakness(),), ((11, "hang", "port_drive", 1),)),
    "another fault was there too": ((weakness(),), ((5, "hang", "port_drive", 1), (6, "cut", "helm at 3 m", 1))),
    "the fault is only said to be over": ((weakness(),), ((5, "hang", "port_drive", 0),)),
}


@pytest.mark.parametrize(("weaknesses", "faults"), NOT_COVERED.values(), ids=NOT_COVERED.keys())
def test_any_other_failure_is_one(weaknesses: tuple[Weakness, ...], faults: tuple[tuple[int, str, str, int], ...]) -> None:
    assert weighed(*weaknesses, faults=faults) == FAIL


@pytest.mark.parametrize("word", [PASS, SELF_REPORTED, NOT_EXERCISED, INCONCLUSIVE])
def test_whatever_did_not_fail_stays_what_it_is(word: str) -> None:
    assert weighed(weakness(), word=word) == word


WEIGHED = {
    "nobody named it": (ACCEPTED, {}, []),
    "expected to pass": (ACCEPTED, {REQUIREMENT: PASS}, []),
    "expected to fail": (ACCEPTED, {REQUIREMENT: FAIL}, []),
    "expected as accepted": (ACCEPTED, {REQUIREMENT: ACCEPTED}, []),
    "expected not to be exercised": (ACCEPTED, {REQUIREMENT: NOT_EXERCISED}, [REQUIREMENT]),
    "expected as accepted, and met": (PASS, {REQUIREMENT: ACCEPTED}, [REQUIREMENT]),
    "expected as accepted, and not listed": (FAIL, {REQUIREMENT: ACCEPTED}, [REQUIREMENT]),
}


@pytest.mark.parametrize(("word", "expect", "failed"), WEIGHED.values(), ids=WEIGHED.keys())
def test_against_what_a_scenario_expects(word: str, expect: dict[str, str], failed: list[str]) -> None:
    assert weigh([verdict(word)], expect) == (failed, [])


# ------------------------------------------------------------------------------------------------ as a person sees it

HANGS = ("drive.self_loss", "station.nobody_shown")
"""What a drive and then a station that hang, with nothing to reset them, do not meet: neither does anything about it."""
ENTRY = """
  - weakness: nobody watches {requirement}
    requirements: [{requirement}]
    faults: [hang]
    reason: the stop pull hangs beside the seat
    date: "2025-03-01"
"""


def accepts(*requirements: str) -> str:
    return "\naccepted_weaknesses:" + "".join(ENTRY.format(requirement=requirement) for requirement in requirements)


def boat_without_a_watchdog(folder: Path, more: str) -> None:
    """The first boat with nothing to reset a program that hangs, no cutout, and nothing accepted but `more`."""
    text = (ROOT / "configs" / "first_boat" / "boat.yaml").read_text().partition("\naccepted_weaknesses:")[0]
    lines = [line for line in text.splitlines() if "watchdog_ms" not in line]
    (folder / "boat.yaml").write_text("\n".join(lines) + "\n" + more)
    (folder / "hang.yaml").write_text(
        "scenario: the drive hangs\nlasts_s: 16\nactions:\n  - {at_s: 1.0, key: {station: wheelhouse, name: take}}\n"
        "  - {at_s: 2.0, lever: {station: wheelhouse, drive: engine, to_permille: 700}}\n"
        "faults:\n  - {at_s: 6.0, hang: {node: engine_room}}\n"
        "  - {at_s: 6.1, hang: {node: wheelhouse}}\nexpect: {drive.engage_at_idle: pass}\n"
    )


def test_not_listed_it_fails(tmp_path: Path) -> None:
    boat_without_a_watchdog(tmp_path, "")
    ended = run_busim("run", "boat.yaml", "--scenario", "hang.yaml", folder=tmp_path)
    assert ended.status == 1, ended.err
    assert f"FAILED: {', '.join(HANGS)}" in ended.out


def test_one_that_is_not_listed_fails_beside_those_that_are(tmp_path: Path) -> None:
    boat_without_a_watchdog(tmp_path, accepts("drive.self_loss"))
    ended = run_busim("run", "boat.yaml", "--scenario", "hang.yaml", folder=tmp_path)
    assert ended.status == 1
    assert "FAILED: station.nobody_shown\n" in ended.out


def test_listed_it_is_shown_as_not_met_and_the_run_ends_well(tmp_path: Path) -> None:
    boat_without_a_watchdog(tmp_path, accepts(*HANGS))
    ended = run_busim("run", "boat.yaml", "--scenario", "hang.yaml", folder=tmp_path)
    assert (ended.status, ended.err) == (0, "")
    assert "accepted weakness" in ended.out
    assert "ACCEPTED WEAKNESS, not met: nobody watches drive.self_loss, accepted 2025-03-01: the stop pull" in ended.out
    assert "nothing of" not in ended.out


def test_what_a_run_had_nothing_of_is_named_and_no_more(tmp_path: Path) -> None:
    boat_without_a_watchdog(tmp_path, accepts(*HANGS, "drive.wake"))
    ended = run_busim("run", "boat.yaml", "--scenario", "hang.yaml", folder=tmp_path)
    assert "accepted weaknesses, never met, that this run had nothing of: nobody watches drive.wake\n" in ended.out


def test_a_requirement_or_fault_that_is_none_is_refused_where_it_stands(tmp_path: Path) -> None:
    wrong = accepts("drive.self_los").replace("faults: [hang]", "faults: [hang, 'hung: engine_room']")
    boat_without_a_watchdog(tmp_path, wrong)
    lines = (tmp_path / "boat.yaml").read_text().splitlines()
    row = next(number for number, line in enumerate(lines, 1) if "requirements: [drive.self_los]" in line)
    for command in (("check", "boat.yaml"), ("run", "boat.yaml", "--scenario", "hang.yaml")):
        ended = run_busim(*command, folder=tmp_path)
        assert ended.status == 2
        assert f'boat.yaml:{row}:20: there is no requirement "drive.self_los": did you mean drive.self_loss?' in ended.err
        assert f'boat.yaml:{row + 1}:20: there is no fault "hung": did you mean hang?' in ended.err


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        ("hang: wheelhous", 'hang has no place "wheelhous" on this boat: did you mean wheelhouse?'),
        ("cut: main at 99 m", '"main at 99 m": main is 12 m long'),
        ("cut: mian at 6 m", 'cut has no place "mian" on this boat: did you mean main?'),
        ("hang: wheelhouse", ""),
        ("hang: wheelhouse, nothing to reset it", ""),
        ("cut: main at 6.3 m", ""),
        ("cut", ""),
    ],
)
def test_a_place_that_the_boat_has_not_got_covers_nothing_and_is_refused(tmp_path: Path, fault: str, words: str) -> None:
    boat_without_a_watchdog(tmp_path, accepts(*HANGS).replace("faults: [hang]", f"faults: ['{fault}']"))
    ended = call_busim("check", "boat.yaml", folder=tmp_path)
    assert ended.status == (2 if words else 0)
    assert words in ended.err
    assert bool(words) == bool(ended.err)


def test_listed_it_stands_in_the_json_too(tmp_path: Path) -> None:
    boat_without_a_watchdog(tmp_path, accepts(*HANGS))
    ended = run_busim("run", "boat.yaml", "--scenario", "hang.yaml", "--json", folder=tmp_path)
    found = json.loads(ended.out)
    assert found["exit_status"] == 0
    assert [each["requirements"] for each in found["accepted_weaknesses"]] == [[name] for name in HANGS]
    assert {each["id"]: each["verdict"] for each in found["verdicts"]}["drive.self_loss"] == ACCEPTED
