"""The panel: touch fields that ask for light, and show whether they got it.

A touch that stays for the debounce time is a press. It is numbered and repeated until each zone it is for shows in its own
state that it was done (for a scene: each driver), or the panel says that it failed, wholly or in part and where. A zone is
asked for one press at a time, in their order: it knows a repeat by the number of its last press.
A field shows what came of it while its page is open; of a page that was turned away from, fields that turn the page show that
something failed, and that page itself does once it is open again. What was seen so is not shown a second time.
Inputs: `touch.N`. Outputs: `field.N` (a FIELD_ value), `page`, `failed.Z` (1: zone Z did not answer the last press for it),
`tables_differ` (1: a driver holds another scene table than this panel).
"""

from collections.abc import Mapping
from typing import ClassVar, Final

from busim.protocol.catalogue import CONDITION, HEARTBEAT, PRESS, SCENE, SCENE_STATE, ZONE_STATE
from busim.protocol.codec import INVALID, check, read_plain
from busim.protocol.ids import address_of
from busim.protocol.plan import ControlPlan, WirePlan
from busim.protocol.values import (
    PRESS_COLOUR,
    PRESS_CONDITION,
    PRESS_DIM_DOWN,
    PRESS_DIM_STOP,
    PRESS_DIM_UP,
    PRESS_KELVIN,
    PRESS_LEVEL,
    PRESS_OFF,
    PRESS_ON,
    PRESS_TOGGLE,
    SCENE_ALL_OFF,
)
from busim.seam import NOTHING, OUTPUT, RECHECK, Action, Actions, FrameHandler
from busim.units import MS
from nodes.member import Member
from nodes.panel_press import Pending
from nodes.scene_keeper import SceneKeeper

FIELD_QUIET: Final = 0
FIELD_WAITS: Final = 1
FIELD_DONE: Final = 2
FIELD_FAILED: Final = 3
FIELD_PARTLY: Final = 4

HELD_NS: Final = 400 * MS
"""A touch of a dimming field this long is a hand that dims; a shorter one toggles when it lets go."""
JOIN_FADE_10MS: Final = 50
"""A driver that comes back joins the scene in half a second."""
OFF_FADE_10MS: Final = 25
_ACTIONS: Final = {"on": PRESS_ON, "off": PRESS_OFF, "toggle": PRESS_TOGGLE, "level": PRESS_LEVEL}


class Panel(Member):
    __slots__ = (
        "controls", "dims_up", "echoed", "fades", "holding", "keeper", "me", "number", "page", "pending", "resting",
        "shown", "touched_ns",
    )  # fmt: skip

    inputs: ClassVar[Mapping[str, int]] = {"touch.*": 0}

    def __init__(self, plan: WirePlan, address: int, build: int = 1) -> None:
        super().__init__(plan, address, build)
        self.me = plan.panel_at(address)
        self.page = 0
        self.controls = self._controls()
        self.fades = {scene.number: scene.fade_ms // 10 for scene in plan.scenes}
        self.keeper = SceneKeeper(plan, address)
        self.number = 0
        self.echoed: dict[int, int] = {}
        """Zone -> number of this panel's press that it did last, as it says."""
        self.touched_ns: dict[str, int] = {}
        """Touch -> when it will be believed."""
        self.resting: dict[str, tuple[int, ControlPlan]] = {}
        """Touch of a dimming field -> when the hand is one that dims, and the field: another hand may turn the page meanwhile."""
        self.holding: dict[str, ControlPlan] = {}
        """Touch -> the field by which it dims."""
        self.dims_up: dict[tuple[int, int], bool] = {}
        """(page, dimming field) -> its next hand dims up."""
        self.pending: list[Pending] = []
        self.shown: dict[tuple[int, int], int] = {}
        """(page, field) -> what it shows while that page is open; quiet where nothing stands here."""

    def _controls(self) -> dict[str, ControlPlan]:
        return {f"touch.{control.number}": control for control in self.me.controls if control.page == self.page}

    def receives(self) -> dict[tuple[int, int], FrameHandler]:
        """What its own fields may need, and what everybody who may have to tell the scene must know."""
        wanted = {zone for control in self.me.controls for zone in control.zones}
        drivers = {zone.driver for zone in self.plan.zones if zone.number in wanted}
        everybody = {zone.driver for zone in self.plan.zones}
        asks_condition = any(control.action == "condition" for control in self.me.controls)
        handlers: dict[tuple[int, int], FrameHandler] = {}
        for bus in self.buses:
            handlers |= {(bus, ZONE_STATE.can_id(driver)): self._on_zone_state for driver in sorted(drivers)}
            if self.plan.scenes or any(control.action == "all_off" for control in self.me.controls):
                handlers |= {(bus, SCENE_STATE.can_id(driver)): self._on_scene_state for driver in sorted(everybody)}
                others = [panel.address for panel in self.plan.panels if panel is not self.me]
                handlers |= {(bus, SCENE.can_id(panel)): self._on_scene for panel in others}
                handlers |= {(bus, HEARTBEAT.can_id(panel)): self._on_beat for panel in self.keeper.panels}
            if asks_condition:
                handlers |= {(bus, CONDITION.can_id(station.address)): self._on_condition for station in self.plan.stations}
        return handlers

    # ------------------------------------------------------------------------------------------------ calls of the seam

    def on_start(self, now_ns: int, reset_cause: int) -> Actions:
        super().on_start(now_ns, reset_cause)
        self.working = True
        # What a screen showed before a reset is no longer true of anything: a press that waited is forgotten.
        fields = (f"field.{each.number}" for each in self.controls.values())
        zones = (f"failed.{zone.number}" for zone in self.plan.zones)
        told = [(OUTPUT, channel, FIELD_QUIET) for channel in (*fields, *zones, "tables_differ")]
        return ((OUTPUT, "page", self.page), *told)

    def on_input(self, now_ns: int, channel: str, value: int) -> Actions:
        if value:
            if channel not in self.controls:
                return NOTHING
            self.touched_ns[channel] = now_ns + self.me.debounce_ms * MS
            self._set_deadline()
            return RECHECK
        self.touched_ns.pop(channel, None)
        actions: list[Action] = []
        rested = self.resting.pop(channel, None)
        if rested is not None:
            actions = self._press(now_ns, rested[1], PRESS_TOGGLE)
        control = self.holding.pop(channel, None)
        if control is not None:
            actions = self._press(now_ns, control, PRESS_DIM_STOP)
        self._set_deadline()
        return tuple(actions) or RECHECK  # a press of another page than the open one has nothing to show, and is to be sent

    def on_deadline(self, now_ns: int) -> Actions:
        actions: list[Action] = []
        for channel, believed_ns in list(self.touched_ns.items()):
            # A page that changes at this very moment has taken its other touches with it.
            if now_ns >= believed_ns and self.touched_ns.pop(channel, None) is not None:
                actions += self._believed(now_ns, channel)
        for channel, (held_ns, control) in list(self.resting.items()):
            if now_ns >= held_ns:
                del self.resting[channel]
                actions += self._dim(now_ns, channel, control)
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

    def on_sent(self, now_ns: int, bus: int, can_id: int) -> Actions:
        if can_id == SCENE.can_id(self.address):
            for pending in self.pending:
                pending.sent = True
        return NOTHING

    def _set_deadline(self) -> None:
        due_ns = self.beat_due_ns if self.beat_due_ns < self.identity_due_ns else self.identity_due_ns
        if self.touched_ns:
            due_ns = min(due_ns, *self.touched_ns.values())
        for held_ns, _ in self.resting.values():
            due_ns = min(due_ns, held_ns)
        for pending in self.pending:
            due_ns = min(due_ns, pending.repeat_ns, pending.failed_ns)
        self.deadline_ns = due_ns

    # ------------------------------------------------------------------------------------------------ touches

    def _believed(self, now_ns: int, channel: str) -> list[Action]:
        control = self.controls[channel]
        if control.action == "page":
            return self._turn(control.opens)
        if control.action == "dim":
            self.resting[channel] = (now_ns + HELD_NS, control)
            return []
        if control.action == "colour":
            return self._press(now_ns, control, PRESS_KELVIN if control.kelvin else PRESS_COLOUR)
        if control.action == "condition":
            return self._begin(now_ns, control, PRESS_CONDITION, 0, [0])
        if control.action in ("scene", "all_off"):
            scene = control.scene if control.action == "scene" else SCENE_ALL_OFF
            return self._begin(now_ns, control, 0, scene, self._drivers_of(scene))
        return self._press(now_ns, control, _ACTIONS[control.action])

    def _turn(self, page: int) -> list[Action]:
        self.shown = {field: value for field, value in self.shown.items() if field[0] != self.page or value == FIELD_WAITS}
        self.page = page
        self.controls = self._controls()
        self.touched_ns.clear()
        return [(OUTPUT, "page", page), *((OUTPUT, f"field.{each.number}", self._shows(each)) for each in self.controls.values())]

    def _shows(self, control: ControlPlan) -> int:
        if control.action != "page":
            return self.shown.get((control.page, control.number), FIELD_QUIET)
        elsewhere = {value for (page, _), value in self.shown.items() if page != self.page}
        return next((value for value in (FIELD_FAILED, FIELD_PARTLY) if value in elsewhere), FIELD_QUIET)

    def _show(self, control: ControlPlan, value: int) -> list[Action]:
        self.shown[control.page, control.number] = value
        if control.page == self.page:
            return [(OUTPUT, f"field.{control.number}", value)]
        if value not in (FIELD_FAILED, FIELD_PARTLY):
            return []
        return [(OUTPUT, f"field.{each.number}", self._shows(each)) for each in self.controls.values() if each.action == "page"]

    def _dim(self, now_ns: int, channel: str, control: ControlPlan) -> list[Action]:
        """The hand stays: up and down in turn."""
        self.holding[channel] = control
        field = control.page, control.number
        up = self.dims_up.get(field, False)
        self.dims_up[field] = not up
        return self._press(now_ns, control, PRESS_DIM_UP if up else PRESS_DIM_DOWN)

    def _press(self, now_ns: int, control: ControlPlan, action: int) -> list[Action]:
        return self._begin(now_ns, control, action, 0, list(control.zones))

    def _begin(self, now_ns: int, control: ControlPlan | None, action: int, scene: int, asked: list[int]) -> list[Action]:
        self.number = self.number + 1 & 0xFF
        while not scene and any(self.echoed.get(zone) == self.number for zone in asked):
            # A zone still carries the number of a press that was 256 presses ago: it would seem to answer this one.
            self.number = self.number + 1 & 0xFF
        failed_ns = now_ns + self.timing.press_failed_ms * MS
        given_up: list[Action] = []
        if scene:
            given_up = self._give_up_scenes()
        pending = Pending(control, self.number, action, scene, asked, now_ns, failed_ns)
        self.pending.append(pending)
        if scene:
            pending.instead = self.keeper.current
            self.keeper.current = scene
            self.keeper.note(now_ns, self.address, self.number)
        if control is None:
            return []
        anew = [] if action == PRESS_CONDITION else self._zones_of(asked) if scene else asked
        return [*given_up, *self._show(control, FIELD_WAITS), *((OUTPUT, f"failed.{zone}", 0) for zone in anew)]

    def _give_up_scenes(self) -> list[Action]:
        """The last word on a scene stands: a press that still asks for another would undo it."""
        actions: list[Action] = []
        for older in [older for older in self.pending if older.scene]:
            self.pending.remove(older)
            if older.unanswered:
                self.keeper.current = older.instead
            if older.control is not None:
                actions += self._show(older.control, FIELD_QUIET)
        return actions

    def _drivers_of(self, scene: int) -> list[int]:
        zones = {zone for each in self.plan.scenes if each.number == scene for zone, *_ in each.levels}
        return sorted({zone.driver for zone in self.plan.zones if scene == SCENE_ALL_OFF or zone.number in zones})

    def _zones_of(self, drivers: list[int]) -> list[int]:
        return sorted(zone.number for zone in self.plan.zones if zone.driver in drivers)

    def _ask(self, pending: Pending) -> list[Action]:
        repeat_ns = self.timing.press_repeat_ms * MS
        if pending.scene:
            fade_10ms = self.fades.get(pending.scene, OFF_FADE_10MS) if pending.control is not None else JOIN_FADE_10MS
            joining = int(pending.control is None)
            data = SCENE.pack(pending.number, pending.scene, self.plan.scene_revision, fade_10ms, joining)
            return self.queue(SCENE.can_id(self.address), data, repeat_ns)
        control = pending.control
        if control is None:
            return []
        colour = control.kelvin or max(control.colour, 0)
        level = control.condition if pending.action == PRESS_CONDITION else control.level_permille
        earlier = [older for older in self.pending[: self.pending.index(pending)] if not older.scene]
        actions: list[Action] = []
        for zone in pending.left:
            if not any(zone in older.left for older in earlier):
                data = PRESS.pack(pending.number, zone, pending.action, level, colour, control.number)
                actions += self.queue(PRESS.can_id(self.address), data, repeat_ns)
        return actions

    # ------------------------------------------------------------------------------------------------ answers

    def _on_zone_state(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        word = read_plain(ZONE_STATE, data)
        if word == INVALID:
            return NOTHING
        zone, *_, panel, press = ZONE_STATE.unpack(word)
        if panel != self.address:
            return NOTHING
        self.echoed[zone] = press
        if not self.number:
            # This panel has started anew: with the number of its last press the next would be taken for a repeat of that one.
            self.number = press
        for pending in self.pending:
            if not pending.scene and pending.number == press and zone in pending.left:
                for other in self.pending:
                    if not other.scene and zone in other.left:
                        other.repeat_ns = now_ns
                return self._answered(pending, zone)
        return NOTHING

    def _on_scene_state(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        word = read_plain(SCENE_STATE, data)
        if word == INVALID:
            return NOTHING
        scene, revision, panel, number, fault = SCENE_STATE.unpack(word)
        driver = address_of(can_id)
        keeper = self.keeper
        actions: Actions = NOTHING
        if keeper.tables_differ.get(driver, False) != (revision != self.plan.scene_revision):
            keeper.tables_differ[driver] = revision != self.plan.scene_revision
            actions = ((OUTPUT, "tables_differ", int(any(keeper.tables_differ.values()))),)
        if panel == self.address:
            if not self.number:
                self.number = number  # as of a zone
            for pending in self.pending:
                asked = pending.number == number and driver in pending.left
                # A number of before this panel's last start may come again; a driver that does not know the scene says so.
                if asked and pending.scene and (pending.scene == scene or fault):
                    pending.fault = pending.fault or fault != 0
                    return (*actions, *self._answered(pending, driver))
        if not scene and not panel:
            return (*actions, *self._tell(now_ns, driver))
        if scene and not any(pending.scene for pending in self.pending):
            keeper.learn(now_ns, scene, panel, number)
        return actions

    def _tell(self, now_ns: int, driver: int) -> Actions:
        """A driver knows of no scene: it has started."""
        scene = self.keeper.current
        waits = any(pending.scene for pending in self.pending)
        if not scene or waits or driver not in self._drivers_of(scene) or not self.keeper.tells(now_ns):
            return NOTHING
        self._begin(now_ns, None, 0, scene, [driver])
        self._set_deadline()
        return RECHECK

    def _answered(self, pending: Pending, who: int) -> Actions:
        pending.left.remove(who)
        done: list[Action] = []
        if not pending.left:
            self.pending.remove(pending)
            if pending.control is not None:
                done = self._show(pending.control, FIELD_PARTLY if pending.fault else FIELD_DONE)
        self._set_deadline()
        return tuple(done) or RECHECK

    def _on_scene(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        """Another panel asks for a scene: that one stands, and an older wish of this panel's would undo it. One that still waits to
        go out comes to everybody after this one, and is the later."""
        word = read_plain(SCENE, data)
        if word == INVALID:
            return NOTHING
        number, scene, *_, joining = SCENE.unpack(word)
        keeper = self.keeper
        if not keeper.note(now_ns, address_of(can_id), number):
            return NOTHING
        if joining:
            keeper.current = keeper.current or scene
            return NOTHING
        later = [pending for pending in self.pending if pending.scene and pending.control is not None and not pending.sent]
        if later:
            later[-1].instead = scene
            return NOTHING
        actions = self._give_up_scenes()
        keeper.current = scene
        self._set_deadline()
        return tuple(actions) or RECHECK

    def _on_beat(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        self.keeper.heard_ns[address_of(can_id)] = now_ns
        return NOTHING

    def _on_condition(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        word = check(can_id, data)
        if word == INVALID:
            return NOTHING
        condition, _ = CONDITION.unpack(word)
        for pending in self.pending:
            if pending.action == PRESS_CONDITION and pending.control is not None and pending.control.condition == condition:
                return self._answered(pending, 0)
        return NOTHING

    def report_failed(self, pending: Pending) -> list[Action]:
        """Show that a press was not done in time: wholly, or in part and by whom not."""
        if pending.control is None:
            return []
        if pending.scene and pending.unanswered and self.keeper.current == pending.scene:
            # As far as is known here. What drivers report that joined all the same is news.
            self.keeper.current = pending.instead
            self.keeper.asked[self.address] = pending.number - 1 & 0xFF, pending.failed_ns
        if pending.scene:
            lost = self._zones_of(pending.left)
        else:
            lost = [zone for zone in pending.left if zone]
        shows = FIELD_FAILED if pending.unanswered else FIELD_PARTLY
        return [*self._show(pending.control, shows), *((OUTPUT, f"failed.{zone}", 1) for zone in lost)]
