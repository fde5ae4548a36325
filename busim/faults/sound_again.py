"""A frame that was changed before its CRC was made: as a program with another value in it would have sent it."""

from busim.protocol.crc8 import crc_of_word
from busim.protocol.ids import SAFETY_CODES, code_of

_SAFETY_BYTES = 8


def sound_again(can_id: int, data: bytes) -> bytes:
    """A safety frame gets the CRC that its id and its other seven bytes ask for; others have none."""
    if code_of(can_id) not in SAFETY_CODES or len(data) != _SAFETY_BYTES:
        return data
    return bytes([crc_of_word(can_id, int.from_bytes(data[1:], "big"))]) + data[1:]
