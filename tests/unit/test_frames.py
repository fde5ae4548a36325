"""CAN frames on the wire: layout, CRC-15, stuffing and length, against published values and two independent oracles.

The oracles are crccheck for the CRC, and a bit list built and stuffed in this file without a line of busim's.

No published table of whole frames is known to us. The golden frames and the largest lengths are computed from the rules of
Bosch, CAN Specification 2.0, 1991. The largest lengths come from a search outside this suite over every pair of CRC
register and stuffing state, which covers all ids and data; here their witnesses are reached and nothing exceeds them.
No value in this file is from memory.
"""

import re
from itertools import groupby

import pytest
from crccheck.crc import Crc15Can  # type: ignore[import-untyped]
from hypothesis import example, given, settings
from hypothesis import strategies as st

from busim.frames import layout, length
from busim.frames.layout import (
    BUS_OFF_RECOVERY_BITS,
    HEADER_BITS,
    LONGEST_RECOVERY_BITS,
    SHORTEST_RECOVERY_BITS,
    TAIL_BITS,
    bits_of,
    crc15,
    frame_crc,
    header_bits,
    longest_frame_bits,
    unstuffed_bits,
    wire_bits,
)
from busim.frames.length import frame_bits, stuffed_bits

LARGEST = [53, 62, 72, 83, 93, 102, 113, 124, 133]

GOLDEN = [
    # id, data, CRC, stuff bits, total with intermission
    (0x000, "", 0x0000, 6, 53),
    (0x7FF, "", 0x272F, 3, 50),
    (0x123, "01 02 03 04 05 06 07 08", 0x64EF, 8, 119),
    (0x000, "00 00 00 00 00 00 00 00", 0x145B, 16, 127),
    (0x7FF, "FF FF FF FF FF FF FF FF", 0x4C89, 15, 126),
]

WITNESSES = [
    (0x000, ""),
    (0x010, "EE"),
    (0x000, "7C 3C"),
    (0x07D, "C0 1E 1E"),
    (0x03F, "FE 10 78"),
    (0x03E, "10 78 03 FE"),
    (0x000, "7F EF 87 C1 E1"),
    (0x03E, "0F 00 78 78 7C 1E"),
    (0x01F, "87 87 C1 E1 E1 E1 E1"),
    (0x078, "01 E1 E1 E1 E1 E1 E0 0F"),
    (0x000, "01 E1 E1 E1 E1 E1 E1 E1"),
]

ids = st.integers(0, 0x7FF)
runs_of_bits = st.lists(st.sampled_from(b"\x00\xff\x0f\xf0\x1e\xe1\x78\x87\x3c\xc3\x07\xf8"), max_size=8).map(bytes)
payloads = st.binary(max_size=8) | runs_of_bits


def plain_text_of_frame(can_id: int, data: bytes) -> str:
    """SOF to the end of the data as text of 0 and 1: dominant SOF, id, three dominant bits, DLC, data."""
    return "0" + f"{can_id:011b}" + "000" + f"{len(data):04b}" + "".join(f"{byte:08b}" for byte in data)


def oracle_crc(text: str) -> int:
    """The start is 0, so zeros before the first bit change nothing and fill it up to whole bytes."""
    whole = text.zfill(-(-len(text) // 8) * 8)
    return int(Crc15Can.calc(int(whole, 2).to_bytes(len(whole) // 8, "big")))


def oracle_stuffed(text: str) -> str:
    """Each bit is appended, and the run at the end of what was sent so far is counted anew."""
    sent = ""
    for bit in text:
        sent += bit
        if sent.endswith("00000"):
            sent += "1"
        elif sent.endswith("11111"):
            sent += "0"
    return sent


def oracle_wire(can_id: int, data: bytes) -> str:
    text = plain_text_of_frame(can_id, data)
    return oracle_stuffed(text + f"{oracle_crc(text):015b}")


def text_of(bits: tuple[int, ...]) -> str:
    return "".join(map(str, bits))


def without_stuff_bits(bits: tuple[int, ...]) -> tuple[int, ...]:
    """As a receiver does it: the bit after five equal ones is dropped, and must differ from them."""
    kept: list[int] = []
    last, run, is_stuff = -1, 0, False
    for bit in bits:
        run = run + 1 if bit == last else 1
        last = bit
        if is_stuff:
            assert run == 1, "a stuff error"
        else:
            kept.append(bit)
        is_stuff = run == 5
    return tuple(kept)


def test_crc_check_value() -> None:
    # Catalogue of parametrised CRC algorithms, CRC-15/CAN: the check of "123456789" is 0x059E.
    assert crc15(bits_of(int.from_bytes(b"123456789", "big"), 72)) == 0x059E
    assert Crc15Can.calc(b"123456789") == 0x059E


def test_field_lengths() -> None:
    # Bosch, CAN Specification 2.0, 1991: 34 + 8s bits are stuffed, and 47 + 8s is the unstuffed total with intermission.
    for size in range(9):
        assert len(unstuffed_bits(0x2A5, bytes(size))) == 34 + 8 * size
        assert len(unstuffed_bits(0x2A5, bytes(size))) + TAIL_BITS == 47 + 8 * size
    assert HEADER_BITS == 19
    assert TAIL_BITS == 3 + 7 + 3


def test_fault_confinement_lengths() -> None:
    # Same text: recovery after an error takes 17 to 31 bits, recovery from bus-off 128 x 11 recessive bits.
    assert (SHORTEST_RECOVERY_BITS, LONGEST_RECOVERY_BITS) == (17, 31)
    assert BUS_OFF_RECOVERY_BITS == 1408
    assert BUS_OFF_RECOVERY_BITS * 1_000_000 // 250 == 5_632_000  # ns at 250 kbit/s
    assert layout.ERROR_FLAG_BITS > layout.STUFF_RUN, "an error flag must break the rule of stuffing"


@pytest.mark.parametrize(("can_id", "data", "crc", "stuff_bits", "total"), GOLDEN)
def test_golden_frames(can_id: int, data: str, crc: int, stuff_bits: int, total: int) -> None:
    payload = bytes.fromhex(data)
    assert frame_crc(can_id, payload) == crc
    assert len(wire_bits(can_id, payload)) == 34 + 8 * len(payload) + stuff_bits
    assert stuffed_bits(can_id, payload) == 34 + 8 * len(payload) + stuff_bits
    assert frame_bits(can_id, payload) == total


@pytest.mark.parametrize(("can_id", "data"), WITNESSES)
def test_largest_lengths_are_reached(can_id: int, data: str) -> None:
    payload = bytes.fromhex(data)
    assert frame_bits(can_id, payload) == LARGEST[len(payload)]
    assert len(oracle_wire(can_id, payload)) + 13 == LARGEST[len(payload)]


@pytest.mark.slow
def test_largest_lengths_of_all_short_frames() -> None:
    one_byte = [bytes([value]) for value in range(256)]
    assert max(frame_bits(can_id, b"") for can_id in range(0x800)) == LARGEST[0]
    assert max(frame_bits(can_id, data) for can_id in range(0x800) for data in one_byte) == LARGEST[1]


def test_bound() -> None:
    # Davis, Burns, Bril, Lukkien, Real-Time Systems 35, 2007, equations 1 to 3: 55 + 10s bits for 11-bit ids.
    assert [longest_frame_bits(dlc) for dlc in range(9)] == [55 + 10 * dlc for dlc in range(9)]
    assert all(longest_frame_bits(dlc) > LARGEST[dlc] for dlc in range(9))
    # The sum of steps in `length` keeps five bits for the count of stuff bits.
    assert max(longest_frame_bits(dlc) - 47 - 8 * dlc for dlc in range(9)) == 24 < 32


def test_every_header() -> None:
    for can_id in range(0x800):
        for dlc in range(9):
            data = bytes((can_id * 7 + place * 0x55) & 0xFF for place in range(dlc))
            assert len(wire_bits(can_id, data)) == stuffed_bits(can_id, data)


@settings(deadline=None, max_examples=400)
@given(ids, payloads)
@example(0x078, bytes.fromhex("01E1E1E1E1E1E00F"))
@example(0x000, bytes(8))
def test_against_the_oracles(can_id: int, data: bytes) -> None:
    assert frame_crc(can_id, data) == oracle_crc(plain_text_of_frame(can_id, data))
    wire = oracle_wire(can_id, data)
    assert text_of(wire_bits(can_id, data)) == wire
    assert stuffed_bits(can_id, data) == len(wire)
    total = frame_bits(can_id, data)
    assert total == len(wire) + 13
    assert total <= LARGEST[len(data)] < longest_frame_bits(len(data))


@settings(deadline=None)
@given(ids, payloads)
def test_it_is_the_same_the_first_time_and_again(can_id: int, data: bytes) -> None:
    length._headers.clear()
    length._headers_of_8.clear()
    assert frame_bits(can_id, data) == frame_bits(can_id, data) == length._bits_of_any(can_id, data)


@settings(deadline=None)
@given(ids, payloads)
def test_wire_has_no_six_equal_bits_and_destuffs(can_id: int, data: bytes) -> None:
    wire = wire_bits(can_id, data)
    assert max(len(list(run)) for _, run in groupby(wire)) <= 5
    assert without_stuff_bits(wire) == unstuffed_bits(can_id, data)


def test_an_all_dominant_frame() -> None:
    # Id 0 without data has CRC 0: 34 equal bits, one recessive stuff bit after every five of them.
    assert text_of(wire_bits(0x000, b"")) == "000001" * 6 + "0000"


@pytest.mark.parametrize(
    ("can_id", "crc", "wire"),
    [
        (0x009, 0x7C20, "000001000100100000100111110000011000001"),
        (0x017, 0x521F, "0000010010111000001001010010000111110"),
    ],
)
def test_a_stuff_bit_can_follow_the_last_crc_bit(can_id: int, crc: int, wire: str) -> None:
    # The CRC's last five bits are equal, and the run is not cut by a stuff bit inside it (Bosch 1991: SOF to CRC stuffed).
    assert frame_crc(can_id, b"") == crc
    assert text_of(wire_bits(can_id, b"")) == wire
    assert stuffed_bits(can_id, b"") == len(wire)


@pytest.mark.parametrize(
    ("can_id", "size", "words"),
    [
        (-1, 0, "arbitration id -0x1 is outside 0x0 to 0x7ff"),
        (0x800, 8, "arbitration id 0x800 is outside 0x0 to 0x7ff"),
        (0x18FEF100, 8, "arbitration id 0x18fef100 is outside 0x0 to 0x7ff"),
        (0x7FF, 9, "9 data bytes do not fit a frame: it carries 0 to 8"),
        (0x000, 64, "64 data bytes do not fit a frame: it carries 0 to 8"),
    ],
)
def test_no_such_frame(can_id: int, size: int, words: str) -> None:
    for ask in (frame_bits, stuffed_bits, frame_crc, wire_bits):
        for _ in range(2):
            with pytest.raises(ValueError, match=re.escape(words)):
                ask(can_id, bytes(size))
    assert (can_id, size) not in length._headers


def test_no_such_dlc() -> None:
    with pytest.raises(ValueError, match="9 data bytes do not fit a frame"):
        longest_frame_bits(9)
    with pytest.raises(ValueError, match="9 data bytes do not fit a frame"):
        header_bits(0x123, 9)
