"""Where the judged fields stand in a frame, written down by hand for whoever judges, and the checks of a safety frame.

Nothing here is taken from the codec the nodes run on: a node with a wrong catalogue must not be judged by the same mistake. A
test holds these positions against the written page.
"""

from typing import Final, TypeAlias

Field: TypeAlias = tuple[int, int]
"""(bits below it in the 8-byte frame, mask)."""

CODE_NEUTRAL_NOW: Final = 0
CODE_CLAIM: Final = 1
CODE_LEVER: Final = 2
CODE_WHEEL: Final = 4
CODE_DRIVE_OBEYS: Final = 5
CODE_DRIVE_STATE: Final = 6
CODE_RUDDER_STATE: Final = 8
CODE_CUTOUT_STATE: Final = 9
CODE_HEARTBEAT: Final = 10
CODE_CONDITION: Final = 11
CODE_PRESS: Final = 16
CODE_ZONE_STATE: Final = 17
CODE_SCENE: Final = 18
CODE_NOTICE: Final = 21

CODE_ALARM: Final = 12
CODE_ALARM_ANSWER: Final = 13

COUNTER: Final[Field] = (48, 0xFF)

NEUTRAL_NOW_PRESSED: Final[Field] = (47, 0x1)

CLAIM_NUMBER: Final[Field] = (32, 0xFFFF)
CLAIM_WANTED: Final[Field] = (29, 0x7)
CLAIM_GEAR: Final[dict[int, Field]] = {1: (27, 0x3), 2: (15, 0x3)}
CLAIM_WITHDRAWN: Final[Field] = (4, 0x1)

LEVER_NUMBER: Final[Field] = (32, 0xFFFF)
LEVER_GEAR: Final[dict[int, Field]] = {1: (30, 0x3), 2: (18, 0x3)}
LEVER_THROTTLE: Final[dict[int, Field]] = {1: (20, 0x3FF), 2: (8, 0x3FF)}
LEVER_FAULT: Final[Field] = (7, 0x1)

WHEEL_NUMBER: Final[Field] = (32, 0xFFFF)
WHEEL_ANGLE: Final[Field] = (18, 0x3FFF)
WHEEL_KIND: Final[Field] = (16, 0x3)
WHEEL_FAULT: Final[Field] = (15, 0x1)

OBEYS_STATION: Final[Field] = (42, 0x3F)
OBEYS_NUMBER: Final[Field] = (26, 0xFFFF)
OBEYS_ACTED_ON: Final[Field] = (18, 0xFF)
OBEYS_ROW: Final[Field] = (10, 0xFF)
OBEYS_STATE: Final[Field] = (6, 0xF)
OBEYS_CAUSE: Final[Field] = (2, 0xF)

STATE_ASKED_GEAR: Final[Field] = (44, 0x3)
STATE_SENSED_GEAR: Final[Field] = (42, 0x3)
STATE_ASKED_THROTTLE_4: Final[Field] = (32, 0xFF)
STATE_SENSED_THROTTLE_4: Final[Field] = (24, 0xFF)
STATE_SHIFT_10: Final[Field] = (16, 0xFF)
STATE_RPM_8: Final[Field] = (6, 0x3FF)
STATE_ENGINE: Final[Field] = (4, 0x3)
STATE_FAULT: Final[Field] = (0, 0xF)

RUDDER_STATION: Final[Field] = (42, 0x3F)
RUDDER_NUMBER: Final[Field] = (26, 0xFFFF)
RUDDER_ASKED: Final[Field] = (15, 0x7FF)
RUDDER_SENSED: Final[Field] = (4, 0x7FF)
RUDDER_FAULT: Final[Field] = (0, 0xF)

CUTOUT_FIRED: Final[Field] = (32, 0x1)

HEARTBEAT_STATE: Final[Field] = (44, 0xF)
HEARTBEAT_CAUSE: Final[Field] = (40, 0xF)
HEARTBEAT_HELM: Final[Field] = (24, 0xFFFF)
HEARTBEAT_LIGHTING: Final[Field] = (8, 0xFFFF)

PRESS_BYTES: Final = 8
PRESS_NUMBER: Final[Field] = (56, 0xFF)
PRESS_ZONE: Final[Field] = (48, 0xFF)
PRESS_CONTROL: Final[Field] = (0, 0xFF)

ZONE_BYTES: Final = 8
ZONE_NUMBER: Final[Field] = (56, 0xFF)
ZONE_MOVING: Final[Field] = (54, 0x1)
ZONE_LEVEL: Final[Field] = (44, 0x3FF)

CONDITION_CONDITION: Final[Field] = (45, 0x7)
CONDITION_NUMBER: Final[Field] = (29, 0xFFFF)

SCENE_BYTES: Final = 6
SCENE_NUMBER: Final[Field] = (32, 0xFF)
SCENE_JOINING: Final[Field] = (3, 0x1)

NOTICE_BYTES: Final = 4
NOTICE_WHICH: Final[Field] = (24, 0xFF)
NOTICE_SUBJECT: Final[Field] = (16, 0xFF)
NOTICE_STATE: Final[Field] = (14, 0x3)

ALARM_WHICH: Final[Field] = (40, 0xFF)
ALARM_ABOUT: Final[Field] = (34, 0x3F)
ALARM_STATE: Final[Field] = (32, 0x3)
ALARM_PRIORITY: Final[Field] = (30, 0x3)
ANSWER_WHICH: Final[Field] = (40, 0xFF)
ANSWER_RAISER: Final[Field] = (34, 0x3F)
ANSWER_ANSWER: Final[Field] = (32, 0x3)
ALARM_GONE: Final = 0
CONTROL_LOST: Final = 1
SHIFT_FAULT: Final = 2
THROTTLE_FAULT: Final = 3
SENSOR_FAULT: Final = 4
STEERING_LOST: Final = 5
LEVER_FAULT_ALARM: Final = 8
TWO_AT_ONE_ADDRESS: Final = 9
HEARS_NOTHING: Final = 10
BUS_LOST_BEYOND: Final = 11
NODE_LOST: Final = 12
LAMP_OR_FUSE_FAILED: Final = 40
"""Numbers of alarms, on the wire and in a line."""

WARNING: Final = 1
EMERGENCY: Final = 2

NEUTRAL: Final = 0
AHEAD: Final = 1
ASTERN: Final = 2


def field(whole: int, place: Field) -> int:
    """A field of a frame given as one 64-bit integer."""
    return whole >> place[0] & place[1]


def signed_field(whole: int, place: Field) -> int:
    """A field in two's complement."""
    value = field(whole, place)
    return value - place[1] - 1 if value * 2 > place[1] else value


def _crc_table() -> tuple[int, ...]:
    """CRC-8 with polynomial x^8 + x^5 + x^3 + x^2 + x + 1, one byte at a time."""
    rows = []
    for byte in range(256):
        for _ in range(8):
            byte = (byte * 2) ^ (0x12F if byte > 127 else 0)
        rows.append(byte)
    return tuple(rows)


_CRC: Final = _crc_table()


_judged: tuple[int, bytes, bool] = (0, b"", False)


def sound(can_id: int, data: bytes) -> bool:
    """Eight bytes whose first is the right CRC over id and the other seven. Several judges ask about the same frame in turn."""
    global _judged
    judged = _judged
    if judged[1] is data and judged[0] == can_id:
        return judged[2]
    if len(data) != 8:
        return False
    crc, b1, b2, b3, b4, b5, b6, b7 = data
    start = _CRC[_CRC[0xFF ^ can_id // 256] ^ can_id % 256]
    right = crc == 0xFF ^ _CRC[_CRC[_CRC[_CRC[_CRC[_CRC[_CRC[start ^ b1] ^ b2] ^ b3] ^ b4] ^ b5] ^ b6] ^ b7]
    _judged = (can_id, data, right)
    return right


class CounterRule:
    """The counter rule of the written page: 1 to `max_gap` ahead counts, equal does not, else the second of two in a row does."""

    __slots__ = ("last", "max_gap", "strange")

    def __init__(self, max_gap: int) -> None:
        self.max_gap = max_gap
        self.last: int | None = None
        self.strange: int | None = None

    def counts(self, counter: int, bus: int = 0, now_ns: int = 0) -> bool:
        step = None if self.last is None else (counter - self.last) % 256
        if step == 0:
            return False
        good = (step is not None and step <= self.max_gap) or (self.strange is not None and (counter - self.strange) % 256 == 1)
        if good:
            self.last, self.strange = counter, None
        else:
            self.strange = counter
        return good


class OneBus:
    """One of several buses by which a sender is heard."""

    __slots__ = ("astray", "brought_ns", "rule", "up_ns")

    def __init__(self, max_gap: int, since_ns: int) -> None:
        self.rule = CounterRule(max_gap)
        self.brought_ns = since_ns
        """When it last brought something that its rule let through."""
        self.astray = False
        self.up_ns: int | None = None
        """Of one astray: since when it has kept up with what counts."""


class SeveralBusesRule:
    """The counter rule for a sender heard on several buses, as the written page has it: a rule for each bus, and what it lets
    through counts if it is new. Ahead of the last that counted it is, by a bus that is not astray. Anything else is new where no
    other bus stands at that last one, or this bus has been the only one to bring anything for half of `limit_ns`.

    Astray is a bus that was more than `max_gap` off, or brought nothing for `limit_ns` of what counted, until it has kept up for
    half of that.
    """

    __slots__ = ("buses", "counted_ns", "half_ns", "last", "limit_ns", "max_gap", "only", "only_ns", "since_ns")

    def __init__(self, max_gap: int, limit_ns: int) -> None:
        self.max_gap = max_gap
        self.limit_ns = limit_ns
        self.half_ns = limit_ns // 2_000_000 * 1_000_000
        """In whole ms, as nodes count it."""
        self.buses: dict[int, OneBus] = {}
        self.last: int | None = None
        self.since_ns = self.counted_ns = 0
        """When the first one counted, and the last."""
        self.only = -1
        self.only_ns = 0
        """The bus of the last frame let through, and since when all came by the same."""

    def counts(self, counter: int, bus: int, now_ns: int) -> bool:
        mine = self.buses.setdefault(bus, OneBus(self.max_gap, self.since_ns))
        if not mine.rule.counts(counter):
            return False
        if bus != self.only or now_ns - mine.brought_ns >= self.limit_ns:
            self.only, self.only_ns = bus, now_ns
        if self.last is None:
            self.since_ns = now_ns
            for each in self.buses.values():
                each.brought_ns = now_ns
        elif self.counted_ns - mine.brought_ns >= self.limit_ns:
            mine.astray, mine.up_ns = True, None
        mine.brought_ns = now_ns
        if self.last is not None and not self._new(mine, (counter - self.last) % 256, now_ns):
            return False
        self.last, self.counted_ns = counter, now_ns
        mine.astray = False
        return True

    def _new(self, mine: OneBus, ahead: int, now_ns: int) -> bool:
        if mine.astray and mine.up_ns is not None and now_ns - mine.up_ns >= self.half_ns:
            mine.astray = False
        if ahead and (
            (ahead < 128 and not mine.astray)
            or now_ns - self.only_ns >= self.half_ns
            or self.last not in [each.rule.last for each in self.buses.values() if each is not mine]
        ):
            return True
        if self.max_gap < ahead < 256 - self.max_gap:
            mine.astray, mine.up_ns = True, None
        elif mine.astray and mine.up_ns is None:
            mine.up_ns = now_ns
        return False
