"""Packing and reading of every message, and what a safety frame catches.

Signals are read back here from a string of bits, in the order of their rows and highest bit first: the rule of the written
page, without a shift of the codec's. Hamming distance 4 at 56 data bits is from reference-values.md, recomputed here.
"""

from collections.abc import Iterator
from itertools import combinations
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busim.protocol.catalogue import BY_NAME, HEARTBEAT, MESSAGES
from busim.protocol.codec import INVALID, Message, Signal, check, counter_of, read_plain, seal, template_of
from busim.protocol.ids import HELM_ADDRESSES, NODE_ADDRESSES, SAFETY_CODES

SAFETY = [message for message in MESSAGES if message.is_safety]
PLAIN = [message for message in MESSAGES if not message.is_safety]


def named(messages: list[Message] | tuple[Message, ...]) -> Any:
    return pytest.mark.parametrize("message", messages, ids=lambda message: message.name)


def bits_of(data: bytes) -> str:
    return "".join(f"{byte:08b}" for byte in data)


def read_by_bits(message: Message, data: bytes) -> list[int]:
    """The raw values in a frame, cut out of its bits one after the other."""
    bits = bits_of(data)
    place = 16 if message.is_safety else 0
    values = []
    for signal in message.signals:
        text = bits[place : place + signal.bits]
        value = int(text, 2)
        if signal.signed and text[0] == "1":
            value -= 2**signal.bits
        values.append(value)
        place += signal.bits
    assert "1" not in bits[place:], "bits of no signal are 0"
    return values


def packed(message: Message, can_id: int, counter: int, raw: list[int]) -> bytes:
    return message.pack(can_id, counter, *raw) if message.is_safety else message.pack(*raw)


def unpacked(message: Message, can_id: int, data: bytes) -> list[int]:
    word = check(can_id, data) if message.is_safety else read_plain(message, data)
    assert word != INVALID
    return list(message.unpack(word))


def senders(message: Message) -> range:
    return HELM_ADDRESSES if message.is_safety and message is not HEARTBEAT else NODE_ADDRESSES


# ------------------------------------------------------------------------------------------------ there and back


@named(MESSAGES)
@given(data=st.data())
@settings(max_examples=60, deadline=None)
def test_what_is_packed_is_read(message: Message, data: st.DataObject) -> None:
    raw = [data.draw(st.integers(signal.low, signal.high), label=signal.name) for signal in message.signals]
    counter = data.draw(st.integers(0, 255), label="counter")
    can_id = message.can_id(data.draw(st.sampled_from(senders(message)), label="address"))
    frame = packed(message, can_id, counter, raw)
    assert len(frame) == message.length
    assert read_by_bits(message, frame) == raw
    assert unpacked(message, can_id, frame) == raw
    if message.is_safety:
        assert counter_of(check(can_id, frame)) == counter == frame[1]


def edges(message: Message) -> Iterator[list[int]]:
    """Each signal at its ends and with each single bit, the others at 0; and all at their ends."""
    for place, signal in enumerate(message.signals):
        for value in {signal.low, signal.high, *(1 << bit for bit in range(signal.bits - signal.signed))}:
            raw = [0] * len(message.signals)
            raw[place] = value
            yield raw
    yield [signal.low for signal in message.signals]
    yield [signal.high for signal in message.signals]


@named(MESSAGES)
def test_edges_and_single_bits(message: Message) -> None:
    can_id = message.can_id(senders(message)[0])
    for raw in edges(message):
        frame = packed(message, can_id, 0, raw)
        assert read_by_bits(message, frame) == raw
        assert unpacked(message, can_id, frame) == raw


@named(MESSAGES)
def test_a_value_out_of_range_is_named(message: Message) -> None:
    can_id = message.can_id(1)
    for place, signal in enumerate(message.signals):
        for value in (signal.low - 1, signal.high + 1, -(10**12), 10**12):
            raw = [0] * len(message.signals)
            raw[place] = value
            with pytest.raises(ValueError, match=rf"^{message.name}\.{signal.name}: {value} is not between {signal.low} and"):
                packed(message, can_id, 0, raw)


@named(SAFETY)
@pytest.mark.parametrize("counter", [-1, 256])
def test_a_counter_out_of_range_is_refused(message: Message, counter: int) -> None:
    with pytest.raises(ValueError, match=f"^{message.name}: the counter is not between 0 and 255"):
        message.pack(message.can_id(1), counter, *([0] * len(message.signals)))


@named(PLAIN)
def test_a_plain_frame_of_another_length_is_invalid(message: Message) -> None:
    for length in range(9):
        assert (read_plain(message, bytes(length)) == INVALID) == (length != message.length)


# ------------------------------------------------------------------------------------------------ the catalogue itself


def test_codes_and_names_are_used_once() -> None:
    assert len({message.code for message in MESSAGES}) == len(MESSAGES) == len({message.name for message in MESSAGES})
    assert [message.code for message in MESSAGES] == sorted(message.code for message in MESSAGES), "the page prints this order"


@named(MESSAGES)
def test_rows_are_whole(message: Message) -> None:
    assert message.words
    assert message.timing
    assert message.senders
    assert message.is_safety == (message.code in SAFETY_CODES)
    assert message.length == 8 if message.is_safety else 1 <= message.length <= 8
    names = [signal.name for signal in message.signals]
    assert len(set(names)) == len(names)
    for signal in message.signals:
        assert signal.words
        values = [value for value, _ in signal.choices]
        assert values == sorted(set(values))
        assert all(signal.low <= value <= signal.high for value in values)
        assert len({words for _, words in signal.choices}) == len(values)


def test_too_many_bits_are_refused() -> None:
    with pytest.raises(ValueError, match=r"^overfull: 49 bits of content, 48 are there"):
        Message(14, "overfull", "nobody", (Signal("a", 48, "a"), Signal("b", 1, "b")), "-", "-")
    with pytest.raises(ValueError, match=r"^overfull: 65 bits of content, 64 are there"):
        Message(22, "overfull", "nobody", (Signal("a", 64, "a"), Signal("b", 1, "b")), "-", "-")


# ------------------------------------------------------------------------------------------------ what the CRC catches

payloads = st.tuples(
    st.sampled_from([message.can_id(address) for message in SAFETY for address in senders(message)]),
    st.integers(0, 2**8 - 1),
    st.integers(0, 2**48 - 1),
)


def frame_of(can_id: int, counter: int, content: int) -> bytes:
    """Any content, through a message of one signal that fills the frame."""
    return WHOLE.pack(can_id, counter, content)


WHOLE = Message(14, "whole", "nobody", (Signal("all", 48, "all bits"),), "-", "-")


@given(payload=payloads)
@settings(max_examples=100, deadline=None)
def test_every_single_bit_flip_is_caught(payload: tuple[int, int, int]) -> None:
    can_id = payload[0]
    frame = frame_of(*payload)
    assert check(can_id, frame) != INVALID
    whole = int.from_bytes(frame, "big")
    for bit in range(64):
        assert check(can_id, (whole ^ 1 << bit).to_bytes(8, "big")) == INVALID


def test_every_two_and_three_bit_flips_are_caught() -> None:
    """Hamming distance 4. The CRC is linear, so what holds for one frame holds for all."""
    can_id = BY_NAME["lever"].can_id(1)
    whole = int.from_bytes(frame_of(can_id, 0x5A, 0x123456789ABC), "big")
    for count in (2, 3):
        for places in combinations(range(64), count):
            flipped = whole ^ sum(1 << place for place in places)
            assert check(can_id, flipped.to_bytes(8, "big")) == INVALID


def test_every_frame_under_another_allowed_id_is_caught() -> None:
    """All pairs of safety ids of the fullest boat, a different content each; linear, so one content would do."""
    can_ids = [message.can_id(address) for message in SAFETY for address in senders(message)]
    frames = [frame_of(can_id, can_id & 0xFF, can_id * 0x9E3779B1 & 0xFFFFFFFFFFFF) for can_id in can_ids]
    for can_id, frame in zip(can_ids, frames, strict=True):
        assert check(can_id, frame) != INVALID
        assert not [other for other in can_ids if other != can_id and check(other, frame) != INVALID]


@settings(deadline=None)
@given(payload=payloads, length=st.integers(0, 7))
def test_a_safety_frame_of_another_length_is_invalid(payload: tuple[int, int, int], length: int) -> None:
    frame = frame_of(*payload)
    assert check(payload[0], frame[:length]) == INVALID
    assert check(payload[0], frame + b"\0") == INVALID


def test_the_kept_answer_belongs_to_one_frame_and_one_id() -> None:
    lever = BY_NAME["lever"]
    one, other = lever.can_id(1), lever.can_id(2)
    frame = lever.pack(one, 7, 3, 1, 400, 0, 0, 0, 0)
    word = check(one, frame)
    assert word == int.from_bytes(frame[1:], "big")
    assert check(one, frame) == word
    assert check(other, frame) == INVALID
    assert check(one, frame) == word
    assert check(one, bytes(bytearray(frame))) == word, "an equal frame that is another object"
    assert check(one, bytes(8)) == INVALID


@pytest.mark.parametrize("message", [message for message in MESSAGES if message.is_safety], ids=lambda message: message.name)
def test_content_sealed_again_is_the_frame_packed_again(message: Message) -> None:
    """`seal` saves packing what has not changed; it is no second codec."""
    values = [signal.high for signal in message.signals]
    can_id = message.can_id(3)
    template = template_of(message.pack(can_id, 0, *values))
    for counter in range(256):
        assert seal(template, counter) == message.pack(can_id, counter, *values)
