"""What a drive has to alarm, from why it was forced and from what it found wrong."""

from typing import TYPE_CHECKING, Final

from busim.protocol import values as v
from busim.protocol.alarms import BY_NAME
from busim.units import SECOND

if TYPE_CHECKING:
    from nodes.drive import Drive

CONTROL_LOST: Final = BY_NAME["control_lost"].number
NO_LOSS: Final = (v.CAUSE_NONE, v.CAUSE_NEUTRAL_NOW, v.CAUSE_ACTUATOR)
"""Neutral now is somebody's wish, and shown; an actuator or sensor has an alarm of its own. Every other cause took control away
from somebody who had it, or found the gear in with nobody in control."""
OF_FAULT: Final = {
    1: BY_NAME["shift_fault"].number,
    2: BY_NAME["throttle_fault"].number,
    3: BY_NAME["sensor_fault"].number,
    4: BY_NAME["sensor_fault"].number,
    5: BY_NAME["throttle_fault"].number,
}
"""By the fault in drive_state. An engine whose speed is unlike the command may be the throttle's linkage: the worse one is said."""


UNEQUAL_ORDERS: Final = BY_NAME["unequal_orders"].number
UNEQUAL_FOR_NS: Final = SECOND
"""Copies that differ now and then are one alarm."""


def causes_of(now_ns: int, drive: "Drive") -> list[int]:
    """Both the cause and the fault are latched until control is taken anew, and so are the alarms."""
    found = [] if drive.cause in NO_LOSS else [CONTROL_LOST]
    if drive.fault in OF_FAULT:
        found.append(OF_FAULT[drive.fault])
    if now_ns - drive.unequal_ns < UNEQUAL_FOR_NS:
        found.append(UNEQUAL_ORDERS)
    return found
