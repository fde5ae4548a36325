"""Frames of every message worked out by hand from the rules of the written page, and not with the codec.

Beside each signal stand its bits; a line joins them and cuts the row into bytes. Byte 0 of the safety frames is crccheck's
Crc8Autosar over id and bytes 1 to 7. Ids are code x 64 + address.
"""

from dataclasses import dataclass


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
    # 300 = 01 2C; -3500 in 14 bits is 16384 - 3500 = 12884 = 8192 + 4096 + 512 + 64 + 16 + 4 = 11001001010100; angle 00, fault 1:
    # 11001001|010100 00|1 0000000 = C9 50 80
    Worked("wheel", 3, 60, (300, -3500, 0, 1), 0x103, "9F 3C 01 2C C9 50 80 00"),
    # 700 = 512 + 128 + 32 + 16 + 8 + 4 = 00001010111100; rate 01, fault 0: 00001010|111100 01|0 0000000 = 0A F1 00
    Worked("wheel", 5, 61, (5, 700, 1, 0), 0x105, "6E 3D 00 05 0A F1 00 00"),
    # station 000011, 300 = 0000000100101100; 1000 / 5 = 200 = 00011001000; -35 / 5 = -7 = 2048 - 7 = 2041 = 11111111001; 0001:
    # 000011 00|00000100|101100 00|01100100|0 1111111|1001 0001 = 0C 04 B0 64 7F 91
    Worked("rudder_state", 7, 90, (3, 300, 200, -7, 1), 0x207, "02 5A 0C 04 B0 64 7F 91"),
    # pressed 1, nothing locked out: 1 0000000 = 80
    Worked("neutral_now", 1, 33, (1, 0), 0x001, "90 21 80 00 00 00 00 00"),
    # 1000 = 03 E8; ahead 01, 250 = 0011111010, astern 10, 333 = 0101001101, 0, 0:
    # 01 001111|1010 10 01|01001101|0 0 000000 = 4F A9 4D 00
    Worked("lever", 3, 99, (1000, 1, 250, 2, 333, 0, 0), 0x083, "1D 63 03 E8 4F A9 4D 00"),
    # 101 for drive 1 and rudder; astern 10, 100 = 0001100100, rest 0: 101 10 000|1100100 0|0 0000000|000 0 0000 = B0 C8 00 00
    Worked("claim", 5, 12, (2, 5, 2, 100, 0, 0, 0), 0x045, "42 0C 00 02 B0 C8 00 00"),
    # station 000101, sixteen 1, eight 1, row 37 = 00100101, state 11 = 1011, cause 14 = 1110, 01:
    # 000101 11|11111111|111111 11|111111 00|100101 10|11 1110 01 = 17 FF FF FC 96 F9
    Worked("drive_obeys", 2, 64, (5, 65535, 255, 37, 11, 14, 1), 0x142, "11 40 17 FF FF FC 96 F9"),
    # 10, astern 10, between 11, closed 01 = AD; 40 / 4 = 10 = 0A; 255 = FF; 127 = 7F; 2200 / 8 = 275 = 0100010011, 00, 0011:
    # 01000100|11 00 0011 = 44 C3
    Worked("drive_state", 4, 77, (2, 2, 3, 1, 10, 255, 127, 275, 0, 3), 0x184, "01 4D AD 0A FF 7F 44 C3"),
    # 10, open 00, ten 1, armed 1, fired 1, cause 14 = 1110: 10 00 1111|111111 1 1|1110 0000 = 8F FF E0
    Worked("cutout_state", 12, 18, (2, 0, 1023, 1, 1, 14), 0x24C, "F9 12 8F FF E0 00 00 00"),
    # 01, may start 0, inhibit 1, cause 13 = 1101: 01 0 1 1101 = 5D
    Worked("permission", 12, 19, (1, 0, 1, 13), 0x3CC, "F3 13 5D 00 00 00 00 00"),
    # 18 = 12; subject 001000, acknowledged 10 = 22; caution 00, 200 = 11001000: 00 110010|00 000000 = 32 00
    Worked("alarm", 8, 20, (18, 8, 2, 0, 200), 0x308, "FC 14 12 22 32 00 00 00"),
    # 01; raiser 000010, acknowledge 00 = 08; 07
    Worked("alarm_answer", 5, 21, (1, 2, 0, 7), 0x345, "CD 15 01 08 07 00 00 00"),
    # aground 011, sixteen 1: 011 11111|11111111|111 00000 = 7F FF E0
    Worked("condition", 3, 22, (3, 65535), 0x2C3, "84 16 7F FF E0 00 00 00"),
    # stopped by a fault 0011, watchdog 0010 = 32; 0001; 8000; 128 = 80
    Worked("heartbeat", 20, 23, (3, 2, 0x0001, 0x8000, 128), 0x294, "0C 17 32 00 01 80 00 80"),
    # 1024 + 22 = 416; 07; 04; level 0011, 300 = 000100101100: 0011 0001|00101100 = 31 2C; 00 00 00; 05
    Worked("press", 22, -1, (7, 4, 3, 300, 0, 5), 0x416, "07 04 31 2C 00 00 00 05"),
    # 1088 + 31 = 45F; 06; lit 1, moving 0, 600 = 1001011000, FF9040, 0000, panel 010110, press 00000111, unused 00:
    # 1 0 100101|1000 1111|1111 1001|0000 0100|0000 0000|010110 00|000111 00 = A5 8F F9 04 00 58 1C
    Worked("zone_state", 31, -1, (6, 1, 0, 600, 0xFF9040, 0, 22, 7), 0x45F, "06 A5 8F F9 04 00 58 1C"),
    # 1152 + 23 = 497; FF; FF; FFFF; 40950 / 10 = 4095, twelve 1; joining 0, unused 000: FF F0
    Worked("scene", 23, -1, (255, 255, 65535, 4095, 0), 0x497, "FF FF FF FF FF F0"),
    # 1216 + 32 = 4E0; 01; 0001; panel 010111, 128 = 10000000, fault 0000, unused 000000: 010111 10|000000 00|00 000000 = 5E 00 00
    Worked("scene_state", 32, -1, (1, 1, 23, 128, 0), 0x4E0, "01 00 01 5E 00 00"),
    # 1280 + 40 = 528; protocol 1, navigation lights, software 255.0.255
    Worked("identity", 40, -1, (1, 8, 255, 0, 255), 0x528, "01 08 FF 00 FF"),
    # 1344 + 40 = 568; 40 = 28; 05; acknowledged 10, warning 01, 254 = 11111110, unused 0000: 10 01 1111|1110 0000 = 9F E0
    Worked("notice", 40, -1, (40, 5, 2, 1, 254), 0x568, "28 05 9F E0"),
    # 1920 + 17 = 791; in 0, channel 32767: 7F FF; -2147483648 = 80 00 00 00
    Worked("bench", 17, -1, (0, 32767, -2147483648), 0x791, "7F FF 80 00 00 00"),
]
