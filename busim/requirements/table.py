"""The table of requirements. Ids stand in signed sheets: they never change."""

from typing import Final

from busim.requirements.drive_engage_at_idle import EngageAtIdle
from busim.requirements.drive_loss_to_idle import LossToIdle
from busim.requirements.drive_loss_to_neutral import LossToNeutral
from busim.requirements.drive_neutral_confirmed import NeutralConfirmed
from busim.requirements.drive_rearm import Rearm
from busim.requirements.drive_refuse_bad_frame import RefuseBadFrame
from busim.requirements.drive_reversal_dwell import ReversalDwell
from busim.requirements.drive_wake import Wake
from busim.requirements.light_press import LightPress
from busim.requirements.requirement import Requirement
from busim.requirements.station_neutral_now import NeutralNow
from busim.requirements.station_nobody_shown import NobodyShown
from busim.requirements.station_one_in_control import OneInControl
from busim.requirements.station_transfer import Transfer

HAZARDS: Final = (
    "unintended engagement",
    "fails to disengage",
    "wrong direction",
    "throttle rise",
    "hard over",
    "loss of all control",
    "unexpected start",
    "person at the propeller",
    "confusion over control",
)

REQUIREMENTS: Final[tuple[type[Requirement], ...]] = (
    LossToIdle,
    LossToNeutral,
    EngageAtIdle,
    ReversalDwell,
    Rearm,
    RefuseBadFrame,
    NeutralConfirmed,
    Wake,
    OneInControl,
    Transfer,
    NeutralNow,
    NobodyShown,
    LightPress,
)

BY_ID: Final = {requirement.id: requirement for requirement in REQUIREMENTS}
