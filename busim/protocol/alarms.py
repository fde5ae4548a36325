"""The table of alarms: what is told to the crew, how urgent it is, and who raises it. Numbers go over the wire and never move.

Priorities are those of alarm messages. What becomes of one alarm is a state table, the same at whoever raised it and at whoever
shows it. A listener (a station, an alarm node) sees much by itself, from its own reception: that needs no frame to reach it.
"""

from dataclasses import dataclass
from typing import Final

from busim.protocol.tables import Row, StateTable

CAUTION: Final = 0
WARNING: Final = 1
EMERGENCY: Final = 2

# States on the wire.
GONE: Final = 0
RAISED: Final = 1
ACKNOWLEDGED: Final = 2
SILENCED: Final = 3

ACKNOWLEDGE: Final = 0
SILENCE: Final = 1

SILENT_FOR_S: Final = 30
"""A silenced alarm returns after this (IMO MSC.302(87), MSC.252(83))."""
REPEAT_MS: Final = 1000
CHANGES_SENT: Final = 3
"""A change is sent so often, ANSWER_REPEAT_MS apart: the first frame after a gap takes nothing back, and one may be lost."""
UNCONFIRMED_MS: Final = 3500
"""An alarm not repeated for this long (three repeats lost and a half) is shown as no longer confirmed."""
ANSWER_REPEAT_MS: Final = 100
ANSWER_LONGEST_MS: Final = 1000
MOST_SHOWN: Final = 8
"""A list shows so many lines at a time, the most urgent first; it shows every emergency, and counts what it does not show."""
TOGETHER_MS: Final = 500
"""Nodes that fell silent within this of each other fell silent together."""
NOBODY_AFTER_MS: Final = 3000
"""So long may nobody be in control, where no loss came before: time to take it."""
KEY_STUCK_MS: Final = 10_000
"""A key pressed for longer is stuck."""
LOCK_OUT_HELD_MS: Final = 3000
"""The lock-out key acts once it was held so long: a deliberate act, and no brush of a sleeve."""
LOCK_FORGOTTEN_MS: Final = 3500
"""A lock not repeated for this long holds no longer: three repeats lost and a half. Whoever said it may be without power, and
nobody would know of a key that does nothing."""

DRIVE: Final = "drive"
RUDDER: Final = "rudder"
CUTOUT: Final = "cutout"
STATION: Final = "station"
HELM: Final = "every helm node"
NAVIGATION: Final = "navigation node"
"""Beyond the helm: it sends notice, and never alarm."""
LISTENERS: Final = ("station", "alarm")
"""Kinds of node that keep a list of alarms."""
LISTENER: Final = "every listener"
"""Seen by each listener itself, and sent by none."""


@dataclass(frozen=True)
class AlarmKind:
    """`raised_by`: the kind of node that sends it, HELM, or LISTENER. `about`: whose address goes with it, or whose number.

    `priority` is the one its raiser gives it; a notice carries its own, and that one counts."""

    number: int
    name: str
    priority: int
    raised_by: str
    about: str
    words: str

    @property
    def sent_in_alarm(self) -> bool:
        return self.raised_by not in (NAVIGATION, LISTENER)


ALARMS: Final = (
    AlarmKind(1, "control_lost", EMERGENCY, DRIVE, "the drive", "lost the station in control, going neutral or idle by itself"),
    AlarmKind(2, "shift_fault", EMERGENCY, DRIVE, "the drive", "the gear does not do as it is told"),
    AlarmKind(3, "throttle_fault", EMERGENCY, DRIVE, "the drive", "the throttle or the engine does not do as it is told"),
    AlarmKind(4, "sensor_fault", WARNING, DRIVE, "the drive", "a sensor of the drive can't be believed"),
    AlarmKind(5, "steering_lost", EMERGENCY, RUDDER, "the rudder", "nobody steers: lost the station that did, and holds"),
    AlarmKind(6, "rudder_fault", EMERGENCY, RUDDER, "the rudder", "the rudder does not do as it is told"),
    AlarmKind(7, "engine_cut", EMERGENCY, CUTOUT, "the cutout", "has stopped the engine"),
    AlarmKind(8, "lever_fault", WARNING, STATION, "the station", "a lever or the wheel can't be believed"),
    AlarmKind(9, "two_at_one_address", EMERGENCY, HELM, "whose address it is", "somebody else sends under this address"),
    AlarmKind(10, "hears_nothing", EMERGENCY, LISTENER, "the listener", "hears nobody"),
    AlarmKind(11, "bus_lost_beyond", EMERGENCY, LISTENER, "the first lost node", "everybody from here on fell silent together"),
    AlarmKind(12, "node_lost", WARNING, LISTENER, "the node", "fell silent, or was never heard"),
    AlarmKind(13, "other_boat_file", WARNING, LISTENER, "the node", "was built from another boat file"),
    AlarmKind(14, "nobody_in_control", WARNING, LISTENER, "nobody, 0", "no station is in control of the drives"),
    AlarmKind(15, "one_bus_lost", WARNING, LISTENER, "the node", "is heard on one bus of a pair only"),
    AlarmKind(16, "neutral_key_stuck", CAUTION, LISTENER, "the station", "its neutral-now key stays pressed; it can be locked out"),
    AlarmKind(17, "key_locked_out", CAUTION, LISTENER, "the station", "its neutral-now key was named stuck and is ignored"),
    AlarmKind(18, "let_go", EMERGENCY, LISTENER, "what it lost", "was in control here, and does not answer or obeys nobody"),
    AlarmKind(19, "unequal_orders", WARNING, DRIVE, "the drive", "its station says one thing by one bus and another by the other"),
    AlarmKind(40, "lamp_or_fuse_failed", WARNING, NAVIGATION, "the light, by number", "its lamp or fuse has failed"),
)

BY_NAME: Final = {alarm.name: alarm for alarm in ALARMS}
BY_NUMBER: Final = {alarm.number: alarm for alarm in ALARMS}

ALARM_TABLE: Final = StateTable(
    "alarm",
    (
        ("gone", "there is nothing to tell"),
        ("raised", "sounds and flashes"),
        ("acknowledged", "steady and quiet until it is put right"),
        ("silenced", f"flashes and is quiet for {SILENT_FOR_S} s"),
        ("put_right", "its cause is over and nobody acknowledged it: sounds and flashes; on the wire it is gone"),
    ),
    (
        ("arises", "its cause is there, for its raiser a new occurrence with the next number"),
        ("acknowledge", "the crew acknowledged it"),
        ("silence", "the crew silenced it"),
        ("silence_over", f"{SILENT_FOR_S} s over since it was silenced"),
        ("put_right", "its cause is over"),
    ),
    (
        Row(1, "gone", "arises", "raised", "raised"),
        Row(2, "raised", "acknowledge", "acknowledged", "acknowledged"),
        Row(3, "raised", "silence", "silenced", "silenced"),
        Row(4, "raised", "put_right", "put_right", "over, not acknowledged"),
        Row(5, "silenced", "acknowledge", "acknowledged", "acknowledged"),
        Row(6, "silenced", "silence_over", "raised", "sounds again"),
        Row(7, "silenced", "put_right", "put_right", "over, not acknowledged; stays quiet until its silence is over"),
        Row(8, "acknowledged", "put_right", "gone", "over"),
        Row(9, "acknowledged", "arises", "raised", "raised anew"),
        Row(10, "put_right", "arises", "raised", "raised anew"),
        Row(11, "put_right", "acknowledge", "gone", "acknowledged and over"),
        Row(12, "put_right", "silence", "put_right", f"quiet for {SILENT_FOR_S} s"),
        Row(13, "silenced", "arises", "raised", "raised anew"),
    ),
)

PUT_RIGHT: Final = ALARM_TABLE.state_values["put_right"]
"""A listener's state beside those on the wire, where it is gone."""

# ------------------------------------------------------------------------------------------------ a line of a list

MOST_ABOUT: Final = 63
"""What an alarm is about has 6 bits in a line: an address, or a navigation light's number."""

LINE_BITS: Final = (("which", 0, 8), ("about", 8, 6), ("state", 14, 3), ("priority", 17, 2), ("doubtful", 19, 1), ("under", 20, 8))
"""What an output `alarm.N` says of line N, as (name, bits below it, bits). `under` alarms are grouped under it; `doubtful`: its
raiser does not confirm it any more. A line is as urgent, and as little answered, as the most pressing alarm under it."""


def line_value(which: int, about: int, state: int, priority: int, doubtful: int, under: int) -> int:
    return which | about << 8 | state << 14 | priority << 17 | doubtful << 19 | min(under, 255) << 20


def line_of(value: int) -> dict[str, int]:
    """The parts of `line_value`, by name."""
    return {name: value >> below & (1 << bits) - 1 for name, below, bits in LINE_BITS}
