"""The navigation lights: lit by the condition of the boat and by nothing else. No scene, fade, level or all-off is heard here.

They stay as set through loss of the bus, hang and reset: its outputs are latching relays that keep their place without the
node, and the node takes them over as they are. Before any condition was ever heard, what shows under way is lit: a boat
that is seen is safer than one that is not. A wired switch beside the relay lights a lamp whatever this node does.
Inputs: `lamp.N` (what is sensed of light N's lamp and fuse: 0 sound, 1 open, 2 short), `relay.N` (where its relay stands).
Outputs: `channel.N` (0 or 65,535).
"""

from collections.abc import Mapping
from typing import ClassVar, Final

from busim.protocol.catalogue import CONDITION, NOTICE
from busim.protocol.plan import NavigationLightPlan, WirePlan
from busim.seam import NOTHING, OUTPUT, RECHECK, Action, Actions, FrameHandler
from busim.units import MS, NEVER, SECOND
from nodes.condition import Condition
from nodes.member import Member, following

FULL_DUTY: Final = 65_535
UNDER_WAY: Final = 1
NEVER_TOLD_NS: Final = 3 * SECOND
"""No condition after so long: there is nobody to tell it."""
LAMP_FAILED: Final = 40
"""Number of the notice; its subject is the light."""
RAISED: Final = 1
GONE: Final = 0
WARNING: Final = 1


class Navigation(Member):
    __slots__ = ("condition", "lamps", "lights", "lit", "notice_due_ns", "notices", "untold_ns")

    inputs: ClassVar[Mapping[str, int]] = {"lamp.*": 0, "relay.*": 0}

    def __init__(self, plan: WirePlan, address: int, build: int = 1) -> None:
        super().__init__(plan, address, build)
        self.lights: dict[int, NavigationLightPlan] = {light.number: light for light in plan.navigation_lights_of(address)}
        self.condition = Condition(plan, address)
        self.lit = dict.fromkeys(self.lights, 0)
        self.lamps = dict.fromkeys(self.lights, 0)
        self.notices = 0
        self.notice_due_ns = NEVER
        self.untold_ns = NEVER

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
        elif what == "lamp" and int(value != 0) != self.lamps[number]:
            self.lamps[number] = int(value != 0)
            self.notice_due_ns = self.deadline_ns = now_ns
            return RECHECK
        return NOTHING

    def on_deadline(self, now_ns: int) -> Actions:
        self.task_ran = True
        actions = self.beat(now_ns)
        if now_ns >= self.untold_ns:
            self.untold_ns = NEVER
            if not self.condition.number:
                actions += self._show(UNDER_WAY)
        if now_ns >= self.notice_due_ns:
            self.notice_due_ns = following(self.notice_due_ns, SECOND, now_ns) if any(self.lamps.values()) else NEVER
            actions += self._notices()
        self._set_deadline()
        return tuple(actions)

    def _set_deadline(self) -> None:
        self.deadline_ns = min(self.beat_due_ns, self.identity_due_ns, self.untold_ns, self.notice_due_ns)

    def _on_condition(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        if not self.condition.take(now_ns, bus, can_id, data):
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

    def _notices(self) -> list[Action]:
        """Which lamps or fuses have failed, said once a second while one has; and once, that it is sound again."""
        actions: list[Action] = []
        for number, lamp in self.lamps.items():
            self.notices = self.notices + 1 & 0xFF
            data = NOTICE.pack(LAMP_FAILED, number, RAISED if lamp else GONE, WARNING, self.notices)
            actions += self.queue(NOTICE.can_id(self.address), data, 500 * MS)
        return actions
