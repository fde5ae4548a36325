"""What people did, as far as frames show it: takes, levers, neutral now, touches, answers to alarms; and what lamps came to.

A key is told when the first frame that it causes is on the bus, a lever when it has come to rest or leaves or enters neutral.
"""

from typing import Final

from busim.events import bits
from busim.events.journal import Journal
from busim.logs.tell import Teller
from busim.protocol.plan import StationPlan, WirePlan
from busim.requirements.in_a_log import Doubt

RESTS_AFTER: Final = 5
"""So many lever frames alike are a lever at rest: a tenth of a second."""
LEVERS_MASK: Final = 0xFFFFFF << 8
"""Gear and throttle of both drives, of a lever frame."""
GONE_NS: Final = 500_000_000
"""A key whose frames have not come for so long was let go."""


class LeverSeen:
    """One station's levers: the last frame's fields, how often they came alike, what was told of each drive."""

    __slots__ = ("alike", "fields", "station", "told")

    def __init__(self, station: StationPlan) -> None:
        self.station = station
        self.fields = -1
        self.alike = 0
        self.told: dict[int, int] = {}
        """Instance -> permille, + is ahead."""


class PeopleTeller(Teller):
    def __init__(self, journal: Journal, doubt: Doubt, plan: WirePlan) -> None:
        super().__init__(journal, doubt)
        self.node_of = {address: name for address, name, _ in plan.nodes}
        self.drive_names = {drive.instance: drive.name for drive in plan.drives}
        self.levers = {station.address: LeverSeen(station) for station in plan.stations}
        self.numbers: dict[int, int] = {}
        """Station -> the number of the take it claimed last."""
        self.pressed_ns: dict[tuple[int, int, int], int] = {}
        """(id, and for an answer what it answers) -> when such a frame came last."""
        self.presses: dict[int, tuple[int, int]] = {}
        """Id -> (number of the press or scene, when it came last)."""
        for address in self.levers:
            for code, watcher in (
                (bits.CODE_LEVER, self._lever), (bits.CODE_CLAIM, self._claim), (bits.CODE_NEUTRAL_NOW, self._neutral_now),
            ):  # fmt: skip
                journal.watch_frames(code << 6 | address, watcher)
        for address in self.node_of:
            if address < 16:
                journal.watch_frames(bits.CODE_ALARM_ANSWER << 6 | address, self._answer)
        for panel in plan.panels:
            journal.watch_frames(bits.CODE_PRESS << 6 | panel.address, self._press)

    # ------------------------------------------------------------------------------------------------ stations

    def _lever(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        seen = self.levers[can_id & 0x3F]
        whole = int.from_bytes(data, "big")
        fields = whole & LEVERS_MASK
        if fields == seen.fields:
            seen.alike += 1
            if seen.alike == RESTS_AFTER:
                self._tell_levers(now_ns, seen, whole, rests=True)
        elif bits.sound(can_id, data):
            seen.fields, seen.alike = fields, 1
            self._tell_levers(now_ns, seen, whole, rests=False)

    def _tell_levers(self, now_ns: int, seen: LeverSeen, whole: int, *, rests: bool) -> None:
        for instance in seen.station.drives:
            gear = bits.field(whole, bits.LEVER_GEAR[instance])
            if gear > bits.ASTERN:
                continue
            # In gear without throttle is off neutral all the same.
            permille = (0, 1, -1)[gear] * max(bits.field(whole, bits.LEVER_THROTTLE[instance]), 1)
            before = seen.told.get(instance)
            if permille == before or not (rests or before is None or not permille or not before):
                continue
            seen.told[instance] = permille
            if before is not None or permille:
                self.tell(now_ns, 0, "lever", seen.station.name, self.drive_names[instance], permille, 0)

    def _claim(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        if not bits.sound(can_id, data):
            return
        whole = int.from_bytes(data, "big")
        station, number = can_id & 0x3F, bits.field(whole, bits.CLAIM_NUMBER)
        if bits.field(whole, bits.CLAIM_WITHDRAWN) or self.numbers.get(station) == number:
            return
        self.numbers[station] = number
        self.tell(now_ns, 0, "key", self.node_of[station], "take", 1)

    def _neutral_now(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        if not bits.sound(can_id, data) or not bits.field(int.from_bytes(data, "big"), bits.NEUTRAL_NOW_PRESSED):
            return
        if self._begins(now_ns, (can_id, 0, 0)):
            self.tell(now_ns, 0, "key", self.node_of[can_id & 0x3F], "neutral_now", 1)

    def _answer(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        if not bits.sound(can_id, data):
            return
        whole = int.from_bytes(data, "big")
        what, answer = whole >> 22 & 0x3FFFFFF, bits.field(whole, bits.ANSWER_ANSWER)
        if answer < 2 and self._begins(now_ns, (can_id, what, answer)):
            self.tell(now_ns, 0, "key", self.node_of[can_id & 0x3F], ("acknowledge", "silence")[answer], 1)

    def _begins(self, now_ns: int, what: tuple[int, int, int]) -> bool:
        last_ns = self.pressed_ns.get(what)
        if len(self.pressed_ns) > 1000:
            self.pressed_ns = {each: at_ns for each, at_ns in self.pressed_ns.items() if now_ns - at_ns < GONE_NS}
        self.pressed_ns[what] = now_ns
        return last_ns is None or now_ns - last_ns > GONE_NS

    # ------------------------------------------------------------------------------------------------ panels

    def _press(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        if len(data) != bits.PRESS_BYTES:
            return
        whole = int.from_bytes(data, "big")
        number, control = bits.field(whole, bits.PRESS_NUMBER), bits.field(whole, bits.PRESS_CONTROL)
        before, before_ns = self.presses.get(can_id, (-1, 0))
        self.presses[can_id] = number, now_ns
        if number != before or now_ns - before_ns > 4 * GONE_NS:
            self.tell(now_ns, 0, "key", self.node_of[can_id & 0x3F], f"touch.{control}", 1)


class LampTeller(Teller):
    """Zones as their drivers report them. A fade is told where it was reported, not as it went."""

    def __init__(self, journal: Journal, doubt: Doubt, plan: WirePlan) -> None:
        super().__init__(journal, doubt)
        self.names = {(zone.driver, zone.number): zone.name for zone in plan.zones}
        self.levels: dict[str, tuple[int, int]] = {}
        """Zone -> (its level as reported last, when)."""
        for driver in {zone.driver for zone in plan.zones}:
            journal.watch_frames(bits.CODE_ZONE_STATE << 6 | driver, self._state)

    def _state(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        if len(data) != bits.ZONE_BYTES:
            return
        whole = int.from_bytes(data, "big")
        name = self.names.get((can_id & 0x3F, bits.field(whole, bits.ZONE_NUMBER)))
        if name is None:
            return
        level = bits.field(whole, bits.ZONE_LEVEL)
        before, before_ns = self.levels.get(name, (0, now_ns))
        self.levels[name] = level, now_ns
        if level != before:
            self.tell(now_ns, now_ns - before_ns, "lamp", name, level, 0)
