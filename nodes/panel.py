"""The panel: touch fields that ask for light, and show whether they got it.

A touch that stays for the debounce time is a press. It is numbered and repeated until each zone it is for shows in its own
state that it was done, or the panel says that it failed. A zone is asked for one press at a time, in their order: it knows a
repeat by the number of its last press. Inputs: `touch.N`. Outputs: `field.N` (a FIELD_ value).
"""

from collections.abc import Mapping
from typing import ClassVar, Final

from busim.protocol.catalogue import PRESS, ZONE_STATE
from busim.protocol.codec import INVALID, read_plain
from busim.protocol.plan import ControlPlan, WirePlan
from busim.protocol.values import PRESS_OFF, PRESS_ON, PRESS_TOGGLE
from busim.seam import NOTHING, OUTPUT, RECHECK, Action, Actions, FrameHandler
from busim.units import MS
from nodes.member import Member

FIELD_QUIET: Final = 0
FIELD_WAITS: Final = 1
FIELD_DONE: Final = 2
FIELD_FAILED: Final = 3

ACTIONS: Final = {"on": PRESS_ON, "off": PRESS_OFF, "toggle": PRESS_TOGGLE}


class Pending:
    """A press under way: the zones that have not shown it done yet."""

    __slots__ = ("control", "failed_ns", "number", "repeat_ns", "zones")

    def __init__(self, control: ControlPlan, number: int, now_ns: int, failed_ns: int) -> None:
        self.control = control
        self.number = number
        self.zones = list(control.zones)
        self.repeat_ns = now_ns
        self.failed_ns = failed_ns


class Panel(Member):
    __slots__ = ("controls", "me", "number", "pending", "touched_ns")

    inputs: ClassVar[Mapping[str, int]] = {"touch.*": 0}

    def __init__(self, plan: WirePlan, address: int, build: int = 1) -> None:
        super().__init__(plan, address, build)
        self.me = plan.panel_at(address)
        self.controls = {f"touch.{control.number}": control for control in self.me.controls if control.page == 0}
        self.number = 0
        self.touched_ns: dict[str, int] = {}
        """Touch -> when it will be believed."""
        self.pending: list[Pending] = []

    def receives(self) -> dict[tuple[int, int], FrameHandler]:
        wanted = {zone for control in self.me.controls for zone in control.zones}
        drivers = {zone.driver for zone in self.plan.zones if zone.number in wanted}
        return {(bus, ZONE_STATE.can_id(driver)): self._on_zone_state for bus in self.buses for driver in sorted(drivers)}

    def on_start(self, now_ns: int, reset_cause: int) -> Actions:
        super().on_start(now_ns, reset_cause)
        self.working = True
        return NOTHING

    def on_input(self, now_ns: int, channel: str, value: int) -> Actions:
        if channel not in self.controls:
            return NOTHING
        if not value:
            self.touched_ns.pop(channel, None)
            return NOTHING
        self.touched_ns[channel] = now_ns + self.me.debounce_ms * MS
        self._set_deadline()
        return RECHECK

    def on_deadline(self, now_ns: int) -> Actions:
        actions: list[Action] = []
        for channel, believed_ns in list(self.touched_ns.items()):
            if now_ns >= believed_ns:
                del self.touched_ns[channel]
                actions += self._press(now_ns, self.controls[channel])
        for pending in list(self.pending):
            if now_ns >= pending.failed_ns:
                self.pending.remove(pending)
                actions += self.report_failed(pending)
            elif now_ns >= pending.repeat_ns:
                pending.repeat_ns = now_ns + self.timing.press_repeat_ms * MS
                actions += self._ask(pending)
        self.task_ran = True
        if now_ns >= self.beat_due_ns or now_ns >= self.identity_due_ns:
            actions += self.beat(now_ns)
        self._set_deadline()
        return tuple(actions)

    def _set_deadline(self) -> None:
        due_ns = self.beat_due_ns if self.beat_due_ns < self.identity_due_ns else self.identity_due_ns
        if self.touched_ns:
            due_ns = min(due_ns, *self.touched_ns.values())
        for pending in self.pending:
            due_ns = min(due_ns, pending.repeat_ns, pending.failed_ns)
        self.deadline_ns = due_ns

    def _press(self, now_ns: int, control: ControlPlan) -> list[Action]:
        if control.action not in ACTIONS:
            return []
        self.number = self.number + 1 & 0xFF
        self.pending.append(Pending(control, self.number, now_ns, now_ns + self.timing.press_failed_ms * MS))
        return [(OUTPUT, f"field.{control.number}", FIELD_WAITS)]

    def _ask(self, pending: Pending) -> list[Action]:
        actions: list[Action] = []
        earlier = self.pending[: self.pending.index(pending)]
        for zone in pending.zones:
            if any(zone in other.zones for other in earlier):
                continue
            data = PRESS.pack(pending.number, zone, ACTIONS[pending.control.action], 0, 0, pending.control.number)
            actions += self.queue(PRESS.can_id(self.address), data, self.timing.press_repeat_ms * MS)
        return actions

    def _on_zone_state(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        if not self.pending:
            return NOTHING
        word = read_plain(ZONE_STATE, data)
        if word == INVALID:
            return NOTHING
        zone, *_, panel, press = ZONE_STATE.unpack(word)
        if panel != self.address:
            return NOTHING
        pending = next((pending for pending in self.pending if pending.number == press and zone in pending.zones), None)
        if pending is None:
            return NOTHING
        pending.zones.remove(zone)
        for other in self.pending:
            if zone in other.zones:
                other.repeat_ns = now_ns
        done: Actions = ()
        if not pending.zones:
            self.pending.remove(pending)
            done = ((OUTPUT, f"field.{pending.control.number}", FIELD_DONE),)
        self._set_deadline()
        return done or RECHECK

    def report_failed(self, pending: Pending) -> list[Action]:
        """Show that a press was not done in time."""
        return [(OUTPUT, f"field.{pending.control.number}", FIELD_FAILED)]
