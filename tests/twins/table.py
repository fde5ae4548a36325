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
    Twin("drive", "tests.twins.drives:IdlesLate", "drive.loss_to_idle", "cold_start_then_cut"),
    Twin("drive", "tests.twins.drives:StaysInGear", "drive.loss_to_neutral", "cold_start_then_cut"),
    Twin("drive", "tests.twins.drives:EngagesAboveIdle", "drive.engage_at_idle", "cold_start_then_cut"),
    Twin("drive", "tests.twins.drives:ReversesAtOnce", "drive.reversal_dwell", "reversal"),
    Twin("drive", "tests.twins.drives:RearmsItself", "drive.rearm", "brief_cut"),
    # A frame with an old number is out of date: obeying it is what drive.refuse_bad_frame forbids as well.
    Twin("drive", "tests.twins.drives:IgnoresNumber", "drive.rearm", "cut_healed", ("drive.refuse_bad_frame",)),
    Twin("drive", "tests.twins.drives:IgnoresCrc", "drive.refuse_bad_frame", "bad_frames"),
    Twin("drive", "tests.twins.drives:ReportsAskedAsSensed", "drive.neutral_confirmed", "reversal"),
    Twin("station", "tests.twins.others:KeepsShowing", "station.nobody_shown", "cold_start_then_cut"),
    Twin("zone_driver", "tests.twins.others:AnswersOnly", "light.press", "cold_start_then_cut"),
    Twin("drive", "tests.twins.drives:WakesIntoGear", "drive.wake", "drive_reset", boat="marsh_tern"),
    Twin("drive", "tests.twins.drives:HearsOnlyItsStation", "station.neutral_now", "neutral_now", boat="marsh_tern"),
    # Who never changes over nor lets go also leaves every take of the other station half done.
    Twin(
        "drive", "tests.twins.drives:NeverChangesOver", "station.one_in_control", "hand_over", ("station.transfer",), "marsh_tern"
    ),
    Twin("station", "tests.twins.others:TakesHalf", "station.transfer", "cut_between_drives", boat="marsh_tern"),
    Twin("panel", "tests.twins.others:KeepsQuiet", "light.press", "lost_press"),
)
