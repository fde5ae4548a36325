"""The arbitration id: 5 bits of message code in order of urgency, 6 bits of sender address; and the proof about CRC starts."""

from collections.abc import Iterable
from typing import Final

from busim.protocol.crc8 import START_BY_ID

ADDRESS_BITS: Final = 6
ADDRESS_MASK: Final = (1 << ADDRESS_BITS) - 1
HELM_ADDRESSES: Final = range(1, 16)
"""Addresses of nodes that may send safety messages other than the heartbeat."""
NODE_ADDRESSES: Final = range(1, 63)
SAFETY_CODES: Final = range(16)
UNUSED_CODE: Final = 31
"""An id must not begin with seven recessive bits (Bosch CAN 2.0, 1991, s. 3.1.1)."""


def make_id(code: int, address: int) -> int:
    """The 11-bit id with which the node at `address` sends the message of this `code`."""
    return code << ADDRESS_BITS | address


def code_of(can_id: int) -> int:
    return can_id >> ADDRESS_BITS


def address_of(can_id: int) -> int:
    return can_id & ADDRESS_MASK


def ids_sharing_a_start(can_ids: Iterable[int]) -> list[tuple[int, int]]:
    """Every pair of these safety ids whose CRC starts from the same state, so that one could pass for the other.

    Empty is the proof that no two of them can be taken for each other by a wrong id alone.
    """
    with_start: dict[int, list[int]] = {}
    pairs = []
    for can_id in sorted(set(can_ids)):
        others = with_start.setdefault(START_BY_ID[can_id], [])
        pairs += [(other, can_id) for other in others]
        others.append(can_id)
    return pairs
