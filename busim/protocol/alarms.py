"""The table of alarms: what is told to the crew, how urgent it is, and who raises it. Numbers go over the wire and never move.

Priorities are those of alarm messages. An alarm is raised, acknowledged (steady until it is gone) or silenced (it comes back),
and gone. A station raises what it sees by itself from its own reception: such an alarm needs no frame to reach it.
"""

from dataclasses import dataclass
from typing import Final

CAUTION: Final = 0
WARNING: Final = 1
EMERGENCY: Final = 2

GONE: Final = 0
RAISED: Final = 1
ACKNOWLEDGED: Final = 2
SILENCED: Final = 3

ACKNOWLEDGE: Final = 0
SILENCE: Final = 1

SILENT_FOR_S: Final = 30
"""A silenced alarm returns after this (IMO MSC.302(87), MSC.252(83))."""
REPEAT_MS: Final = 1000
ANSWER_REPEAT_MS: Final = 100
ANSWER_LONGEST_MS: Final = 1000
MOST_SHOWN: Final = 8
"""A list shows so many at a time, the most urgent first; what it does not show, it counts."""


@dataclass(frozen=True)
class AlarmKind:
    """`raised_by`: the kind of node that sends it, or "every listener" for what each station sees by its own reception."""

    number: int
    name: str
    priority: int
    raised_by: str
    words: str


ALARMS: Final = (
    AlarmKind(1, "control_lost", EMERGENCY, "drive", "the drive lost the station in control, going neutral or idle by itself"),
    AlarmKind(2, "shift_fault", EMERGENCY, "drive", "the gear does not do as it is told"),
    AlarmKind(3, "throttle_fault", EMERGENCY, "drive", "the throttle does not do as it is told"),
    AlarmKind(4, "sensor_fault", WARNING, "drive", "a sensor of the drive can't be believed"),
    AlarmKind(5, "steering_lost", EMERGENCY, "rudder", "nobody steers: the rudder lost the station that did, and holds"),
    AlarmKind(6, "rudder_fault", EMERGENCY, "rudder", "the rudder does not do as it is told"),
    AlarmKind(7, "engine_cut", EMERGENCY, "cutout", "the cutout has stopped the engine"),
    AlarmKind(8, "lever_fault", WARNING, "station", "a lever or the wheel can't be believed"),
    AlarmKind(9, "two_at_one_address", EMERGENCY, "every listener", "somebody else sends under this address"),
    AlarmKind(10, "hears_nothing", EMERGENCY, "every listener", "this station hears nobody"),
    AlarmKind(11, "bus_lost_beyond", EMERGENCY, "every listener", "everybody from this node on fell silent together"),
    AlarmKind(12, "node_lost", WARNING, "every listener", "the node fell silent, or was never heard"),
    AlarmKind(13, "other_boat_file", WARNING, "every listener", "the node was built from another boat file"),
    AlarmKind(14, "nobody_in_control", WARNING, "every listener", "no station is in control of the drives"),
    AlarmKind(15, "one_bus_lost", WARNING, "every listener", "the node is heard on one bus of a pair only"),
    AlarmKind(16, "neutral_key_stuck", CAUTION, "every listener", "the neutral-now key stays pressed; it can be locked out"),
    AlarmKind(17, "key_locked_out", CAUTION, "every listener", "the neutral-now key was named stuck and is ignored"),
    AlarmKind(18, "more_alarms", WARNING, "every listener", "there are more alarms than are shown"),
)

BY_NAME: Final = {alarm.name: alarm for alarm in ALARMS}
BY_NUMBER: Final = {alarm.number: alarm for alarm in ALARMS}
