"""The zone driver: lights its zones as panels ask, answers every press and scene by its own state, and holds the scene table.

A press is numbered by its panel and repeated; the same number again is the same press and only gets its answer again, for
as long as its panel may repeat it. After that it is a new one: a panel that restarts counts from one again. A driver that
starts is dark for a moment: somebody will tell it which scene the others are in, and it joins them without a flash.
Inputs: `switch.N` (a wired switch of zone N; each change of it is a touch), `lamp.N` (what is sensed of zone N's lamps).
Outputs: `channel.N` (in parts of 65,535 of full).
"""

from collections.abc import Mapping
from typing import ClassVar, Final

from busim.protocol.catalogue import HEARTBEAT, PRESS, SCENE, SCENE_STATE, ZONE_STATE
from busim.protocol.codec import INVALID, read_plain
from busim.protocol.ids import address_of
from busim.protocol.lightness import FULL_PERMILLE
from busim.protocol.plan import WirePlan
from busim.protocol.values import (
    PRESS_COLOUR,
    PRESS_DIM_DOWN,
    PRESS_DIM_STOP,
    PRESS_DIM_UP,
    PRESS_KELVIN,
    PRESS_LEVEL,
    PRESS_OFF,
    PRESS_ON,
    PRESS_TOGGLE,
    SCENE_ALL_OFF,
    ZONE_FAULT_OLDER_TABLE,
)
from busim.seam import NOTHING, RECHECK, Action, Actions, FrameHandler
from busim.units import MS, NEVER
from nodes.member import Member, following
from nodes.zone_light import ZoneLight

JOIN_NS: Final = 400 * MS
"""How long a driver that starts waits to be told the scene before it lights what is lit after a reset."""
LAMP_VALUES: Final = (0, 1, 2)
LAMP_OPEN: Final = 1
BUS_LOST_NS: Final = 2000 * MS


class ZoneDriver(Member):
    __slots__ = ("done", "heard_ns", "join_until_ns", "lights", "scene", "scenes", "state_due_ns", "told")

    inputs: ClassVar[Mapping[str, int]] = {"switch.*": 0, "lamp.*": 0}

    def __init__(self, plan: WirePlan, address: int, build: int = 1) -> None:
        super().__init__(plan, address, build)
        self.lights = {zone.number: ZoneLight(zone) for zone in plan.zones_of(address)}
        self.scenes = {scene.number: scene for scene in plan.scenes}
        self.done: dict[tuple[int, int], tuple[int, int]] = {}
        """(panel, zone; -1 a scene) -> (number of its last press, when it was first heard)."""
        self.scene = 0
        """The scene its zones joined last, 0 none."""
        self.told = (0, 0)
        """(panel, number of its press) that asked for it."""
        self.state_due_ns = NEVER
        self.join_until_ns = NEVER
        self.heard_ns = 0

    def receives(self) -> dict[tuple[int, int], FrameHandler]:
        handlers: dict[tuple[int, int], FrameHandler] = {}
        for bus in self.buses:
            for panel in self.plan.panels:
                handlers[bus, PRESS.can_id(panel.address)] = self._on_press
                handlers[bus, SCENE.can_id(panel.address)] = self._on_scene
                if self._minds_silence():
                    handlers[bus, HEARTBEAT.can_id(panel.address)] = self._on_beat
        return handlers

    def _minds_silence(self) -> bool:
        return any(light.plan.lit_on_bus_loss for light in self.lights.values())

    # ------------------------------------------------------------------------------------------------ calls of the seam

    def on_start(self, now_ns: int, reset_cause: int) -> Actions:
        super().on_start(now_ns, reset_cause)
        self.working = True
        self.state_due_ns = now_ns
        self.heard_ns = now_ns if self._minds_silence() else NEVER
        self.join_until_ns = now_ns + JOIN_NS
        return tuple(action for light in self.lights.values() for action in light.step(now_ns))

    def on_input(self, now_ns: int, channel: str, value: int) -> Actions:
        what, _, number = channel.partition(".")
        light = self.lights.get(int(number)) if number.isdecimal() else None
        if light is None:
            return NOTHING
        if what == "lamp":
            sensed = value if value in LAMP_VALUES else LAMP_OPEN
            if sensed == light.lamp:
                return NOTHING
            light.lamp = sensed
            return tuple(self._state(now_ns, light))
        if what == "switch" and light.plan.wired_switch and now_ns > 0:
            light.touched = True
            return self._changed(now_ns, light, light.go(now_ns, 0 if light.level else light.used, self._fade_ns(light)))
        return NOTHING

    def on_deadline(self, now_ns: int) -> Actions:
        self.task_ran = True
        actions = self.beat(now_ns)
        if now_ns >= self.join_until_ns:
            self.join_until_ns = NEVER
            dark = [light for light in self.lights.values() if light.plan.lit_after_reset and not light.touched]
            actions += self._light_by_itself(now_ns, dark)
        if self.heard_ns != NEVER and now_ns - self.heard_ns >= BUS_LOST_NS:
            self.heard_ns = NEVER
            actions += self._light_by_itself(now_ns, [light for light in self.lights.values() if light.plan.lit_on_bus_loss])
        for light in self.lights.values():
            if now_ns >= light.step_ns:
                actions += light.step(now_ns)
                if light.settle() or not light.moving:
                    actions += self._state(now_ns, light)
        if now_ns >= self.state_due_ns:
            self.state_due_ns = following(self.state_due_ns, self.timing.zone_ms * MS, now_ns)
            for light in self.lights.values():
                actions += self._state(now_ns, light)
            actions += self._scene_state()
        self._set_deadline()
        return tuple(actions)

    def _set_deadline(self) -> None:
        due_ns = self.state_due_ns if self.state_due_ns < self.beat_due_ns else self.beat_due_ns
        if self.identity_due_ns < due_ns:
            due_ns = self.identity_due_ns
        if self.join_until_ns < due_ns:
            due_ns = self.join_until_ns
        if self.heard_ns != NEVER:
            due_ns = min(due_ns, self.heard_ns + BUS_LOST_NS)
        for light in self.lights.values():
            if light.step_ns < due_ns:
                due_ns = light.step_ns
        self.deadline_ns = due_ns

    # ------------------------------------------------------------------------------------------------ frames

    def _on_beat(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        """A panel is there: the bus is not lost."""
        again = self.heard_ns == NEVER
        self.heard_ns = now_ns
        if again:
            self._set_deadline()
            return RECHECK
        return NOTHING

    def _on_press(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        word = read_plain(PRESS, data)
        if word == INVALID:
            return NOTHING
        number, zone, action, level, colour, _ = PRESS.unpack(word)
        light = self.lights.get(zone)
        if light is None:
            return NOTHING
        if self._is_repeat(now_ns, address_of(can_id), zone, number):
            return tuple(self._state(now_ns, light))
        moves = self._moves(now_ns, light, action, min(level, FULL_PERMILLE), colour)
        if moves is None:
            return NOTHING
        self._note(now_ns, address_of(can_id), zone, number)
        light.touched = light.touched or action != PRESS_DIM_STOP
        # Another press that has not begun to show is done and undone: it is answered before this one takes its place.
        before = self._state(now_ns, light) if light.settle() else []
        light.owed = (address_of(can_id), number)
        return (*before, *self._changed(now_ns, light, moves))

    def _moves(self, now_ns: int, light: ZoneLight, action: int, level: int, colour: int) -> list[Action] | None:
        """What a press does to a light; None where it can't do that to it."""
        fade_ns = self._fade_ns(light)
        if action in (PRESS_OFF, PRESS_ON, PRESS_TOGGLE):
            lit = action == PRESS_ON or (action == PRESS_TOGGLE and not light.level)
            return light.go(now_ns, light.used if lit else 0, fade_ns)
        if action == PRESS_LEVEL:
            return light.go(now_ns, level, fade_ns)
        if action == PRESS_COLOUR or (action == PRESS_KELVIN and colour):
            known = light.paint(colour if action == PRESS_COLOUR else -1, colour if action == PRESS_KELVIN else 0)
            return light.go(now_ns, light.level or light.used, fade_ns) if known else None
        if light.plan.kind != "switched" and action in (PRESS_DIM_UP, PRESS_DIM_DOWN):
            return light.dim(now_ns, up=action == PRESS_DIM_UP)
        return light.stop(now_ns) if action == PRESS_DIM_STOP else None

    def _on_scene(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        word = read_plain(SCENE, data)
        if word == INVALID:
            return NOTHING
        number, scene_number, revision, fade_10ms, joining = SCENE.unpack(word)
        panel = address_of(can_id)
        fault = 0 if revision == self.plan.scene_revision else ZONE_FAULT_OLDER_TABLE
        if self._is_repeat(now_ns, panel, -1, number):
            return tuple(self._scene_state(fault))
        if joining and self.scene:
            return NOTHING
        self._note(now_ns, panel, -1, number)
        self.told = (panel, number)
        scene = self.scenes.get(scene_number)
        actions: list[Action] = []
        if scene_number == SCENE_ALL_OFF or scene is not None:
            self.scene = scene_number
            self.join_until_ns = NEVER
            levels = scene.levels if scene is not None else tuple((zone, 0, -1, 0) for zone in self.lights)
            # Told late, after a bus that was cut came back, it leaves what a hand has worked meanwhile.
            for zone, level, colour, kelvin in levels:
                light = self.lights.get(zone)
                if light is not None and not (joining and light.touched):
                    light.paint(colour, kelvin)
                    actions += light.go(now_ns, level, fade_10ms * 10 * MS)
        else:
            fault = ZONE_FAULT_OLDER_TABLE
        self._set_deadline()
        return (*actions, *self._scene_state(fault))

    # ------------------------------------------------------------------------------------------------ parts of it

    def _is_repeat(self, now_ns: int, panel: int, zone: int, number: int) -> bool:
        before = self.done.get((panel, zone))
        # The last repeat leaves before the press has failed, and may wait one repeat long in the panel's queue.
        repeated_ns = (self.timing.press_failed_ms + self.timing.press_repeat_ms) * MS
        return before is not None and before[0] == number and now_ns - before[1] <= repeated_ns

    def _note(self, now_ns: int, panel: int, zone: int, number: int) -> None:
        self.done[panel, zone] = (number, now_ns)
        if self.heard_ns != NEVER:
            self.heard_ns = now_ns

    def _fade_ns(self, light: ZoneLight) -> int:
        return light.plan.fade_ms * MS

    def _light_by_itself(self, now_ns: int, lights: list[ZoneLight]) -> list[Action]:
        return [action for light in lights for action in light.go(now_ns, FULL_PERMILLE, self._fade_ns(light))]

    def _changed(self, now_ns: int, light: ZoneLight, moves: list[Action]) -> Actions:
        self._set_deadline()
        # Said before the first step of a fade, a driver that is reset then would have answered for a lamp that never moved.
        said = [] if light.moving and light.owed else self._state(now_ns, light)
        return (*self.switch(light, moves), *said)

    def switch(self, light: ZoneLight, moves: list[Action]) -> list[Action]:
        """What goes out to the lamps."""
        return moves

    def _state(self, now_ns: int, light: ZoneLight) -> list[Action]:
        if not light.moving:
            light.settle()
        level = light.now(now_ns)
        data = ZONE_STATE.pack(
            light.plan.number,
            int(level > 0 or light.level > 0),
            int(light.moving),
            level,
            light.colour,
            light.lamp or light.fault,
            light.panel,
            light.press,
        )
        return self.queue(ZONE_STATE.can_id(self.address), data, self.timing.zone_ms * MS)

    def _scene_state(self, fault: int = 0) -> list[Action]:
        data = SCENE_STATE.pack(self.scene, self.plan.scene_revision, *self.told, fault)
        return self.queue(SCENE_STATE.can_id(self.address), data, self.timing.zone_ms * MS)
