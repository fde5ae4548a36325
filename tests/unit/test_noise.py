"""Bits that are hit: who finds it out at which bit, how long the error lasts, who counts what, who gets a frame twice.

Source: Bosch, CAN Specification 2.0, 1991, part A: s. 3.1.2 (error flag 6 bits, laid over one another at most 12; delimiter 8),
s. 3.1.5 (intermission 3), s. 5 (stuffing), s. 6 (valid for receivers from the last but one bit of EOF, for the sender from the
last), s. 7 (errors and when they are signalled), s. 8 (rules 1 to 3). 7FF without data is 50 bits (golden, reference values):
37 up to the end of its CRC, then CRC delimiter 37, ACK slot 38, ACK delimiter 39, EOF 40 to 46, intermission 47 to 49.
Its first bits are 0 (SOF), 11111 0 (stuff) 11111 0 (stuff) 1, then RTR, IDE, r0.
"""

from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busim.bus.noise import Disturbance, HitBit, Noise
from busim.bus.reception import NO_ERROR_FOUND, TAIL, error_found_at
from busim.bus.segment import Segment
from busim.frames.layout import wire_bits
from busim.seam import BUS_OFF, ERROR_PASSIVE
from busim.units import MS, SECOND
from tests.unit.small_bus import BIT, SmallBus

ACCEPT_BITS = 46
AFTER_FLAGS_BITS = 8 + 3


class Once(Disturbance):
    """Hits one bit of the first frame."""

    __slots__ = ("bit", "done")

    def __init__(self, bit: int, places: str = "") -> None:
        super().__init__(frozenset(ord(name) - ord("a") for name in places) or None)
        self.bit = bit
        self.done = False

    def in_frame(self, sender: int, start_ns: int, bit_ns: int, bits: int) -> list[int]:
        if self.done:
            return []
        self.done = True
        return [self.bit]


def hit(bit: int, places: str = "", *, passive: str = "", size: int = 4) -> SmallBus:
    """`a` sends 7FF at zero; this bit of it is hit at these places."""
    small = SmallBus(size)
    for name in passive:
        small.controller(name).tec = 130
        small.controller(name)._settle()
    small.bus.disturb(0, Once(bit, places))
    small.send(0, "a", 0x7FF)
    small.run(MS)
    return small


def counts(small: SmallBus) -> dict[str, tuple[int, int]]:
    return {name: (small.controller(name).tec, small.controller(name).rec) for name in small.hosts}


# ------------------------------------------------------------------------------------------------ how long an error lasts


@pytest.mark.parametrize(
    ("bit", "places", "flag_bits", "why"),
    [
        (3, "", 11, "dominant at 3, so the sixth equal bit is 8, the fifth of the sender's flag: their flags end at 14"),
        (3, "a", 12, "only the sender sees it: six flag bits have passed before the others see six equal bits"),
        (6, "", 6, "the stuff bit itself: a bit error to the sender and a stuff error to all others, at once"),
        (6, "b", 11, "a stuff error at b, whose flag begins at 7; with the stuff bit, the others see six dominant bits at 11"),
        (37, "", 6, "CRC delimiter: a form error at once for everybody"),
        (39, "", 6, "ACK delimiter: the same"),
        (39, "b", 7, "b alone; the others see a dominant bit in EOF, one bit later"),
        (38, "a", 7, "no acknowledgement at the sender: its flag is a form error at the ACK delimiter to all others"),
        (42, "", 6, "in EOF: a form error"),
    ],
)
def test_an_error_lasts_17_to_23_bits_and_the_frame_is_sent_again(bit: int, places: str, flag_bits: int, why: str) -> None:
    small = hit(bit, places)
    assert small.accepted == [((bit + 1 + flag_bits + AFTER_FLAGS_BITS + ACCEPT_BITS) * BIT, 0x7FF)], why
    assert 17 <= flag_bits + AFTER_FLAGS_BITS <= 23


def test_a_crc_error_is_signalled_after_the_ack_delimiter_and_who_signals_first_counts_nine() -> None:
    """S. 7.2; rules 1 and 2: 1 for the error, 8 for the dominant bit after its flag, as the sender's flag ends one bit later."""
    small = SmallBus(4)
    bits = wire_bits(0x123, b"\x5a")
    bit = next(
        each for each in range(20, len(bits))
        if error_found_at(_with(bits, each), bits) == len(bits) + 2
    )  # fmt: skip
    small.bus.disturb(0, Once(bit, "b"))
    small.send(0, "a", 0x123, b"\x5a")
    small.run(MS)
    error_bits = len(bits) + 3
    assert small.accepted == [((error_bits + 7 + AFTER_FLAGS_BITS + len(bits) + 9) * BIT, 0x123)]
    # Each good frame after it takes 1 off again.
    assert counts(small) == {"a": (7, 0), "b": (0, 8), "c": (0, 0), "d": (0, 0)}


def _with(bits: tuple[int, ...], hit_at: int) -> list[int]:
    seen = [*bits, *TAIL]
    seen[hit_at] = 1 - seen[hit_at]
    return seen


@pytest.mark.parametrize("can_id", [0x000, 0x123, 0x555, 0x7EF])
@pytest.mark.parametrize("data", [b"", b"\x00\xff", bytes(8), bytes(range(8))])
def test_every_single_wrong_bit_is_found_before_the_frame_is_valid(can_id: int, data: bytes) -> None:
    """But for the ACK slot, which is the sender's concern, and the last bit of EOF (s. 6)."""
    bits = wire_bits(can_id, data)
    whole = [*bits, *TAIL]
    assert error_found_at(whole, bits) == NO_ERROR_FOUND
    for at in range(len(whole)):
        found = error_found_at(_with(bits, at), bits)
        if at in (len(bits) + 1, len(whole) - 1):
            assert found == NO_ERROR_FOUND
        else:
            assert at <= found <= len(whole) - 2


# ------------------------------------------------------------------------------------------------ the last two bits of EOF


def test_one_that_sees_an_error_in_the_last_but_one_bit_rejects_what_others_accept() -> None:
    small = hit(45, "b")
    repeated_ns = (ACCEPT_BITS + 7 + AFTER_FLAGS_BITS + ACCEPT_BITS) * BIT
    assert small.frames == [(ACCEPT_BITS * BIT, 0, 0x7FF, b"", 0b1100), (repeated_ns, 0, 0x7FF, b"", 0b1110)]
    assert [len(small.node(name).heard) for name in "abcd"] == [0, 1, 2, 2], "a duplicate for those who had accepted"
    assert small.node("a").sent == [(repeated_ns + BIT, 0x7FF)]
    assert counts(small) == {"a": (7, 0), "b": (0, 8), "c": (0, 0), "d": (0, 0)}


def test_a_disturbed_last_bit_makes_the_sender_repeat_what_everybody_accepted() -> None:
    small = hit(46, "a")
    # The sender's flag begins with intermission; to the others it is the cause of an overload flag, one bit later.
    repeated_ns = (47 + 7 + AFTER_FLAGS_BITS + ACCEPT_BITS) * BIT
    assert [(frame[0], frame[4]) for frame in small.frames] == [(ACCEPT_BITS * BIT, 0b1110), (repeated_ns, 0b1110)]
    assert counts(small)["b"] == (0, 0)
    everybody = hit(46)
    assert [frame[0] for frame in everybody.frames] == [ACCEPT_BITS * BIT, repeated_ns - BIT], "their flags begin together"


def test_every_nth_frame_may_be_refused_by_some() -> None:
    small = SmallBus(3)
    small.bus.disturb(0, HitBit(2, 3, frozenset({1})))
    for at_ms in range(6):
        small.send(at_ms * MS, "a", 0x7FF)
    small.run(6 * MS)
    assert [frame[4] for frame in small.frames] == [0b110, 0b110, 0b100, 0b110, 0b110, 0b100, 0b110, 0b110]


# ------------------------------------------------------------------------------------------------ error passive


def test_an_error_passive_receiver_that_sees_an_error_alone_disturbs_nobody() -> None:
    """Its flag is recessive (s. 3.1.2): the frame goes through without it."""
    small = hit(20, "b", passive="b")
    assert small.frames == [(ACCEPT_BITS * BIT, 0, 0x7FF, b"", 0b1100)]
    assert counts(small)["b"] == (130, 1)
    assert counts(small)["a"] == (0, 0)


def test_an_error_passive_sender_falls_silent_and_the_others_find_six_recessive_bits() -> None:
    """Seen by the sender only, at a dominant bit: it sends recessive from 13 on."""
    small = hit(12, "a", passive="a")
    # Bit 12 is the stuff bit after 11111; recessive from 13 on. The receivers' sixth recessive bit is 18; flags 19 to 24.
    assert small.accepted == [((18 + 1 + 6 + AFTER_FLAGS_BITS + 8 + ACCEPT_BITS) * BIT, 0x7FF)], "and it is suspended 8 bits"
    assert counts(small)["a"] == (130 + 8 - 1, 0)
    assert counts(small)["b"] == (0, 0), "1 up, 1 down"


def test_where_all_receivers_are_passive_and_reject_it_nobody_acknowledges() -> None:
    """A receiver that finds an error before the ACK slot does not drive it (s. 3.1.1): 37 + 2 + 17 bits until the next try."""
    small = hit(20, "bc", passive="bc", size=3)
    assert small.accepted == [((37 + 2 + 6 + AFTER_FLAGS_BITS + ACCEPT_BITS) * BIT, 0x7FF)]
    assert counts(small) == {"a": (7, 0), "b": (130, 0), "c": (130, 0)}, "1 up, 1 down"


# ------------------------------------------------------------------------------------------------ bursts and rates


def test_a_burst_hits_the_frame_under_way_at_its_first_bit() -> None:
    small = SmallBus(3)
    small.send(0, "a", 0x7FF)
    small.run(37 * BIT)
    small.bus.disturb(37 * BIT, Noise(1.0, Random(1).random, begin_ns=37 * BIT, on_ns=BIT))
    small.run(MS)
    assert small.accepted == [((38 + 6 + AFTER_FLAGS_BITS + ACCEPT_BITS) * BIT, 0x7FF)]


def test_noise_in_a_delimiter_starts_the_error_anew_and_counts_again() -> None:
    """Form error in the delimiter (s. 7.1): a new flag; 8 more for the sender (rule 3), 1 for receivers (rule 1)."""
    small = SmallBus(3)
    delimiter_ns = (38 + 6) * BIT
    small.bus.disturb(0, Noise(1.0, Random(1).random, begin_ns=37 * BIT, on_ns=BIT))
    small.bus.disturb(0, Noise(1.0, Random(1).random, begin_ns=delimiter_ns + 2 * BIT, on_ns=BIT))
    small.send(0, "a", 0x7FF)
    small.run(delimiter_ns + 3 * BIT)
    assert counts(small) == {"a": (8, 0), "b": (0, 1), "c": (0, 1)}
    small.run(MS)
    assert small.accepted == [(delimiter_ns + (3 + 6 + AFTER_FLAGS_BITS + ACCEPT_BITS) * BIT, 0x7FF)]
    assert counts(small) == {"a": (15, 0), "b": (0, 1), "c": (0, 1)}


def test_a_long_burst_takes_who_sends_off_the_bus_and_the_others_only_to_error_passive() -> None:
    small = SmallBus(3)
    small.bus.disturb(0, Noise(0.5, Random(1).random, begin_ns=0, on_ns=20 * MS))
    small.send(0, "a", 0x7FF, drop_ns=SECOND)
    small.run(SECOND)
    assert small.controller("a").state == BUS_OFF
    assert small.frames == []
    assert small.controller("b").state in (0, ERROR_PASSIVE)


@pytest.mark.parametrize("rate", [0.5, 0.1, 0.003])
def test_hits_come_at_the_rate(rate: float) -> None:
    """The mean of n draws with probability p has the standard error sqrt(p (1 - p) / n); within five of them, with a fixed seed."""
    noise = Noise(rate, Random(7).random)
    bits = 400_000
    seen = sum(len(noise.in_frame(0, 0, BIT, 125)) for _ in range(bits // 125))
    assert abs(seen - bits * rate) < 5 * (bits * rate * (1 - rate)) ** 0.5


def test_the_share_of_frames_that_come_on_time_is_what_the_rate_gives() -> None:
    """Any of the first 46 bits that is hit makes 7FF late: 1 - (1 - p)^46 of them, within five standard errors, seed fixed."""
    rate, frames = 0.002, 5000
    small = SmallBus(3)
    small.bus.disturb(0, Noise(rate, Random(3).random))
    for count in range(frames):
        small.send(count * MS, "a", 0x7FF, drop_ns=MS // 2)
    small.run(SECOND * frames)
    on_time = sum(1 for at_ns, _ in small.accepted if at_ns % MS == ACCEPT_BITS * BIT)
    share = (1 - rate) ** ACCEPT_BITS
    assert abs(on_time - frames * share) < 5 * (frames * share * (1 - share)) ** 0.5
    assert small.controller("a").state == 0, "8 up in one of eleven, 1 down in the others"


@given(rate=st.floats(0.001, 0.9), seed=st.integers(0, 100), cuts=st.lists(st.integers(1, 200), min_size=1, max_size=20))
@settings(max_examples=60, deadline=None)
def test_how_frames_fall_changes_no_hit(rate: float, seed: int, cuts: list[int]) -> None:
    """Bits are counted through, however they are cut up into frames."""
    whole = Noise(rate, Random(seed).random).in_frame(0, 0, BIT, sum(cuts))
    pieces, start = [], 0
    noise = Noise(rate, Random(seed).random)
    for count in cuts:
        pieces += [start + bit for bit in noise.in_frame(0, start * BIT, BIT, count)]
        start += count
    assert pieces == whole


def test_a_segment_is_plain_again_once_the_noise_is_over() -> None:
    small = SmallBus(3)
    noise = Noise(0.01, Random(1).random)
    small.bus.disturb(0, noise)
    assert type(small.bus.segments[0]) is not Segment
    small.send(0, "a", 0x7FF)
    small.bus.calm(noise)
    small.run(MS)
    assert type(small.bus.segments[0]) is Segment


@given(
    sends=st.lists(st.tuples(st.integers(0, 3000), st.sampled_from("abcd"), st.binary(max_size=8)), max_size=12),
    rates=st.lists(st.tuples(st.sampled_from([0.0005, 0.005, 0.02]), st.sampled_from(["", "a", "b", "bc"])), max_size=3),
    seed=st.integers(0, 1000),
)
@settings(max_examples=80, deadline=None)
def test_whatever_is_hit_every_frame_arrives_in_the_end_at_everybody(
    sends: list[tuple[int, str, bytes]], rates: list[tuple[float, str]], seed: int
) -> None:
    """Noise ends before anybody is bus-off; then each frame has reached all that were error active throughout, at least once."""
    small = SmallBus(5)
    noises = [
        Noise(rate, Random(f"{seed} {number}").random, frozenset(ord(name) - 97 for name in places) or None)
        for number, (rate, places) in enumerate(rates)
    ]
    for noise in noises:
        small.bus.disturb(0, noise)
    for number, (at_bits, name, data) in enumerate(sorted(sends)):
        small.send(at_bits * BIT, name, 0x100 + ord(name), bytes([number]) + data[:7], queued=True)
    small.run(12 * MS)
    for noise in noises:
        small.bus.calm(noise)
    small.run(SECOND)
    if any(one.state == BUS_OFF for one in small.bus.controllers) or small.events("controller"):
        return
    for number, (_, name, _) in enumerate(sorted(sends)):
        masks = [frame[4] for frame in small.frames if frame[3][0] == number]
        reached = 0
        for mask in masks:
            reached |= mask
        assert reached == 0b11111 & ~(1 << ord(name) - 97)
    for frame in small.frames:
        assert frame[4]
