"""Frames put together by the written page alone, for tests of nodes and of requirements: positions of bits, an outside CRC.

Nothing here comes from busim's codec. A place is (bits below it, number of bits) in the frame's last bits; ids are code x 64 +
address. The CRC is crccheck's Crc8Autosar (polynomial 2F, start FF, result xor FF) over the id's two bytes and bytes 1 to 7.
"""

from functools import cache

from crccheck.crc import Crc8Autosar  # type: ignore[import-untyped]

NEUTRAL, AHEAD, ASTERN, BETWEEN = 0, 1, 2, 3

NEUTRAL_NOW, CLAIM, LEVER, OBEYS, STATE, HEARTBEAT, PRESS, ZONE, IDENTITY = 0, 1, 2, 5, 6, 10, 16, 17, 20
CUTOUT_STATE, PERMISSION = 9, 15
WHEEL, RUDDER_STATE = 4, 8
ALARM, ALARM_ANSWER = 12, 13
"""Codes of the messages."""


def id_of(code: int, address: int) -> int:
    return code * 64 + address


@cache
def crc_of(can_id: int, rest: bytes) -> int:
    return int(Crc8Autosar.calc(bytes((can_id // 256, can_id % 256)) + rest))


def safe(can_id: int, counter: int, content: int) -> bytes:
    """A safety frame: CRC, counter, 48 bits of content."""
    rest = bytes((counter % 256,)) + content.to_bytes(6, "big")
    return bytes((crc_of(can_id, rest),)) + rest


def spoiled(data: bytes) -> bytes:
    """The same with a wrong CRC."""
    return bytes((data[0] ^ 0x55,)) + data[1:]


def part(data: bytes, below: int, bits: int) -> int:
    return int.from_bytes(data, "big") >> below & 2**bits - 1


def lever(
    address: int,
    counter: int,
    number: int,
    gear: int,
    throttle: int = 0,
    *,
    drive: int = 1,
    fault: int = 0,
    other: tuple[int, int] = (0, 0),
) -> bytes:
    """`gear` and `throttle` asked of `drive`, `other` of the other one."""
    first, second = ((gear, throttle), other) if drive == 1 else (other, (gear, throttle))
    content = number << 32 | first[0] << 30 | first[1] << 20 | second[0] << 18 | second[1] << 8 | fault << 7
    return safe(id_of(LEVER, address), counter, content)


def wheel(address: int, counter: int, number: int, angle: int, *, kind: int = 0, fault: int = 0) -> bytes:
    """`angle` in hundredths of a degree, or a rate in those a second where `kind` is 1."""
    content = number << 32 | angle % 2**14 << 18 | kind << 16 | fault << 15
    return safe(id_of(WHEEL, address), counter, content)


def rudder_state(
    address: int, counter: int, station: int, number: int, *, asked: int = 0, sensed: int = 0, fault: int = 0
) -> bytes:
    """Angles in steps of 5 hundredths of a degree."""
    content = station << 42 | number << 26 | asked % 2**11 << 15 | sensed % 2**11 << 4 | fault
    return safe(id_of(RUDDER_STATE, address), counter, content)


def claim(
    address: int,
    counter: int,
    number: int,
    *,
    wanted: int = 1,
    gear: int = 0,
    throttle: int = 0,
    gear_2: int = 0,
    withdrawn: int = 0,
) -> bytes:
    content = number << 32 | wanted << 29 | gear << 27 | throttle << 17 | gear_2 << 15 | withdrawn << 4
    return safe(id_of(CLAIM, address), counter, content)


def neutral_now(address: int, counter: int, pressed: int = 1, locked_out: int = 0) -> bytes:
    return safe(id_of(NEUTRAL_NOW, address), counter, pressed << 47 | locked_out << 31)


def alarm(
    address: int, counter: int, which: int, *, about: int | None = None, state: int = 1, priority: int = 2, number: int = 1
) -> bytes:
    """About its sender where nobody else is named."""
    content = which << 40 | (address if about is None else about) << 34 | state << 32 | priority << 30 | number << 22
    return safe(id_of(ALARM, address), counter, content)


def alarm_answer(address: int, counter: int, which: int, raiser: int, *, answer: int = 0, number: int = 1) -> bytes:
    return safe(id_of(ALARM_ANSWER, address), counter, which << 40 | raiser << 34 | answer << 32 | number << 24)


def heartbeat(address: int, counter: int, fingerprint: int) -> bytes:
    return safe(id_of(HEARTBEAT, address), counter, 1 << 44 | fingerprint << 24)


def obeys(
    address: int,
    counter: int,
    station: int,
    number: int,
    acted_on: int = 0,
    *,
    row: int = 1,
    state: int = 1,
    cause: int = 0,
    instance: int = 1,
) -> bytes:
    content = station << 42 | number << 26 | acted_on % 256 << 18 | row << 10 | state << 6 | cause << 2 | instance
    return safe(id_of(OBEYS, address), counter, content)


def drive_state(address: int, counter: int, asked: int, sensed: int, *, instance: int = 1) -> bytes:
    content = instance << 46 | asked << 44 | sensed << 42 | 1 << 40 | 100 << 6 | 1 << 4
    return safe(id_of(STATE, address), counter, content)


def press(number: int, zone: int, action: int, control: int = 1) -> bytes:
    return (number << 56 | zone << 48 | action << 44 | control).to_bytes(8, "big")


def zone_state(zone: int, level: int, panel: int = 0, number: int = 0) -> bytes:
    return (zone << 56 | int(level > 0) << 55 | level << 44 | panel << 10 | number << 2).to_bytes(8, "big")


def notice(light: int, *, which: int = 40, state: int = 1, priority: int = 1, number: int = 1) -> bytes:
    return (which << 24 | light << 16 | state << 14 | priority << 12 | number << 4).to_bytes(4, "big")
