"""The table of requirements. Ids stand in signed sheets: they never change."""

from typing import Final

from busim.requirements.alarm_flood import Flood
from busim.requirements.alarm_kept import Kept
from busim.requirements.alarm_shown import Shown
from busim.requirements.boat_availability import Availability
from busim.requirements.bus_duplicate_address import DuplicateAddress
from busim.requirements.bus_helm_first import HelmFirst
from busim.requirements.drive_actuator_fault_found import ActuatorFaultFound
from busim.requirements.drive_engage_at_idle import EngageAtIdle
from busim.requirements.drive_loss_noticed import LossNoticed
from busim.requirements.drive_loss_to_idle import LossToIdle
from busim.requirements.drive_loss_to_neutral import LossToNeutral
from busim.requirements.drive_neutral_confirmed import NeutralConfirmed
from busim.requirements.drive_no_thrust_rise import NoThrustRise
from busim.requirements.drive_rearm import Rearm
from busim.requirements.drive_refuse_bad_frame import RefuseBadFrame
from busim.requirements.drive_reversal_dwell import ReversalDwell
from busim.requirements.drive_self_loss import SelfLoss
from busim.requirements.drive_start_in_neutral import StartInNeutral
from busim.requirements.drive_wake import Wake
from busim.requirements.light_navigation import LightNavigation
from busim.requirements.light_press import LightPress
from busim.requirements.light_return import LightReturn
from busim.requirements.light_scene import LightScene
from busim.requirements.requirement import Requirement
from busim.requirements.rudder_fault_found import FaultFound
from busim.requirements.rudder_follows import Follows
from busim.requirements.rudder_hold import Hold
from busim.requirements.rudder_limits import Limits
from busim.requirements.rudder_no_steer import NoSteer
from busim.requirements.station_lever_fault_found import LeverFaultFound
from busim.requirements.station_loss import Loss
from busim.requirements.station_neutral_now import NeutralNow
from busim.requirements.station_nobody_shown import NobodyShown
from busim.requirements.station_one_in_control import OneInControl
from busim.requirements.station_one_shown import OneShown
from busim.requirements.station_pendant_out import PendantOut
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
    LossNoticed,
    LossToIdle,
    LossToNeutral,
    EngageAtIdle,
    ReversalDwell,
    Rearm,
    RefuseBadFrame,
    NeutralConfirmed,
    Wake,
    SelfLoss,
    ActuatorFaultFound,
    StartInNeutral,
    NoThrustRise,
    Availability,
    OneInControl,
    OneShown,
    Transfer,
    Hold,
    Follows,
    Limits,
    FaultFound,
    NoSteer,
    NeutralNow,
    NobodyShown,
    Loss,
    PendantOut,
    LeverFaultFound,
    Shown,
    Kept,
    Flood,
    LightPress,
    LightScene,
    LightNavigation,
    LightReturn,
    HelmFirst,
    DuplicateAddress,
)

BY_ID: Final = {requirement.id: requirement for requirement in REQUIREMENTS}
