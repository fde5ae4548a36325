"""The table of faults: the names are the keys a scenario uses."""

from typing import Final

from busim.faults.accepted_by_some import AcceptedBySome
from busim.faults.application_dead import ApplicationDead
from busim.faults.babbling import Babbling
from busim.faults.brown_out import BrownOut
from busim.faults.bus_off_forced import BusOffForced
from busim.faults.byte_swapped import ByteSwapped
from busim.faults.clock_off import ClockOff
from busim.faults.corrupted import Corrupted
from busim.faults.cranking_dip import CrankingDip
from busim.faults.cut import Cut
from busim.faults.deaf import Deaf
from busim.faults.delayed import Delayed
from busim.faults.drop_open import DropOpen
from busim.faults.dumb import Dumb
from busim.faults.duplicate_address import DuplicateAddress
from busim.faults.fault import Fault
from busim.faults.frames_lost import FramesLost
from busim.faults.frozen_data import FrozenData
from busim.faults.hang import Hang
from busim.faults.intermittent import Intermittent
from busim.faults.lamp_open import LampOpen
from busim.faults.lamp_short import LampShort
from busim.faults.machinery_actuators import ActuatorJammed, ActuatorRuns, ActuatorSlow, DrivesSwapped, LinkageOff
from busim.faults.machinery_engine import AheadAsternSwapped, ClutchDrags, ClutchFails, EngineStalls, EngineWillNotStop
from busim.faults.machinery_rudder import RudderJammed, RudderRuns, RudderSlow
from busim.faults.noise_burst import NoiseBurst
from busim.faults.noise_rate import NoiseRate
from busim.faults.old_scene_table import OldSceneTable
from busim.faults.other_boat_file import OtherBoatFile
from busim.faults.output_stuck import OutputStuck
from busim.faults.power_lost import PowerLost
from busim.faults.queue_held import QueueHeld
from busim.faults.replayed import Replayed
from busim.faults.reset import Reset
from busim.faults.sensors import SensorOpen, SensorReversed, SensorShort, SensorSlipped, SensorStuck, TracksStuck
from busim.faults.sent_twice import SentTwice
from busim.faults.short import Short
from busim.faults.stale_mailbox import StaleMailbox
from busim.faults.stuck_dominant import StuckDominant
from busim.faults.supply_lost import SupplyLost
from busim.faults.terminator_lost import TerminatorLost
from busim.faults.touch_ghost import TouchGhost
from busim.faults.touch_hung import TouchHung
from busim.faults.touch_stuck import TouchStuck
from busim.faults.truncated import Truncated
from busim.faults.unplugged import Unplugged
from busim.faults.wire_open import WireOpen

FAULTS: Final[tuple[Fault, ...]] = (
    # Wires and bits.
    Cut(), WireOpen(), Short(), TerminatorLost(), DropOpen(), Intermittent(), NoiseRate(), NoiseBurst(), AcceptedBySome(),
    SentTwice(), FramesLost(),
    # A node's bus side.
    Babbling(), StuckDominant(), Deaf(), Dumb(), BusOffForced(), Unplugged(),
    # Supplies and programs.
    PowerLost(), SupplyLost(), BrownOut(), CrankingDip(), Reset(), Hang(), ApplicationDead(), ClockOff(),
    # What is sent.
    Corrupted(), ByteSwapped(), Truncated(), StaleMailbox(), FrozenData(), QueueHeld(), Delayed(), Replayed(),
    DuplicateAddress(), OtherBoatFile(),
    # Lights.
    LampOpen(), LampShort(), OutputStuck(), TouchStuck(), TouchGhost(), TouchHung(), OldSceneTable(),
    # Sensors.
    SensorOpen(), SensorShort(), SensorStuck(), SensorSlipped(), SensorReversed(), TracksStuck(),
    # Actuators, gearboxes, engines, rudder.
    ActuatorJammed(), ActuatorSlow(), ActuatorRuns(), LinkageOff(), DrivesSwapped(), ClutchDrags(), ClutchFails(),
    AheadAsternSwapped(), EngineStalls(), EngineWillNotStop(), RudderJammed(), RudderSlow(), RudderRuns(),
)  # fmt: skip

BY_NAME: Final = {fault.name: fault for fault in FAULTS}

NOT_MODELLED: Final[tuple[tuple[str, str], ...]] = (
    ("a lost or another node's calibration", "a boat file has no calibration of its own; sensor_slipped comes nearest"),
    (
        "two takes in one instant",
        "people do it, nothing breaks: check --transfer explores it, and Marsh Tern's scenario two_takes plays it",
    ),
    (
        "the operator gone with the lever ahead",
        "nobody on the bus can know: a residual hazard, as in Marsh Tern's scenario operator_gone",
    ),
    ("levers moved fast", "every mode's levers are moved as a hand moves them; see first_boat's scenario reversal"),
    ("several nodes at once without a shared wire or supply", "one fault at a time"),
)
"""What can break, or be done, that no fault here does, and what comes nearest."""
