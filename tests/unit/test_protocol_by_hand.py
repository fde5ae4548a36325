"""Frames of every message worked out by hand from the rules of the written page, and not with the codec.

Beside each signal stand its bits; a line joins them and cuts the row into bytes. Byte 0 of the safety frames is crccheck's
Crc8Autosar over id and bytes 1 to 7, and is asked again here. Ids are code x 64 + address.
"""

from dataclasses import dataclass

import pytest
from crccheck.crc import Crc8Autosar  # type: ignore[import-untyped]

from busim.protocol.catalogue import BY_NAME, MESSAGES
from busim.protocol.codec import INVALID, check, counter_of, read_plain


@dataclass(frozen=True)
class Worked:
    """`counter` is -1 for a message without one."""

    name: str
    address: int
    counter: int
    raw: tuple[int, ...]
    can_id: int
    data: str


WORKED = [
    # number 0000 0000 0000 0001, all else 0: byte 3 is 01.
    Worked("lever", 1, 0, (1, 0, 0, 0, 0, 0, 0), 0x081, "AB 00 00 01 00 00 00 00"),
    # number FFFF; astern 10, 1000 = 1111101000, ahead 01, 1 = 0000000001, fault 0, warm up 0, unused 000000:
    # 10 111110|1000 01 00|00000001|0 0 000000 = BE 84 01 00
    Worked("lever", 1, 255, (65535, 2, 1000, 1, 1, 0, 0), 0x081, "F2 FF FF FF BE 84 01 00"),
    # number 258 = 01 02; 00, 0000000000, astern 10, 512 = 1000000000, 1, 1: 00000000|0000 10 10|00000000|1 1 000000 = 00 0A 00 C0
    Worked("lever", 15, 7, (258, 0, 0, 2, 512, 1, 1), 0x08F, "FA 07 01 02 00 0A 00 C0"),
    # wanted drive 1 = 001, all else 0: 00100000 = 20
    Worked("claim", 1, 1, (1, 1, 0, 0, 0, 0, 0), 0x041, "E6 01 00 01 20 00 00 00"),
    # number 8000; wanted 111, 01, 1023 = 1111111111, 11, 0000000001, withdrawn 1, unused 0000:
    # 111 01 111|1111111 1|1 0000000|001 1 0000 = EF FF 80 30
    Worked("claim", 3, 200, (0x8000, 7, 1, 1023, 3, 1, 1), 0x043, "8F C8 80 00 EF FF 80 30"),
    # pressed 1, bit 3 of 16 = 0000000000001000: 1 0000000|00000100|0 0000000 = 80 04 00
    Worked("neutral_now", 2, 16, (1, 1 << 3), 0x002, "63 10 80 04 00 00 00 00"),
    # pressed 0, bits 15 and 1 = 1000000000000010: 0 1000000|00000001|0 0000000 = 40 01 00
    Worked("neutral_now", 15, 0, (0, 1 << 15 | 1 << 1), 0x00F, "33 00 40 01 00 00 00 00"),
    # 30 bits of 0 (station 6, number 16, counter 8), row 1 = 00000001, state 1 = 0001, cause 0000, instance 01:
    # three bytes of 0|000000 00|000001 00|01 0000 01 = 00 04 41
    Worked("drive_obeys", 2, 9, (0, 0, 0, 1, 1, 0, 1), 0x142, "53 09 00 00 00 00 04 41"),
    # station 000001, number 7 = 0000000000000111, 41 = 00101001, row 28 = 00011100, state 9 = 1001, cause 2 = 0010, instance 10:
    # 000001 00|00000000|000111 00|101001 00|011100 10|01 0010 10 = 04 00 1C A4 72 4A
    Worked("drive_obeys", 4, 128, (1, 7, 41, 28, 9, 2, 2), 0x144, "D8 80 04 00 1C A4 72 4A"),
    # 01, ahead 01, between 11, open 00 = 5C; 1000 permille / 4 = 250 = FA; 500 / 4 = 125 = 7D; -450 / 10 = -45 = 256 - 45 = D3;
    # 800 rpm / 8 = 100 = 0001100100, running 01, fault 0000: 00011001|00 01 0000 = 19 10
    Worked("drive_state", 2, 3, (1, 1, 3, 0, 250, 125, -45, 100, 1, 0), 0x182, "6A 03 5C FA 7D D3 19 10"),
    # 10 10 10 11 = AB; 00; FF; -128 = 80; 1023 = 1111111111, 11, fault 5 = 0101: 11111111|11 11 0101 = FF F5
    Worked("drive_state", 15, 255, (2, 2, 2, 3, 0, 255, -128, 1023, 3, 5), 0x18F, "BE FF AB 00 FF 80 FF F5"),
    # 640 + 62 = 702 = 2BE; working 0001, brown-out 0011 = 13
    Worked("heartbeat", 62, 5, (1, 3, 0xBEEF, 0x1234, 255), 0x2BE, "30 05 13 BE EF 12 34 FF"),
    Worked("heartbeat", 1, 0, (0, 0, 0x0001, 0xFFFF, 1), 0x281, "1F 00 00 00 01 FF FF 01"),
    # -1 in 14 bits is fourteen 1; kind 10, fault 0: 11111111|111111 10|0 0000000 = FF FE 00
    Worked("wheel", 1, 17, (2, -1, 2, 0), 0x101, "7D 11 00 02 FF FE 00 00"),
    # station 001111, sixteen 1, -1024 = 10000000000, 1023 = 01111111111, fault 3 = 0011:
    # 001111 11|11111111|111111 10|00000000|0 0111111|1111 0011 = 3F FF FE 00 3F F3
    Worked("rudder_state", 14, 100, (15, 0xFFFF, -1024, 1023, 3), 0x20E, "F9 64 3F FF FE 00 3F F3"),
    # 01, closed 01, 3000 rpm / 8 = 375 = 0101110111, armed 1, fired 0, cause 9 = 1001: 01 01 0101|110111 1 0|1001 0000 = 55 DE 90
    Worked("cutout_state", 13, 1, (1, 1, 375, 1, 0, 9), 0x24D, "EB 01 55 DE 90 00 00 00"),
    # under way would be 001; at anchor 010, number 3 = 0000000000000011: 010 00000|00000000|011 00000 = 40 00 60
    Worked("condition", 1, 6, (2, 3), 0x2C1, "C2 06 40 00 60 00 00 00"),
    # 17 = 11; subject 20 = 010100, raised 01 = 51; emergency 10, number 3 = 00000011: 10 000000|11 000000 = 80 C0
    Worked("alarm", 1, 2, (17, 20, 1, 2, 3), 0x301, "22 02 11 51 80 C0 00 00"),
    # 255; 63 = 111111, silence 01 = FD; 128
    Worked("alarm_answer", 3, 8, (255, 63, 1, 128), 0x343, "EB 08 FF FD 80 00 00 00"),
    # 01, may start 1, inhibit 0, cause 0000 = 60
    Worked("permission", 2, 4, (1, 1, 0, 0), 0x3C2, "12 04 60 00 00 00 00 00"),
    # 1024 + 20 = 414; FF; zone 1; toggle 0010, 1000 = 001111101000: 0010 0011|11101000 = 23 E8; FF 80 00; control 64 = 40
    Worked("press", 20, -1, (255, 1, 2, 1000, 0xFF8000, 64), 0x414, "FF 01 23 E8 FF 80 00 40"),
    # 1088 + 21 = 455; 3; lit 1, moving 1, 1000 = 1111101000, colour 00FF10, fault 5, panel 20 = 010100, 255, unused 00:
    # 1 1 111110|1000 0000|00001111|11110001|0000 0101|010100 11|111111 00 = FE 80 0F F1 05 53 FC
    Worked("zone_state", 21, -1, (3, 1, 1, 1000, 0x00FF10, 5, 20, 255), 0x455, "03 FE 80 0F F1 05 53 FC"),
    # 1; 2; revision 0304; 2000 ms / 10 = 200 = 000011001000, unused 0000: 00001100|1000 0000 = 0C 80
    Worked("scene", 20, -1, (1, 2, 0x0304, 200, 1), 0x494, "01 02 03 04 0C 88"),
    # 2; 0304; panel 010100, number 00000001, fault 4 = 0100, unused 000000: 010100 00|000001 01|00 000000 = 50 05 00
    Worked("scene_state", 21, -1, (2, 0x0304, 20, 1, 4), 0x4D5, "02 03 04 50 05 00"),
    # 1280 + 62 = 53E; protocol 1, a drive, software 0.1.10
    Worked("identity", 62, -1, (1, 2, 0, 1, 10), 0x53E, "01 02 00 01 0A"),
    # 1; 3; raised 01, caution 00, number 9 = 00001001, unused 0000: 01 00 0000|1001 0000 = 40 90
    Worked("notice", 21, -1, (1, 3, 1, 0, 9), 0x555, "01 03 40 90"),
    # out 1, channel 2 = 000000000000010: 80 02; -2 = FFFFFFFE
    Worked("bench", 16, -1, (1, 2, -2), 0x790, "80 02 FF FF FF FE"),
]


@pytest.mark.parametrize("worked", WORKED, ids=lambda worked: f"{worked.name}-{worked.address}-{worked.counter}")
def test_worked_frame(worked: Worked) -> None:
    message, data = BY_NAME[worked.name], bytes.fromhex(worked.data)
    assert message.can_id(worked.address) == worked.can_id
    if worked.counter < 0:
        assert message.pack(*worked.raw) == data
        word = read_plain(message, data)
    else:
        assert data[0] == Crc8Autosar.calc(worked.can_id.to_bytes(2, "big") + data[1:])
        assert message.pack(worked.can_id, worked.counter, *worked.raw) == data
        word = check(worked.can_id, data)
        assert counter_of(word) == worked.counter
    assert word != INVALID
    assert message.unpack(word) == worked.raw


def test_every_message_was_worked_out() -> None:
    assert {worked.name for worked in WORKED} == {message.name for message in MESSAGES}
