"""The exact length of a frame in bits, fast: the simulator asks once for every frame sent.

The CRC and the stuffing are both automata over the bits, so both can be taken 16 bits at a time, by tables built when the
module is loaded. What depends on the id and the DLC alone is worked out once for each pair. Answers are not kept: looking
for one costs nearly as much as working it out.

The stuffing automaton has 8 states: the last bit sent, and the run of 1 to 4 that it ends. A fifth equal bit is followed
by its stuff bit at once, which starts a run of 1. One byte holds a step: the next state times 32, plus the stuff bits
sent on the way. A frame has at most 24 of them, so steps can be summed as they are: the low five bits are the count.
"""

from array import array
from collections.abc import Callable
from struct import Struct
from struct import error as struct_error
from typing import Final

from busim.frames.layout import CRC_BITS, HEADER_BITS, LARGEST_DLC, STUFF_RUN, TAIL_BITS, bits_of, crc15, header_bits

WORD_BITS: Final = 16

_STATES: Final = 8
_COUNT: Final = 31
_AFTER_SOF: Final = 0
"""The step whose state is one dominant bit: the run starts with SOF, whatever the bus was before."""


def _one_bit_steps(state: int) -> bytes:
    last, run = state >> 2, (state & 3) + 1
    other = (1 - last) << 2
    steps = bytearray(2)
    steps[last] = (state + 1) << 5 if run + 1 < STUFF_RUN else other << 5 | 1
    steps[1 - last] = other << 5
    return bytes(steps)


def _steps(bits: int) -> list[bytes]:
    """For each state, the step of every value of `bits` bits: made of two shorter ones, one after the other."""
    if bits == 1:
        return [_one_bit_steps(state) for state in range(_STATES)]
    first, second = _steps(bits - bits // 2), _steps(bits // 2)
    adding = [bytes((step + count) & 0xFF for step in range(256)) for count in range(STUFF_RUN)]
    return [b"".join([second[step >> 5].translate(adding[step & _COUNT]) for step in row]) for row in first]


def _after_step(rows: list[bytes]) -> tuple[bytes, ...]:
    """The rows, found by the whole step that led to a state: that saves taking the state out of it for every word."""
    return tuple(rows[step >> 5] for step in range(_STATES << 5))


def _crc_table() -> "array[int]":
    """The register after a word, start 0. The CRC is linear, so a word's is the sum (xor) of those of its bits."""
    table = [0]
    for place in range(WORD_BITS):
        of_bit = crc15(bits_of(1 << place, WORD_BITS)) << 1
        table += [of_bit ^ of_lower_bits for of_lower_bits in table]
    return array("H", table)


# Bytes and arrays, not tuples of ints: a random payload touches a new place in each, and those fit the processor's cache.
_ONE_BIT: Final = _after_step(_steps(1))
_WORD: Final = _after_step(_steps(WORD_BITS))
_CRC_STEP: Final = _after_step(_steps(CRC_BITS))
_CRC: Final = _crc_table()
"""The register is kept shifted left by one: so the next word is xored straight on, and 16 bits find the next register."""
_CRC_3: Final = array("H", [_CRC[register] for register in _CRC])
_CRC_2: Final = array("H", [_CRC[register] for register in _CRC_3])
_CRC_1: Final = array("H", [_CRC[register] for register in _CRC_2])
"""The register after a word and one, two, three words of zeros. The register after four words is the sum of what each adds at
its place: content that stays the same asks for the same places of the tables, where a chain would ask for new ones."""

_Header = tuple[int, int, int, int, bytes, Callable[[bytes], tuple[int, ...]]]
_headers: Final[dict[tuple[int, int], _Header]] = {}
_headers_of_8: Final[dict[int, tuple[int, int, int, int]]] = {}
"""By id alone, what is needed for 8 data bytes; the register is carried through to the end, as if they were zeros."""
_words_of_8: Final[Callable[[bytes], tuple[int, ...]]] = Struct(">4H").unpack


def _new_header(can_id: int, dlc: int) -> _Header:
    """What all frames of one id and DLC share. ValueError where there is no such frame, so the cache is bounded by itself.

    Unstuffed length with the tail, stuff bits so far, last step, register, bytes to set before the data, and how to
    read the words. With an odd number of data bytes the header's last 8 bits are left to fill up the first word.
    """
    bits = header_bits(can_id, dlc)
    left_over = bits[len(bits) - 8 * (dlc % 2) :]
    taken = bits[: len(bits) - len(left_over)]
    total, step = 0, _AFTER_SOF
    for bit in taken[1:]:
        step = _ONE_BIT[step][bit]
        total += step
    before = bytes([int("".join(map(str, left_over)), 2)]) if left_over else b""
    length = HEADER_BITS + 8 * dlc + CRC_BITS + TAIL_BITS
    header = (length, total & _COUNT, step, crc15(taken) << 1, before, Struct(f">{(dlc + 1) // 2}H").unpack)
    _headers[can_id, dlc] = header
    if dlc == LARGEST_DLC:
        _headers_of_8[can_id] = (*header[:3], _CRC_1[header[3]])
    return header


def frame_bits(can_id: int, data: bytes) -> int:
    """The bits a base-format data frame takes on the wire, from SOF to the end of intermission, every stuff bit counted.

    ValueError for an id outside 11 bits or more than 8 bytes.
    """
    try:
        # Most frames have 8 bytes, and this is asked for every one: the loop of `_bits_of_any`, written out.
        bits, steps, step, register = _headers_of_8[can_id]
        first, second, third, fourth = _words_of_8(data)
    except (KeyError, struct_error):
        return _bits_of_any(can_id, data)
    step_1 = _WORD[step][first]
    step_2 = _WORD[step_1][second]
    step_3 = _WORD[step_2][third]
    step_4 = _WORD[step_3][fourth]
    register ^= _CRC_1[first] ^ _CRC_2[second] ^ _CRC_3[third] ^ _CRC[fourth]
    return bits + (steps + step_1 + step_2 + step_3 + step_4 + _CRC_STEP[step_4][register >> 1] & _COUNT)


def _bits_of_any(can_id: int, data: bytes) -> int:
    dlc = len(data)
    bits, steps, step, register, before, words_of = _headers.get((can_id, dlc)) or _new_header(can_id, dlc)
    for word in words_of(before + data):
        step = _WORD[step][word]
        steps += step
        register = _CRC[register ^ word]
    return bits + (steps + _CRC_STEP[step][register >> 1] & _COUNT)


def stuffed_bits(can_id: int, data: bytes) -> int:
    """The part of `frame_bits` from SOF to the end of the CRC, a stuff bit after its last bit included."""
    return frame_bits(can_id, data) - TAIL_BITS
