"""The table of twins: what is replaced, the requirement that must fail, the scenario that shows it."""

from typing import NamedTuple


class Twin(NamedTuple):
    kind: str
    place: str
    requirement: str
    scenario: str
    also: tuple[str, ...] = ()
    """Requirements that the same defect rightly fails too."""
    boat: str = "first_boat"

    @property
    def name(self) -> str:
        return self.place.partition(":")[2]


TWINS = (
    # Nodes with a second catalogue: what it gets wrong shows only to who has written the positions down by himself.
    Twin("drive", "tests.twins.catalogue:ReadsHalfThrottles", "drive.refuse_bad_frame", "cold_start_then_cut"),
    Twin("drive", "tests.twins.catalogue:SwapsAheadAndAstern", "drive.refuse_bad_frame", "cold_start_then_cut"),
    # Idle and neutral come too late as well.
    Twin(
        "drive",
        "tests.twins.catalogue:WaitsThreeTimes",
        "drive.loss_noticed",
        "cold_start_then_cut",
        ("drive.loss_to_idle", "drive.loss_to_neutral"),
    ),
    Twin("station", "tests.twins.catalogue:ListensElsewhere", "station.nobody_shown", "cold_start_then_cut"),
    # It tells its throttle late, so that is late too.
    Twin("drive", "tests.twins.drives:IdlesLate", "drive.loss_to_idle", "cold_start_then_cut", ("drive.loss_noticed",)),
    Twin("drive", "tests.twins.drives:StaysInGear", "drive.loss_to_neutral", "cold_start_then_cut"),
    Twin("drive", "tests.twins.drives:EngagesAboveIdle", "drive.engage_at_idle", "cold_start_then_cut"),
    Twin("drive", "tests.twins.drives:ReversesAtOnce", "drive.reversal_dwell", "reversal"),
    # Its throttle opens again as well.
    Twin("drive", "tests.twins.drives:RearmsItself", "drive.rearm", "brief_cut", ("drive.no_thrust_rise",)),
    # A frame with an old number is out of date: obeying it is what drive.refuse_bad_frame forbids as well. And the station that it
    # obeys again has let go, and does not show control.
    Twin(
        "drive",
        "tests.twins.drives:IgnoresNumber",
        "drive.rearm",
        "cut_healed",
        ("drive.refuse_bad_frame", "station.one_shown"),
    ),
    Twin("drive", "tests.twins.drives:IgnoresCrc", "drive.refuse_bad_frame", "bad_frames"),
    Twin("drive", "tests.twins.drives:ReportsAskedAsSensed", "drive.neutral_confirmed", "reversal"),
    Twin("station", "tests.twins.others:KeepsShowing", "station.nobody_shown", "cold_start_then_cut"),
    Twin("zone_driver", "tests.twins.others:AnswersOnly", "light.press", "cold_start_then_cut"),
    Twin("drive", "tests.twins.drives:WakesIntoGear", "drive.wake", "drive_reset", boat="marsh_tern"),
    Twin("drive", "tests.twins.drives:HearsOnlyItsStation", "station.neutral_now", "neutral_now", boat="marsh_tern"),
    # Who never changes over nor lets go also leaves every take of the other station half done, and obeys a lever that is dead.
    Twin(
        "drive",
        "tests.twins.drives:NeverChangesOver",
        "station.one_in_control",
        "hand_over",
        ("station.transfer", "boat.availability"),
        "marsh_tern",
    ),
    Twin("station", "tests.twins.transfer:ShowsItStill", "station.one_shown", "hand_over", boat="marsh_tern"),
    Twin("station", "tests.twins.others:TakesHalf", "station.transfer", "cut_between_drives", boat="marsh_tern"),
    Twin("station", "tests.twins.others:WantsAll", "boat.availability", "one_drive_refuses", boat="marsh_tern"),
    Twin("panel", "tests.twins.others:KeepsQuiet", "light.press", "lost_press"),
    Twin("panel", "tests.twins.others:SendsInBursts", "bus.helm_first", "cold_start_then_cut"),
    Twin("zone_driver", "tests.twins.others:SkipsAZone", "light.scene", "red_night_from_upper_deck", boat="marsh_tern"),
    Twin("zone_driver", "tests.twins.others:FlashesOnReturn", "light.return", "driver_back_at_night", boat="marsh_tern"),
    Twin("navigation", "tests.twins.others:ObeysScenes", "light.navigation", "all_off_under_way", boat="marsh_tern"),
    Twin("station", "tests.twins.alarms:SaysItOnce", "light.navigation", "mast_fuse_blows", boat="marsh_tern"),
    Twin("cutout", "tests.twins.engines:NeverFires", "drive.self_loss", "drive_hangs_unwatched", boat="marsh_tern"),
    Twin("drive", "tests.twins.engines:HidesFaults", "drive.actuator_fault_found", "jammed_throttle", boat="marsh_tern"),
    Twin("drive", "tests.twins.engines:PermitsInGear", "drive.start_in_neutral", "start_engines", boat="marsh_tern"),
    Twin("drive", "tests.twins.engines:RevsBeforeIdle", "drive.no_thrust_rise", "knocked_cable", boat="marsh_tern"),
    Twin("drive", "tests.twins.engines:LosesAtOnce", "boat.availability", "knocked_cable", boat="marsh_tern"),
    Twin("rudder", "tests.twins.rudders:FollowsAtOnce", "rudder.hold", "steer_and_hand_over", boat="marsh_tern"),
    Twin("rudder", "tests.twins.rudders:StaysWhereItIs", "rudder.follows", "steer_and_hand_over", boat="marsh_tern"),
    Twin(
        "rudder", "tests.twins.rudders:GoesTooFar", "rudder.limits", "steer_and_hand_over", boat="marsh_tern",
        also=("rudder.follows",),
    ),
    Twin("rudder", "tests.twins.rudders:SeesNothingWrong", "rudder.fault_found", "rudder_runs", boat="marsh_tern"),
    Twin("drive", "tests.twins.rudders:NeverSlows", "rudder.no_steer", "wheel_lost", boat="marsh_tern"),
    Twin("alarm", "tests.twins.alarms:SeesNoSilence", "alarm.shown", "silence_returns", boat="marsh_tern"),
    Twin("station", "tests.twins.alarms:DeafToNotices", "alarm.shown", "all_off_under_way", boat="marsh_tern"),
    Twin("station", "tests.twins.alarms:CallsTheHelmAlone", "alarm.shown", "mast_fuse_blows", boat="marsh_tern"),
    Twin("alarm", "tests.twins.alarms:SilencedForGood", "alarm.kept", "silence_returns", boat="marsh_tern"),
    Twin("station", "tests.twins.alarms:ShowsTheMildest", "alarm.flood", "alarm_flood", boat="marsh_tern"),
    Twin("station", "tests.twins.alarms:AlarmsLate", "station.loss", "crushed_pendant_cable", boat="marsh_tern"),
    Twin("drive", "tests.twins.alarms:DropsForAnyStation", "station.pendant_out", "pendant_in_its_locker", boat="marsh_tern"),
    Twin(
        "station", "tests.twins.alarms:BelievesTheFirstTrack", "station.lever_fault_found", "lever_track_stuck", boat="marsh_tern"
    ),
    Twin("station", "tests.twins.alarms:HearsNotItself", "bus.duplicate_address", "two_at_one_address", boat="marsh_tern"),
)
