"""Which line of a listener's list stands for a cause: the alarm itself, or one it can only be grouped under. Judged by the plan."""

from busim.events import bits
from busim.events.alarm_view import LINE_OVER, AlarmView, ShownLine
from busim.protocol.plan import WirePlan

LISTENERS = ("station", "alarm")
DRIVE_ALARMS = (bits.CONTROL_LOST, bits.SHIFT_FAULT, bits.THROTTLE_FAULT, bits.SENSOR_FAULT)
PARENTS_OF_LOSS = (bits.NODE_LOST, bits.LEVER_FAULT_ALARM, bits.CONTROL_LOST, bits.BUS_LOST_BEYOND, bits.HEARS_NOTHING)
FIRST_BEYOND_HELM = 16


class Cover:
    """For one listener at `address`."""

    def __init__(self, plan: WirePlan, address: int) -> None:
        self.address = address
        self.trunks = [plan.buses[bus][2] for bus in plan.buses_of(address)]

    def beyond(self, first: int, node: int) -> bool:
        """On some trunk: is `node` at or beyond `first`, seen from the listener?"""
        for trunk in self.trunks:
            if first in trunk and node in trunk:
                here, at, there = trunk.index(self.address), trunk.index(first), trunk.index(node)
                if here < at <= there or there <= at < here:
                    return True
        return False

    def node_lost(self, view: AlarmView, node: int) -> bool:
        return any(self.says_lost(line, node) for line in view.lines.values() if line.state != LINE_OVER)

    def says_lost(self, line: ShownLine, node: int) -> bool:
        if line.which == bits.BUS_LOST_BEYOND:
            return self.beyond(line.about, node)
        return line.which == bits.HEARS_NOTHING or (line.which == bits.NODE_LOST and line.about == node)

    def drive_forced(self, view: AlarmView, drive: int) -> bool:
        """An alarm of this drive; or a line that others stand under, as urgent as this one is."""
        for line in view.lines.values():
            if line.state == LINE_OVER:
                continue
            if (line.which in DRIVE_ALARMS and line.about == drive) or self.says_lost(line, drive):
                return True
            if line.which in PARENTS_OF_LOSS and line.under and line.priority == bits.EMERGENCY:
                return True
        return False

    def light_failed(self, view: AlarmView, light: int) -> bool:
        """By a line of its own; or it is one of those the list has no room for, as it must be by its place where all that are
        shown are at least as urgent."""
        for line in view.lines.values():
            if line.which == bits.LAMP_OR_FUSE_FAILED and line.about == light and line.state != LINE_OVER:
                return True
        return view.hidden > 0 and all(line.priority >= bits.WARNING for line in view.lines.values())


def called_of(plan: WirePlan) -> set[int]:
    """Addresses of those whose silence is alarmed: every node of the helm, and every one that feeds navigation lights."""
    return {address for address, _, _ in plan.nodes if address < FIRST_BEYOND_HELM} | {
        light.driver for light in plan.navigation_lights
    }


def listeners_of(plan: WirePlan) -> dict[str, int]:
    """Node -> address of every station and alarm node."""
    return {name: address for address, name, kind in plan.nodes if kind in LISTENERS}
