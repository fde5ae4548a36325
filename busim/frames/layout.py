"""How a base-format data frame is laid out on the wire: its bits, its CRC, its stuff bits, and the fields round it.

Source: Bosch, CAN Specification 2.0, 1991, parts A and B. A bit is 0 for dominant and 1 for recessive. Written to be
read and not to be fast: what is asked once a frame belongs in `length`.
"""

from collections.abc import Iterable
from typing import Final

LARGEST_ID: Final = 0x7FF
LARGEST_DLC: Final = 8

# The stuffed region, SOF to the last CRC bit.
SOF_BITS: Final = 1
ID_BITS: Final = 11
RTR_BITS: Final = 1
CONTROL_BITS: Final = 6
"""IDE, one reserved bit, and the DLC in four."""
HEADER_BITS: Final = SOF_BITS + ID_BITS + RTR_BITS + CONTROL_BITS
CRC_BITS: Final = 15
STUFF_RUN: Final = 5
"""After this many equal bits, stuff bits counted, the sender inserts one of the other value."""

# The unstuffed tail.
CRC_DELIMITER_BITS: Final = 1
ACK_SLOT_BITS: Final = 1
ACK_DELIMITER_BITS: Final = 1
END_OF_FRAME_BITS: Final = 7
INTERMISSION_BITS: Final = 3
"""Counted into every frame here, so that frames back to back take the sum of their lengths."""
TAIL_BITS: Final = CRC_DELIMITER_BITS + ACK_SLOT_BITS + ACK_DELIMITER_BITS + END_OF_FRAME_BITS + INTERMISSION_BITS

# What errors and fault confinement add.
ERROR_FLAG_BITS: Final = 6
LONGEST_ERROR_FLAG_BITS: Final = 12
"""The flags of several nodes laid over one another: the last node may see the error only in the first one's sixth bit."""
ERROR_DELIMITER_BITS: Final = 8
OVERLOAD_FLAG_BITS: Final = 6
OVERLOAD_DELIMITER_BITS: Final = 8
SUSPEND_BITS: Final = 8
"""An error-passive node that has just transmitted waits these after intermission before it may start again."""
SHORTEST_RECOVERY_BITS: Final = ERROR_FLAG_BITS + ERROR_DELIMITER_BITS + INTERMISSION_BITS
LONGEST_RECOVERY_BITS: Final = LONGEST_ERROR_FLAG_BITS + ERROR_DELIMITER_BITS + INTERMISSION_BITS + SUSPEND_BITS
"""From the detection of an error to the start of the next frame: 31 bits, the figure of part B."""
BUS_OFF_RECOVERY_SEQUENCES: Final = 128
RECESSIVE_SEQUENCE_BITS: Final = 11
BUS_OFF_RECOVERY_BITS: Final = BUS_OFF_RECOVERY_SEQUENCES * RECESSIVE_SEQUENCE_BITS
"""On a quiet bus. The sequences need not follow one another, and a busy bus gives one a frame."""

CRC_POLYNOMIAL: Final = 0x4599
"""x^15 + x^14 + x^10 + x^8 + x^7 + x^4 + x^3 + 1 without its leading term."""


def check_base_frame(can_id: int, dlc: int) -> None:
    """ValueError in words where no base-format data frame has this id and this number of data bytes."""
    if not 0 <= can_id <= LARGEST_ID:
        raise ValueError(f"arbitration id {can_id:#x} is outside 0x0 to {LARGEST_ID:#x}: frames here have 11-bit ids")
    if not 0 <= dlc <= LARGEST_DLC:
        raise ValueError(f"{dlc} data bytes do not fit a frame: it carries 0 to {LARGEST_DLC}")


def bits_of(value: int, count: int) -> tuple[int, ...]:
    """The low `count` bits of `value`, most significant first, as they are sent."""
    return tuple(value >> place & 1 for place in reversed(range(count)))


def header_bits(can_id: int, dlc: int) -> tuple[int, ...]:
    """SOF to the end of the DLC, unstuffed. RTR, IDE and the reserved bit are dominant in a base-format data frame."""
    check_base_frame(can_id, dlc)
    return (0, *bits_of(can_id, ID_BITS), 0, 0, 0, *bits_of(dlc, 4))


def crc15(bits: Iterable[int]) -> int:
    """The CRC-15 of a sequence of bits: register 0x4599, start 0, no final xor."""
    register = 0
    for bit in bits:
        feedback = register >> 14 ^ bit
        register = register << 1 & 0x7FFF
        if feedback:
            register ^= CRC_POLYNOMIAL
    return register


def _checked_bits(can_id: int, data: bytes) -> tuple[int, ...]:
    """What the CRC is taken over: SOF to the end of the data, unstuffed."""
    return header_bits(can_id, len(data)) + bits_of(int.from_bytes(data, "big"), 8 * len(data))


def frame_crc(can_id: int, data: bytes) -> int:
    return crc15(_checked_bits(can_id, data))


def unstuffed_bits(can_id: int, data: bytes) -> tuple[int, ...]:
    """SOF to the last CRC bit before stuffing: 34 + 8s bits for s data bytes."""
    checked = _checked_bits(can_id, data)
    return checked + bits_of(crc15(checked), CRC_BITS)


def stuffed(bits: Iterable[int]) -> tuple[int, ...]:
    """`bits` with stuff bits. One follows the last bit too, where that ends a run: the rule holds up to the delimiter."""
    sent: list[int] = []
    run = 0
    for bit in bits:
        run = run + 1 if sent and bit == sent[-1] else 1
        sent.append(bit)
        if run == STUFF_RUN:
            sent.append(1 - bit)
            run = 1
    return tuple(sent)


def wire_bits(can_id: int, data: bytes) -> tuple[int, ...]:
    """The frame as transmitted from SOF to the end of the CRC, stuff bits included. The tail's bits are always the same."""
    return stuffed(unstuffed_bits(can_id, data))


def longest_frame_bits(dlc: int) -> int:
    """A bound on the length of a frame with 11-bit id, intermission included: 55 + 10s bits for s data bytes.

    Davis, Burns, Bril, Lukkien, Controller Area Network (CAN) schedulability analysis: Refuted, revisited and revised,
    Real-Time Systems 35, 2007, equations 1 to 3: at most one stuff bit for every four bits after the first. The fixed
    bits and the CRC keep every real frame below it.
    """
    check_base_frame(0, dlc)
    region = HEADER_BITS + 8 * dlc + CRC_BITS
    return region + (region - 1) // (STUFF_RUN - 1) + TAIL_BITS
