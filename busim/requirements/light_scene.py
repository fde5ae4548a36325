"""A scene arrives whole: every zone of it begins at once and rests at its level, or the panel says that it did not.

At once: a tenth of the change within 100 ms of the contact (0.1 s feels instant: Miller 1968; Card 1991), and a tenth of the
scene's own fade on top. While something is broken, or was, it may take the second in which its panel says that it did not arrive.
All off is a scene of everybody's.
"""

from busim.events.journal import Event, Journal
from busim.events.table import FROM_PLANT
from busim.protocol.plan import ControlPlan
from busim.requirements.in_a_log import NotInALog
from busim.requirements.panel_pages import PanelPages
from busim.requirements.requirement import Context, Requirement, Trouble
from busim.requirements.verdict import Tally, Verdict
from busim.units import MS, SECOND

INSTANT_MS = 100
REPORT_NS = SECOND
NEAR_PERMILLE = 15
"""What counts as its level: less than two of the smallest steps that can be seen at all."""
OFF_FADE_NS = 250 * MS
FIELD_FAILED, FIELD_PARTLY = 3, 4


class Call:
    """One touch that asks for a scene: where its zones are to rest, and those of them that it changes."""

    __slots__ = ("began", "began_ns", "control", "due_ns", "fade_ns", "node", "troubled", "wanted")

    def __init__(
        self, node: str, control: ControlPlan, began_ns: int, fade_ns: int, wanted: dict[str, int], troubled: bool
    ) -> None:
        self.troubled = troubled
        """Something was broken while it waited."""
        self.node = node
        self.control = control
        self.began_ns = began_ns
        self.fade_ns = fade_ns
        self.wanted = wanted
        self.began: dict[str, tuple[int, int]] = {}
        """Zone -> (level when it was called, when it first had moved by a tenth; 0 not yet)."""
        self.due_ns = began_ns + REPORT_NS + fade_ns


class LightScene(Requirement):
    id = "light.scene"
    words = "A scene arrives whole, on every zone of it, or the panel says that it did not."
    hazards = ("confusion over control",)
    in_a_log = NotInALog("when a lamp begins to change, nor what a panel shows")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self.tally = Tally(self.id, INSTANT_MS, "ms", FROM_PLANT)
        plan = context.plan
        self.names = {zone.number: zone.name for zone in plan.zones}
        self.node_of_zone = {zone.name: self.situation.node_of[zone.driver] for zone in plan.zones}
        self.scenes = {scene.number: scene for scene in plan.scenes}
        self.fields = {
            (self.situation.node_of[panel.address], control.page, f"touch.{control.number}"): (panel.debounce_ms, control)
            for panel in plan.panels
            for control in panel.controls
            if control.action in ("scene", "all_off")
        }
        self.no_light = {
            (self.situation.node_of[panel.address], control.page, f"touch.{control.number}")
            for panel in plan.panels
            for control in panel.controls
            if control.action in ("page", "condition")
        }
        """Fields that change no light of a zone."""
        self.pages = PanelPages(plan, self.situation.node_of)
        self.call: Call | None = None
        """The last one: the scene that was called last stands."""
        self.levels = dict.fromkeys(self.node_of_zone, 0)
        self.away: set[str] = set()
        """Nodes that are being reset."""
        self.down: set[tuple[str, str]] = set()
        """Fields of single lights that a finger is on: what comes of it may come after a scene that is called meanwhile."""
        self.trouble = Trouble()

    def attach(self, journal: Journal) -> None:
        journal.watch_events("key", self._key)
        journal.watch_events("start", self._start)
        journal.watch_events("lamp", self._lamp)
        journal.watch_events("fault", self._fault)
        journal.watch_outputs(self._output, "page", "field.")

    def _start(self, event: Event) -> None:
        at_ns, node = event[0], event[3]
        self.pages.page_of.pop(node, None)
        self.away.discard(node)
        if self.call is not None and any(self.node_of_zone[zone] == node for zone in self.call.wanted):
            self.call.due_ns = max(self.call.due_ns, at_ns + REPORT_NS + self.call.fade_ns)

    def _fault(self, event: Event) -> None:
        self.trouble.note(event)
        if event[3] == "reset":
            self.away.add(event[4])
        if self.call is not None:
            self.call.troubled = True

    def _key(self, event: Event) -> None:
        at_ns, _, _, node, key, down = event
        found = self.fields.get((node, self.pages.shown(node), key))
        if found is None:
            by_hand = key.startswith(("touch.", "switch.")) and (node, self.pages.shown(node), key) not in self.no_light
            if by_hand and down:
                self.down.add((node, key))
            elif not down:
                self.down.discard((node, key))
            if down and by_hand and self.call is not None:
                self._settle(at_ns)  # somebody changes single lights by hand: what the scene is like is not known any more
                self.call = None
            return
        debounce_ms, control = found
        if not down:
            if self.call is not None and self.call.control is control and at_ns - self.call.began_ns < debounce_ms * MS:
                self.call = None  # too short to be a press
            return
        if node not in self.situation.running:
            return
        self._settle(at_ns)
        if any(touch.startswith("touch.") for _, touch in self.down):
            self.call = None
            return
        scene = self.scenes.get(control.scene)
        fade_ns = scene.fade_ms * MS if scene is not None else OFF_FADE_NS
        if control.action == "all_off":
            wanted = dict.fromkeys(self.node_of_zone, 0)
        else:
            wanted = {self.names[zone]: level for zone, level, _, _ in scene.levels} if scene is not None else {}
        lamps = self.levels
        self.call = Call(node, control, at_ns, fade_ns, wanted, self.trouble.felt(at_ns))
        changing = (zone for zone, level in wanted.items() if abs(lamps[zone] - level) > NEAR_PERMILLE)
        self.call.began = {zone: (lamps[zone], 0) for zone in changing}

    def _lamp(self, event: Event) -> None:
        at_ns, zone, permille = event[0], event[3], event[4]
        self._settle(at_ns)  # by what the lamps were until now
        if zone in self.levels:
            self.levels[zone] = permille
        call = self.call
        if call is None or zone not in call.began:
            return
        origin, tenth_ns = call.began[zone]
        if not tenth_ns and abs(permille - origin) * 10 >= abs(call.wanted[zone] - origin):
            call.began[zone] = (origin, at_ns)

    def _output(self, event: Event) -> None:
        at_ns, _, _, node, channel, value = event
        if channel == "page":
            self.pages.page_of[node] = value
        call = self.call
        if call is None or node != call.node or not self.pages.speaks_of(node, channel, call.control):
            return
        if value not in (FIELD_FAILED, FIELD_PARTLY):
            return
        took_ms = (at_ns - call.began_ns) // MS
        if at_ns - call.began_ns > REPORT_NS:
            self.tally.fail(at_ns, f"{node}: said too late that a scene did not arrive", took_ms, REPORT_NS // MS)
        else:
            self.tally.held(at_ns, f"{node}: said that a scene did not arrive whole")
        self.call = None

    def _settle(self, now_ns: int) -> None:
        """What is known of the last call, as far as its time is over."""
        call = self.call
        if call is None or now_ns < call.due_ns:
            return
        if any(self.node_of_zone[zone] in self.away for zone in call.wanted):
            return  # its driver is on its way back, and has as long again from then on
        self.call = None
        for zone, level in call.wanted.items():
            lamp = self.levels[zone]
            tenth_ns = call.began[zone][1] if zone in call.began else now_ns
            if abs(lamp - level) > NEAR_PERMILLE or not tenth_ns:
                words = f"{zone} rests at {lamp} permille where the scene wants {level}, and no word of it"
                self.tally.fail(now_ns, f"{call.node}: {words}")
            elif zone in call.began:
                limit_ms = (REPORT_NS // MS if call.troubled else INSTANT_MS) + call.fade_ns // MS // 10
                self.tally.measure(-(-(tenth_ns - call.began_ns) // MS), tenth_ns, f"{call.node}: {zone} began", limit_ms)

    def finish(self, now_ns: int) -> Verdict:
        self._settle(now_ns)
        if self.call is not None and self.call.began:
            self.tally.undecided(now_ns, f"{self.call.node}: the run ended before its scene could have arrived")
        return self.tally.verdict("nobody asked for a scene that changes anything")
