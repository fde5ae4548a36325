"""State tables: who is in control and what a drive does about it. Nodes execute them, the written page prints them.

A row's number is sent on the wire and never reused. A pair of state and event without a row changes nothing: the event does
not concern that state. Requirements do not read this file; they judge by what the boat does.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Final


@dataclass(frozen=True)
class Row:
    number: int
    state: str
    event: str
    next_state: str
    words: str


@dataclass(frozen=True)
class StateTable:
    """A machine: its states (the position in `states` is the value on the wire), what its events mean, its rows."""

    name: str
    states: tuple[tuple[str, str], ...]
    events: tuple[tuple[str, str], ...]
    rows: tuple[Row, ...]

    def __post_init__(self) -> None:
        states = {name for name, _ in self.states}
        events = {name for name, _ in self.events}
        for row in self.rows:
            if row.state not in states or row.next_state not in states or row.event not in events:
                raise ValueError(f"{self.name}, row {row.number}: unknown state or event")
        if len({row.number for row in self.rows}) != len(self.rows):
            raise ValueError(f"{self.name}: a row number stands twice")
        if len({(row.state, row.event) for row in self.rows}) != len(self.rows):
            raise ValueError(f"{self.name}: two rows for one state and event")

    @cached_property
    def state_values(self) -> dict[str, int]:
        return {name: value for value, (name, _) in enumerate(self.states)}

    @cached_property
    def moves(self) -> dict[tuple[int, str], tuple[int, int]]:
        """(state value, event) -> (next state value, row number)."""
        value = self.state_values
        return {(value[row.state], row.event): (value[row.next_state], row.number) for row in self.rows}

    @cached_property
    def by_number(self) -> dict[int, Row]:
        return {row.number: row for row in self.rows}


DRIVE_TABLE: Final = StateTable(
    "drive",
    (
        ("waking", "power has come, own sensors not all read yet; idle is commanded"),
        ("unclaimed", "in neutral, nobody in control"),
        ("neutral", "in neutral, a station in control"),
        ("engaging", "gear going in, at idle"),
        ("engaged", "gear in, throttle follows the lever"),
        ("slowing", "throttle going to idle before the gear comes out"),
        ("disengaging", "gear coming out, at idle"),
        ("dwelling", "in neutral, waiting before the opposite gear"),
        ("forced_idle", "control lost: throttle going to idle by itself"),
        ("forced_disengaging", "control lost: gear coming out by itself"),
        ("forced_neutral", "control lost: in neutral until control is taken"),
        ("held_idle", "control lost: idle, still in gear, as this boat's policy wants"),
    ),
    (
        ("found_neutral", "the sensors show gear out and throttle at its stop"),
        ("found_off_neutral", "the sensors show anything else, or do not answer within 200 ms"),
        (
            "taken",
            "two claims that agree, lever in neutral, number newer than, or lower address under, the one obeyed",
        ),
        ("retaken", "the same, with the lever matched to gear and throttle, from a station that may do so"),
        ("asks_neutral", "the last two lever frames do not both ask for the gear that is in or going in"),
        ("asks_gear", "two lever frames ask for one gear; at idle, and dwell over if it is the opposite one"),
        ("asks_same", "two lever frames ask for the gear that is in"),
        ("at_idle", "throttle at its stop and (rpm below shift_rpm, or idle_wait_ms over since idle was commanded)"),
        ("idle_wait_over", "idle_wait_ms over since idle was commanded, throttle not at its stop"),
        ("gear_in", "the sensors show the gear asked for"),
        ("gear_out", "the sensors show neutral"),
        ("dwell_over", "dwell_ms over since the gear came out"),
        (
            "lost",
            "no valid lever frame for control_timeout_ms, heartbeat or fingerprint wrong, neutral now, withdrawn, other drive",
        ),
        ("held", "at idle, and the policy is to stay engaged"),
        ("stuck", "the shift actuator did not arrive in its time"),
    ),
    (
        Row(1, "waking", "found_neutral", "unclaimed", "woke in neutral"),
        Row(2, "waking", "found_off_neutral", "forced_idle", "woke off neutral, going idle"),
        Row(3, "unclaimed", "taken", "neutral", "a station took control"),
        Row(4, "forced_neutral", "taken", "neutral", "a station took control after a forced neutral"),
        Row(5, "neutral", "asks_gear", "engaging", "engaging"),
        Row(6, "engaging", "gear_in", "engaged", "gear is in"),
        Row(7, "engaging", "asks_neutral", "disengaging", "lever back before the gear was in"),
        Row(8, "engaged", "asks_neutral", "slowing", "throttle to idle before the gear comes out"),
        Row(9, "slowing", "asks_same", "engaged", "lever back in gear before the gear came out"),
        Row(10, "slowing", "at_idle", "disengaging", "at idle, gear coming out"),
        Row(11, "disengaging", "gear_out", "dwelling", "gear is out"),
        Row(12, "dwelling", "dwell_over", "neutral", "dwell is over"),
        Row(13, "dwelling", "asks_gear", "engaging", "engaging the same gear again"),
        Row(14, "neutral", "taken", "neutral", "another station took control"),
        Row(15, "dwelling", "taken", "dwelling", "another station took control"),
        Row(17, "engaged", "retaken", "engaged", "another station took control in gear, lever matched"),
        Row(18, "engaged", "taken", "slowing", "another station took control with its lever in neutral"),
        Row(19, "engaging", "taken", "disengaging", "another station took control with its lever in neutral"),
        Row(20, "slowing", "taken", "slowing", "another station took control with its lever in neutral"),
        Row(21, "disengaging", "taken", "disengaging", "another station took control with its lever in neutral"),
        Row(22, "neutral", "lost", "forced_idle", "going idle"),
        Row(23, "engaging", "lost", "forced_idle", "going idle"),
        Row(24, "engaged", "lost", "forced_idle", "going idle"),
        Row(25, "slowing", "lost", "forced_idle", "going idle"),
        Row(26, "disengaging", "lost", "forced_idle", "going idle"),
        Row(27, "dwelling", "lost", "forced_idle", "going idle"),
        Row(28, "forced_idle", "at_idle", "forced_disengaging", "at idle, gear coming out"),
        Row(29, "forced_idle", "idle_wait_over", "forced_disengaging", "not at idle in time, gear coming out all the same"),
        Row(30, "forced_disengaging", "gear_out", "forced_neutral", "in neutral"),
        Row(31, "forced_idle", "held", "held_idle", "at idle, staying in gear as this boat's policy wants"),
        Row(32, "held_idle", "taken", "disengaging", "a station took control with its lever in neutral"),
        Row(33, "engaging", "stuck", "forced_idle", "the gear did not go in, going idle"),
        Row(34, "disengaging", "stuck", "forced_idle", "the gear did not come out, going idle"),
        Row(35, "unclaimed", "lost", "forced_idle", "going idle"),
        Row(36, "held_idle", "lost", "forced_idle", "going idle"),
        Row(37, "slowing", "idle_wait_over", "forced_disengaging", "throttle not at its stop in time, gear coming out"),
    ),
)

STATION_TABLE: Final = StateTable(
    "station",
    (
        ("watching", "this station is not in control"),
        ("claiming", "it has asked for control and waits for every echo"),
        ("holding", "it is in control"),
        ("withdrawing", "its take failed and is being withdrawn"),
    ),
    (
        ("take", "the take key was pressed, the lever gates it"),
        ("refused", "the take key was pressed, but the lever is neither in neutral nor matched, or it is faulty"),
        ("echoed", "every drive and rudder wanted reports this station and this number"),
        ("outbid", "what it wants reports a newer number, or the same from a lower address; or any drive obeys another by one"),
        ("transfer_over", "transfer_ms over since the take"),
        ("echo_lost", "the last drive held reports another pair, or nobody; or any it may take obeys another's take that outbids"),
        ("echo_old", "the last drive held acted on nothing newer than age_max_ms, or fell silent"),
        ("withdrawn", "no drive reports this number any more, or transfer_ms over since the withdrawal"),
    ),
    (
        Row(1, "watching", "take", "claiming", "asks for control"),
        Row(2, "watching", "refused", "watching", "refused: lever not in neutral"),
        Row(3, "claiming", "echoed", "holding", "in control"),
        Row(4, "claiming", "outbid", "withdrawing", "another station took control first"),
        Row(5, "claiming", "transfer_over", "withdrawing", "not echoed in time, withdrawn"),
        Row(6, "withdrawing", "withdrawn", "watching", "withdrawal done"),
        Row(7, "holding", "echo_lost", "watching", "no longer obeyed"),
        Row(8, "holding", "echo_old", "watching", "no echo, letting control go"),
        Row(9, "holding", "take", "claiming", "asks for control of all its drives anew"),
    ),
)

RUDDER_TABLE: Final = StateTable(
    "rudder",
    (
        ("waking", "power has come, the feedback not read yet; the rudder stays where it is"),
        ("unclaimed", "nobody steers; the rudder holds where it is"),
        ("matching", "a station steers; held until its wheel asks for where the rudder is, or passes it"),
        ("following", "the rudder goes where the wheel asks"),
        ("lost", "whoever steered was lost; the rudder holds where it is"),
        ("stopped", "it moved unasked: its actuator's power is taken away, until this node is started anew"),
    ),
    (
        ("seen", "the feedback was read"),
        ("taken", "two claims that agree and want the rudder, from a newer take, which every drive they want reports to obey"),
        ("matched", "the wheel asks for within 2 degrees of where the rudder is, or passed it since the take; or asks for a rate"),
        ("let_go", "the station obeyed sends sound wheel frames that hold no number any more"),
        (
            "lost",
            "no valid wheel frame for control_timeout_ms, heartbeat or fingerprint wrong, wheel fault, withdrawn, bus-off",
        ),
        ("astray", "the feedback moves away from where the rudder was asked to be, by 4 degrees for 100 ms"),
    ),
    (
        Row(1, "waking", "seen", "unclaimed", "woke, holds where it is"),
        Row(2, "unclaimed", "taken", "matching", "a station steers, rudder held until its wheel is there"),
        Row(3, "lost", "taken", "matching", "a station steers after a loss, rudder held until its wheel is there"),
        Row(4, "matching", "matched", "following", "follows the wheel"),
        Row(5, "matching", "taken", "matching", "another station steers, rudder held until its wheel is there"),
        Row(6, "following", "taken", "matching", "another station steers, rudder held until its wheel is there"),
        Row(7, "matching", "let_go", "unclaimed", "let go, holds where it is"),
        Row(8, "following", "let_go", "unclaimed", "let go, holds where it is"),
        Row(9, "matching", "lost", "lost", "holds where it is"),
        Row(10, "following", "lost", "lost", "holds where it is"),
        Row(11, "unclaimed", "astray", "stopped", "moved unasked, its power taken away"),
        Row(12, "matching", "astray", "stopped", "moved unasked, its power taken away"),
        Row(13, "following", "astray", "stopped", "moved unasked, its power taken away"),
        Row(14, "lost", "astray", "stopped", "moved unasked, its power taken away"),
    ),
)

CUTOUT_TABLE: Final = StateTable(
    "cutout",
    (
        ("watching", "the drive reports a station, and acts on its lever"),
        ("waiting", "it does not, or is silent: the drive's limit and cutout_ms run"),
        ("fired", "the engine's fuel is cut"),
    ),
    (
        ("undriven", "for heartbeat_missing_ms the drive is silent, or reports that it obeys nobody or acts on nothing new"),
        ("driven", "two reports in a row name one take, the later acts on a new lever frame; once fired, a take made anew"),
        ("overdue", "limit and cutout_ms over since it was driven; gear switch open or speed above 1.25 x idle for cutout_ms"),
    ),
    (
        Row(1, "watching", "undriven", "waiting", "nobody drives, limit running"),
        Row(2, "waiting", "driven", "watching", "driven again"),
        Row(3, "waiting", "overdue", "fired", "gear not out or engine fast, fuel cut"),
        Row(4, "fired", "driven", "watching", "control taken anew, fuel back"),
    ),
)

TABLES: Final = (DRIVE_TABLE, STATION_TABLE, RUDDER_TABLE, CUTOUT_TABLE)
