"""Cutouts, and drives in what concerns engines and faults of their own, with one planted defect each."""

from busim.protocol import values as v
from busim.seam import OUTPUT, Action, Actions
from busim.units import MS
from nodes.cutout import Cutout
from nodes.drive import Drive
from nodes.drive_machine import FORCED_IDLE
from nodes.start_permission import StartPermission


class NeverFires(Cutout):
    """It watches and waits, and leaves it at that."""

    __slots__ = ()

    def _overdue_ns(self) -> int:
        return self.report_due_ns + 1_000_000 * MS


class HidesFaults(Drive):
    """What it finds wrong with its actuators it keeps to itself."""

    __slots__ = ()

    def _state(self) -> list[Action]:
        found, self.fault = self.fault, 0
        actions = super()._state()
        self.fault = found
        return actions


class AlwaysPermits(StartPermission):
    __slots__ = ()

    def why_not(self, drive: object) -> int:
        return v.CAUSE_NONE


class PermitsInGear(Drive):
    """It gives start permission without a look at its neutral switch."""

    __slots__ = ()

    def __init__(self, *arguments: object) -> None:
        super().__init__(*arguments)  # type: ignore[arg-type]
        self.start_permission = AlwaysPermits()


class RevsBeforeIdle(Drive):
    """On a loss it opens the throttle for a moment before it goes idle: an output that floats while it changes."""

    __slots__ = ("revved",)

    def __init__(self, *arguments: object) -> None:
        super().__init__(*arguments)  # type: ignore[arg-type]
        self.revved = False

    def on_deadline(self, now_ns: int) -> Actions:
        actions = super().on_deadline(now_ns)
        if self.state != FORCED_IDLE:
            self.revved = False
        elif not self.revved and now_ns - self.idle_since_ns >= 40 * MS:
            self.revved = True
            return (*actions, (OUTPUT, "throttle", 800))
        elif self.revved:
            return (*actions, (OUTPUT, "throttle", 0))
        return actions


class LosesAtOnce(Drive):
    """It takes 100 ms without a lever frame for a loss."""

    __slots__ = ()

    def on_deadline(self, now_ns: int) -> Actions:
        actions: list[Action] = []
        if self.obeyed and now_ns - self.lever_ns >= 100 * MS:
            actions = self._lose(now_ns, v.CAUSE_LEVER_LOST)
        return (*actions, *super().on_deadline(now_ns))
