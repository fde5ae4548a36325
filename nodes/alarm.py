"""The alarm node: a sounder, a lamp and keys where nobody drives her from, and where somebody sleeps.

It keeps the same list as a station, from its own reception. Inputs: `acknowledge`, `silence` (contacts). Outputs: those of
`nodes.alarm_list`, and `lamp`: 0 dark, 1 steady while everything is acknowledged, 2 flashing while anything is not.
"""

from collections.abc import Mapping
from typing import ClassVar, Final

from busim.protocol.catalogue import DRIVE_OBEYS
from busim.protocol.plan import WirePlan
from busim.seam import NOTHING, OUTPUT, Action, Actions, FrameHandler
from busim.units import MS, NEVER
from nodes.alarm_list import AlarmList
from nodes.member import Member, following

PERIOD_NS: Final = 50 * MS
DARK, STEADY, FLASHING = 0, 1, 2


class AlarmNode(Member):
    __slots__ = ("alarms", "lamp", "task_due_ns")

    inputs: ClassVar[Mapping[str, int]] = {"acknowledge": 0, "silence": 0}

    def __init__(self, plan: WirePlan, address: int, build: int = 1) -> None:
        super().__init__(plan, address, build)
        self.alarms = AlarmList(plan, address)
        self.lamp = DARK
        self.task_due_ns = NEVER

    def receives(self) -> dict[tuple[int, int], FrameHandler]:
        handlers = self.alarms.receives()
        for bus in self.buses:
            handlers |= {(bus, DRIVE_OBEYS.can_id(drive)): self.alarms.on_drive_obeys for drive in self.alarms.helm.counters}
        return handlers

    def on_start(self, now_ns: int, reset_cause: int) -> Actions:
        super().on_start(now_ns, reset_cause)
        self.working = True
        self.task_due_ns = now_ns
        self.alarms.start(now_ns)
        return NOTHING

    def on_input(self, now_ns: int, channel: str, value: int) -> Actions:
        if channel in self.inputs and value:
            self.alarms.press(now_ns, channel)
        return NOTHING

    def on_deadline(self, now_ns: int) -> Actions:
        actions: list[Action] = []
        if now_ns >= self.task_due_ns:
            self.task_due_ns = following(self.task_due_ns, PERIOD_NS, now_ns)
            self.task_ran = True
            actions += self.alarms.look(now_ns)
            lamp = self.alarms.lamp()
            if lamp != self.lamp:
                self.lamp = lamp
                actions.append((OUTPUT, "lamp", lamp))
        actions += self.beat(now_ns)
        self.deadline_ns = min(self.task_due_ns, self.beat_due_ns, self.identity_due_ns)
        return tuple(actions)
