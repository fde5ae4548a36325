"""What a drive senses, and what it tells of it: the part of a drive that decides nothing.

Inputs: `shift_position` (permille of half stroke, + ahead), `throttle_position` (permille), `neutral_switch`, `rpm`.
"""

from collections.abc import Mapping
from typing import ClassVar, Final

from busim.protocol import values as v
from busim.protocol.catalogue import DRIVE_STATE
from busim.protocol.plan import WirePlan
from busim.seam import Action
from busim.units import MS
from nodes.member import Member

NEUTRAL_WITHIN_PERMILLE: Final = 100
IN_GEAR_PERMILLE: Final = 900
STOP_PERMILLE: Final = 10
BELOW_STOP_PERMILLE: Final = 30
"""A throttle feedback further below its stop than this is broken, and shows nothing."""
SHIFT_BEYOND_PERMILLE: Final = 1150
"""A shift feedback further beyond its ends than this is broken (open or shorted: 1250), and shows no gear."""
UNSEEN: Final = -(10**6)
"""A sensor not read since start."""


class SensingDrive(Member):
    __slots__ = (
        "asked_gear", "asked_throttle", "engine_stop", "fault", "instance", "me", "rpm", "sensed_throttle", "shift_position",
        "state_counter", "switch",
    )  # fmt: skip

    inputs: ClassVar[Mapping[str, int]] = {
        "shift_position": 20 * MS,
        "throttle_position": 20 * MS,
        "neutral_switch": 0,
        "rpm": 100 * MS,
    }

    def __init__(self, plan: WirePlan, address: int, build: int = 1) -> None:
        super().__init__(plan, address, build)
        self.me = plan.drive_at(address)
        self.instance = self.me.instance
        self.asked_gear = v.NEUTRAL
        self.asked_throttle = 0
        self.engine_stop = 0
        self.fault = 0
        self.shift_position = UNSEEN
        self.sensed_throttle = UNSEEN
        self.switch = UNSEEN if self.me.has_neutral_switch else v.SWITCH_NOT_FITTED
        self.rpm = UNSEEN
        self.state_counter = 0

    def _read(self, channel: str, value: int) -> None:
        if channel == "shift_position":
            self.shift_position = value
        elif channel == "throttle_position":
            self.sensed_throttle = value
        elif channel == "neutral_switch":
            if self.me.has_neutral_switch:
                self.switch = v.SWITCH_CLOSED if value else v.SWITCH_OPEN
        elif channel == "rpm":
            self.rpm = value

    def _all_seen(self) -> bool:
        return UNSEEN not in (self.shift_position, self.sensed_throttle, self.switch, self.rpm)

    def throttle_at_stop(self) -> bool:
        return -BELOW_STOP_PERMILLE <= self.sensed_throttle <= STOP_PERMILLE

    def sensed_gear(self) -> int:
        """The gear its own sensors show: none where feedback and, if fitted, the independent switch contradict each other."""
        position = self.shift_position
        if not -SHIFT_BEYOND_PERMILLE <= position <= SHIFT_BEYOND_PERMILLE:
            return v.BETWEEN
        if -NEUTRAL_WITHIN_PERMILLE <= position <= NEUTRAL_WITHIN_PERMILLE:
            return v.NEUTRAL if self.switch in (v.SWITCH_CLOSED, v.SWITCH_NOT_FITTED) else v.BETWEEN
        if self.switch == v.SWITCH_CLOSED:
            return v.BETWEEN
        if position >= IN_GEAR_PERMILLE:
            return v.AHEAD
        return v.ASTERN if position <= -IN_GEAR_PERMILLE else v.BETWEEN

    def _state(self) -> list[Action]:
        """`drive_state`: what it asks for and what it senses, apart."""
        self.state_counter = self.state_counter + 1 & 0xFF
        can_id = DRIVE_STATE.can_id(self.address)
        engine = v.ENGINE_STOP_ASKED if self.engine_stop else v.ENGINE_NOT_KNOWN if self.rpm == UNSEEN else int(self.rpm >= 100)
        data = DRIVE_STATE.pack(
            can_id,
            self.state_counter,
            self.instance,
            self.asked_gear,
            self.reported_gear(),
            self.switch if self.switch != UNSEEN else v.SWITCH_FAULTY,
            self.asked_throttle >> 2,
            min(max(self.sensed_throttle, 0) >> 2, 255),
            max(-128, min(self.shift_position // 10, 127)),
            min(max(self.rpm, 0) >> 3, 1023),
            engine,
            self.fault,
        )
        return self.send(can_id, data, self.timing.drive_ms * MS)

    def reported_gear(self) -> int:
        """What `drive_state` gives as the sensed gear."""
        return self.sensed_gear()
