"""Every refusal and every end of a bench session, each by making it happen to a device that really moves its (simulated) gear."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from busim import bench_labels as labels
from busim.bench.cap import within_cap
from busim.bench.farewell import COMMANDED_NS
from busim.bench.listening import FirstListen
from busim.bench.order import ADAPTER, DONE, INTERRUPTED, REFUSED, SCREEN_GONE, WENT_WRONG
from busim.events import bits
from busim.protocol.catalogue import CLAIM, DRIVE_STATE, HEARTBEAT, LEVER, NEUTRAL_NOW
from busim.units import MS

from .bench_rig import BOAT, NODE, WILLING, Bench

AHEAD = 1


def once_ahead(bench: Bench, what: str) -> Any:
    """End it as soon as the gear is truly in."""
    return lambda: what if bench.device.gear == AHEAD else ""


# ------------------------------------------------------------------------------------------------ refusals: nothing is ever sent


@pytest.mark.parametrize("other", ["wheelhouse", "companionway", "lamp_driver"])
def test_anybody_else_on_the_bus_refuses(other: str) -> None:
    bench = Bench(others=(other,))
    ending = bench.run()
    assert ending.why == REFUSED
    assert other in ending.words
    assert ending.neutral is None
    assert bench.device.sent == []
    assert bench.talk.asked == []  # there is nothing that could be said against it


def test_frames_no_node_of_a_boat_sends_refuse() -> None:
    bench = Bench()
    bench.device.came.append((False, 0x18FF1234, b""))
    receive = bench.device.receive
    bench.device.receive = lambda: [*receive(), (False, 0x18FF1234, b"")]  # type: ignore[method-assign]
    ending = bench.run()
    assert (ending.why, bench.device.sent) == (REFUSED, [])
    assert labels.FOREIGN in ending.words


def test_an_engine_that_turns_refuses() -> None:
    bench = Bench(engine=True)
    ending = bench.run()
    assert (ending.why, bench.device.sent) == (REFUSED, [])
    assert "engine turns" in ending.words


@pytest.mark.parametrize(
    ("gear", "throttle_4", "rpm_8", "said"),
    [(1, 0, 0, "gear is in"), (3, 0, 0, "does not know"), (0, 60, 0, "240 permille"), (0, 0, 100, "800/min"), (0, 0, 0, "")],
)
def test_machinery_reported_moving_refuses(gear: int, throttle_4: int, rpm_8: int, said: str) -> None:
    listen = FirstListen(BOAT.plan, BOAT.boat.nodes[NODE].address)
    address = BOAT.boat.nodes[NODE].address
    beat, state = HEARTBEAT.can_id(address), DRIVE_STATE.can_id(address)
    for counter in range(5):
        listen.frame(counter * 100 * MS, True, beat, HEARTBEAT.pack(beat, counter, 1, 0, 1, 1, 0))
        frame = DRIVE_STATE.pack(state, counter, 1, 0, gear, 1, 0, throttle_4, 0, rpm_8, 0, 0)
        listen.frame(counter * 100 * MS, True, state, frame)
    assert said in listen.refusal()
    assert bool(listen.refusal()) == bool(said)


def test_a_drive_that_does_not_say_how_its_machinery_is_refuses() -> None:
    listen = FirstListen(BOAT.plan, BOAT.boat.nodes[NODE].address)
    beat = HEARTBEAT.can_id(BOAT.boat.nodes[NODE].address)
    for counter in range(5):
        listen.frame(counter * 100 * MS, True, beat, HEARTBEAT.pack(beat, counter, 1, 0, 1, 1, 0))
    assert listen.refusal() == labels.NO_REPORT


def test_three_heartbeats_are_wanted() -> None:
    listen = FirstListen(BOAT.plan, BOAT.boat.nodes["lamp_driver"].address)
    beat = HEARTBEAT.can_id(BOAT.boat.nodes["lamp_driver"].address)
    for counter in range(3):
        assert "was heard" in listen.refusal()
        listen.frame(counter, True, beat, HEARTBEAT.pack(beat, counter, 1, 0, 1, 1, 0))
    assert listen.refusal() == ""


def test_a_device_that_is_not_heard_refuses() -> None:
    bench = Bench(powered=False)
    ending = bench.run()
    assert (ending.why, bench.device.sent) == (REFUSED, [])
    assert "terminator" in ending.words


@pytest.mark.parametrize("left_out", ["disconnected", "cut-off"])
def test_what_nobody_confirms_is_not_done(left_out: str) -> None:
    bench = Bench(answers={words: answer for words, answer in WILLING.items() if words != left_out})
    ending = bench.run()
    assert (ending.why, bench.device.sent) == (REFUSED, [])
    assert labels.CAUTIONS in bench.talk.said


def test_a_band_nobody_answers_refuses_and_ends_in_neutral() -> None:
    bench = Bench(machinery="band")
    ending = bench.run()
    assert ending.why == REFUSED
    assert ending.words == labels.NO_BAND
    assert ending.neutral is True


# ------------------------------------------------------------------------------------------------ ends, each with the gear in


def test_it_ends_in_neutral_by_itself() -> None:
    bench = Bench("take_and_go")
    ending = bench.run()
    assert (ending.why, ending.neutral, bench.device.gear) == (DONE, True, 0)
    assert [result.verdict for result in bench.talk.came] == ["pass (self-reported)"]


@pytest.mark.parametrize("why", [INTERRUPTED, SCREEN_GONE])
def test_whoever_ends_it_neutral_is_commanded_for_two_seconds_and_awaited(why: str) -> None:
    bench = Bench("take_and_go")
    bench.talk.end = once_ahead(bench, why)
    ending = bench.run()
    assert (ending.why, ending.neutral, bench.device.gear) == (why, True, 0)
    commands = [at_ns for at_ns, can_id, _ in bench.device.sent if can_id >> 6 == NEUTRAL_NOW.code]
    assert commands[-1] - commands[0] >= COMMANDED_NS * 0.95
    levers = [data for at_ns, can_id, data in bench.device.sent if can_id >> 6 == LEVER.code and at_ns >= commands[0]]
    assert all(bits.sound(LEVER.code << 6 | 1, data) for data in levers)
    assert {bits.field(int.from_bytes(data, "big"), bits.LEVER_GEAR[1]) for data in levers} == {bits.NEUTRAL}


def test_the_simulated_boat_may_fail_the_device_still_comes_to_neutral() -> None:
    bench = Bench("take_and_go")
    advance = bench.session.live.advance

    def failing(until_ns: int) -> None:
        if bench.device.gear == AHEAD:
            raise RuntimeError("a stand-in failed")
        advance(until_ns)

    bench.session.live.advance = failing  # type: ignore[method-assign]
    ending = bench.run()
    assert (ending.why, ending.neutral, bench.device.gear) == (WENT_WRONG, True, 0)
    assert "a stand-in failed" in ending.words


def test_an_adapter_that_is_unplugged_leaves_the_worst_to_be_believed() -> None:
    bench = Bench("take_and_go")

    def unplugged() -> str:
        bench.device.broken = bench.device.broken or bench.device.gear == AHEAD
        return ""

    bench.talk.end = unplugged
    ending = bench.run()
    assert (ending.why, ending.neutral) == (ADAPTER, False)


def test_a_device_that_stays_ahead_is_told_so() -> None:
    """It still sends, but hears nothing any more and its actuator does nothing: no report comes that says neutral."""
    bench = Bench("take_and_go")
    world = bench.device.live.world

    def jammed() -> str:
        if bench.device.gear == AHEAD:
            world.hosts["engine_room"].sinks = {}
            return INTERRUPTED
        return ""

    bench.talk.end = jammed
    ending = bench.run()
    assert bench.device.gear == AHEAD
    assert (ending.why, ending.neutral) == (INTERRUPTED, False)


def test_a_device_that_falls_silent_is_not_believed_to_be_in_neutral() -> None:
    bench = Bench("take_and_go")

    def silent() -> str:
        if bench.device.gear == AHEAD:
            bench.device.live.world.hosts["engine_room"].hang(bench.device.live.now_ns, watched=False)
            return INTERRUPTED
        return ""

    bench.talk.end = silent
    assert bench.run().neutral is False


def test_somebody_who_comes_later_ends_it_in_neutral() -> None:
    bench = Bench("take_and_go")
    world = bench.device.live.world

    def plugged_in() -> str:
        if bench.device.gear == AHEAD and not world.hosts["lamp_driver"].powered:
            world.hosts["lamp_driver"].power(world.now_ns, True)
        return ""

    bench.talk.end = plugged_in
    ending = bench.run()
    assert ending.why == REFUSED
    assert "lamp_driver" in ending.words
    assert (ending.neutral, bench.device.gear) == (True, 0)


# ------------------------------------------------------------------------------------------------ the cap


@pytest.mark.slow
@pytest.mark.parametrize("cap", [0, 120])
def test_no_frame_beyond_the_cap_ever_leaves(cap: int) -> None:
    bench = Bench("take_and_go", "every_id", cap=cap)
    ending = bench.run()
    assert ending.neutral is True
    asked = [
        bits.field(int.from_bytes(data, "big"), bits.LEVER_THROTTLE[drive])
        for _, can_id, data in bench.device.sent
        if can_id >> 6 == LEVER.code and len(data) == 8
        for drive in (1, 2)
    ]
    assert max(asked) <= cap
    assert max(asked) >= cap - 3  # and it is made use of
    assert any(result.verdict.startswith("pass") for result in bench.talk.came)


@given(st.integers(0, 1023), st.integers(0, 1023), st.integers(0, 1000), st.booleans())
def test_the_cap_reads_levers_and_claims_whatever_their_crc(one: int, two: int, cap: int, sound: bool) -> None:
    """The positions are those written by hand for the judges."""
    lever = LEVER.can_id(1)
    frame = LEVER.pack(lever, 7, 1, 1, one, 2, two, 0, 0)
    if not sound:
        frame = bytes([frame[0] ^ 0x55]) + frame[1:]
    assert within_cap(lever, frame, cap) == (one <= cap and two <= cap)
    claim = CLAIM.can_id(3)
    assert within_cap(claim, CLAIM.pack(claim, 7, 1, 1, 1, one, 1, two, 0), cap) == (one <= cap and two <= cap)
    assert within_cap(0x700, frame, cap)
