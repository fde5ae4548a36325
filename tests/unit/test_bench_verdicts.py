"""What a bench session comes to: verdicts by the evidence there is, within the uncertainty, and as others read them."""

import json
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from busim import bench_labels as labels
from busim.bench.judging import Judging, straddles
from busim.bench.needs import FULL_BUS, OF_THE_ADAPTER, PLAYED, SLOWEST_NS, SUPPLY, TIMELY, TWO_STATIONS
from busim.bench.order import DONE, RIG, Ending, Order
from busim.bench.results import BenchRecord, about, junit
from busim.bench.session import Session
from busim.bench.stage import Result, judged, travel_for
from busim.bench.stimuli import BY_NAME, STIMULI
from busim.boat.load import load_boat
from busim.events.table import FROM_PLANT
from busim.requirements.table import BY_ID
from busim.requirements.verdict import FAIL, INCONCLUSIVE, NOT_EXERCISED, PASS, SELF_REPORTED, Verdict
from nodes.lever import _meaning
from tests.twins.drives import IgnoresCrc, StaysInGear

from .bench_rig import BOAT, CONFIGS, KINDS, NODE, WILLING, Bench, Clock, Hurried, Talk


@pytest.mark.parametrize(
    ("measured", "uncertainty", "verdict"),
    [
        (100, 0, PASS), (101, 0, FAIL), (99, 5, INCONCLUSIVE), (104, 5, INCONCLUSIVE), (105, 5, INCONCLUSIVE), (106, 5, FAIL),
        (96, 5, INCONCLUSIVE), (95, 5, PASS), (1, 5, PASS),
    ],
)  # fmt: skip
def test_what_straddles_the_limit_is_not_decided(measured: int, uncertainty: int, verdict: str) -> None:
    """The limit is 100, and exactly it is met: whoever may be at 101 or more, and may be at 100 or less, is not decided."""
    assert judged(measured, 100, uncertainty, self_reported=False) == verdict
    of = Verdict("drive.loss_to_idle", PASS if measured <= 100 else FAIL, 100, measured, "ms", FROM_PLANT, 0, "")
    assert straddles(of, uncertainty) == (verdict == INCONCLUSIVE)


def test_what_the_device_says_of_itself_is_never_a_plain_pass() -> None:
    assert judged(1, 100, 5, self_reported=True) == SELF_REPORTED
    for machinery in ("rig", "band"):
        judging = Judging(BOAT.boat, BOAT.plan, "drive", machinery)
        of_plant = Verdict("drive.loss_to_idle", PASS, 100, 10, "ms", FROM_PLANT, 0, "")
        assert judging._graded(of_plant, 5).verdict == SELF_REPORTED
    assert Judging(BOAT.boat, BOAT.plan, "drive", "simulated")._graded(of_plant, 5).verdict == PASS


def test_every_stimulus_names_requirements_there_are() -> None:
    for stimulus in STIMULI:
        assert stimulus.requirements
        assert set(stimulus.requirements) <= set(BY_ID)
    names = [stimulus.name for stimulus in STIMULI]
    assert len(names) == len(set(names))


@pytest.mark.parametrize("stimulus", [each.name for each in STIMULI if TIMELY in each.needs and "drive" in each.kinds])
def test_an_adapter_that_is_too_slow_to_time_by(stimulus: str) -> None:
    """The device would have to be put in gear for nothing: the stimulus is not even begun."""
    bench = Bench(stimulus)
    bench.device.round_trip_ns = SLOWEST_NS + 1  # type: ignore[attr-defined]
    ending = bench.run()
    assert ending.neutral is True
    assert [result.verdict for result in bench.talk.came] == [NOT_EXERCISED]
    assert "adapter" in bench.talk.came[0].words


def test_an_adapter_that_takes_less_than_a_full_bus() -> None:
    bench = Bench("full_load")
    bench.device.bells = 0  # type: ignore[attr-defined]
    send = bench.device.send

    def refusing(can_id: int, data: bytes) -> None:
        if can_id >= 0x7A0 and len(bench.device.sent) % 5 == 0:
            bench.device.bells += 1  # type: ignore[attr-defined]
        send(can_id, data)

    bench.device.send = refusing  # type: ignore[method-assign]
    bench.run()
    assert [result.verdict for result in bench.talk.came] == [NOT_EXERCISED]
    assert "were refused" in bench.talk.came[0].words


def test_what_is_timed_says_what_it_needs_of_the_adapter() -> None:
    for stimulus in STIMULI:
        assert all(need in labels.LACKS for need in stimulus.needs)
        assert all(need in labels.NEEDS for need in stimulus.needs if need in OF_THE_ADAPTER)
        if any(requirement.startswith("drive.loss") for requirement in stimulus.requirements):
            assert TIMELY in stimulus.needs, stimulus.name
    assert FULL_BUS in BY_NAME["full_load"].needs


def test_from_harmless_to_violent() -> None:
    """Once one of them moves machinery, all that follow do."""
    moves = [stimulus.moves for stimulus in STIMULI]
    assert moves == sorted(moves)


def test_a_rig_is_judged_by_what_it_reports() -> None:
    bench = Bench("lever_gone")
    ending = bench.run()
    assert ending.neutral is True
    judging = Judging(BOAT.boat, BOAT.plan, "drive", RIG)
    for frames, events, _ in bench.talk.blocks:
        judging.block(frames, events)
    verdicts = {verdict.id: verdict.verdict for verdict in judging.verdicts(0)}
    assert verdicts["drive.loss_to_neutral"] == SELF_REPORTED
    assert verdicts["drive.engage_at_idle"] == SELF_REPORTED


@pytest.mark.parametrize("stimulus", ["lever_gone", "station_gone", "bad_crc"])
def test_a_drive_that_stays_in_gear_fails_and_fills_the_screen(stimulus: str) -> None:
    """The planted defect goes idle on a loss and leaves it at that, so that the end of the session does not bring it out either."""
    bench = Bench(stimulus, drive=StaysInGear)
    ending = bench.run()
    assert bench.talk.came[0].verdict == FAIL
    assert FAIL not in [result.verdict for result in bench.talk.came[1:]]
    assert (ending.neutral, bench.device.gear) == (False, 1)


def test_a_drive_that_does_not_look_at_the_crc_fails_that_alone() -> None:
    """The planted defect obeys what it ought to refuse, though the cap lets no throttle through to it."""
    bench = Bench("bad_crc", "lever_gone", drive=IgnoresCrc)
    ending = bench.run()
    verdicts = [(result.stimulus, result.verdict) for result in bench.talk.came]
    assert verdicts == [("bad_crc", FAIL), ("lever_gone", SELF_REPORTED), ("lever_gone", SELF_REPORTED)]
    assert (ending.neutral, bench.device.gear) == (True, 0)
    assert bench.session.capped == 0


@pytest.mark.slow
@pytest.mark.parametrize("stimulus", [each.name for each in STIMULI if "drive" in each.kinds])
def test_our_own_drive_passes_each_stimulus_or_it_is_said_why_not(stimulus: str) -> None:
    bench = Bench(stimulus)
    ending = bench.run()
    assert ending.neutral is True, ending
    assert bench.talk.came
    verdicts = {result.verdict for result in bench.talk.came}
    needs = BY_NAME[stimulus].needs
    if TWO_STATIONS in needs or PLAYED in needs:  # this boat has one station, and a rig of its own
        assert verdicts == {NOT_EXERCISED}
    elif SUPPLY in needs:  # nobody really switches it here
        assert verdicts == {INCONCLUSIVE}
    else:
        assert verdicts <= {PASS, SELF_REPORTED}, bench.talk.came


@pytest.mark.slow
@pytest.mark.parametrize(
    ("node", "bus", "stimuli"),
    [
        ("port_drive", "helm", ("start_up", "transfer_race", "old_number", "out_of_range", "supply_cut")),
        ("port_drive", "helm", ("fast_idle", "old_holder", "stale")),
        ("rudder_gear", "helm", ("rudder_holds",)),
        ("saloon_driver", "lights", ("heartbeats", "start_up", "press")),
    ],
)
def test_a_rehearsal_without_hardware(node: str, bus: str, stimuli: tuple[str, ...]) -> None:
    marsh_tern = load_boat(CONFIGS / "marsh_tern")
    talk = Talk(WILLING)
    order = Order(marsh_tern.boat, marsh_tern.plan, node, bus, only=stimuli)
    ending = Session(order, KINDS, talk, None, Hurried(Clock())).run()
    assert (ending.why, ending.words) == (DONE, "")
    assert {result.stimulus for result in talk.came} == set(stimuli)
    assert {result.verdict for result in talk.came} == {PASS}, talk.came


@pytest.mark.slow
@pytest.mark.parametrize("stimulus", ["station_gone", "neutral_now"])
def test_the_gear_switch_of_another_node_makes_it_a_plain_pass(stimulus: str) -> None:
    """The drive's cutout is on the adapter too, as real as the drive, with a gear switch of its own."""
    marsh_tern = load_boat(CONFIGS / "marsh_tern")
    there = {"boat": marsh_tern, "node": "port_drive", "bus": "helm", "others": ("port_cutout",)}
    bench = Bench(stimulus, witness="port_cutout", **there)  # type: ignore[arg-type]
    ending = bench.run()
    assert (ending.why, ending.neutral) == (DONE, True), ending
    assert [result.verdict for result in bench.talk.came] == [PASS], bench.talk.came
    without = Bench(stimulus, **there)  # type: ignore[arg-type]
    assert without.run().why == "refused"  # nobody said that it would be there


@given(
    st.integers(20, 200), st.integers(700, 980), st.integers(50, 400), st.integers(0, 1000), st.sampled_from([1, -1]),
)  # fmt: skip
def test_a_lever_is_moved_as_far_as_the_cap_lets_it_and_no_further(low: int, high: int, first: int, cap: int, side: int) -> None:
    """Held against what our station's program makes of its sensor."""
    station = type("Station", (), {"lever_low_permille": low, "lever_high_permille": high, "lever_gear_permille": first})()
    travel = travel_for(station, cap)
    middle = (low + high) // 2
    value = middle + side * (travel * (high - middle if side > 0 else middle - low) // 1000)
    meant = _meaning(low, high, first, value)
    assert meant is not None
    assert meant[1] <= cap


def _session() -> tuple[Order, Ending, list[Result], list[Verdict]]:
    order = Order(BOAT.boat, BOAT.plan, NODE, "main", machinery=RIG)
    ending = Ending(DONE, neutral=True, version="1.2.3", fingerprints=(1, 2), answers=[("what", "the \x07shaft")], machinery=RIG)
    results = [
        Result("one", PASS, "well & <good>", ("drive.wake",), 100, 50, "ms", 3),
        Result("two", FAIL, "bad \x00\x1b[31m", ("drive.wake",)),
        Result("three", NOT_EXERCISED, "adapter"),
        Result("four", INCONCLUSIVE, "late"),
    ]
    verdicts = [Verdict("drive.wake", SELF_REPORTED, None, 0, "times", "reported on the wire", 5, "woke")]
    return order, ending, results, verdicts


def test_junit_counts_and_bears_any_character() -> None:
    _, _, results, verdicts = _session()
    suite = ET.fromstring(junit("engine\x01", results, verdicts))
    assert {key: suite.get(key) for key in ("tests", "failures", "skipped")} == {"tests": "5", "failures": "1", "skipped": "2"}
    assert [case.get("name") for case in suite][:1] == ["well & <good>"]
    assert len(suite.findall("testcase/failure")) == 1
    assert len(suite.findall("testcase/skipped")) == 2


def test_all_that_belongs_to_a_result_is_kept(tmp_path: Path) -> None:
    order, ending, results, verdicts = _session()
    record = BenchRecord(tmp_path, ["main"])
    record.keep([(5, 0, 0x281, b"\x01", 3)], [(6, 1, "start", "engine_room", 0)], "ab")
    kept = about(order, ending, "slcan x", "2031-05-01T10:00:00+00:00", results, verdicts)
    record.finish(kept, ["a table"], results, verdicts)
    record.close()
    read = json.loads((tmp_path / "bench.json").read_text())
    assert read["firmware"] == {"version": "1.2.3", "fingerprints": ["0001", "0002"]}
    assert read["fingerprints"]["helm"] == f"{BOAT.plan.helm_fingerprint:04x}"
    assert {"adapter", "host", "date", "typed", "ended", "stimuli", "verdicts"} <= set(read)
    assert "main 281#01" in (tmp_path / "frames.log").read_text()
    assert (tmp_path / "verdicts.txt").read_text() == "a table\n"
