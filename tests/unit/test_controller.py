"""A CAN controller: error counters and states, mailboxes and queues.

Counters after Bosch, CAN Specification 2.0, 1991, part A s. 8. Mailboxes and queues are the seam's own words (`busim.seam`).
A second model of a bus to hold them against is in `test_plain_bus`, one of the error counts in `test_error_counts`.
"""

import pytest

from busim.bus.controller import FIRST_IN_FIRST_OUT, Controller
from busim.seam import BUS_OFF, ERROR_ACTIVE, ERROR_PASSIVE
from busim.units import MS, SECOND
from tests.unit.small_bus import BIT, SmallBus


def controller() -> Controller:
    return SmallBus(1).controller("a")


# ------------------------------------------------------------------------------------------------ counters


@pytest.mark.parametrize(
    ("tec", "rec", "state"),
    [
        (0, 0, ERROR_ACTIVE),
        (127, 127, ERROR_ACTIVE),
        (128, 0, ERROR_PASSIVE),
        (0, 128, ERROR_PASSIVE),
        (255, 0, ERROR_PASSIVE),
        (256, 0, BUS_OFF),
    ],
)
def test_states_by_counters(tec: int, rec: int, state: int) -> None:
    """Rule 9: passive from 128 of either counter; rule 10: bus-off from a transmit count of 256; rule 11: active below 128."""
    one = controller()
    one.tec, one.rec = tec, rec
    one._settle()
    assert one.state == state


def test_a_transmission_error_counts_8_a_good_transmission_takes_1_and_not_below_0() -> None:
    """Rules 3 and 7."""
    one = controller()
    assert one.transmit_error(acknowledgement=True) is False
    assert one.tec == 8
    for left in (7, 6, 5, 4, 3, 2, 1, 0, 0):
        one.transmitted()
        assert one.tec == left


def test_passive_at_the_16th_failure_and_active_again_below_128() -> None:
    one = controller()
    assert [one.transmit_error(acknowledgement=False) for _ in range(16)] == [False] * 15 + [True]
    assert one.state == ERROR_PASSIVE
    assert one.transmitted() is True
    assert (one.tec, one.state) == (127, ERROR_ACTIVE)


def test_bus_off_at_the_32nd_failure() -> None:
    one = controller()
    changes = [one.transmit_error(acknowledgement=False) for _ in range(32)]
    assert [count for count, changed in enumerate(changes, start=1) if changed] == [16, 32]
    assert (one.tec, one.state) == (256, BUS_OFF)


def test_an_acknowledgement_error_of_a_passive_transmitter_does_not_count() -> None:
    """Rule 3, exception 1; also where it is passive through its receive count."""
    one = controller()
    for _ in range(100):
        one.transmit_error(acknowledgement=True)
    assert one.tec == 128
    other = controller()
    other.rec = 128
    other._settle()
    other.transmit_error(acknowledgement=True)
    assert other.tec == 0


def test_receive_errors_count_1_or_8_and_make_passive_but_never_bus_off() -> None:
    """Rules 1 and 2."""
    one = controller()
    one.receive_error()
    one.receive_error(8)
    assert one.rec == 9
    for _ in range(300):
        one.receive_error(8)
    assert one.state == ERROR_PASSIVE


def test_good_reception_takes_1_and_from_above_127_sets_it_between_119_and_127() -> None:
    """Rule 8."""
    one = controller()
    one.rec = 127
    one.received()
    assert one.rec == 126
    one.rec = 200
    one._settle()
    assert one.received() is True
    assert 119 <= one.rec <= 127


# ------------------------------------------------------------------------------------------------ mailboxes


def waiting(small: SmallBus) -> list[tuple[int, bytes]]:
    return [(request[0], request[3]) for request in small.controller("a").pending]


def test_a_mailbox_holds_the_newest_frame_of_its_id_and_a_queue_holds_all() -> None:
    small = SmallBus(2)
    small.send(0, "b", 0x000, bytes(8))
    for count in range(1, 4):
        small.send(count, "a", 0x100, bytes([count]))
        small.send(count, "a", 0x200, bytes([count]), queued=True)
    small.run(5 * MS)
    assert [(frame[2], frame[3]) for frame in small.frames[1:]] == [(0x100, b"\3"), (0x200, b"\1"), (0x200, b"\2"), (0x200, b"\3")]


def test_a_mailbox_is_overwritten_when_the_new_frame_is_ready_and_not_before() -> None:
    """With a processing delay the new data are not there yet: until then the old frame may go out."""
    small = SmallBus(2, delay_ns=100 * BIT)
    small.send(0, "b", 0x000)  # ready at 100 bits, over at 153
    small.send(60 * BIT, "a", 0x7FF, b"\1")  # ready at 160
    small.send(150 * BIT, "a", 0x7FF, b"\2")  # ready at 250
    small.run(MS * 3)
    assert [frame[3] for frame in small.frames[1:]] == [b"\1", b"\2"]


def test_a_processing_delay_longer_than_the_period_delays_and_does_not_silence() -> None:
    small = SmallBus(2, delay_ns=25 * MS)
    for count in range(10):
        small.send(count * 20 * MS, "a", 0x7FF, bytes([count]), drop_ns=20 * MS)
    small.run(SECOND)
    assert [frame[3] for frame in small.frames] == [bytes([count]) for count in range(10)]


def test_a_frame_in_flight_is_not_overwritten_and_a_newer_one_follows_it() -> None:
    small = SmallBus(2)
    small.send(0, "a", 0x7FF, b"\1")
    small.send(10, "a", 0x7FF, b"\2")
    small.run(MS)
    assert [frame[3] for frame in small.frames] == [b"\1", b"\2"]


def test_a_mailbox_keeps_its_place_in_a_first_in_first_out_queue() -> None:
    small = SmallBus(2, queue=FIRST_IN_FIRST_OUT)
    small.send(0, "b", 0x000, bytes(8))
    small.send(1, "a", 0x200, b"\1")
    small.send(2, "a", 0x300)
    small.send(3, "a", 0x200, b"\2")
    small.run(MS)
    assert [(frame[2], frame[3]) for frame in small.frames[1:]] == [(0x200, b"\2"), (0x300, b"")]


def test_a_frame_that_waits_longer_than_it_may_is_dropped_unsent() -> None:
    small = SmallBus(2)
    small.send(0, "b", 0x000, bytes(8))  # golden: 127 bits
    small.send(1, "a", 0x100, drop_ns=100 * BIT)
    small.send(1, "a", 0x101, drop_ns=200 * BIT)
    small.run(MS)
    assert [can_id for _, can_id in small.accepted] == [0x000, 0x101]
    assert waiting(small) == []


@pytest.mark.parametrize("state", ["off", "bus-off"])
def test_what_is_handed_to_a_controller_that_is_not_on_the_bus_is_gone(state: str) -> None:
    small = SmallBus(2)
    if state == "off":
        small.power(0, "a", False)
    else:
        small.controller("a").listening = False
    small.send(1, "a", 0x100)
    assert waiting(small) == []
    small.run(MS)
    assert small.frames == []


def test_reset_empties_the_queue_and_the_counters() -> None:
    small = SmallBus(1)
    small.send(0, "a", 0x100)
    small.send(0, "a", 0x200)
    small.run(50 * MS)
    small.hosts["a"].reset(50 * MS, 1)
    small.run(51 * MS)
    one = small.controller("a")
    assert (one.tec, one.rec, one.state, one.pending, one.listening) == (0, 0, ERROR_ACTIVE, [], True)
    assert small.bus.segments[0].contenders == []
