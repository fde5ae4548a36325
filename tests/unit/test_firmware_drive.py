"""The drive in C against the one in Python: calls drawn at random, and builds that are broken on purpose."""

import random

import pytest

from busim.protocol.catalogue import ALARM_ANSWER, CLAIM, DRIVE_OBEYS, HEARTBEAT, LEVER, NEUTRAL_NOW, RUDDER_STATE
from busim.protocol.tables import DRIVE_TABLE
from busim.protocol.values import AHEAD, ASTERN, NEUTRAL, NODE_WORKING
from nodes.drive import Drive

from .firmware_rig import Drawn, Firmware, Step
from .test_firmware_station import frame, rows_in

DRIVES = (("marsh_tern", "port_drive"), ("marsh_tern", "starboard_drive"), ("first_boat", "engine_room"))
LONGEST_NS = 40_000_000
BROKEN = (
    "WRONG_ID", "BYTE_ORDER", "COUNTER_IGNORED", "CRC_UNCHECKED", "TIMEOUTS_TRIPLED", "NO_TIMEOUT", "REENGAGES", "OBEYS_OLD_HOLDER",
    "ENGAGES_ABOVE_IDLE",
)  # fmt: skip
SHOWN = {NEUTRAL: 0, AHEAD: 1000, ASTERN: -1000}


class Helm(Drawn):
    """What stations, machinery and the other helm nodes do to a drive, mostly: one station takes control and drives."""

    asked = (NEUTRAL, 0)
    claimed = (0, 0, 0, 0)
    """(station, number, what it wants, how its levers stand) of the take that is being asked for."""
    jammed = ""
    """What does not follow for now."""

    def event(self) -> str:
        draw, what = self.draw, self.draw.randrange(100)
        if what < 38:
            return self.lever()
        if what < 50:
            return self.heartbeat()
        if what < 62 and (not self.node.obeyed or not draw.randrange(5)):
            return self.claim()
        if what < 86:
            return self.sensor()
        if what < 88:
            stations = [station.address for station in self.boat.plan.stations]
            return frame(self, NEUTRAL_NOW, draw.choice(stations), int(not draw.randrange(12)), draw.choice((0, 0, 0, 2, 8)))
        if what < 93:
            return self.other_drive()
        if what < 97:
            return self.rudder()
        if what < 99:
            listeners = [entry.address for entry in self.boat.boat.nodes.values() if entry.kind in ("station", "alarm")]
            return frame(self, ALARM_ANSWER, draw.choice(listeners), draw.randrange(1, 9), self.entry.address, 0, draw.randrange(4))
        return f"C {draw.choice(self.boat.plan.buses_of(self.entry.address))} {draw.randrange(3)}"

    def station(self) -> int:
        """The one in control mostly, or any that may be."""
        stations = self.node.me.stations
        return self.node.obeyed if self.node.obeyed and self.draw.randrange(12) else int(self.draw.choice(stations))

    def lever(self) -> str:
        draw, drive = self.draw, self.node
        if not draw.randrange(12):
            self.asked = (draw.choice((NEUTRAL, NEUTRAL, AHEAD, AHEAD, AHEAD, ASTERN)), draw.choice((0, 100, 500, 1000)))
        gear, throttle = self.asked if draw.randrange(60) else (draw.randrange(4), draw.randrange(1024))
        throttle = throttle if gear else 0
        number = drive.number if draw.randrange(20) else draw.choice((0, 1, drive.number + 1 & 0xFFFF))
        return frame(self, LEVER, self.station(), number, gear, throttle, gear, throttle, int(not draw.randrange(500)), 0)

    def heartbeat(self) -> str:
        plan = self.boat.plan
        helm = plan.helm_fingerprint if self.draw.randrange(200) else 0x1234
        station = self.station() if self.draw.randrange(3) else self.draw.choice([station.address for station in plan.stations])
        return frame(self, HEARTBEAT, station, NODE_WORKING, 0, helm, plan.lighting_fingerprint, 1)

    def claim(self) -> str:
        draw, drive = self.draw, self.node
        if not self.claimed[0] or not draw.randrange(6):
            number = drive.number + draw.choice((1, 1, 1, 1, 2, 0, -1)) & 0xFFFF
            self.claimed = draw.choice(drive.me.stations), number, draw.choice((7, 3, 3, 3, 1, 2)), draw.randrange(3)
        station, number, wanted, how = self.claimed
        matched = drive.asked_gear, max(0, min(drive.asked_throttle + draw.choice((0, 0, 50, 100, 101, -100, -101)), 1000))
        gear, throttle = ((NEUTRAL, 0), (NEUTRAL, 0), matched)[how] if draw.randrange(12) else self.asked
        return frame(self, CLAIM, station, number, wanted, gear, throttle, gear, throttle, int(not draw.randrange(40)))

    def sensor(self) -> str:
        """They follow the actuators, at once or in between, and sometimes show what they like."""
        draw, drive = self.draw, self.node
        if not draw.randrange(60):
            self.jammed = draw.choice(("", "", "", "shift_position", "throttle_position", "rpm"))
        channel = draw.choice(("shift_position", "throttle_position", "neutral_switch", "rpm"))
        if channel == self.jammed:
            return f"I {channel} {({'shift_position': drive.shift_position, 'throttle_position': 500, 'rpm': 1500})[channel]}"
        strange = not draw.randrange(80)
        if channel == "shift_position":
            value = SHOWN[drive.asked_gear] if draw.randrange(25) else draw.choice((0, 100, 101, 500, 749, 750, 900, -900, 899))
            value = draw.choice((1150, 1151, -1250, -(2**31), 2**31 - 1)) if strange else value
        elif channel == "throttle_position":
            value = drive.asked_throttle if draw.randrange(25) else draw.choice((0, 10, 11, 400, 1000))
            value = draw.choice((-30, -31, 1030, 1031, -250, -(2**31))) if strange else value
        elif channel == "neutral_switch":
            value = int(abs(drive.shift_position) < 500) if not strange else draw.randrange(2)
        else:
            limit = drive.me.shift_rpm
            value = 700 if draw.randrange(8) else draw.choice((600, 0, 2400, 99, 100, limit - 1, limit, limit + 1))
        return f"I {channel} {value}"

    def other_drive(self) -> str:
        others = [drive for drive in self.boat.plan.drives if drive.address != self.entry.address]
        if not others:
            return self.heartbeat()
        draw, mine = self.draw, (self.node.obeyed, self.node.number)
        station, number = mine if draw.randrange(8) else draw.choice(((0, 0), (1, 7), (0, mine[1]), (3, mine[1])))
        return frame(self, DRIVE_OBEYS, others[0].address, station, number, 0, 5, 4, 0, others[0].instance)

    def rudder(self) -> str:
        rudder = self.boat.plan.rudder
        if rudder is None:
            return self.lever()
        draw = self.draw
        station = self.node.obeyed if draw.randrange(6) else 0
        return frame(self, RUDDER_STATE, rudder.address, station, self.node.number, 0, 0, draw.choice((0,) * 12 + (1, 2, 3)))


def drawn(firmware: Firmware, boat: str, node: str, seeds: range, calls: int) -> list[Step]:
    trace: list[Step] = []
    for seed in seeds:
        helm = Helm(firmware.boat(boat), node, random.Random(f"{seed} {node} drive"))
        trace += helm.play(calls, lambda played: played.event(), LONGEST_NS)
    return trace


def test_drawn_calls(firmware: Firmware) -> None:
    trace = drawn(firmware, "first_boat", "engine_room", range(3), 1500)
    assert firmware.differences(trace, "first_boat", "engine_room") == []


SELDOM = {16, 17, 31, 32, 33, 36, 37}
"""Rows that drawn calls take seldom or, without the policy to stay engaged, never: they are in scenarios."""


@pytest.mark.slow
def test_many_drawn_calls_take_nearly_every_row(firmware: Firmware) -> None:
    rows: set[str] = set()
    for boat, node in DRIVES:
        trace = drawn(firmware, boat, node, range(30), 1500)
        assert firmware.differences(trace, boat, node) == []
        rows |= rows_in(trace)
    assert {str(row.number) for row in DRIVE_TABLE.rows if row.number not in SELDOM} <= rows


@pytest.mark.slow
@pytest.mark.parametrize("switch", BROKEN)
def test_a_build_that_is_broken_on_purpose_differs(switch: str, firmware: Firmware) -> None:
    trace = drawn(firmware, "marsh_tern", "port_drive", range(8), 1500)
    assert firmware.differences(trace, "marsh_tern", "port_drive", f"BROKEN_{switch}") != []


def test_it_is_the_drives_kind() -> None:
    assert set(Drive.inputs) == {"shift_position", "throttle_position", "neutral_switch", "rpm"}
