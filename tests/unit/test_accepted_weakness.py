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
from tests.cli.command_line import ROOT, run_busim

pytestmark = pytest.mark.slow

REQUIREMENT = "drive.self_loss"


def weakness(fault: str = "hang", requirement: str = REQUIREMENT) -> Weakness:
    return Weakness(requirement=requirement, fault=fault, reason="the stop pull is beside the seat", date="2025-03-01")


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


@pytest.mark.parametrize("fault", ["hang", "hang: port_drive"])
def test_a_failure_under_the_fault_that_was_accepted_is_no_failure(fault: str) -> None:
    assert weighed(weakness(fault)) == ACCEPTED


def test_it_says_when_and_why() -> None:
    acceptance, journal = Acceptance([weakness()]), Journal()
    acceptance.attach(journal)
    journal.event(5 * SECOND, "fault", "hang", "port_drive", 1)
    found = acceptance.weigh(verdict())
    assert found.evidence == "port: gear in; accepted 2025-03-01: the stop pull is beside the seat"
    assert (found.measured, found.limit, found.at_ns) == (7000, 3240, 10 * SECOND)


NOT_COVERED = {
    "nothing is listed": ((), ((5, "hang", "port_drive", 1),)),
    "another requirement": ((weakness(requirement="drive.wake"),), ((5, "hang", "port_drive", 1),)),
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
  - requirement: {requirement}
    fault: hang
    reason: the stop pull hangs beside the seat
    date: "2025-03-01"
"""


def accepts(*requirements: str) -> str:
    return "\naccepted_weaknesses:" + "".join(ENTRY.format(requirement=requirement) for requirement in requirements)


def boat_without_a_watchdog(folder: Path, more: str) -> None:
    """The first boat with nothing to reset a program that hangs, and no cutout."""
    text = (ROOT / "configs" / "first_boat" / "boat.yaml").read_text()
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
    assert "ACCEPTED WEAKNESS, not met: drive.self_loss under hang, accepted 2025-03-01" in ended.out


def test_listed_it_stands_in_the_json_too(tmp_path: Path) -> None:
    boat_without_a_watchdog(tmp_path, accepts(*HANGS))
    ended = run_busim("run", "boat.yaml", "--scenario", "hang.yaml", "--json", folder=tmp_path)
    found = json.loads(ended.out)
    assert found["exit_status"] == 0
    assert [each["requirement"] for each in found["accepted_weaknesses"]] == list(HANGS)
    assert {each["id"]: each["verdict"] for each in found["verdicts"]}["drive.self_loss"] == ACCEPTED
