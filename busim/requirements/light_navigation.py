"""Navigation lights follow the boat's condition and nothing else; a failed lamp or fuse is said. That whoever hears it shows it is
`alarm.shown`'s.

Intensity and display are the rules' of the road: COLREGs 1972, Rules 20 to 30, and the note to Annex I s. 8 (not limited by
variable control). No scene, touch, reset or loss of the bus changes them. What a panel shows as done comes to stand: an older
condition that goes on is forgotten after 3.5 s, and has to be heard a second before that. Without the supply they burn by they are
dark whatever a node does; that it is gone is `alarm.shown`'s.
"""

from busim.events import bits
from busim.events.journal import Event, Journal
from busim.events.table import FROM_PLANT
from busim.requirements.in_a_log import NotInALog
from busim.requirements.panel_pages import PanelPages
from busim.requirements.requirement import Context, Requirement
from busim.requirements.verdict import Tally, Verdict
from busim.units import MS, SECOND

WITHIN_MS = 200
SAID_NS = SECOND
FORGOTTEN_NS = 3500 * MS
"""The written page: a condition that nobody said for so long gives way to any."""
STANDS_NS = FORGOTTEN_NS + SECOND
FIELD_DONE = 2
FULL = 1000
UNDER_WAY = 1


class LightNavigation(Requirement):
    id = "light.navigation"
    words = "Navigation lights follow the condition of the boat and nothing else, and a failed one is said."
    hazards = ("confusion over control",)
    in_a_log = NotInALog("what a navigation light shows, only the condition and what is said to have failed")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self.tally = Tally(self.id, WITHIN_MS, "ms", FROM_PLANT)
        plan = context.plan
        self.lights = {light.name: light for light in plan.navigation_lights}
        self.drivers = {light.driver for light in plan.navigation_lights}
        self.nodes = {light.name: self.situation.node_of[light.driver] for light in plan.navigation_lights}
        self.switches = {(self.nodes[light.name], f"switch.{light.number}"): light.name for light in plan.navigation_lights}
        self.shown = dict.fromkeys(self.lights, 0)
        self.forced: set[str] = set()
        self.failed_ns: dict[str, int] = {}
        """Light -> when its lamp or fuse failed, until that is said."""
        self.broken: set[str] = set()
        self.unfed: set[str] = set()
        """Lights whose supply is gone."""
        self.fed_ns: dict[str, int] = {}
        """Light -> when its supply came back last."""
        self.condition = 0
        self.number = 0
        self.said_ns = 0
        """When anybody said last what stands."""
        self.changed_ns = 0
        self.started_ns: dict[str, int] = {}
        """Node -> when its program started last."""
        self.told: set[int] = set()
        """Navigation nodes that have heard of it, by their address."""
        self.waits: dict[str, int] = {}
        """Light that has to change -> since when its node knows."""
        self.fields = {
            (self.situation.node_of[panel.address], control.page, str(control.number)): control.condition
            for panel in plan.panels
            for control in panel.controls
            if control.action == "condition"
        }
        self.pages = PanelPages(plan, self.situation.node_of)
        self.turned_ns: dict[str, int] = {}
        """Panel's node -> when it showed another page: what its fields show then is of before."""
        self.done: tuple[int, str, int] | None = None
        """(when, panel's node, condition) of the press that was shown done last, until that condition stands."""

    def attach(self, journal: Journal) -> None:
        for station in self.context.plan.stations:
            journal.watch_frames(bits.CODE_CONDITION << 6 | station.address, self._condition)
        for node in self.drivers:
            journal.watch_frames(bits.CODE_NOTICE << 6 | node, self._notice)
        journal.watch_events("lamp", self._lamp)
        journal.watch_events("feed", self._feed)
        journal.watch_events("key", self._key)
        journal.watch_events("fault", self._fault)
        journal.watch_events("start", self._start)
        journal.watch_outputs(self._output, "page", "field.")

    def _condition(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        if not bits.sound(can_id, data):
            return
        whole = int.from_bytes(data, "big")
        number = bits.field(whole, bits.CONDITION_NUMBER)
        if number != self.number:
            older = self.number and (number - self.number) % 65536 >= 32768
            if older and now_ns - self.said_ns < FORGOTTEN_NS:
                return
            self._late(now_ns)
            self.number, self.condition = number, bits.field(whole, bits.CONDITION_CONDITION)
            self.changed_ns = now_ns
            self.told.clear()
            self.waits.clear()
        self.said_ns = now_ns
        self._stands(now_ns)
        for driver in self.drivers - self.told:
            if mask & self.situation.host_bit[driver] and self.situation.node_of[driver] in self.situation.running:
                self._hears(now_ns, driver)

    def _hears(self, now_ns: int, driver: int) -> None:
        """It has received the condition that stands for the first time."""
        self.told.add(driver)
        mine = [name for name, light in self.lights.items() if light.driver == driver]
        able = [name for name in mine if name not in self.broken and name not in self.unfed]
        waits = [name for name in able if (self.shown[name] > 0) != self._wanted(name)]
        # To who started after the change it is no change: the first frame counts for nothing, and the next comes a second later.
        joins = self.started_ns.get(self.situation.node_of[driver], 0) > self.changed_ns
        self.waits |= dict.fromkeys(waits, now_ns + SAID_NS if joins else now_ns)
        if not waits and able == mine:
            self.tally.held(now_ns, "every navigation light is as the condition wants it")

    def _wanted(self, name: str) -> bool:
        return self.condition in self.lights[name].lit or name in self.forced

    def _lamp(self, event: Event) -> None:
        at_ns, name, permille = event[0], event[3], event[4]
        if name not in self.lights:
            return
        self.shown[name] = permille
        if name in self.broken or name in self.unfed or self.fed_ns.get(name) == at_ns:
            return
        if permille not in (0, FULL):
            self.tally.fail(at_ns, f"{name}: dimmed to {permille} permille")
        elif name in self.waits and (permille > 0) == self._wanted(name):
            since_ns = self.waits.pop(name)
            self.tally.measure(max(-(-(at_ns - since_ns) // MS), 0), at_ns, f"{name}: {'lit' if permille else 'dark'}")
        elif self.number and (permille > 0) != self._wanted(name):
            self.tally.fail(at_ns, f"{name}: {'lit' if permille else 'dark'} against the condition")
        elif not self.number and permille and UNDER_WAY not in self.lights[name].lit and name not in self.forced:
            self.tally.fail(at_ns, f"{name}: lit before any condition was heard")

    def _feed(self, event: Event) -> None:
        at_ns, name, on = event[0], event[3], event[4]
        if on:
            self.fed_ns[name] = at_ns
            self.unfed.discard(name)
        else:
            self._late(at_ns)
            self.unfed.add(name)
            self.waits.pop(name, None)

    def _key(self, event: Event) -> None:
        name = self.switches.get((event[3], event[4]))
        if name is not None:
            (self.forced.add if event[5] else self.forced.discard)(name)
        node = event[3]
        what, _, number = event[4].partition(".")
        if event[5] and what == "touch" and (node, self.pages.shown(node), number) in self.fields:
            self._stands(event[0])
            self.done = None  # another is asked for

    def _start(self, event: Event) -> None:
        self.started_ns[event[3]] = event[0]
        self.pages.page_of.pop(event[3], None)

    def _output(self, event: Event) -> None:
        at_ns, _, _, node, channel, value = event
        if channel == "page":
            self.pages.page_of[node] = value
            self.turned_ns[node] = at_ns
            return
        condition = self.fields.get((node, self.pages.shown(node), channel.removeprefix("field.")))
        if condition is not None and value == FIELD_DONE and self.turned_ns.get(node) != at_ns:
            self.done = at_ns, node, condition
            self._stands(at_ns)

    def _stands(self, now_ns: int) -> None:
        """Does the condition stand that was shown done last?"""
        if self.done is None:
            return
        at_ns, node, condition = self.done
        if condition == self.condition and self.number:
            self.done = None
        elif now_ns - at_ns > STANDS_NS:
            self.done = None
            words = f"{node}: condition {condition} was shown done, and condition {self.condition} stands"
            self.tally.fail(now_ns, words, (now_ns - at_ns) // MS, STANDS_NS // MS)

    def _fault(self, event: Event) -> None:
        at_ns, _, _, fault, place, begins = event
        name = place.split()[0] if place else ""
        if fault not in ("lamp_open", "lamp_short") or name not in self.lights:
            return
        if begins:
            self.broken.add(name)
            if self.nodes[name] in self.situation.running:
                self.failed_ns[name] = at_ns
        else:
            self.broken.discard(name)
            self._unsaid(name, at_ns)
            self.failed_ns.pop(name, None)

    def _unsaid(self, name: str, now_ns: int) -> bool:
        """It has failed, and nobody has said so yet: fails where that is over its time."""
        failed_ns = self.failed_ns.get(name)
        if failed_ns is not None and now_ns - failed_ns > SAID_NS:
            self.tally.fail(now_ns, f"{name}: its failure was never said")
            return False
        return failed_ns is not None

    def _notice(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        whole = int.from_bytes(data, "big")
        failed = bits.field(whole, bits.NOTICE_WHICH) == bits.LAMP_OR_FUSE_FAILED and bits.field(whole, bits.NOTICE_STATE)
        if len(data) != bits.NOTICE_BYTES or not failed:
            return
        number = bits.field(whole, bits.NOTICE_SUBJECT)
        for name, at_ns in list(self.failed_ns.items()):
            light = self.lights[name]
            if light.number == number and light.driver == can_id & 0x3F:
                del self.failed_ns[name]
                if now_ns - at_ns > SAID_NS:
                    self.tally.fail(now_ns, f"{name}: its failure was said too late", (now_ns - at_ns) // MS, SAID_NS // MS)
                else:
                    self.tally.held(now_ns, f"{name}: its failure was said")

    def _late(self, now_ns: int) -> None:
        late = {name: since_ns for name, since_ns in self.waits.items() if now_ns - since_ns > WITHIN_MS * MS}
        if late:
            names = ", ".join(sorted(late))
            self.tally.fail(now_ns, f"{names}: not as the condition wants it", (now_ns - min(late.values())) // MS)

    def finish(self, now_ns: int) -> Verdict:
        self._late(now_ns)
        self._stands(now_ns)
        for name in self.waits:
            if now_ns - self.waits[name] <= WITHIN_MS * MS:
                self.tally.undecided(now_ns, f"{name}: the run ended before the limit")
        for name in self.failed_ns:
            if self._unsaid(name, now_ns):
                self.tally.undecided(now_ns, f"{name}: the run ended before its failure had to be said")
        return self.tally.verdict("the boat has no navigation lights, or nobody set another condition")
