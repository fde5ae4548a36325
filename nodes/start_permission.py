"""May the starter turn? What a drive tells about it: `permission` on the bus, and its output `start_permit`.

Engine start is permitted only by an independent neutral switch (for products ISO 11547 is the standard to look at): what the
drive asked for, or what its own actuator's feedback says, never suffices. It is asked for besides: a gear that an actuator is
just about to put in is out for the moment only, and a throttle off its stop would race an engine that starts.
"""

from typing import TYPE_CHECKING, Final

from busim.protocol import values as v
from busim.protocol.catalogue import PERMISSION
from busim.seam import OUTPUT, Action
from busim.units import MS, NEVER
from nodes.drive_machine import AT_REST
from nodes.member import following

if TYPE_CHECKING:
    from nodes.drive_machine import DriveMachine

PERIOD_NS: Final = 100 * MS


class StartPermission:
    __slots__ = ("due_ns", "permit", "sent")

    def __init__(self) -> None:
        self.permit = -1
        """What the output was told last; -1 nothing yet."""
        self.sent = 0
        self.due_ns = NEVER

    def why_not(self, drive: "DriveMachine") -> int:
        """A cause; none where the starter may turn."""
        if drive.engine_stop or drive.fault:
            return v.CAUSE_ACTUATOR
        if drive.switch != v.SWITCH_CLOSED or drive.state not in AT_REST or drive.sensed_gear() != v.NEUTRAL:
            return v.CAUSE_GEAR_IN
        return v.CAUSE_NONE if drive.throttle_at_stop() else v.CAUSE_ACTUATOR

    def follow(self, drive: "DriveMachine") -> list[Action]:
        """The output, where it has to change."""
        permit = int(self.why_not(drive) == v.CAUSE_NONE)
        if permit == self.permit:
            return []
        self.permit = permit
        return [(OUTPUT, "start_permit", permit)]

    def tell(self, now_ns: int, drive: "DriveMachine") -> list[Action]:
        """`permission`, where it is due."""
        if now_ns < self.due_ns:
            return []
        self.due_ns = following(self.due_ns, PERIOD_NS, now_ns)
        self.sent = self.sent + 1 & 0xFF
        can_id = PERMISSION.can_id(drive.address)
        why_not = self.why_not(drive)
        data = PERMISSION.pack(can_id, self.sent, drive.instance, int(why_not == v.CAUSE_NONE), drive.engine_stop, why_not)
        return drive.send(can_id, data, PERIOD_NS)
