"""How a receiver reads a frame bit by bit, and at which bit it finds that something is wrong.

Source: Bosch, CAN Specification 2.0, 1991, part A, ss. 3.1.1 (fields), 5 (stuffing), 6 (when a frame is valid), 7.1 (stuff
error at the sixth equal bit, form error at the bit, CRC error with the flag at the bit after the ACK delimiter, s. 7.2).
Written to be read: it runs only for frames that were hit.
"""

from collections.abc import Sequence
from itertools import chain
from typing import Final

from busim.frames.layout import CRC_BITS, END_OF_FRAME_BITS, LARGEST_DLC, STUFF_RUN, crc15

TAIL: Final = (1, 0, 1, *(1,) * END_OF_FRAME_BITS)
"""CRC delimiter, ACK slot driven dominant, ACK delimiter, end of frame."""
NO_ERROR_FOUND: Final = -1

_IDLE: Final = (1,) * (STUFF_RUN + 1)
"""As many recessive bits as it takes to find out that there is no frame any more."""
_IDE: Final = 13
_BASE_HEADER: Final = 19
_EXTENDED_HEADER: Final = 39
_CRC_DELIMITER: Final = 0
_ACK_DELIMITER: Final = 2
_LAST_BUT_ONE: Final = 1 + _ACK_DELIMITER + END_OF_FRAME_BITS - 2


def error_found_at(bits: Sequence[int], sent: Sequence[int] = ()) -> int:
    """The index of the bit at which a receiver that reads these bits finds an error; NO_ERROR_FOUND where it accepts them.

    Behind them the bus is recessive: who has taken what it read for a longer frame, or heard its start late, finds out there.
    `sent` is what was sent, stuff bits included. *Model assumption*: a frame read as something else under a CRC that fits (one
    in 32,768 at the most) counts as a CRC error, so nothing wrong gets past the controller.
    """
    content: list[int] = []
    length = 0
    last, run = 1, 0
    tail = -1
    for index, bit in enumerate(chain(bits, _IDLE)):
        if tail < 0:
            if run == STUFF_RUN:
                if bit == last:
                    return index
                last, run = bit, 1
            elif not content and bit:
                if index >= len(bits):
                    return index  # it has heard no frame at all
                continue  # idle goes on: its start of frame is still to come
            else:
                content.append(bit)
                run = run + 1 if bit == last else 1
                last = bit
                length = length or _length(content)
            if length and len(content) == length and run < STUFF_RUN:
                tail = 0
        else:
            if not bit and (tail in (_CRC_DELIMITER, _ACK_DELIMITER) or tail > _ACK_DELIMITER):
                return index
            if tail == _ACK_DELIMITER and (_crc_is_wrong(content) or tuple(bits[: len(sent)]) != tuple(sent)):
                return index
            if tail == _LAST_BUT_ONE:
                return NO_ERROR_FOUND
            tail += 1
    return len(bits) + len(_IDLE)


def _length(content: Sequence[int]) -> int:
    """Bits from SOF to the end of the CRC, stuff bits apart, once the DLC has been read; 0 before."""
    extended = len(content) > _IDE and content[_IDE] == 1
    header = _EXTENDED_HEADER if extended else _BASE_HEADER
    if len(content) < header:
        return 0
    remote = content[32 if extended else 12]
    dlc = int("".join(map(str, content[header - 4 : header])), 2)
    return header + (0 if remote else 8 * min(dlc, LARGEST_DLC)) + CRC_BITS


def _crc_is_wrong(content: Sequence[int]) -> bool:
    return crc15(content[:-CRC_BITS]) != int("".join(map(str, content[-CRC_BITS:])), 2)
