"""A bus that falls into stretches and is joined again: before, between and in the middle of frames.

Hosts a to d are at 0, 1, 2, 3 m. 7FF without data is 50 bits (golden, reference values); it is accepted 46 bits after its
start. Error frames: Bosch, CAN Specification 2.0, 1991, part A s. 3.1.2: flag 6, delimiter 8, and intermission 3; those who
lose a sender see six equal bits first (s. 5, bit stuffing). What a join in mid-frame does is a model assumption.
"""

from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from busim.seam import ERROR_PASSIVE
from busim.units import MS, SECOND
from tests.unit.small_bus import BIT, SmallBus

LOST_BITS = 6 + 6 + 8 + 3


def heard(small: SmallBus, name: str) -> list[int]:
    return [can_id for _, can_id, _ in small.node(name).heard]


def test_both_sides_go_on_by_themselves_and_nobody_beyond_the_cut_hears() -> None:
    small = SmallBus(4)
    small.cut(0, 1.5)
    small.send(0, "a", 0x7FF)
    small.send(0, "c", 0x7FE)
    small.run(MS)
    # Both start at once: they do not arbitrate with each other.
    assert {(frame[2], frame[4]) for frame in small.frames} == {(0x7FE, 0b1000), (0x7FF, 0b0010)}
    assert (46 * BIT, 0x7FF) in small.accepted
    assert (heard(small, "a"), heard(small, "b")) == ([], [0x7FF])
    assert (heard(small, "c"), heard(small, "d")) == ([], [0x7FE])


def test_healed_they_share_one_bus_again() -> None:
    small = SmallBus(4)
    small.cut(0, 1.5)
    small.heal(MS)
    small.send(MS, "a", 0x7FF)
    small.send(MS, "c", 0x100)
    small.run(2 * MS)
    assert [(frame[2], frame[4]) for frame in small.frames] == [(0x100, 0b1011), (0x7FF, 0b1110)]


def test_a_frame_under_way_reaches_those_on_its_senders_side_on_time_and_nobody_else() -> None:
    small = SmallBus(4)
    small.send(0, "a", 0x7FF)
    small.cut(20 * BIT, 1.5)
    small.run(MS)
    assert small.frames == [(46 * BIT, 0, 0x7FF, b"", 0b0010)]
    assert heard(small, "c") == heard(small, "d") == []
    assert small.node("a").sent == [(47 * BIT, 0x7FF)]


def test_the_side_that_lost_the_sender_signals_an_error_and_goes_on() -> None:
    small = SmallBus(4)
    small.send(0, "a", 0x7FF)
    small.send(1, "c", 0x7FF)
    small.cut(20 * BIT, 1.5)
    assert [small.controller(name).rec for name in "abcd"] == [0, 0, 1, 1]
    small.run(MS)
    assert small.frames[1] == ((20 + LOST_BITS + 46) * BIT, 0, 0x7FF, b"", 0b1000)
    assert small.controller("d").rec == 0, "counted down by a good frame"
    small.send(MS, "d", 0x7FE)
    small.run(2 * MS)
    assert small.controller("c").rec == 0


def test_a_count_of_errors_goes_on_falling_on_a_new_stretch() -> None:
    small = SmallBus(4)
    for name in "cd":
        small.controller(name).rec = 3
    small.cut(0, 1.5)
    for count in range(3):
        small.send(count * MS, "c", 0x7FF)
    small.run(3 * MS)
    assert [small.controller(name).rec for name in "abcd"] == [0, 0, 3, 0]


def test_one_that_starts_in_mid_frame_does_not_hear_it_although_others_are_cut_off_meanwhile() -> None:
    small = SmallBus(4, off="b")
    small.send(0, "a", 0x7FF)
    small.power(10 * BIT, "b", True)
    small.cut(20 * BIT, 2.5)
    small.run(MS)
    assert small.frames == [(46 * BIT, 0, 0x7FF, b"", 0b0100)]


def test_a_sender_cut_off_alone_fails_in_the_same_frame_and_keeps_it() -> None:
    small = SmallBus(4)
    small.send(0, "a", 0x7FF)
    small.cut(20 * BIT, 0.5)
    small.run((37 + 2 + 17) * BIT)
    assert small.controller("a").tec == 8
    small.run(100 * MS)
    assert small.controller("a").state == ERROR_PASSIVE
    small.heal(100 * MS)
    small.run(200 * MS)
    assert [(frame[2], frame[4]) for frame in small.frames] == [(0x7FF, 0b1110)]


def test_a_cut_after_acceptance_changes_nothing_for_that_frame() -> None:
    small = SmallBus(4)
    small.send(0, "a", 0x7FF)
    small.send(1, "c", 0x7FE)
    small.cut(46 * BIT, 1.5)
    small.run(MS)
    assert small.frames[0] == (46 * BIT, 0, 0x7FF, b"", 0b1110)
    assert [small.controller(name).rec for name in "abcd"] == [0, 0, 0, 0]
    whole = SmallBus(4)
    whole.send(50 * BIT, "c", 0x7FE)
    whole.run(MS)
    assert small.frames[1][0] == whole.frames[0][0], "intermission is kept"


def test_the_same_frame_from_both_sides_of_a_later_cut_goes_on_on_both() -> None:
    small = SmallBus(4)
    small.send(0, "a", 0x7FF)
    small.send(0, "c", 0x7FF)
    small.cut(20 * BIT, 1.5)
    small.run(MS)
    assert sorted(small.frames) == [(46 * BIT, 0, 0x7FF, b"", 0b0010), (46 * BIT, 0, 0x7FF, b"", 0b1000)]
    assert small.node("a").sent == small.node("c").sent == [(47 * BIT, 0x7FF)]


def test_joined_while_both_sides_send_both_frames_are_destroyed_and_sent_again() -> None:
    small = SmallBus(4)
    small.cut(0, 1.5)
    small.send(0, "a", 0x7FF, queued=True)
    small.send(5 * BIT, "c", 0x7FE, queued=True)
    small.heal(20 * BIT)
    assert small.frames == []
    small.run((20 + LOST_BITS) * BIT)
    assert [small.controller(name).tec for name in "abcd"] == [8, 0, 8, 0]
    assert [small.controller(name).rec for name in "abcd"] == [0, 1, 0, 1]
    small.run(MS)
    assert [(frame[2], frame[4]) for frame in small.frames] == [(0x7FE, 0b1011), (0x7FF, 0b1110)]
    assert [small.controller(name).tec for name in "abcd"] == [7, 0, 7, 0]


def test_an_idle_side_joined_in_mid_frame_destroys_the_frame_and_it_is_sent_again() -> None:
    small = SmallBus(4)
    small.cut(0, 1.5)
    small.send(0, "a", 0x7FF)
    small.heal(20 * BIT)
    small.run(MS)
    assert small.frames == [((20 + LOST_BITS + 46) * BIT, 0, 0x7FF, b"", 0b1110)]


def test_a_side_without_power_is_joined_without_anybody_noticing() -> None:
    small = SmallBus(4, off="cd")
    small.cut(0, 1.5)
    small.send(0, "a", 0x7FF)
    small.heal(20 * BIT)
    small.run(MS)
    assert small.frames == [(46 * BIT, 0, 0x7FF, b"", 0b0010)]


def test_an_open_drop_and_a_cut_elsewhere_do_not_hold_up_an_idle_stretch() -> None:
    small = SmallBus(4)
    small.cut(0, 0.5)
    small.send(0, "a", 0x7FF)
    small.loop.run(10 * BIT)
    small.bus.wiring.loose.add(3)
    small.bus.look_again(10 * BIT)
    small.send(10 * BIT, "b", 0x7FF)
    small.run(MS)
    assert small.frames[0] == (56 * BIT, 0, 0x7FF, b"", 0b0100)


def test_what_waits_on_either_side_is_not_lost_by_cutting_and_healing_again_and_again() -> None:
    small = SmallBus(4)
    for at_ns, name in enumerate("abcd"):
        for count in range(5):
            small.send(at_ns, name, 0x100 + 0x100 * at_ns, bytes([count]), queued=True)
    at_ns = 0
    while at_ns < 20 * MS:
        at_ns += 37 * BIT
        small.cut(at_ns, 1.5)
        at_ns += 91 * BIT
        small.heal(at_ns)
    small.run(SECOND)
    expected = sorted((can_id, bytes([count])) for can_id in (0x100, 0x200, 0x300, 0x400) for count in range(5))
    assert sorted((frame[2], frame[3]) for frame in small.frames) == expected


moments = st.integers(min_value=0, max_value=2000 * BIT)


@settings(max_examples=60, deadline=None)
@given(
    sends=st.lists(st.tuples(moments, st.sampled_from("abcde"), st.binary(max_size=8)), max_size=15),
    changes=st.lists(st.tuples(moments, st.sampled_from([0.5, 1.5, 2.5, 3.5, None])), max_size=6),
)
def test_every_queued_frame_arrives_exactly_once_whatever_is_cut_and_healed(
    sends: list[tuple[int, str, bytes]], changes: list[tuple[int, float | None]]
) -> None:
    """On a bus that is whole in the end. Each sender has an id of its own, so nothing collides."""
    small = SmallBus(5)
    steps: list[tuple[int, int, int, Any]] = [(at_ns, 0, number, (name, data)) for number, (at_ns, name, data) in enumerate(sends)]
    steps += [(at_ns, 1, number, at_m) for number, (at_ns, at_m) in enumerate(changes)]
    for at_ns, kind, number, step in sorted(steps, key=lambda step: step[:3]):
        if kind == 0:
            small.send(at_ns, step[0], 0x100 + ord(step[0]), bytes([number]) + step[1][:7], queued=True)
        elif step is None:
            small.heal(at_ns)
        else:
            small.cut(at_ns, step)
        cuts = tuple(small.bus.wiring.cuts_m)
        for frame in small.frames:
            assert frame[4]
        assert len(small.bus.segments) == 1 + len(set(cuts))
    small.heal(3000 * BIT)
    small.run(10 * SECOND)
    assert sorted(frame[3] for frame in small.frames) == sorted(bytes([n]) + data[:7] for n, (_, _, data) in enumerate(sends))
    for segment in small.bus.segments:
        assert segment.contenders == []
        assert not segment.busy
