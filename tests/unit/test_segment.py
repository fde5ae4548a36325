"""One stretch of bus: exact moments of frames, and arbitration.

Sources, named beside the checks: Bosch, CAN Specification 2.0, 1991, part A: s. 3.1.1 (frame format, interframe space), s. 5
(bit stuffing), s. 6 (frame validation), s. 2 "arbitration". Golden frame lengths: the project's reference values (computed
from the same text, and checked against two oracles in `test_frames`). Times are at 250 kbit/s, 4,000 ns a bit, where no other
rate is named.
"""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busim.bus.controller import FIRST_IN_FIRST_OUT
from busim.seam import NOTHING, SEND, Actions
from busim.units import MS, SECOND
from tests.unit.small_bus import BIT, Listener, SmallBus

GOLDEN = [
    # id, data, bits from SOF to the end of intermission
    (0x000, "", 53),
    (0x7FF, "", 50),
    (0x123, "01 02 03 04 05 06 07 08", 119),
    (0x000, "00 00 00 00 00 00 00 00", 127),
    (0x7FF, "FF FF FF FF FF FF FF FF", 126),
]
INTERMISSION = 3


class Answering(Listener):
    """Answers 7FF with 0FF."""

    __slots__ = ()

    def hear(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        super().hear(now_ns, bus, can_id, data)
        return ((SEND, 0, 0x0FF, b"", SECOND),) if can_id == 0x7FF else NOTHING


@pytest.mark.parametrize("bit_rate", [10_000, 125_000, 250_000, 500_000, 800_000, 1_000_000])
@pytest.mark.parametrize(("can_id", "text", "bits"), GOLDEN)
def test_receivers_accept_one_bit_before_the_transmitter_and_the_next_starts_after_intermission(
    can_id: int, text: str, bits: int, bit_rate: int
) -> None:
    """Bosch 2.0 part A s. 6: valid for receivers at the last but one bit of EOF, for the transmitter at the end of EOF.
    S. 3.1.1: intermission is 3 bits."""
    bit_ns = SECOND // bit_rate
    data = bytes.fromhex(text)
    began_ns = 1_234_567
    small = SmallBus(bit_rate=bit_rate)
    small.send(began_ns, "a", can_id, data)
    small.send(began_ns + 1, "b", 0x7F0)  # is ready during the frame, so it starts when the bus is free
    small.run(began_ns + SECOND)
    transmitter_end_ns = began_ns + (bits - INTERMISSION) * bit_ns
    at_ns, bus, seen_id, seen_data, mask = small.frames[0]
    assert (at_ns, bus, seen_id, seen_data) == (transmitter_end_ns - bit_ns, 0, can_id, data)
    assert mask == 0b110, "everybody but the sender accepted it"
    assert small.node("b").heard == [(transmitter_end_ns - bit_ns, can_id, data)]
    assert small.node("a").heard[0][1] == 0x7F0, "a sender does not receive its own frame"
    assert small.node("a").sent == [(transmitter_end_ns, can_id)]
    alone = SmallBus(bit_rate=bit_rate)
    alone.send(0, "b", 0x7F0)
    alone.run(SECOND)
    assert small.frames[1][0] - alone.frames[0][0] == began_ns + bits * bit_ns


def test_frames_back_to_back_take_the_sum_of_their_lengths() -> None:
    small = SmallBus()
    for can_id, text, _ in GOLDEN:
        small.send(0, "a", can_id, bytes.fromhex(text), queued=True)
    small.run(SECOND)
    # By id, and of equal ids the one queued first (the controller's own order, not the specification's).
    lengths = [53, 127, 119, 50, 126]
    ends = [sum(lengths[: count + 1]) * BIT for count in range(5)]
    assert [moment + (1 + INTERMISSION) * BIT for moment, _ in small.accepted] == ends


def test_the_lowest_id_of_all_that_are_ready_wins() -> None:
    """Bosch 2.0 part A s. 2: the identifier with the lowest binary number has the highest priority."""
    small = SmallBus(5)
    for name, can_id in [("a", 0x300), ("b", 0x2FF), ("c", 0x7FF), ("d", 0x001), ("e", 0x2FE)]:
        small.send(0, name, can_id)
    small.run(SECOND)
    assert [can_id for _, can_id in small.accepted] == [0x001, 0x2FE, 0x2FF, 0x300, 0x7FF]


@pytest.mark.parametrize(("late_ns", "order"), [(0, [0x100, 0x7FF]), (1, [0x7FF, 0x100])])
def test_a_request_at_the_start_bit_takes_part_and_one_a_nanosecond_later_waits(late_ns: int, order: list[int]) -> None:
    """Bosch 2.0 part A s. 2: whenever the bus is free, any unit may start; who starts at the same time arbitrates."""
    small = SmallBus()
    small.send(1000, "b", 0x7FF)
    small.send(1000 + late_ns, "a", 0x100)
    small.run(SECOND)
    assert [can_id for _, can_id in small.accepted] == order


@pytest.mark.parametrize(("late_ns", "order"), [(0, [0x7FF, 0x100, 0x200]), (1, [0x7FF, 0x200, 0x100])])
def test_the_same_holds_in_the_bit_after_intermission(late_ns: int, order: list[int]) -> None:
    small = SmallBus()
    small.send(0, "b", 0x7FF)  # golden: 50 bits
    small.send(1, "c", 0x200)
    small.send(50 * BIT + late_ns, "a", 0x100)
    small.run(SECOND)
    assert [can_id for _, can_id in small.accepted] == order


def test_a_handler_that_answers_at_once_is_in_time_for_the_next_start() -> None:
    small = SmallBus(kind=Answering)
    small.send(0, "a", 0x7FF)
    small.send(1, "c", 0x500)  # waits for the bus; the answer has the lower id
    small.run(MS)
    assert [can_id for _, can_id in small.accepted][:3] == [0x7FF, 0x0FF, 0x500]


def test_processing_delay_makes_a_request_ready_later() -> None:
    small = SmallBus(delay_ns=200_000)
    small.send(1_000, "a", 0x7FF)
    small.run(MS)
    assert small.accepted == [(201_000 + (50 - 4) * BIT, 0x7FF)]


def test_a_queue_by_priority_sends_its_lowest_id_and_a_first_in_first_out_queue_its_oldest() -> None:
    for queue, order in [(0, [0x400, 0x100, 0x200, 0x300]), (FIRST_IN_FIRST_OUT, [0x400, 0x300, 0x200, 0x100])]:
        small = SmallBus(queue=queue)
        small.send(0, "b", 0x400)
        for at_ns, can_id in enumerate((0x300, 0x200, 0x100), start=1):
            small.send(at_ns, "a", can_id)
        small.run(MS)
        assert [can_id for _, can_id in small.accepted] == order


def test_behind_a_first_in_first_out_queue_an_urgent_frame_loses_to_a_less_urgent_one_of_another_node() -> None:
    small = SmallBus(queue=FIRST_IN_FIRST_OUT)
    small.send(0, "c", 0x7FF)
    small.send(1, "a", 0x600)
    small.send(2, "a", 0x001)
    small.send(3, "b", 0x500)
    small.run(MS)
    assert [can_id for _, can_id in small.accepted] == [0x7FF, 0x500, 0x600, 0x001]


def test_the_same_frame_from_two_nodes_at_once_is_one_frame_on_the_wire() -> None:
    """No bit differs, so neither sees an error; both have sent it, and neither receives it."""
    small = SmallBus(4)
    for at_ns, names in ((0, "ab"), (MS, "a"), (2 * MS, "ab"), (3 * MS, "a")):
        for name in names:
            small.send(at_ns, name, 0x7FF)
    small.run(4 * MS)
    assert [frame[0] for frame in small.frames] == [at_ms * MS + 46 * BIT for at_ms in range(4)]
    assert [frame[4] for frame in small.frames] == [0b1100, 0b1110, 0b1100, 0b1110], "alone, the other one receives it again"
    assert small.node("b").sent == [(47 * BIT, 0x7FF), (2 * MS + 47 * BIT, 0x7FF)]
    assert [len(small.node(name).heard) for name in "abcd"] == [0, 2, 4, 4]


def test_two_alone_that_send_the_same_frame_at_once_get_no_acknowledgement() -> None:
    """Only a receiver acknowledges (Bosch 2.0 part A s. 3.1.1, ACK field): two transmitters are no receiver."""
    small = SmallBus(2)
    small.send(0, "a", 0x7FF)
    small.send(0, "b", 0x7FF)
    small.run(MS)
    assert small.frames == []
    assert small.controller("a").tec == small.controller("b").tec > 0


def test_nodes_that_do_not_want_an_id_acknowledge_it_all_the_same() -> None:
    """Bosch 2.0 part A s. 3.1.1: all stations that received the matching CRC acknowledge, whatever their filters say."""
    small = SmallBus(2)
    small.hosts["b"].handlers = {}
    small.send(0, "a", 0x7FF)
    small.run(MS)
    assert small.frames == [(46 * BIT, 0, 0x7FF, b"", 0b10)]
    assert small.node("b").heard == []


@settings(max_examples=60, deadline=None)
@given(
    ids=st.lists(st.integers(min_value=0, max_value=0x7FF), min_size=1, max_size=6, unique=True),
    data=st.lists(st.binary(max_size=8), min_size=6, max_size=6),
)
def test_what_is_ready_at_once_goes_out_in_order_of_ids_without_a_gap(ids: list[int], data: list[bytes]) -> None:
    small = SmallBus(7)
    for name, can_id, payload in zip("abcdef", ids, data, strict=False):
        small.send(0, name, can_id, payload)
    small.run(SECOND)
    assert [frame[2] for frame in small.frames] == sorted(ids)
    alone = {}
    for can_id, payload in zip(ids, data, strict=False):
        other = SmallBus(2)
        other.send(0, "a", can_id, payload)
        other.run(SECOND)
        alone[can_id] = other.frames[0][0] + 4 * BIT
    ends = [frame[0] + 4 * BIT for frame in small.frames]
    assert ends == [sum(alone[can_id] for can_id in sorted(ids)[: count + 1]) for count in range(len(ids))]
