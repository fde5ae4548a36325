"""A second node that watches a drive's machinery by sensors of its own: what it shows goes before what the drive reports."""

from typing import Any

import pytest

from busim import bench_labels as labels
from busim.bench.judging import Judging
from busim.bench.listening import FirstListen
from busim.bench.observer import FRESH_NS, OBSERVER_ID, Contradiction, Observer
from busim.bench.order import DONE, REFUSED, RIG
from busim.events import bits
from busim.events.table import MEASURED
from busim.protocol.catalogue import BENCH, DRIVE_STATE
from busim.protocol.values import BENCH_CHANNELS
from busim.requirements.verdict import FAIL, INCONCLUSIVE, PASS, SELF_REPORTED, Verdict
from busim.units import MS, SECOND

from .bench_rig import BOAT, NODE, Bench

NUMBERS = {name: number for number, name in BENCH_CHANNELS}
ALL = ("gear_switch", "shift_position", "throttle_position")
ADDRESS = BOAT.boat.nodes[NODE].address


def said(name: str, value: int) -> bytes:
    return BENCH.pack(0, NUMBERS[name], value)


def claims_neutral(can_id: int, data: bytes) -> bytes:
    """Its gear out, whatever it is: as a drive says that reports what it asks for, or whose sensor is stuck."""
    if can_id != DRIVE_STATE.can_id(ADDRESS) or not bits.sound(can_id, data):
        return data
    values = [*DRIVE_STATE.unpack(int.from_bytes(data[2:], "big"))]
    values[1] = values[2] = bits.NEUTRAL
    values[6] = 0
    return DRIVE_STATE.pack(can_id, data[1], *values)


def observed(*only: str, sensors: tuple[str, ...] = ALL, **options: Any) -> Bench:
    bench = Bench(*only, **options)
    bench.device.observer = lambda device: device.measured(*sensors)
    return bench


def judged(bench: Bench) -> dict[str, Verdict]:
    judging = Judging(BOAT.boat, BOAT.plan, "drive", RIG)
    for frames, events, _ in bench.talk.blocks:
        judging.block(frames, events)
    return {verdict.id: verdict for verdict in judging.verdicts(0)}


# ------------------------------------------------------------------------------------------------ what it comes to


@pytest.mark.parametrize("sensors", [ALL, ("gear_switch",), ("shift_position",)])
def test_where_an_observer_is_heard_a_time_to_neutral_is_a_plain_pass(sensors: tuple[str, ...]) -> None:
    bench = observed("lever_gone", sensors=sensors)
    ending = bench.run()
    assert (ending.why, ending.neutral) == (DONE, True), ending
    timed = next(result for result in bench.talk.came if labels.AFTER_LEVER in result.words)
    assert timed.verdict == PASS, timed
    assert labels.RESTS_ON_OBSERVER in timed.words
    assert labels.GEAR_RESTS.format(rests_on=labels.RESTS_ON_OBSERVER) in bench.talk.said
    assert not [can_id for _, can_id, _ in bench.device.sent if can_id == OBSERVER_ID], "it is told nothing it said itself"
    verdict = judged(bench)["drive.loss_to_neutral"]
    assert (verdict.verdict, verdict.source) == (PASS, MEASURED)


def test_where_there_is_none_it_says_on_whose_word_it_rests() -> None:
    bench = Bench("lever_gone")
    bench.run()
    timed = next(result for result in bench.talk.came if labels.AFTER_LEVER in result.words)
    assert timed.verdict == SELF_REPORTED
    assert labels.RESTS_ON_DEVICE in timed.words
    assert judged(bench)["drive.loss_to_neutral"].verdict == SELF_REPORTED


@pytest.mark.parametrize(("sensors", "verdict"), [(ALL, PASS), ((), SELF_REPORTED)])
def test_a_throttle_is_timed_by_the_observer_too(sensors: tuple[str, ...], verdict: str) -> None:
    bench = observed("lever_gone", sensors=sensors, cap=300)
    assert bench.run().neutral is True
    rests_on = labels.RESTS_ON_OBSERVER if sensors else labels.RESTS_ON_DEVICE
    timed = next(result for result in bench.talk.came if result.words == labels.THROTTLE_AT_STOP.format(rests_on=rests_on))
    assert timed.verdict == verdict, timed


@pytest.mark.slow
def test_a_device_that_reports_neutral_while_its_gear_is_in_fails() -> None:
    """It stays ahead and says that it is out. By itself that would be a pass, and a session that ended well."""
    alone = Bench("lever_gone")
    lies = _once_ahead(alone)
    ending = alone.run()
    assert lies
    assert {result.verdict for result in alone.talk.came} == {SELF_REPORTED}, "nobody is there who knows better"
    assert (ending.neutral, alone.device.gear) == (True, 1)

    bench = observed("lever_gone")
    _once_ahead(bench)
    ending = bench.run()
    assert bench.device.gear == 1
    results = [(result.verdict, result.words) for result in bench.talk.came]
    assert (FAIL, labels.CONTRADICTED["gear"]) in results
    assert not [result for result in bench.talk.came if result.verdict in (PASS, SELF_REPORTED)]
    assert ending.neutral is False, "and the end is not believed either"
    assert judged(alone)["drive.actuator_fault_found"].verdict != FAIL
    assert judged(bench)["drive.actuator_fault_found"].verdict == FAIL, "told in time, and nobody says that it did not go"


def _once_ahead(bench: Bench) -> list[int]:
    """From the moment at which its lever is lost its actuator does nothing any more, and it claims to be in neutral."""
    begun: list[int] = []

    def changed(can_id: int, data: bytes) -> bytes:
        if not begun and bench.session.live.world.hosts["wheelhouse"].tamper is not None:
            begun.append(1)
            bench.device.live.world.hosts[NODE].sinks = {}
        return claims_neutral(can_id, data) if begun else data

    bench.device.changed = changed
    return begun


def test_a_throttle_that_is_claimed_to_be_at_its_stop_fails() -> None:
    bench = observed("take_and_go", cap=400)
    truth = bench.device.observer
    assert truth is not None
    bench.device.observer = lambda device: {**truth(device), "throttle_position": 300 if device.gear else 0}

    def changed(can_id: int, data: bytes) -> bytes:
        if can_id != DRIVE_STATE.can_id(ADDRESS) or not bits.sound(can_id, data):
            return data
        values = [*DRIVE_STATE.unpack(int.from_bytes(data[2:], "big"))]
        values[5] = 0
        return DRIVE_STATE.pack(can_id, data[1], *values)

    bench.device.changed = changed
    bench.run()
    assert (FAIL, labels.CONTRADICTED["throttle"]) in [(result.verdict, result.words) for result in bench.talk.came]
    assert {result.verdict for result in bench.talk.came} <= {FAIL, INCONCLUSIVE}


def test_an_observer_that_falls_silent_makes_no_plain_pass_of_what_came_after() -> None:
    bench = observed("lever_gone")
    truth = bench.device.observer
    assert truth is not None
    bench.device.observer = lambda device: truth(device) if device.clock.now_ns < 8 * SECOND else {}
    bench.run()
    assert judged(bench)["drive.loss_to_neutral"].verdict != PASS


def test_motion_that_only_the_observer_sees_refuses() -> None:
    bench = Bench("lever_gone")
    bench.device.observer = lambda device: {"gear_switch": 0}
    ending = bench.run()
    assert (ending.why, bench.device.sent) == (REFUSED, [])
    assert labels.OBSERVED_IN in ending.words
    listen = FirstListen(BOAT.plan, ADDRESS)
    listen.frame(0, True, OBSERVER_ID, said("throttle_position", 21))
    assert labels.OBSERVED_THROTTLE in listen.refusal()
    still = FirstListen(BOAT.plan, ADDRESS)
    still.frame(0, True, OBSERVER_ID, said("throttle_position", 20))
    assert "moving" not in still.refusal()


def test_where_machinery_is_simulated_there_is_nothing_to_observe() -> None:
    bench = Bench("lever_gone", machinery="band")
    bench.device.observer = lambda device: {"gear_switch": 1}
    ending = bench.run()
    assert (ending.why, bench.device.sent) == (REFUSED, [])


# ------------------------------------------------------------------------------------------------ the observer by itself


def test_what_it_says_grows_old() -> None:
    observer = Observer()
    assert (observer.heard, observer.gear_in(0), observer.throttle(0)) == (False, None, None)
    observer.frame(0, said("gear_switch", 0))
    assert observer.gear_in(FRESH_NS) is True
    assert observer.gear_in(FRESH_NS + 1) is None


@pytest.mark.parametrize(
    ("switch", "shift", "is_in"),
    [(1, None, False), (0, None, True), (2, None, True), (None, 100, False), (None, -100, False), (None, 101, True),
     (None, -101, True), (1, 0, False), (1, 900, True), (0, 0, True)],
)  # fmt: skip
def test_out_is_what_all_its_sensors_call_out(switch: int | None, shift: int | None, is_in: bool) -> None:
    """A switch that is faulty (2) shows nothing that could be relied on."""
    observer = Observer()
    if switch is not None:
        observer.frame(0, said("gear_switch", switch))
    if shift is not None:
        observer.frame(0, said("shift_position", shift))
    assert observer.gear_in(0) is is_in
    way = bits.NEUTRAL if not is_in else bits.ASTERN if (shift or 0) < -100 else bits.AHEAD
    assert observer.gear(0, bits.NEUTRAL) == way


@pytest.mark.parametrize("data", [b"", b"\0" * 5, b"\xff" * 6, b"\0" * 8, said("rpm", 500)])
def test_what_can_not_be_read_is_left_alone(data: bytes) -> None:
    observer = Observer()
    observer.frame(0, data)
    assert not observer.heard


def test_a_contradiction_has_to_last() -> None:
    """As long as a shift may take from a gear to the middle: the drive's own sensor may call it out before the switch closes."""
    observer, words = Observer(), labels.CONTRADICTED
    contradiction = Contradiction(shift_ms=700)
    last_ms = 700 + 120 + 100
    for at_ms in range(0, last_ms + 1, 10):
        observer.frame(at_ms * MS, said("gear_switch", 0))
        assert contradiction.look(at_ms * MS, observer, bits.NEUTRAL, 0, words) == ""
    observer.frame(last_ms * MS, said("gear_switch", 0))
    assert contradiction.look(last_ms * MS + 1, observer, bits.NEUTRAL, 0, words) == words["gear"]
    observer.frame(last_ms * MS + 2, said("gear_switch", 1))
    assert contradiction.look(last_ms * MS + 3, observer, bits.NEUTRAL, 0, words) == ""
