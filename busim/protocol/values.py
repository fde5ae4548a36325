"""The meanings of raw values on the wire: gears, drive states, causes, key actions. Part of the protocol: a value never moves."""

from typing import Final

# Gears, asked or sensed.
NEUTRAL: Final = 0
AHEAD: Final = 1
ASTERN: Final = 2
BETWEEN: Final = 3  # sensed only: neither in a gear nor certainly out of it, or not known

GEARS: Final = ((NEUTRAL, "neutral"), (AHEAD, "ahead"), (ASTERN, "astern"), (BETWEEN, "between or unknown"))

SWITCHES: Final = ((0, "open"), (1, "closed"), (2, "faulty"), (3, "not fitted"))
SWITCH_OPEN: Final = 0
SWITCH_CLOSED: Final = 1
SWITCH_FAULTY: Final = 2
SWITCH_NOT_FITTED: Final = 3

# What a station wants its number to command.
TAKES_DRIVE_1: Final = 1
TAKES_DRIVE_2: Final = 2
TAKES_RUDDER: Final = 4

CONDITION_TIMES: Final = 3
CONDITION_AGAIN_MS: Final = 20
"""A change is said so often, so far apart: to who has not heard this station yet its first frame counts for nothing, and one may be
lost."""
CONDITION_FORGOTTEN_MS: Final = 3500
"""A condition of the navigation lights is said every second: three times lost and a half."""

PRESSED_AGAIN_MS: Final = 10_000
"""A drive that kept a take from being complete is left out of the next one, if that comes so soon after it failed: long enough to
read the display and put a lever back, and short enough that whoever presses again still means that failure."""

# Why a drive was last forced idle or neutral; kept until control is taken anew.
CAUSE_NONE: Final = 0
CAUSE_WOKE_OFF_NEUTRAL: Final = 1
CAUSE_LEVER_LOST: Final = 2
CAUSE_HEARTBEAT_LOST: Final = 3
CAUSE_OTHER_BOAT_FILE: Final = 4
CAUSE_NEUTRAL_NOW: Final = 5
CAUSE_WITHDRAWN: Final = 6
CAUSE_OTHER_DRIVE_LOST: Final = 7
CAUSE_PARTITION: Final = 8
CAUSE_ACTUATOR: Final = 9
CAUSE_LEVER_FAULT: Final = 10
CAUSE_SUPPLY: Final = 11
CAUSE_CONTROLLER: Final = 12
CAUSE_DRIVE_LOST: Final = 13
CAUSE_GEAR_IN: Final = 14

CAUSES: Final = (
    (CAUSE_NONE, "none"),
    (CAUSE_WOKE_OFF_NEUTRAL, "woke off neutral"),
    (CAUSE_LEVER_LOST, "nothing valid from the lever in control"),
    (CAUSE_HEARTBEAT_LOST, "no heartbeat from the station in control"),
    (CAUSE_OTHER_BOAT_FILE, "the station in control was built from another boat file"),
    (CAUSE_NEUTRAL_NOW, "neutral now was pressed"),
    (CAUSE_WITHDRAWN, "the take of control was withdrawn"),
    (CAUSE_OTHER_DRIVE_LOST, "the other drive was lost"),
    (CAUSE_PARTITION, "the other drive obeys somebody else"),
    (CAUSE_ACTUATOR, "an actuator did not do as it was told"),
    (CAUSE_LEVER_FAULT, "the lever or wheel in control reports a fault"),
    (CAUSE_SUPPLY, "low supply"),
    (CAUSE_CONTROLLER, "own CAN controller bus-off"),
    (CAUSE_DRIVE_LOST, "the drive is silent, or acts on no lever"),
    (CAUSE_GEAR_IN, "the gear is not certainly out"),
)

ENGINE_STATES: Final = ((0, "stopped"), (1, "running"), (2, "stop asked for"), (3, "not known"))
ENGINE_STOPPED: Final = 0
ENGINE_RUNNING: Final = 1
ENGINE_STOP_ASKED: Final = 2
ENGINE_NOT_KNOWN: Final = 3

DRIVE_FAULTS: Final = (
    (0, "none"),
    (1, "shift does not arrive"),
    (2, "throttle does not arrive"),
    (3, "shift feedback and switch disagree"),
    (4, "throttle feedback implausible"),
    (5, "rpm unlike command"),
)

RUDDER_FAULTS: Final = ((0, "none"), (1, "does not arrive"), (2, "moved unasked"), (3, "feedback implausible"))
RUDDER_SOUND: Final = 0
RUDDER_DOES_NOT_ARRIVE: Final = 1
RUDDER_MOVED_UNASKED: Final = 2
RUDDER_FEEDBACK_IMPLAUSIBLE: Final = 3

WHEEL_KINDS: Final = ((0, "angle"), (1, "rate"), (2, "not steering"))
WHEEL_ANGLE: Final = 0
WHEEL_RATE: Final = 1
WHEEL_NOT_STEERING: Final = 2

NODE_STATES: Final = ((0, "starting"), (1, "working"), (2, "working with a fault"), (3, "stopped by a fault"))
NODE_STARTING: Final = 0
NODE_WORKING: Final = 1
NODE_WITH_FAULT: Final = 2
NODE_STOPPED: Final = 3

NODE_KINDS: Final = (
    (0, "a kind of the builder's own"), (1, "station"), (2, "drive"), (3, "panel"), (4, "zone driver"),
    (5, "rudder"), (6, "cutout"), (7, "alarm"), (8, "navigation"),
)  # fmt: skip

RESET_CAUSES: Final = ((0, "power on"), (1, "reset line"), (2, "watchdog"), (3, "brown-out"))

NAVIGATION_CONDITIONS: Final = ((0, "off"), (1, "under way"), (2, "at anchor"), (3, "aground"))

ALARM_STATES: Final = ((0, "gone"), (1, "raised"), (2, "acknowledged"), (3, "silenced"))
ALARM_PRIORITIES: Final = ((0, "caution"), (1, "warning"), (2, "emergency"))
ALARM_ANSWERS: Final = ((0, "acknowledge"), (1, "silence"))

PRESS_ACTIONS: Final = (
    (0, "off"),
    (1, "on"),
    (2, "toggle"),
    (3, "level"),
    (4, "colour"),
    (5, "colour temperature"),
    (6, "start dimming up"),
    (7, "start dimming down"),
    (8, "stop dimming"),
    (9, "navigation light condition"),
)
PRESS_OFF: Final = 0
PRESS_ON: Final = 1
PRESS_TOGGLE: Final = 2
PRESS_LEVEL: Final = 3
PRESS_COLOUR: Final = 4
PRESS_KELVIN: Final = 5
PRESS_DIM_UP: Final = 6
PRESS_DIM_DOWN: Final = 7
PRESS_DIM_STOP: Final = 8
PRESS_CONDITION: Final = 9

SCENE_ALL_OFF: Final = 255
"""A scene of every driver's own: all its zones dark. No boat file numbers another like it."""

ZONE_FAULTS: Final = (
    (0, "none"),
    (1, "lamp open"),
    (2, "lamp short"),
    (3, "output stuck"),
    (4, "scene table older"),
    (5, "colour out of reach"),
)
ZONE_FAULT_OLDER_TABLE: Final = 4

BENCH_DIRECTIONS: Final = ((0, "value in"), (1, "value out"))

BENCH_ADDRESS: Final = 63
"""Whom values into a node come from: no node has this address."""
BENCH_OBSERVER_ADDRESS: Final = 62
"""Who watches the machinery on the bench by sensors of its own; on the bench no node has this address."""
BENCH_CHANNELS: Final = (
    (1, "shift_position"), (2, "throttle_position"), (3, "rpm"), (4, "neutral_switch"), (5, "gear_switch"), (6, "speed"),
    (7, "rudder_angle"), (16, "throttle"), (17, "shift"), (18, "engine_stop"), (19, "start_permit"), (20, "fuel_cut"),
    (21, "rudder"), (22, "rudder_power"),
)  # fmt: skip
"""Channels of the bench message: below 16 into a node, in the units in which it measures; from 16 on out of it, as its outputs.
Until the first value comes, a bench build takes its machinery to be at rest: the bench listens before it sends anything."""
