"""The CRC of safety frames and the proof that no two safety ids share its start.

The oracle is crccheck's Crc8Autosar: polynomial 2F, start FF, result xor FF, not reflected. Its check value DF of
"123456789" stands in reference-values.md, "End-to-end protection". The list of differences is that of design s. 6.
"""

from collections import defaultdict
from itertools import combinations

import pytest
from crccheck.crc import Crc8Autosar  # type: ignore[import-untyped]
from hypothesis import given, settings
from hypothesis import strategies as st

from busim.protocol.catalogue import BOAT_FILE_CODES, HEARTBEAT, MESSAGES, NO_SAFETY_CODES, safety_ids
from busim.protocol.crc8 import FINAL_XOR, POLYNOMIAL, START, START_BY_ID, crc8, crc_of_word
from busim.protocol.ids import (
    HELM_ADDRESSES,
    NODE_ADDRESSES,
    SAFETY_CODES,
    UNUSED_CODE,
    address_of,
    code_of,
    ids_sharing_a_start,
    make_id,
)

SHARING = {(4, 47), (9, 30), (13, 49), (18, 60), (22, 19), (27, 34), (31, 13)}
"""(code xor, address xor) of ids that share a start, as the design gives them."""

HELM = set(HELM_ADDRESSES)
EVERYBODY = set(NODE_ADDRESSES)


def test_the_oracle_is_this_crc() -> None:
    assert (Crc8Autosar._poly, Crc8Autosar._initvalue, Crc8Autosar._xor_output) == (POLYNOMIAL, START, FINAL_XOR)
    assert not Crc8Autosar._reflect_input
    assert not Crc8Autosar._reflect_output


def test_check_value() -> None:
    assert crc8(b"123456789") == Crc8Autosar.calc(b"123456789") == 0xDF


@settings(deadline=None)
@given(data=st.binary(max_size=40))
def test_plain_crc(data: bytes) -> None:
    assert crc8(data) == Crc8Autosar.calc(data)


@settings(deadline=None)
@given(can_id=st.integers(0, 0x7FF), data=st.binary(min_size=7, max_size=7))
def test_word_tables(can_id: int, data: bytes) -> None:
    covered = bytes((can_id >> 8, can_id & 0xFF)) + data
    assert crc_of_word(can_id, int.from_bytes(data, "big")) == Crc8Autosar.calc(covered) == crc8(covered)


def test_word_tables_over_every_id_and_every_bit() -> None:
    """Linear in id and data: every id with nothing set, and one id with each bit set, cover all tables' columns."""
    for can_id in range(0x800):
        assert crc_of_word(can_id, 0) == Crc8Autosar.calc(bytes((can_id >> 8, can_id & 0xFF)) + bytes(7))
    for bit in range(56):
        assert crc_of_word(0x081, 1 << bit) == Crc8Autosar.calc(b"\x00\x81" + (1 << bit).to_bytes(7, "big"))


def starts() -> dict[int, list[int]]:
    """CRC start -> ids, by the oracle."""
    found = defaultdict(list)
    for can_id in range(0x800):
        found[Crc8Autosar.calc(bytes((can_id >> 8, can_id & 0xFF))) ^ 0xFF].append(can_id)
    return found


def test_starts_of_all_ids() -> None:
    by_start = starts()
    assert len(by_start) == 256
    assert {len(can_ids) for can_ids in by_start.values()} == {8}, "2,048 ids in 256 classes of 8 (reference-values.md)"
    assert all(START_BY_ID[can_id] == start for start, can_ids in by_start.items() for can_id in can_ids)


def test_ids_that_share_a_start_differ_as_the_design_says() -> None:
    pairs = [pair for can_ids in starts().values() for pair in combinations(can_ids, 2)]
    assert {(code_of(one ^ other), address_of(one ^ other)) for one, other in pairs} == SHARING
    assert min((one ^ other).bit_count() for one, other in pairs) == 6, "reference-values.md"
    for code, address in SHARING:
        assert START_BY_ID[make_id(code, address)] == START_BY_ID[0], "and each of these differences is enough"


def test_every_pair_is_found() -> None:
    expected = sorted(pair for can_ids in starts().values() for pair in combinations(can_ids, 2))
    assert sorted(ids_sharing_a_start(range(0x800))) == expected
    assert len(expected) == 256 * 28


def test_no_boat_has_two_safety_ids_with_one_start() -> None:
    """The fullest boat: helm addresses 1 to 15 send every safety message, addresses up to 62 a heartbeat."""
    fullest = {message.can_id(address) for message in MESSAGES if message.is_safety for address in HELM}
    fullest |= {HEARTBEAT.can_id(address) for address in EVERYBODY}
    assert ids_sharing_a_start(fullest) == []


def test_safety_ids_of_a_boat_stay_inside_the_fullest_one() -> None:
    for stations, drives in (({1, 3}, {2}), ({14, 15}, {1, 2}), (set(), set())):
        others = EVERYBODY - stations - drives
        can_ids = safety_ids(stations, drives, others)
        assert ids_sharing_a_start(can_ids) == []
        assert {HEARTBEAT.can_id(address) for address in EVERYBODY} <= set(can_ids)
        assert all(address_of(can_id) in HELM for can_id in can_ids if code_of(can_id) != HEARTBEAT.code)
        lever = {address_of(can_id) for can_id in can_ids if code_of(can_id) == 2}
        obeys = {address_of(can_id) for can_id in can_ids if code_of(can_id) == 5}
        assert (lever, obeys) == (stations, drives)


@pytest.mark.parametrize("code", NO_SAFETY_CODES)
def test_codes_without_a_message_would_share_a_start(code: int) -> None:
    """Each of 3, 7 and 14 is left out for a reason, and nothing uses it."""
    assert code not in {message.code for message in MESSAGES}
    would_be = [make_id(code, address) for address in HELM]
    heartbeats = [HEARTBEAT.can_id(address) for address in EVERYBODY]
    assert ids_sharing_a_start([*would_be, *heartbeats])


def test_no_other_safety_code_needs_leaving_out() -> None:
    heartbeats = [HEARTBEAT.can_id(address) for address in EVERYBODY]
    for code in SAFETY_CODES:
        if code not in NO_SAFETY_CODES:
            assert ids_sharing_a_start([*heartbeats, *(make_id(code, address) for address in HELM)]) == []


def test_ids() -> None:
    """5 bits of code, 6 of address. Not seven recessive (1) bits first: Bosch, CAN Specification 2.0, 1991, part A, s. 3.1.1."""
    assert make_id(2, 1) == 0b00010_000001
    assert make_id(30, 62) == 0b11110_111110
    for code in (message.code for message in MESSAGES):
        for address in NODE_ADDRESSES:
            can_id = make_id(code, address)
            assert (code_of(can_id), address_of(can_id)) == (code, address)
            assert can_id >> 4 != 0b1111111
    assert UNUSED_CODE not in {message.code for message in MESSAGES}
    assert not set(BOAT_FILE_CODES) & {message.code for message in MESSAGES}
