"""A press lights the lamp within 100 ms of the contact closing, or its panel says within 1 s that it failed.

0.1 s feels instant, 1 s keeps the thought (Miller 1968; Card 1991).
"""

from busim.events.journal import Event, Journal
from busim.events.table import FROM_PLANT
from busim.protocol.plan import ControlPlan, PanelPlan
from busim.requirements.requirement import Context, Requirement
from busim.requirements.verdict import Tally, Verdict
from busim.units import MS, SECOND

INSTANT_MS = 100
REPORT_NS = SECOND
FIELD_FAILED = 3
JUDGED_ACTIONS = ("on", "off", "toggle")


class Touch:
    """One touch of a field: the zones that must change, and to which of lit and dark."""

    __slots__ = ("began_ns", "panel", "released_ns", "wanted")

    def __init__(self, panel: PanelPlan, began_ns: int, wanted: dict[str, bool]) -> None:
        self.panel = panel
        self.began_ns = began_ns
        self.wanted = wanted
        self.released_ns: int | None = None


class LightPress(Requirement):
    id = "light.press"
    words = "A press lights the lamp at once, or the panel says that it could not."
    hazards = ("confusion over control",)

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self.tally = Tally(self.id, INSTANT_MS, "ms", FROM_PLANT)
        plan = context.plan
        self.panels = {self.situation.node_of[panel.address]: panel for panel in plan.panels}
        self.zone_names = {zone.number: zone.name for zone in plan.zones}
        self.fields: dict[tuple[str, str], tuple[PanelPlan, ControlPlan]] = {
            (node, f"touch.{control.number}"): (panel, control)
            for node, panel in self.panels.items()
            for control in panel.controls
            if control.action in JUDGED_ACTIONS
        }
        self.touches: dict[tuple[str, int], Touch] = {}
        self.lit: dict[str, bool] = {}
        """Zone -> how it is after all presses so far, done or on their way."""

    def attach(self, journal: Journal) -> None:
        journal.watch_events("key", self._key)
        journal.watch_events("lamp", self._lamp)
        journal.watch_events("output", self._output)

    def _key(self, event: Event) -> None:
        at_ns, _, _, node, key, down = event
        found = self.fields.get((node, key))
        if found is None:
            return
        panel, control = found
        place = (node, control.number)
        if not down:
            touch = self.touches.get(place)
            if touch is not None and at_ns - touch.began_ns < panel.debounce_ms * MS:
                del self.touches[place]  # too short to be a press
            return
        if node not in self.situation.running:
            return  # a dead panel registers nothing
        self._close(place, at_ns)
        wanted = {}
        for number in control.zones:
            zone = self.zone_names[number]
            lit = self.situation.lamps[zone] > 0
            target = not lit if control.action == "toggle" else control.action == "on"
            if target != lit:
                wanted[zone] = target
        if wanted:
            self.touches[place] = Touch(panel, at_ns, wanted)

    def _lamp(self, event: Event) -> None:
        at_ns, _, _, zone, permille = event
        for place, touch in list(self.touches.items()):
            if touch.wanted.get(zone) == (permille > 0):
                del touch.wanted[zone]
                self.tally.measure(-(-(at_ns - touch.began_ns) // MS), at_ns, f"{place[0]}: {zone} {'lit' if permille else 'dark'}")
                if not touch.wanted:
                    del self.touches[place]

    def _output(self, event: Event) -> None:
        at_ns, _, _, node, channel, value = event
        if value != FIELD_FAILED or not channel.startswith("field."):
            return
        touch = self.touches.pop((node, int(channel.partition(".")[2])), None)
        if touch is None:
            return
        if at_ns - touch.began_ns <= REPORT_NS:
            self.tally.held(at_ns, f"{node}: said that a press failed")
        else:
            self.tally.fail(at_ns, f"{node}: said too late that a press failed", (at_ns - touch.began_ns) // MS, REPORT_NS // MS)

    def _close(self, place: tuple[str, int], at_ns: int) -> None:
        touch = self.touches.pop(place, None)
        if touch is not None and at_ns - touch.began_ns > REPORT_NS:
            self.tally.fail(at_ns, f"{place[0]}: a press was lost without a word ({', '.join(touch.wanted)})")

    def finish(self, now_ns: int) -> Verdict:
        for place, touch in list(self.touches.items()):
            if now_ns - touch.began_ns > REPORT_NS:
                self._close(place, now_ns)
            else:
                self.tally.undecided(now_ns, f"{place[0]}: the run ended within a second of a press")
        return self.tally.verdict("no press asked for a change of light")
