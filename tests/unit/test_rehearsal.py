"""A rehearsal without a screen: what is done in it makes a scenario that runs to the same digest; records rerun."""

from pathlib import Path

import pytest

from busim.boat.load import load_boat
from busim.dashboard.places import places_for
from busim.faults.table import BY_NAME, FAULTS
from busim.record.reader import read_record
from busim.record.writer import RecordWriter
from busim.rehearsal.rehearsal import Rehearsal, place_from
from busim.rehearsal.snapshot import take
from busim.requirements.verdict import NOT_EXERCISED
from busim.run.run import carry_out
from busim.scenario.model import KeyAction, LeverAction, ScenarioFile, TouchAction
from busim.simulator.kinds import load_kinds
from busim.units import MS, SECOND

CONFIGS = Path(__file__).parents[2] / "configs"


def rehearsal(boat: str = "first_boat", seed: int = 3, keep: RecordWriter | None = None) -> Rehearsal:
    loaded = load_boat(CONFIGS / boat)
    begun = Rehearsal(loaded.boat, loaded.plan, load_kinds(), seed, keep.keep if keep else None)
    if keep is not None:
        begun.script.written = keep.done
    return begun


def play(each: Rehearsal) -> None:
    """Take control, go ahead, a lamp, a cut that is mended, all at moments that are on no grid."""
    each.advance(1_234_567_891)
    each.do("key", KeyAction(station="wheelhouse", name="take"))
    each.do("touch", TouchAction(panel="companionway", control="lamp"))
    each.advance(2_500 * MS + 7)
    each.do("lever", LeverAction(station="wheelhouse", drive="engine", to_permille=600))
    each.advance(6 * SECOND)
    assert each.break_("cut", place_from("cut", {"bus": "main", "at_m": 8})) == ""
    each.advance(9 * SECOND + 1)
    each.mend(0)
    each.do("lever", LeverAction(station="wheelhouse", drive="engine", to_permille=0))
    each.advance(12 * SECOND)


def test_what_was_done_is_a_scenario_that_runs_to_the_same_digest() -> None:
    played = rehearsal()
    play(played)
    scenario = ScenarioFile.model_validate_json(played.scenario().model_dump_json(exclude_none=True))
    loaded = load_boat(CONFIGS / "first_boat")
    again = carry_out(loaded.boat, loaded.plan, load_kinds(), scenario, 3)
    assert again.digest == played.world.journal.digest
    assert [line.words for line in again.lines] == [line.words for line in played.timeline.lines]


def test_a_record_of_it_reads_back_as_that_scenario(tmp_path: Path) -> None:
    loaded = load_boat(CONFIGS / "first_boat")
    writer = RecordWriter(tmp_path, loaded.boat, ScenarioFile(scenario="rehearsal", lasts_s=1), 3, {})
    played = rehearsal(keep=writer)
    play(played)
    writer.close()
    record = read_record(tmp_path)
    assert record.seconds == 12
    assert record.scenario == played.scenario()
    assert carry_out(record.boat, loaded.plan, load_kinds(), record.scenario, 3).digest == played.world.journal.digest


def test_a_record_that_was_cut_short_is_whole_up_to_there(tmp_path: Path) -> None:
    loaded = load_boat(CONFIGS / "first_boat")
    writer = RecordWriter(tmp_path, loaded.boat, ScenarioFile(scenario="rehearsal", lasts_s=1), 3, {})
    played = rehearsal(keep=writer)
    play(played)
    writer.close()
    kept = (tmp_path / "seconds.txt").read_text().splitlines(keepends=True)
    (tmp_path / "seconds.txt").write_text("".join(kept[:5]))
    done = (tmp_path / "done.jsonl").read_text()
    (tmp_path / "done.jsonl").write_text(done + '{"action": {"at_s": 1')
    record = read_record(tmp_path)
    assert record.scenario.lasts_s == 5
    assert not record.scenario.faults, "the cut came after what was kept"
    again = carry_out(record.boat, loaded.plan, load_kinds(), record.scenario, 3)
    assert again.digest == kept[4].split()[2]


@pytest.mark.parametrize("text", ["[]\n", '{"mended": 4, "for_s": 1}\n', "{\n", '{"action": {}}\n', '"action"\n'])
def test_a_damaged_list_of_what_was_done_is_said(tmp_path: Path, text: str) -> None:
    from busim.reading.problem import InputError

    loaded = load_boat(CONFIGS / "first_boat")
    RecordWriter(tmp_path, loaded.boat, ScenarioFile(scenario="rehearsal", lasts_s=1), 3, {}).close()
    (tmp_path / "done.jsonl").write_text(text)
    with pytest.raises(InputError, match=r"done\.jsonl|head\.json"):
        read_record(tmp_path)


def test_verdicts_can_be_asked_at_any_moment_and_change_nothing() -> None:
    asked, unasked = rehearsal(), rehearsal()
    for each in (asked, unasked):
        each.advance(2 * SECOND)
        each.do("key", KeyAction(station="wheelhouse", name="take"))
        for second in range(3, 9):
            each.advance(second * SECOND)
            if each is asked:
                each.verdicts()
                take(each)
        each.break_("cut", place_from("cut", {"bus": "main", "at_m": 8}))
        each.advance(12 * SECOND)
    assert asked.world.journal.digest == unasked.world.journal.digest
    assert asked.verdicts() == unasked.verdicts()
    assert {verdict.verdict for verdict in asked.verdicts()} != {NOT_EXERCISED}


def test_a_fault_that_can_not_be_there_is_said_in_words() -> None:
    each = rehearsal()
    assert "beyond the end" in each.break_("cut", place_from("cut", {"bus": "main", "at_m": 400}))
    hang = place_from("hang", {"node": "wheelhouse"})
    assert each.break_("hang", hang) == ""
    assert "already" in each.break_("hang", hang)


@pytest.mark.slow
@pytest.mark.parametrize("name", [fault.name for fault in FAULTS])
def test_there_is_a_place_for_every_fault_on_marsh_tern(name: str) -> None:
    boat = load_boat(CONFIGS / "marsh_tern").boat
    fault = BY_NAME[name]
    places = places_for(fault, boat)
    assert places, "a fault that nobody can choose"
    assert all(fault.place_words(place) for place in places)


def test_a_snapshot_names_the_navigation_light_that_failed() -> None:
    each = rehearsal("marsh_tern")
    each.advance(SECOND)
    each.break_("lamp_open", place_from("lamp_open", {"light": "sidelights"}))
    each.advance(2 * SECOND)
    assert {station.name: [alarm.words for alarm in station.alarms] for station in take(each).stations} == {
        "wheelhouse": ["lamp or fuse failed, sidelights"],  # the only one on a bus with the lights
        "upper_deck": [],
        "pendant": [],
    }


def test_a_snapshot_says_who_is_in_control_and_what_is_forced() -> None:
    each = rehearsal("marsh_tern")
    each.advance(2 * SECOND)
    assert take(each).in_control == ""
    each.do("key", KeyAction(station="wheelhouse", name="take"))
    each.advance(3 * SECOND)
    each.do("lever", LeverAction(station="wheelhouse", drive="port", to_permille=500))
    each.advance(6 * SECOND)
    shown = take(each)
    assert shown.in_control == "wheelhouse"
    assert not shown.forced
    assert [drive.true for drive in shown.drives] == [1, 0]
    assert dict(shown.stations[0].levers) == {"port": 500, "starboard": 0}
    each.break_("power_lost", place_from("power_lost", {"node": "wheelhouse"}))
    each.advance(10 * SECOND)
    shown = take(each)
    assert shown.in_control == ""
    assert len(shown.forced) == 2
    assert [number for number, _, _ in shown.faults] == [0]
    assert {drive.cause_words for drive in shown.drives} == {"nothing valid from the lever in control"}
    assert next(node for node in shown.nodes if node.name == "wheelhouse").age_ms > 3000  # type: ignore[operator]


def test_two_faults_that_act_on_one_thing_of_two_things_are_no_quarrel() -> None:
    """Each actuator has a hand of its own."""
    each = rehearsal("marsh_tern")
    for part in ("throttle", "shift"):
        assert each.break_("actuator_jammed", place_from("actuator_jammed", {"drive": "port", "actuator": part})) == ""
    assert "already" in each.break_("actuator_jammed", place_from("actuator_jammed", {"drive": "port", "actuator": "shift"}))


def test_error_counters_are_shown_as_they_are() -> None:
    """A transmitter that nobody acknowledges counts 8 a failure up to error passive and no further (Bosch, CAN Specification 2.0,
    fault confinement, rule 3, exception 1)."""
    each = rehearsal()
    each.advance(2 * SECOND)
    assert all(counts[1:] == (0, 0, 0) for node in take(each).nodes for counts in node.counts)
    each.break_("drop_open", place_from("drop_open", {"node": "wheelhouse", "bus": "main"}))
    each.advance(4 * SECOND)
    (counts,) = next(node for node in take(each).nodes if node.name == "wheelhouse").counts
    assert counts == ("main", 1, 128, 0)


def test_what_is_judged_bit_by_bit_comes_to_what_is_judged_at_once() -> None:
    each = rehearsal()
    play(each)
    for _ in range(40):
        each.judge_some(1)
    assert list(each.judged) == each.verdicts()


@pytest.mark.slow
def test_an_accepted_weakness_is_no_failure_on_the_screen_either() -> None:
    each = rehearsal("marsh_tern")
    each.advance(2 * SECOND)
    each.do("key", KeyAction(station="wheelhouse", name="take"))
    each.advance(3 * SECOND)
    for drive in ("port", "starboard"):
        each.do("lever", LeverAction(station="wheelhouse", drive=drive, to_permille=500))
    each.advance(6 * SECOND)
    each.break_("cut", place_from("cut", {"bus": "helm", "at_m": 12}))
    each.advance(30 * SECOND)
    assert not [verdict for verdict in each.verdicts() if verdict.verdict == "fail"]


def test_a_drive_that_nobody_hears_is_shown_by_its_own_account_and_obeys_nobody_by_an_old_report() -> None:
    """Cut off alone, it goes to neutral by itself, and the last thing it said was that it obeys the wheelhouse."""
    each = rehearsal()
    each.advance(2 * SECOND)
    each.do("key", KeyAction(station="wheelhouse", name="take"))
    each.advance(3 * SECOND)
    each.do("lever", LeverAction(station="wheelhouse", drive="engine", to_permille=600))
    each.advance(7 * SECOND)
    assert take(each).drives[0].unheard_ms is None
    each.break_("cut", place_from("cut", {"bus": "main", "at_m": 7.5}))
    each.advance(11 * SECOND)
    shown = take(each)
    (drive,) = shown.drives
    assert drive.unheard_ms is not None
    assert drive.unheard_ms > 3900
    assert shown.in_control == ""
    assert (drive.forced, drive.state) == (True, "forced_neutral")
    assert drive.cause_words == "nothing valid from the lever in control"
    each.break_("power_lost", place_from("power_lost", {"node": "engine_room"}))
    each.advance(12 * SECOND)
    assert take(each).drives[0].state_words == "its node does not run"
