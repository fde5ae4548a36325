"""A press lights the lamp within 100 ms of the contact closing, or its panel says within 1 s that it failed.

0.1 s feels instant, 1 s keeps the thought (Miller 1968; Card 1991). While something is broken a press may take as long as the
panel has to say that it failed: its field shows until then that it waits. A lamp that fades has answered once a tenth of the change
of lightness is done; how far it goes is known only when it has come to rest.
"""

from busim.events.journal import Event, Journal
from busim.events.table import FROM_PLANT
from busim.protocol.plan import ControlPlan, PanelPlan
from busim.requirements.in_a_log import Reported
from busim.requirements.panel_pages import PanelPages
from busim.requirements.requirement import Context, Requirement, Trouble, hung_node
from busim.requirements.verdict import Tally, Verdict
from busim.units import MS, SECOND

INSTANT_MS = 100
REPORT_NS = SECOND
FIELD_FAILED = 3
JUDGED_ACTIONS = ("on", "off", "toggle")


AT_REST_NS = 60 * MS
"""A lamp that has not changed for this long has arrived; a fade moves more often."""


class Course:
    """How a zone's lamps changed in one direction, until they rested or turned round."""

    __slots__ = ("origin", "points")

    def __init__(self, origin: int) -> None:
        self.origin = origin
        self.points: list[tuple[int, int]] = []

    def goes_on(self, at_ns: int, permille: int) -> bool:
        last_ns, last = self.points[-1]
        return at_ns - last_ns < AT_REST_NS and (permille > last) == (last > self.origin)

    def tenth_ns(self) -> int:
        """When a tenth of the way was done."""
        whole = abs(self.points[-1][1] - self.origin)
        return next(at_ns for at_ns, permille in self.points if abs(permille - self.origin) * 10 >= whole)


class Touch:
    """One touch of a field: the zones that must change, and to which of lit and dark."""

    __slots__ = ("began_ns", "control", "node", "troubled", "wanted")

    def __init__(self, node: str, control: ControlPlan, began_ns: int, wanted: dict[str, bool], troubled: bool) -> None:
        self.troubled = troubled
        """Something was broken while it waited."""
        self.node = node
        self.control = control
        self.began_ns = began_ns
        self.wanted = wanted


class LightPress(Requirement):
    id = "light.press"
    words = "A press lights the lamp at once, or the panel says that it could not."
    hazards = ("confusion over control",)
    in_a_log = Reported("press and zone state", excuse="a log does not show whether the panel said that it failed")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self.tally = Tally(self.id, INSTANT_MS, "ms", FROM_PLANT)
        plan = context.plan
        self.nodes = {panel.name: self.situation.node_of[panel.address] for panel in plan.panels}
        self.zone_names = {zone.number: zone.name for zone in plan.zones}
        self.fields: dict[tuple[str, int, str], tuple[PanelPlan, ControlPlan]] = {
            (self.situation.node_of[panel.address], control.page, f"touch.{control.number}"): (panel, control)
            for panel in plan.panels
            for control in panel.controls
            if control.action in JUDGED_ACTIONS
        }
        self.pages = PanelPages(plan, self.situation.node_of)
        self.debounce_ns = {self.situation.node_of[panel.address]: panel.debounce_ms * MS for panel in plan.panels}
        self.courses: dict[str, Course] = {}
        """Zone -> how it changes, or changed last."""
        self.levels = dict.fromkeys(self.zone_names.values(), 0)
        self.numb: set[str] = set()
        """Panels' nodes whose program stands still: one that starts is not."""
        self.untouched: set[str] = set()
        """Panels' nodes that hear of no touch, whatever their program does."""
        self.trouble = Trouble()
        self.touches: list[Touch] = []
        """Those that have not got all their light yet, oldest first."""

    def attach(self, journal: Journal) -> None:
        journal.watch_events("key", self._key)
        journal.watch_events("lamp", self._lamp)
        journal.watch_events("fault", self._fault)
        journal.watch_events("start", self._start)
        journal.watch_events("power", self._power)
        journal.watch_outputs(self._output, "field.", "page")

    def _start(self, event: Event) -> None:
        self.numb.discard(event[3])
        self.pages.page_of.pop(event[3], None)
        self._goes_dark(event[0], event[3])

    def _power(self, event: Event) -> None:
        if not event[4]:
            self._goes_dark(event[0], event[3])

    def _goes_dark(self, at_ns: int, node: str) -> None:
        """A panel without power, or one that starts, is dark: that is its word on what was pressed within the last second."""
        if any(touch.node == node for touch in self.touches):
            for zone in list(self.courses):
                self._close(zone)  # what has begun to change has answered
        while (touch := next((touch for touch in self.touches if touch.node == node), None)) is not None:
            if at_ns - touch.began_ns > REPORT_NS:
                self._lost(touch, at_ns)
            self._forget(touch)

    def _fault(self, event: Event) -> None:
        fault, place, begins = event[3:6]
        node = hung_node(event)
        if node is not None:
            (self.numb.add if begins else self.numb.discard)(node)
        if fault == "touch_hung":
            (self.untouched.add if begins else self.untouched.discard)(self.nodes[place])
        self.trouble.note(event)
        for touch in self.touches:
            touch.troubled = True

    def _key(self, event: Event) -> None:
        at_ns, _, _, node, key, down = event
        found = self.fields.get((node, self.pages.shown(node), key))
        if found is None:
            return
        panel, control = found
        if not down:
            touch = next((touch for touch in reversed(self.touches) if touch.node == node and touch.control is control), None)
            if touch is not None and at_ns - touch.began_ns < panel.debounce_ms * MS:
                self.touches.remove(touch)  # too short to be a press
            return
        self._close_rested(at_ns)
        if node not in self.situation.running or node in self.numb | self.untouched:
            return  # a dead panel registers nothing
        wanted = {}
        for number in control.zones:
            zone = self.zone_names[number]
            lit = self._lit_after_all(zone)
            target = not lit if control.action == "toggle" else control.action == "on"
            if target != lit:
                wanted[zone] = target
        if wanted:
            self.touches.append(Touch(node, control, at_ns, wanted, self.trouble.felt(at_ns)))

    def _lit_after_all(self, zone: str) -> bool:
        """How the zone is once every touch so far is done."""
        on_the_way = [touch.wanted[zone] for touch in self.touches if zone in touch.wanted]
        return on_the_way[-1] if on_the_way else self.situation.lamps[zone] > 0

    def _lamp(self, event: Event) -> None:
        at_ns, zone, permille = event[0], event[3], event[4]
        if zone not in self.levels or permille == self.levels[zone]:
            return
        course = self.courses.get(zone)
        if course is not None and not course.goes_on(at_ns, permille):
            self._close(zone)
            course = None
        if course is None:
            course = self.courses[zone] = Course(self.levels[zone])
        course.points.append((at_ns, permille))
        self.levels[zone] = permille

    def _close_rested(self, now_ns: int) -> None:
        for zone in [zone for zone, course in self.courses.items() if now_ns - course.points[-1][0] >= AT_REST_NS]:
            self._close(zone)

    def _close(self, zone: str) -> None:
        """A zone has come to where it went: the touch that wanted it there has its answer."""
        course = self.courses.pop(zone)
        final = course.points[-1][1]
        at_ns = course.tenth_ns()
        touch = next((touch for touch in self.touches if touch.wanted.get(zone) == (final > 0)), None)
        if touch is None or (final > 0) == (course.origin > 0):
            return
        del touch.wanted[zone]
        limit_ms = REPORT_NS // MS if touch.troubled else INSTANT_MS
        words = f"{touch.node}: {zone} {'lit' if final else 'dark'}"
        self.tally.measure(-(-(at_ns - touch.began_ns) // MS), at_ns, words, limit_ms)
        if not touch.wanted:
            self.touches.remove(touch)

    def _output(self, event: Event) -> None:
        at_ns, _, _, node, channel, value = event
        if channel == "page":
            self._turns(at_ns, node, value)
            return
        if value != FIELD_FAILED:
            return
        self._close_rested(at_ns)
        speaks_of = self.pages.speaks_of
        touch = next((each for each in self.touches if each.node == node and speaks_of(node, channel, each.control)), None)
        if touch is None:
            return
        self._forget(touch)
        if at_ns - touch.began_ns <= REPORT_NS:
            self.tally.held(at_ns, f"{node}: said that a press failed")
        else:
            late_ms = -(-(at_ns - touch.began_ns) // MS)
            self.tally.fail(at_ns, f"{node}: said too late that a press failed", late_ms, REPORT_NS // MS)

    def _turns(self, at_ns: int, node: str, page: int) -> None:
        """The panel shows this page: a touch it had not believed yet went with the one before."""
        if page != self.pages.shown(node):
            self.touches = [each for each in self.touches if each.node != node or at_ns - each.began_ns > self.debounce_ns[node]]
        self.pages.page_of[node] = page

    def _forget(self, failed: Touch) -> None:
        """A press failed: what later ones for the same zones would have come to is not known any more."""
        self.touches.remove(failed)
        for touch in self.touches:
            for zone in failed.wanted:
                touch.wanted.pop(zone, None)
        self.touches = [touch for touch in self.touches if touch.wanted]

    def _lost(self, touch: Touch, at_ns: int) -> None:
        self.tally.fail(at_ns, f"{touch.node}: a press was lost without a word ({', '.join(touch.wanted)})")

    def finish(self, now_ns: int) -> Verdict:
        for zone in list(self.courses):
            self._close(zone)
        for touch in self.touches:
            if now_ns - touch.began_ns > REPORT_NS:
                self._lost(touch, now_ns)
            else:
                self.tally.undecided(now_ns, f"{touch.node}: the run ended within a second of a press")
        return self.tally.verdict("no press asked for a change of light")
