"""The end-to-end CRC-8 of safety frames: polynomial 0x2F, start FF, result xor FF, over id >> 8, id & 255, then bytes 1 to 7.

The seven bytes are taken as one 56-bit word. The CRC is linear, so it is the sum (xor) of a part that depends on the id
alone and of one table each for three pairs of bytes and the last byte; the tables are built when the module is loaded.
"""

from typing import Final

POLYNOMIAL: Final = 0x2F
START: Final = 0xFF
FINAL_XOR: Final = 0xFF


def _byte_table() -> bytes:
    table = bytearray(256)
    for value in range(256):
        register = value
        for _ in range(8):
            register = (register << 1 ^ POLYNOMIAL if register & 0x80 else register << 1) & 0xFF
        table[value] = register
    return bytes(table)


BYTE_TABLE: Final = _byte_table()


def crc8(data: bytes, start: int = START) -> int:
    """The plain CRC of `data`, byte by byte, final xor included. The tables below are only faster."""
    register = start
    for byte in data:
        register = BYTE_TABLE[register ^ byte]
    return register ^ FINAL_XOR


def _shifted(table: bytes, times: int) -> bytes:
    """`table` after `times` further bytes of zeros."""
    for _ in range(times):
        table = table.translate(BYTE_TABLE)
    return table


def _pair_table(high: bytes, low: bytes) -> bytes:
    return b"".join(low.translate(bytes(value ^ first for value in range(256))) for first in high)


def _start_table() -> bytes:
    """The register after the two bytes of each id."""
    table = bytearray(2048)
    for can_id in range(2048):
        register = BYTE_TABLE[BYTE_TABLE[START ^ can_id >> 8] ^ can_id & 0xFF]
        table[can_id] = register
    return bytes(table)


START_BY_ID: Final = _start_table()
"""The register once the id's two bytes are in, per id. Two ids with the same value are indistinguishable to the CRC."""

_FROM_ID: Final = bytes(register ^ FINAL_XOR for register in START_BY_ID.translate(_shifted(bytes(range(256)), 7)))
_BYTES_1_2: Final = _pair_table(_shifted(BYTE_TABLE, 6), _shifted(BYTE_TABLE, 5))
_BYTES_3_4: Final = _pair_table(_shifted(BYTE_TABLE, 4), _shifted(BYTE_TABLE, 3))
_BYTES_5_6: Final = _pair_table(_shifted(BYTE_TABLE, 2), _shifted(BYTE_TABLE, 1))


CRC_SOURCE: Final = (
    "FROM_ID[can_id] ^ BYTES_1_2[word >> 40] ^ BYTES_3_4[word >> 24 & 0xFFFF] ^ BYTES_5_6[word >> 8 & 0xFFFF] ^ BYTE_7[word & 0xFF]"
)
"""Byte 0 of a safety frame as Python source: `word` is bytes 1 to 7 as a big-endian 56-bit integer. For functions that are
written out anyway, so that a frame does not pay for a call."""
CRC_TABLES: Final = {
    "FROM_ID": _FROM_ID, "BYTES_1_2": _BYTES_1_2, "BYTES_3_4": _BYTES_3_4, "BYTES_5_6": _BYTES_5_6, "BYTE_7": BYTE_TABLE,
}  # fmt: skip


def crc_of_word(can_id: int, word: int) -> int:
    """Byte 0 of a safety frame: `word` is bytes 1 to 7 as a big-endian 56-bit integer."""
    return (
        _FROM_ID[can_id]
        ^ _BYTES_1_2[word >> 40]
        ^ _BYTES_3_4[word >> 24 & 0xFFFF]
        ^ _BYTES_5_6[word >> 8 & 0xFFFF]
        ^ BYTE_TABLE[word & 0xFF]
    )
