"""The table of faults: the names are the keys a scenario uses."""

from typing import Final

from busim.faults.corrupted import Corrupted
from busim.faults.cut import Cut
from busim.faults.fault import Fault
from busim.faults.hang import Hang
from busim.faults.power_lost import PowerLost
from busim.faults.reset import Reset
from busim.faults.stale_mailbox import StaleMailbox
from busim.faults.unplugged import Unplugged

FAULTS: Final[tuple[Fault, ...]] = (Cut(), PowerLost(), Reset(), Hang(), Corrupted(), StaleMailbox(), Unplugged())

BY_NAME: Final = {fault.name: fault for fault in FAULTS}
