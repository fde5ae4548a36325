"""What happened in a log, in words: the timeline of a run, said as it goes, with what nodes only reported marked as that."""

from collections.abc import Callable
from typing import Final

from busim import labels
from busim.boat.model import BoatFile
from busim.events import bits
from busim.events.journal import Event, Journal
from busim.events.situation import Situation
from busim.protocol.alarms import BY_NUMBER
from busim.protocol.values import ALARM_STATES, NAVIGATION_CONDITIONS
from busim.run.timeline import Line, Timeline

REPORTED_KINDS: Final = ("gear", "throttle_stop", "engine", "rudder", "start", "output")
"""What a run has from the machinery, and a log from nodes' own words."""


class LogTimeline(Timeline):
    """`sink(line)` is given each line when it is known; lines are in order but for a silence, which is known a little late."""

    def __init__(self, boat: BoatFile, situation: Situation, sink: Callable[[Line], None]) -> None:
        super().__init__(boat, situation)
        self.sink = sink
        self.raised: dict[tuple[int, int, int], int] = {}
        """(raiser, which, about) -> state said last."""
        self.failed: dict[tuple[int, int], int] = {}
        self.condition = -1

    def attach(self, journal: Journal) -> None:
        super().attach(journal)
        for address, _, kind in self.situation.plan.nodes:
            if address < 16:
                journal.watch_frames(bits.CODE_ALARM << 6 | address, self._alarm_frame)
            if kind == "station":
                journal.watch_frames(bits.CODE_CONDITION << 6 | address, self._condition_frame)
            if kind == "navigation":
                journal.watch_frames(bits.CODE_NOTICE << 6 | address, self._notice_frame)
        for driver in {zone.driver for zone in self.situation.plan.zones}:
            journal.watch_frames(bits.CODE_ZONE_STATE << 6 | driver, self._zone_frame)
        self.zones = {(zone.driver, zone.number): zone.name for zone in self.situation.plan.zones}
        self.levels: dict[str, int] = {}

    def say(self, at_ns: int, words: str) -> None:
        self.sink(Line(at_ns, words))

    def _say(self, event: Event, words: str) -> None:
        self.sink(Line(event[0], words + labels.AS_REPORTED if event[2] in REPORTED_KINDS else words))

    # ------------------------------------------------------------------------------------------------ events

    def _start(self, event: Event) -> None:
        cause = labels.RESET_CAUSES.get(event[4], event[4])
        self._say(event, labels.PROGRAM_STARTS.format(node=event[3], cause=cause))

    def _lever(self, event: Event) -> None:
        _, _, _, station, drive, permille, _ = event
        where = labels.GEARS[0] if not permille else f"{labels.GEARS[1 if permille > 0 else 2]} {abs(permille) // 10} %"
        self._say(event, labels.LEVER_ASKS.format(station=station, drive=drive, where=where))

    def _lamp(self, event: Event) -> None:
        """Said when the zone's report says that it rests."""

    # ------------------------------------------------------------------------------------------------ frames

    def _zone_frame(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        whole = int.from_bytes(data, "big")
        if len(data) != bits.ZONE_BYTES or bits.field(whole, bits.ZONE_MOVING):
            return
        name = self.zones.get((can_id & 0x3F, bits.field(whole, bits.ZONE_NUMBER)))
        level = bits.field(whole, bits.ZONE_LEVEL)
        if name is None or self.levels.get(name, 0) == level:
            return
        self.levels[name] = level
        words = labels.LAMP_LIT_AT.format(zone=name, level=f"{level / 10:g}") if level < 1000 else labels.LAMP_LIT.format(zone=name)
        self.say(now_ns, (words if level else labels.LAMP_DARK.format(zone=name)) + labels.AS_REPORTED)

    def _alarm_frame(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        if not bits.sound(can_id, data):
            return
        whole = int.from_bytes(data, "big")
        which, about = bits.field(whole, bits.ALARM_WHICH), bits.field(whole, bits.ALARM_ABOUT)
        state, key = bits.field(whole, bits.ALARM_STATE), (can_id & 0x3F, which, about)
        if self.raised.get(key, bits.ALARM_GONE) == state:
            return
        self.raised[key] = state
        kind = BY_NUMBER.get(which)
        name = kind.name.replace("_", " ") if kind is not None else labels.OTHER_ALARM.format(number=which)
        subject = self.situation.node_of.get(about)
        priority = bits.field(whole, bits.ALARM_PRIORITY)
        self.say(
            now_ns,
            labels.ALARM_RAISED.format(
                who=self.situation.node_of[can_id & 0x3F],
                priority=labels.ALARM_PRIORITIES.get(priority, priority),
                alarm=name if subject is None else f"{name}, {subject}",
                state=dict(ALARM_STATES)[state],
            ),
        )

    def _notice_frame(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        whole = int.from_bytes(data, "big")
        if len(data) != bits.NOTICE_BYTES:
            return
        number, state = bits.field(whole, bits.NOTICE_SUBJECT), bits.field(whole, bits.NOTICE_STATE)
        key = can_id & 0x3F, number
        if bool(state) == bool(self.failed.get(key, 0)):
            return
        self.failed[key] = state
        lights = {(light.driver, light.number): light.name for light in self.situation.plan.navigation_lights}
        self.say(now_ns, labels.LIGHT_FAILED[bool(state)].format(light=lights.get(key, number)) + labels.AS_REPORTED)

    def _condition_frame(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        if not bits.sound(can_id, data):
            return
        condition = bits.field(int.from_bytes(data, "big"), bits.CONDITION_CONDITION)
        if condition != self.condition:
            self.condition = condition
            words = dict(NAVIGATION_CONDITIONS).get(condition, str(condition))
            self.say(now_ns, labels.CONDITION_IS.format(condition=words))
