"""The navigation lights: lit by the condition of the boat and by nothing else. No scene, fade, level or all-off is heard here.

They stay as set through loss of the bus, hang and reset: its outputs are latching relays that keep their place without the
node, and the node takes them over as they are. Where none of them is lit and no condition was ever heard, what shows under way is
lit: a boat that is seen is safer than one that is not. A wired switch beside the relay lights a lamp whatever this node does.
A lamp or fuse that fails is told in notice, as an alarm is: a change three times, then once a second while it has failed.
Inputs: `lamp.N` (what is sensed of light N's lamp and fuse: 0 sound, 1 open, 2 short), `relay.N` (where its relay stands).
Outputs: `channel.N` (0 or 65,535).
"""

from collections.abc import Mapping
from typing import ClassVar, Final

from busim.protocol.alarms import ANSWER_REPEAT_MS, BY_NAME, CHANGES_SENT, GONE, RAISED, REPEAT_MS
from busim.protocol.catalogue import CONDITION, NOTICE
from busim.protocol.codec import INVALID, check
from busim.protocol.plan import NavigationLightPlan, WirePlan
from busim.seam import NOTHING, OUTPUT, RECHECK, Action, Actions, FrameHandler
from busim.units import MS, NEVER, SECOND
from nodes.condition import Condition
from nodes.member import Member

FULL_DUTY: Final = 65_535
UNDER_WAY: Final = 1
NEVER_TOLD_NS: Final = 3 * SECOND
"""No condition after so long: there is nobody to tell it."""
FAILED: Final = BY_NAME["lamp_or_fuse_failed"]


class Sensed:
    """One light's lamp and fuse, and when its notice goes out next."""

    __slots__ = ("due_ns", "failed", "number", "times")

    def __init__(self) -> None:
        self.failed = False
        self.number = 0
        """Of the failure there is, or of the last one."""
        self.due_ns = NEVER
        self.times = 0
        """So often the last change is still to be told."""


class Navigation(Member):
    __slots__ = ("condition", "failures", "heard", "lights", "lit", "sensed", "untold_ns")

    inputs: ClassVar[Mapping[str, int]] = {"lamp.*": 0, "relay.*": 0}

    def __init__(self, plan: WirePlan, address: int, build: int = 1) -> None:
        super().__init__(plan, address, build)
        self.lights: dict[int, NavigationLightPlan] = {light.number: light for light in plan.navigation_lights_of(address)}
        self.condition = Condition(plan, address)
        self.lit = dict.fromkeys(self.lights, 0)
        self.sensed = {number: Sensed() for number in self.lights}
        self.failures = 0
        """Number of the last one, 1 to 255 and round again: each is one occurrence, of whichever light."""
        self.untold_ns = NEVER
        self.heard = False
        """A station has said something that does not count yet: the first frame of a sender never does."""

    def receives(self) -> dict[tuple[int, int], FrameHandler]:
        stations = [station.address for station in self.plan.stations]
        return {(bus, CONDITION.can_id(station)): self._on_condition for bus in self.buses for station in stations}

    def on_start(self, now_ns: int, reset_cause: int) -> Actions:
        super().on_start(now_ns, reset_cause)
        self.working = True
        self.untold_ns = now_ns + NEVER_TOLD_NS
        return NOTHING

    def on_input(self, now_ns: int, channel: str, value: int) -> Actions:
        what, _, text = channel.partition(".")
        number = int(text) if text.isdecimal() else 0
        if number not in self.lights:
            return NOTHING
        if what == "relay":
            self.lit[number] = int(value != 0)
        elif what == "lamp" and (value != 0) != self.sensed[number].failed:
            self._changed(now_ns, self.sensed[number])
            return RECHECK
        return NOTHING

    def _changed(self, now_ns: int, sensed: Sensed) -> None:
        sensed.failed = not sensed.failed
        if sensed.failed:
            self.failures = sensed.number = self.failures % 255 + 1
        sensed.times = CHANGES_SENT
        sensed.due_ns = self.deadline_ns = now_ns

    def on_deadline(self, now_ns: int) -> Actions:
        self.task_ran = True
        actions = self.beat(now_ns)
        if now_ns >= self.untold_ns:
            self.untold_ns = now_ns + NEVER_TOLD_NS if self.heard and not self.condition.number else NEVER
            # What is lit was set by a condition, before power went: a boat at anchor must not come to show that she is under way.
            if not self.condition.number and not self.heard and not any(self.lit.values()):
                actions += self._show(UNDER_WAY)
            self.heard = False
        for number, sensed in self.sensed.items():
            if now_ns >= sensed.due_ns:
                actions += self._notice(now_ns, number, sensed)
        self._set_deadline()
        return tuple(actions)

    def _set_deadline(self) -> None:
        notices_ns = (sensed.due_ns for sensed in self.sensed.values())
        self.deadline_ns = min(self.beat_due_ns, self.identity_due_ns, self.untold_ns, *notices_ns)

    def _on_condition(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        if not self.condition.take(now_ns, bus, can_id, data):
            self.heard = self.heard or check(can_id, data) != INVALID
            return NOTHING
        return tuple(self._show(self.condition.condition)) or NOTHING

    def _show(self, condition: int) -> list[Action]:
        """Set the relays that are not as this condition wants them."""
        actions: list[Action] = []
        for number, light in self.lights.items():
            wanted = int(condition in light.lit)
            if wanted != self.lit[number]:
                self.lit[number] = wanted
                actions.append((OUTPUT, f"channel.{light.channel}", wanted * FULL_DUTY))
        return actions

    def _notice(self, now_ns: int, light: int, sensed: Sensed) -> list[Action]:
        """What is said of one light now, and when it is said again: gone only as often as a change is told."""
        sensed.times -= 1
        sensed.due_ns = now_ns + (ANSWER_REPEAT_MS if sensed.times > 0 else REPEAT_MS) * MS
        if not sensed.failed and sensed.times <= 0:
            sensed.due_ns = NEVER
        data = NOTICE.pack(FAILED.number, light, RAISED if sensed.failed else GONE, FAILED.priority, sensed.number)
        return self.queue(NOTICE.can_id(self.address), data, REPEAT_MS * MS)
