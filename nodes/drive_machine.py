"""What a drive does: its state table carried out. Whom it obeys, and why, is decided in `nodes.drive`.

Every change of state goes through `_event`, every output of a state through `_enter`.
"""

from typing import Final

from busim.protocol import values as v
from busim.protocol.plan import WirePlan
from busim.protocol.tables import DRIVE_TABLE
from busim.seam import OUTPUT, ROW, Action
from busim.units import MS, NEVER
from nodes.drive_sensing import SensingDrive

_S: Final = DRIVE_TABLE.state_values
WAKING, UNCLAIMED, IN_NEUTRAL, ENGAGING = _S["waking"], _S["unclaimed"], _S["neutral"], _S["engaging"]
ENGAGED, SLOWING, DISENGAGING, DWELLING = _S["engaged"], _S["slowing"], _S["disengaging"], _S["dwelling"]
FORCED_IDLE, FORCED_DISENGAGING, FORCED_NEUTRAL = _S["forced_idle"], _S["forced_disengaging"], _S["forced_neutral"]
HELD_IDLE: Final = _S["held_idle"]
AT_REST: Final = (UNCLAIMED, IN_NEUTRAL, DWELLING, FORCED_NEUTRAL)
"""States in which no gear is in, going in or coming out."""
MOVES: Final = DRIVE_TABLE.moves

LOSSES_TO_HOLD_ON: Final = (
    v.CAUSE_LEVER_LOST, v.CAUSE_HEARTBEAT_LOST, v.CAUSE_OTHER_BOAT_FILE, v.CAUSE_LEVER_FAULT, v.CAUSE_CONTROLLER,
)  # fmt: skip
"""The policy to stay engaged is for a helm that is lost. It is not for somebody's wish for neutral, nor for a stuck actuator."""


class DriveMachine(SensingDrive):
    __slots__ = (
        "cause", "dwell_until_ns", "idle_since_ns", "last_gear", "last_row", "lever_id", "may_hold", "obeyed", "out_due_ns",
        "shift_due_ns", "state", "untold", "wake_until_ns",
    )  # fmt: skip

    def __init__(self, plan: WirePlan, address: int, build: int = 1) -> None:
        super().__init__(plan, address, build)
        self.state = WAKING
        self.last_row = 0
        self.cause = v.CAUSE_NONE
        self.obeyed = 0
        self.lever_id = -1
        self.may_hold = False
        """Of all that took control away since, nothing speaks against the boat's policy to stay in gear at idle."""
        self.last_gear = v.NEUTRAL
        self.idle_since_ns = 0
        self.dwell_until_ns = NEVER
        """Until when another gear than the last one waits."""
        self.shift_due_ns = NEVER
        """When the state it is in stops waiting for the shift actuator."""
        self.out_due_ns = NEVER
        """When a gear that was told to come out should be out: whoever takes or loses control since, its time runs on."""
        self.wake_until_ns = NEVER
        self.untold = False
        """A row was taken that no report tells yet."""

    def _set_deadline(self, now_ns: int) -> None:
        raise NotImplementedError

    def _lose(self, now_ns: int, cause: int) -> list[Action]:
        """Whatever the reason: nobody is obeyed any more, idle, then neutral. Lost already, it is lost all the same, and a wish
        for neutral counts though the cause that is told stays the first."""
        if (self.state, "lost") not in MOVES:
            self.may_hold = self.may_hold and cause in LOSSES_TO_HOLD_ON
            return []
        actions = self._obey_nobody(now_ns, cause)
        return [*self._event(now_ns, "lost"), *actions, *self._look(now_ns)]

    def _obey_nobody(self, now_ns: int, cause: int) -> list[Action]:
        self.obeyed = 0
        self.lever_id = -1
        self.cause = cause
        self.may_hold = self.me.on_loss == "idle" and cause in LOSSES_TO_HOLD_ON
        if self.state != ENGAGING:
            return []
        # The throttle is at its stop and the gear not in: it must not go in while idle is waited for.
        self.asked_gear = v.NEUTRAL
        self.out_due_ns = now_ns + self._shift_allowance_ns()
        return [(OUTPUT, "shift", v.NEUTRAL)]

    def _event(self, now_ns: int, event: str) -> list[Action]:
        """Take the row for this event, if the table has one here, and its outputs."""
        before = self.state
        move = MOVES.get((before, event))
        if move is None:
            return []
        self.state, self.last_row = move
        self.untold = True
        if before != SLOWING:
            self.idle_since_ns = now_ns  # of use in the states that begin with a command to go idle; in slowing it stands
        actions: list[Action] = [(ROW, "drive", self.last_row, self.cause)]
        actions += self._enter(now_ns)
        self._set_deadline(now_ns)
        return actions

    def _enter(self, now_ns: int) -> list[Action]:
        state = self.state
        self.shift_due_ns = NEVER
        if state == ENGAGING:
            self.last_gear = self.asked_gear
            self.out_due_ns = NEVER
            self.shift_due_ns = now_ns + self._shift_allowance_ns()
            return [(OUTPUT, "shift", self.asked_gear)]
        if state == ENGAGED:
            return []
        actions: list[Action] = []
        if self.asked_throttle or state in (SLOWING, FORCED_IDLE):
            self.asked_throttle = 0
            actions.append((OUTPUT, "throttle", 0))
        if state in (SLOWING, FORCED_IDLE, HELD_IDLE):
            return actions
        self.asked_gear = v.NEUTRAL
        actions.append((OUTPUT, "shift", v.NEUTRAL))
        if state in (DISENGAGING, FORCED_DISENGAGING):
            if self.out_due_ns == NEVER:
                self.out_due_ns = now_ns + self._shift_allowance_ns()
            self.shift_due_ns = self.out_due_ns
            if state == FORCED_DISENGAGING and not self.throttle_at_stop():
                actions += self._stop_engine()
        return actions

    def _shift_allowance_ns(self) -> int:
        """How long the shift actuator may take: half again its time, and 200 ms."""
        return (self.me.shift_ms * 3 // 2 + 200) * MS

    def _stop_engine(self) -> list[Action]:
        if not self.me.has_engine_stop or self.engine_stop:
            return []
        self.engine_stop = 1
        return [(OUTPUT, "engine_stop", 1)]

    def _look(self, now_ns: int) -> list[Action]:
        """See what the sensors and the clock say to the state it is in; a state may follow on another at once."""
        actions: list[Action] = []
        for _ in range(4):
            event = self._noticed(now_ns)
            if event is None:
                break
            if event == "out_late":
                self.fault = self.fault or 1
                self.shift_due_ns = self.out_due_ns = NEVER
                actions += self._stop_engine()
                continue
            if event == "stuck":
                self.fault = self.fault or 1
                self.out_due_ns = NEVER  # its engine is stopped only once it has had that time again
                actions += self._obey_nobody(now_ns, v.CAUSE_ACTUATOR)
            if event == "idle_wait_over" and self.state == SLOWING:
                self.fault = self.fault or 2
                self._obey_nobody(now_ns, v.CAUSE_ACTUATOR)
            if event == "found_off_neutral":
                self.cause = v.CAUSE_WOKE_OFF_NEUTRAL
            if event in ("found_neutral", "gear_out"):
                self.working = True
                self.out_due_ns = NEVER
                self.dwell_until_ns = now_ns + self.me.dwell_ms * MS
            actions += self._event(now_ns, event)
        return actions

    def _noticed(self, now_ns: int) -> str | None:
        state = self.state
        if state == ENGAGED:
            return None
        if state == WAKING:
            if self._all_seen():
                return "found_neutral" if self.sensed_gear() == v.NEUTRAL and self.throttle_at_stop() else "found_off_neutral"
            return "found_off_neutral" if now_ns >= self.wake_until_ns else None
        if state in (SLOWING, FORCED_IDLE):
            waited = now_ns - self.idle_since_ns >= self.me.idle_wait_ms * MS or (state == FORCED_IDLE and self._runs_away())
            if self.throttle_at_stop() and (0 <= self.rpm < self.me.shift_rpm or waited):
                return "held" if state == FORCED_IDLE and self._holds_on() else "at_idle"
            return "idle_wait_over" if waited else None
        if state == ENGAGING:
            if self.sensed_gear() == self.asked_gear:
                return "gear_in"
            return "stuck" if now_ns >= self.shift_due_ns else None
        if state in (DISENGAGING, FORCED_DISENGAGING):
            if self.sensed_gear() == v.NEUTRAL:
                return "gear_out"
            if now_ns >= self.shift_due_ns:
                return "stuck" if state == DISENGAGING else "out_late"
            return None
        if state == DWELLING:
            return "dwell_over" if now_ns >= self.dwell_until_ns else None
        return None

    def _runs_away(self) -> bool:
        """Does the throttle go where nobody told it to, so that there is nothing to wait for?"""
        return False

    def _holds_on(self) -> bool:
        """Control lost: stay in gear at idle, where the boat's policy wants it and a gear is in."""
        return self.may_hold and self.asked_gear != v.NEUTRAL and self.sensed_gear() == self.asked_gear
