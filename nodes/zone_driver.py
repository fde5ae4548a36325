"""The zone driver: switches the lamps of its zones, answers every press with the zone's own state.

A press is numbered by its panel and repeated; the same number again is the same press and only gets its answer again, for
as long as its panel may repeat it. After that it is a new one: a panel that restarts counts from one again.
Outputs: `channel.N` (lightness in permille; 0 or 1000 for what is only switched).
"""

from busim.protocol.catalogue import PRESS, ZONE_STATE
from busim.protocol.codec import INVALID, read_plain
from busim.protocol.ids import address_of
from busim.protocol.plan import WirePlan
from busim.protocol.values import PRESS_OFF, PRESS_ON, PRESS_TOGGLE
from busim.seam import NOTHING, OUTPUT, Action, Actions, FrameHandler
from busim.units import MS, NEVER
from nodes.member import Member, following

FULL = 1000


class ZoneLight:
    """One zone as its driver keeps it, with the press done last."""

    __slots__ = ("channel", "level", "panel", "press", "zone")

    def __init__(self, zone: int, channel: int, level: int) -> None:
        self.zone = zone
        self.channel = f"channel.{channel}"
        self.level = level
        self.panel = 0
        self.press = 0


class ZoneDriver(Member):
    __slots__ = ("done", "lights", "state_due_ns")

    def __init__(self, plan: WirePlan, address: int, build: int = 1) -> None:
        super().__init__(plan, address, build)
        zones = plan.zones_of(address)
        self.lights = {zone.number: ZoneLight(zone.number, zone.channel, FULL if zone.lit_after_reset else 0) for zone in zones}
        self.done: dict[tuple[int, int], tuple[int, int]] = {}
        """(panel, zone) -> (number of its last press, when it was first heard)."""
        self.state_due_ns = NEVER

    def receives(self) -> dict[tuple[int, int], FrameHandler]:
        return {(bus, PRESS.can_id(panel.address)): self._on_press for bus in self.buses for panel in self.plan.panels}

    def on_start(self, now_ns: int, reset_cause: int) -> Actions:
        super().on_start(now_ns, reset_cause)
        self.working = True
        self.state_due_ns = now_ns
        return tuple((OUTPUT, light.channel, light.level) for light in self.lights.values())

    def on_deadline(self, now_ns: int) -> Actions:
        self.task_ran = True
        actions = self.beat(now_ns)
        if now_ns >= self.state_due_ns:
            self.state_due_ns = following(self.state_due_ns, self.timing.zone_ms * MS, now_ns)
            for light in self.lights.values():
                actions += self._state(light)
        self.deadline_ns = min(self.state_due_ns, self.beat_due_ns, self.identity_due_ns)
        return tuple(actions)

    def _on_press(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        word = read_plain(PRESS, data)
        if word == INVALID:
            return NOTHING
        number, zone, action, _, _, _ = PRESS.unpack(word)
        light = self.lights.get(zone)
        if light is None:
            return NOTHING
        panel = address_of(can_id)
        before = self.done.get((panel, zone))
        # The last repeat leaves before the press has failed, and may wait one repeat long in the panel's queue.
        repeated_ns = (self.timing.press_failed_ms + self.timing.press_repeat_ms) * MS
        if before is not None and before[0] == number and now_ns - before[1] <= repeated_ns:
            return tuple(self._state(light))
        level = {PRESS_OFF: 0, PRESS_ON: FULL, PRESS_TOGGLE: 0 if light.level else FULL}.get(action)
        if level is None:
            return NOTHING
        self.done[panel, zone] = (number, now_ns)
        light.panel, light.press = panel, number
        return (*self.switch(light, level), *self._state(light))

    def switch(self, light: ZoneLight, level: int) -> Actions:
        """Light a zone at this level."""
        light.level = level
        return ((OUTPUT, light.channel, level),)

    def _state(self, light: ZoneLight) -> list[Action]:
        data = ZONE_STATE.pack(light.zone, int(light.level > 0), 0, light.level, 0, 0, light.panel, light.press)
        return self.queue(ZONE_STATE.can_id(self.address), data, self.timing.zone_ms * MS)
