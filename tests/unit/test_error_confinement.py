"""Errors on the bus and what they cost: error frames, error counters, error passive, bus-off, power lost in mid-frame.

Source: Bosch, CAN Specification 2.0, 1991, part A, s. 3.1.2 (error frame: flag of 6 bits, delimiter of 8), s. 3.1.5 (3 bits
of intermission, suspend transmission 8), s. 8 (fault confinement, rules 3 and 7). Lengths of frames are golden (reference
values): 7FF without data is 50 bits, of which 13 are the tail from the CRC delimiter on, so 37 bits up to the end of its CRC.
"""

import pytest

from busim.seam import BUS_OFF, ERROR_ACTIVE, ERROR_PASSIVE
from busim.units import MS, SECOND
from tests.unit.small_bus import BIT, SmallBus

ALONE_BITS = 37 + 2 + 6 + 8 + 3
"""7FF that nobody acknowledges: up to the CRC, CRC delimiter and ACK slot, error flag, delimiter, intermission."""
SUSPEND_BITS = 8


def controller_events(small: SmallBus) -> list[tuple[int, str, int, int, int]]:
    """(moment, node, state, tec, rec) as written down."""
    return [(event[0], event[3], event[5], event[6], event[7]) for event in small.events("controller")]


# ------------------------------------------------------------------------------------------------ a sender alone


def test_a_sender_alone_counts_8_for_every_failure_and_is_passive_after_16() -> None:
    small = SmallBus(1)
    small.send(0, "a", 0x7FF)
    for failures in range(1, 17):
        small.run(failures * ALONE_BITS * BIT - 1)
        assert small.controller("a").tec == 8 * (failures - 1)
        small.run(failures * ALONE_BITS * BIT)
        assert small.controller("a").tec == 8 * failures
        assert small.controller("a").state == (ERROR_PASSIVE if failures == 16 else ERROR_ACTIVE)
    assert controller_events(small) == [(16 * ALONE_BITS * BIT, "a", ERROR_PASSIVE, 128, 0)]
    assert small.node("a").states == [ERROR_PASSIVE]


def test_it_stays_at_128_for_ever_and_never_goes_bus_off() -> None:
    """Rule 3, exception 1: an acknowledgement error of an error passive transmitter does not count."""
    small = SmallBus(1)
    small.send(0, "a", 0x7FF, drop_ns=10 * SECOND)
    small.run(2 * SECOND)
    assert (small.controller("a").tec, small.controller("a").state) == (128, ERROR_PASSIVE)
    assert small.frames == []
    assert len(small.controller("a").pending) + small.controller("a").segment.busy == 1


def test_once_another_node_is_there_its_frame_goes_through_and_it_is_active_again() -> None:
    """It is still sending, suspended 8 bits after each failure; the next attempt after the other has started is acknowledged.
    A frame under way at that moment is not: the other node has heard only its end."""
    small = SmallBus(2, off="b")
    small.send(0, "a", 0x7FF, drop_ns=10 * SECOND)
    active_part = 16 * ALONE_BITS * BIT
    period = (ALONE_BITS + SUSPEND_BITS) * BIT
    third_passive_start = active_part + SUSPEND_BITS * BIT + 2 * period
    small.power(third_passive_start + 10 * BIT, "b", True)
    small.run(SECOND)
    accepted_ns = third_passive_start + period + 46 * BIT
    assert small.frames == [(accepted_ns, 0, 0x7FF, b"", 0b10)]
    assert controller_events(small)[1:] == [(accepted_ns, "a", ERROR_ACTIVE, 127, 0)]
    assert small.node("b").heard == [(accepted_ns - small.hosts["b"].on_ns, 0x7FF, b"")]


def test_the_order_of_what_waits_is_kept_through_failures() -> None:
    for queue, order in ((0, [0x100, 0x200, 0x300]), (1, [0x200, 0x300, 0x100])):
        small = SmallBus(2, off="b", queue=queue)
        for at_ns, can_id in enumerate((0x200, 0x300, 0x100)):
            small.send(at_ns, "a", can_id)
        small.power(20 * MS, "b", True)
        small.run(SECOND)
        assert [can_id for _, can_id in small.accepted] == order


def test_a_frame_that_failed_is_not_sent_once_its_mailbox_is_overwritten() -> None:
    small = SmallBus(2, off="b")
    small.send(0, "a", 0x7FF, b"\x01")
    small.send(5 * MS, "a", 0x7FF, b"\x02")
    small.power(20 * MS, "b", True)
    small.run(SECOND)
    assert [frame[3] for frame in small.frames] == [b"\x02"]


def test_frames_that_were_queued_are_all_sent_although_the_first_failed() -> None:
    small = SmallBus(2, off="b")
    for at_ns in range(3):
        small.send(at_ns, "a", 0x7FF, bytes([at_ns]), queued=True)
    small.power(20 * MS, "b", True)
    small.run(SECOND)
    assert [frame[3] for frame in small.frames] == [b"\0", b"\1", b"\2"]


@pytest.mark.parametrize(("drop_ms", "arrives"), [(19, False), (22, True)])
def test_what_grows_too_old_while_nobody_acknowledges_is_dropped(drop_ms: int, arrives: bool) -> None:
    small = SmallBus(2, off="b")
    small.send(0, "a", 0x7FF, drop_ns=drop_ms * MS)
    small.power(20 * MS, "b", True)
    small.run(SECOND)
    assert bool(small.frames) is arrives
    assert small.controller("a").pending == []


def test_an_error_passive_sender_gives_way_for_eight_bits_to_a_less_urgent_frame() -> None:
    """Suspend transmission, s. 3.1.5: having sent, it waits 8 bits after intermission; another that starts meanwhile goes on."""
    small = SmallBus(3)
    small.controller("a").tec = 140
    small.controller("a")._settle()
    small.send(0, "a", 0x001)
    small.send(1, "a", 0x002, queued=True)
    small.run(MS)
    gap_bits = (small.accepted[1][0] - small.accepted[0][0]) // BIT
    active = SmallBus(3)
    active.send(0, "a", 0x001)
    active.send(1, "a", 0x002, queued=True)
    active.run(MS)
    assert gap_bits == (active.accepted[1][0] - active.accepted[0][0]) // BIT + SUSPEND_BITS

    small.send(MS, "a", 0x001)
    small.send(MS + 1, "a", 0x002, queued=True)
    small.send(MS + 2, "b", 0x700)
    small.run(2 * MS)
    assert [can_id for _, can_id in small.accepted][2:] == [0x001, 0x700, 0x002]


def test_so_does_one_that_sent_the_same_frame_as_another_at_the_same_time() -> None:
    small = SmallBus(3)
    small.controller("b").tec = 140
    small.controller("b")._settle()
    small.send(0, "a", 0x7FF)
    small.send(0, "b", 0x7FF)
    small.send(1, "b", 0x7FF, queued=True)
    small.run(MS)
    assert [moment for moment, _ in small.accepted] == [46 * BIT, (50 + SUSPEND_BITS + 46) * BIT]


# ------------------------------------------------------------------------------------------------ two senders of one id


COLLISION_BITS = 21 + 6 + 6 + 8 + 3
"""Id 555, data 00 against 80. SOF 0, id 10101010101, then RTR, IDE, r0 and two bits of the DLC make five zeros and a stuff
bit, then 01: 20 bits, and the first data bit differs. Flag, the flags of those who see six equal bits, delimiter, intermission."""


def test_the_same_id_with_other_data_fails_every_time_until_both_are_bus_off_after_32() -> None:
    small = SmallBus(3)
    small.send(0, "a", 0x555, b"\x00")
    small.send(0, "b", 0x555, b"\x80")
    small.run(SECOND)
    assert small.frames == []
    passive_ns = 16 * COLLISION_BITS * BIT
    off_ns = passive_ns + 16 * (SUSPEND_BITS + COLLISION_BITS) * BIT
    states = [(moment, node, state, tec) for moment, node, state, tec, _ in controller_events(small)]
    assert states == [
        (passive_ns, "a", ERROR_PASSIVE, 128),
        (passive_ns, "b", ERROR_PASSIVE, 128),
        (off_ns, "a", BUS_OFF, 256),
        (off_ns, "b", BUS_OFF, 256),
    ]
    assert small.controller("c").rec == 32, "a receiver counts one for each"
    assert not small.controller("a").listening
    small.send(SECOND, "a", 0x100)
    small.send(SECOND, "c", 0x200)
    small.run(SECOND + MS)
    assert small.frames == [], "bus-off is off: it neither sends nor acknowledges"


def test_a_receiver_counts_down_by_one_with_each_good_frame() -> None:
    """Rule 8: received well, the receive error count goes down by 1."""
    small = SmallBus(4)
    small.send(0, "a", 0x555, b"\x00", drop_ns=7 * COLLISION_BITS * BIT // 2)
    small.send(0, "b", 0x555, b"\x80", drop_ns=7 * COLLISION_BITS * BIT // 2)
    small.run(MS)
    assert [small.controller(name).rec for name in "abcd"] == [0, 0, 4, 4]
    for count in range(3):
        small.send(MS * (1 + count), "a", 0x7FF)
    small.run(10 * MS)
    assert [small.controller(name).rec for name in "abcd"] == [0, 0, 1, 1]
    assert small.controller("a").tec == 4 * 8 - 3, "a transmitter counts down too (rule 7)"


# ------------------------------------------------------------------------------------------------ power lost in mid-frame


def test_a_sender_that_loses_power_in_mid_frame_leaves_an_error_frame_behind() -> None:
    """The others see six equal bits, answer with flags, delimiter and intermission: 6 + 6 + 8 + 3 bits."""
    small = SmallBus(3)
    small.send(0, "a", 0x7FF)
    small.send(1, "b", 0x100)
    small.power(20 * BIT, "a", False)
    small.run(MS)
    assert [can_id for _, can_id in small.accepted] == [0x100]
    assert controller_events(small) == []
    assert small.controller("c").rec == 0, "counted up by the error and down by the frame after it"
    alone = SmallBus(3, off="a")
    alone.send((20 + 6 + 6 + 8 + 3) * BIT, "b", 0x100)
    alone.run(MS)
    assert small.frames == [(*alone.frames[0][:4], 0b100)]


def test_of_two_that_send_the_same_frame_one_may_lose_power() -> None:
    small = SmallBus(3)
    small.send(0, "a", 0x7FF)
    small.send(0, "b", 0x7FF)
    small.power(20 * BIT, "a", False)
    small.run(MS)
    assert small.frames == [(46 * BIT, 0, 0x7FF, b"", 0b100)]
    assert small.node("b").sent == [(47 * BIT, 0x7FF)]


def test_a_colliding_sender_that_loses_power_lets_the_other_go_on() -> None:
    small = SmallBus(3)
    small.send(0, "a", 0x555, b"\x00")
    small.send(0, "b", 0x555, b"\x80")
    small.power(25 * BIT, "a", False)
    small.run(MS)
    assert [(frame[2], frame[3]) for frame in small.frames] == [(0x555, b"\x80")]
    assert small.frames[0][0] > COLLISION_BITS * BIT


def test_where_all_who_collided_lose_power_their_error_frame_ends_when_it_would_have() -> None:
    small = SmallBus(4)
    small.send(0, "a", 0x555, b"\x00")
    small.send(0, "b", 0x555, b"\x80")
    small.power(25 * BIT, "a", False)
    small.power(30 * BIT, "b", False)
    small.send(31 * BIT, "c", 0x7FF)
    small.run(MS)
    assert small.accepted == [((COLLISION_BITS + 46) * BIT, 0x7FF)]
    assert small.controller("c").rec == 1


def test_a_node_that_heard_only_the_end_of_an_unanswered_frame_counts_nothing_when_its_sender_goes() -> None:
    small = SmallBus(2, off="b")
    small.send(0, "a", 0x7FF)
    small.power(20 * BIT, "b", True)
    small.power(25 * BIT, "a", False)
    small.run(MS)
    assert small.controller("b").rec == 0


def test_without_its_only_receiver_a_frame_fails_as_if_it_had_been_alone_from_the_start() -> None:
    small = SmallBus(2)
    small.send(0, "a", 0x7FF)
    small.power(20 * BIT, "b", False)
    small.run(ALONE_BITS * BIT - 1)
    assert small.frames == []
    assert small.controller("a").tec == 0
    small.run(ALONE_BITS * BIT)
    assert small.controller("a").tec == 8
    small.power(SECOND, "b", True)
    small.run(2 * SECOND)
    assert len(small.frames) == 0, "its second is over"


def test_a_sender_alone_that_loses_power_leaves_an_idle_bus() -> None:
    small = SmallBus(2, off="b")
    small.send(0, "a", 0x7FF)
    small.power(MS, "a", False)
    small.power(2 * MS, "b", True)
    small.power(3 * MS, "a", True)
    small.send(4 * MS, "a", 0x100)
    small.run(SECOND)
    assert [can_id for _, can_id in small.accepted] == [0x100]
    assert small.controller("a").tec == 0


def test_power_back_within_the_same_frame_brings_nothing_of_it_back() -> None:
    small = SmallBus(1)
    small.send(0, "a", 0x7FF)
    small.power(40 * BIT, "a", False)
    small.power(41 * BIT, "a", True)
    small.run(MS)
    assert (small.controller("a").tec, small.controller("a").pending, small.frames) == (0, [], [])


def test_a_node_that_starts_in_mid_frame_hears_from_the_next_frame_on() -> None:
    small = SmallBus(3, off="c")
    small.send(0, "a", 0x7FF)
    small.send(1, "a", 0x7FF, queued=True)
    small.power(45 * BIT, "c", True)
    small.run(MS)
    assert [frame[4] for frame in small.frames] == [0b010, 0b110]
    assert len(small.node("c").heard) == 1
    small.send(MS, "a", 0x7FF)
    small.run(2 * MS)
    assert small.frames[2][4] == 0b110


# ------------------------------------------------------------------------------------------------ dead transceivers


def test_a_dead_transmitter_goes_bus_off_and_disturbs_nobody() -> None:
    """It reads back a recessive bit where it sent SOF: a bit error (s. 7), each adding 8, 32 of them bus-off."""
    small = SmallBus(3)
    small.bus.wiring.dumb.add(0)
    small.bus.look_again(0)
    small.send(0, "a", 0x001)
    small.send(0, "b", 0x7FF)
    small.send(1, "b", 0x7FF, queued=True)
    small.run(SECOND)
    assert [(frame[0], frame[2], frame[4]) for frame in small.frames] == [(46 * BIT, 0x7FF, 0b101), (96 * BIT, 0x7FF, 0b101)]
    assert [event[1:4] for event in controller_events(small)] == [("a", ERROR_PASSIVE, 128), ("a", BUS_OFF, 256)]
    assert small.controller("b").rec == small.controller("c").rec == 0


def test_a_dead_transmitter_tries_again_after_its_flag_its_delimiter_and_intermission() -> None:
    """One bit of SOF, 6 + 8 + 3; once passive, 8 more."""
    small = SmallBus(1)
    small.bus.wiring.dumb.add(0)
    small.bus.look_again(0)
    small.send(0, "a", 0x001)
    small.run(SECOND)
    passive_ns = 15 * (1 + 6 + 8 + 3) * BIT
    off_ns = passive_ns + 16 * (1 + 6 + 8 + 3 + SUSPEND_BITS) * BIT
    assert [(event[0], event[2]) for event in controller_events(small)] == [(passive_ns, ERROR_PASSIVE), (off_ns, BUS_OFF)]


def test_a_dead_transmitter_with_the_id_of_another_leaves_the_other_in_peace() -> None:
    small = SmallBus(3)
    small.bus.wiring.dumb.add(0)
    small.bus.look_again(0)
    small.send(0, "a", 0x7FF, b"\x01")
    small.send(0, "b", 0x7FF, b"\x02")
    small.run(SECOND)
    assert [frame[3] for frame in small.frames] == [b"\x02"]
    assert small.controller("a").state == BUS_OFF


def test_a_dead_receiver_can_send_nothing_but_error_flags_until_it_is_bus_off() -> None:
    small = SmallBus(3)
    small.bus.wiring.deaf.add(0)
    small.bus.look_again(0)
    small.send(0, "a", 0x001)
    small.send(0, "b", 0x7FF)
    small.run(SECOND)
    assert [(frame[2], frame[4]) for frame in small.frames] == [(0x7FF, 0b100)]
    assert small.controller("a").state == BUS_OFF
    assert small.controller("c").rec > 0
