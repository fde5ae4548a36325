"""A drive that hears its station by two buses: the faster one acts, the slower one brings nothing back, the lower thrust counts."""

import pytest

from busim.protocol import values as v
from busim.units import MS

from . import hand_made_frames as hand
from .drive_rig import DriveRig
from .hand_made_frames import AHEAD, ASTERN, NEUTRAL
from .small_boat import WHEELHOUSE, small_boat

LEVER_ID = hand.id_of(hand.LEVER, WHEELHOUSE)


def engaged(throttle: int = 0) -> DriveRig:
    """Ahead, everything heard by bus 0 so far."""
    rig = DriveRig(small_boat(buses=2))
    rig.engaged(throttle=throttle)
    return rig


def frame(rig: DriveRig, counter: int, gear: int, throttle: int) -> bytes:
    return hand.lever(WHEELHOUSE, counter % 256, rig.number, gear, throttle, drive=rig.instance)


def hear(rig: DriveRig, counter: int, gear: int, throttle: int, *buses: int) -> None:
    for bus in buses:
        rig.frame(LEVER_ID, frame(rig, counter, gear, throttle), bus)


def test_both_buses_in_step_are_one_lever() -> None:
    rig = engaged(500)
    first = rig.counters[LEVER_ID]
    rig.forget()
    for step in range(1, 20):
        hear(rig, first + step, AHEAD, 500 + step, 0, 1)
    # Two frames that agree add thrust, and the copy by the other bus is not the second of the two.
    assert [value for _, value in rig.told("throttle")] == [500 + step for step in range(1, 19)]


def test_either_bus_alone_feeds_the_timeout() -> None:
    rig = engaged(500)
    counter = rig.counters[LEVER_ID]
    for step in range(1, 100):
        hear(rig, counter + step, AHEAD, 500, step // 30 % 2)
        rig.beat()
        rig.run_for(20)
    assert rig.rows[-1] == 6, "gear is in: nothing happened since"


def test_nothing_old_comes_back_by_the_slower_bus() -> None:
    rig = engaged(800)
    first = rig.counters[LEVER_ID]
    hear(rig, first + 1, AHEAD, 800, 0, 1)
    hear(rig, first + 2, AHEAD, 800, 0, 1)
    for step in range(3, 10):
        hear(rig, first + step, AHEAD, 100, 0)
    assert rig.outputs["throttle"] == 100
    for step in range(3, 8):  # held back on bus 1 while the lever still was at full
        hear(rig, first + step, AHEAD, 800, 1)
    assert rig.outputs["throttle"] == 100


HELD = [31, 32, 33, 94, 150, 250, 253, 256, 300]
"""Frames of 20 ms. From 128 on old ones look newer than what is acted on, and from 253 on just ahead of it."""


@pytest.mark.parametrize("held", HELD)
def test_a_queue_let_go_between_two_frames_of_the_other_bus_moves_nothing(held: int) -> None:
    """At 250 kbit/s a frame takes 0.53 ms: 38 of them come between two of the sound bus. All but the last 8 ask for full."""
    rig = engaged(800)
    counter = rig.counters[LEVER_ID]
    for step in range(1, 4):
        hear(rig, counter + step, AHEAD, 800, 0, 1)
    queue = [(counter + 3 + step, 800 if step <= held - 8 else 100) for step in range(1, held + 1)]
    for number, throttle in queue:
        hear(rig, number, AHEAD, throttle, 0)
        rig.beat()
        rig.run_for(20)
    counter = queue[-1][0]
    rig.forget()
    for step, (number, throttle) in enumerate(queue):
        if step % 38 == 37:
            counter += 1
            hear(rig, counter, AHEAD, 100, 0)
        hear(rig, number, AHEAD, throttle, 1)
        rig.run_for(0.53)
    assert rig.told("throttle") == []
    assert rig.rows == []
    for step in range(1, 9):  # and that bus is as good as the other one again
        hear(rig, counter + step, AHEAD, 100, 0, 1)
        rig.run_for(20)
    hear(rig, counter + 9, AHEAD, 90, 1)
    assert rig.outputs["throttle"] == 90


@pytest.mark.parametrize("dead_ms", [124, 125])
def test_the_bus_that_is_left_over_gives_the_lever_back_in_time(dead_ms: int) -> None:
    """Bus 0 is cut when bus 1 has only just come back from a long cut: half the control timeout, and the lever counts on."""
    rig = engaged(500)
    counter = rig.counters[LEVER_ID]
    for step in range(1, 31):
        hear(rig, counter + step, AHEAD, 500, 0)
        rig.beat()
        rig.run_for(20)
    counter += 30
    hear(rig, counter - 1, AHEAD, 500, 1)
    hear(rig, counter, AHEAD, 500, 1)  # the second after a gap: it counts there, and it is all there is from now on
    rig.run_for(dead_ms)
    hear(rig, counter + 1, AHEAD, 400, 1)
    assert rig.outputs["throttle"] == (400 if dead_ms == 125 else 500)


@pytest.mark.parametrize("lower_by", [0, 1])
def test_unequal_content_under_one_counter_is_the_lower_thrust(lower_by: int) -> None:
    rig = engaged(500)
    first = rig.counters[LEVER_ID]
    for step in range(1, 30):
        for bus in (0, 1):
            hear(rig, first + step, AHEAD, 200 if bus == lower_by else 500, bus)
    assert rig.outputs["throttle"] == 200


@pytest.mark.parametrize("other", [501, 499])
def test_unequal_copies_of_one_counter_feed_no_timeout(other: int) -> None:
    """Sampling stands still, and one of the two is spoilt above its controller: each copy must not be news to the other."""
    rig = engaged(500)
    counter = rig.counters[LEVER_ID] + 1
    hear(rig, counter, AHEAD, 500, 0)
    last_ns = rig.now_ns
    while rig.now_ns < last_ns + 300 * MS:
        hear(rig, counter, AHEAD, other, 1)
        hear(rig, counter, AHEAD, 500, 0)
        rig.beat()
        rig.run_for(20)
    assert rig.cause == v.CAUSE_LEVER_LOST
    assert [now_ns for now_ns, value in rig.told("throttle") if not value][-1] == last_ns + 250 * MS


def test_unequal_gears_under_one_counter_are_neutral() -> None:
    rig = engaged(0)
    first = rig.counters[LEVER_ID]
    for step in range(1, 4):
        hear(rig, first + step, AHEAD, 0, 0, 1)
    hear(rig, first + 4, AHEAD, 0, 0)
    hear(rig, first + 4, ASTERN, 0, 1)
    assert rig.rows[-1] in (8, 10), "throttle to idle, gear coming out"


def test_on_one_bus_unequal_content_under_one_counter_is_a_duplicate() -> None:
    rig = DriveRig()
    rig.engaged(throttle=500)
    first = rig.counters[LEVER_ID]
    hear(rig, first + 1, AHEAD, 500, 0)
    rig.forget()
    hear(rig, first + 1, NEUTRAL, 0, 0)
    assert not rig.did


def test_a_copy_of_a_claim_is_not_the_second_of_two() -> None:
    rig = DriveRig(small_boat(buses=2))
    rig.wake()
    rig.introduce()
    rig.run_for(2000)
    rig.introduce()
    claim = hand.id_of(hand.CLAIM, WHEELHOUSE)
    data = hand.claim(WHEELHOUSE, rig.counter(claim), 1, wanted=3)
    for bus in (0, 1, 0, 1):
        rig.frame(claim, data, bus)
    assert rig.drive.obeyed == 0
