"""A zone driver that comes back joins the scene the others are in, without a flash of light on the way.

Panels remember the scene and tell it to who comes back. Where all of them have started anew as well, with the supply of them all,
there is no scene any more.
"""

from collections.abc import Iterable

from busim.events import bits
from busim.events.journal import Event, Journal
from busim.events.table import FROM_PLANT
from busim.requirements.in_a_log import NotInALog
from busim.requirements.requirement import Context, Requirement
from busim.requirements.verdict import Tally, Verdict
from busim.units import MS, SECOND

WITHIN_MS = 2000
FLASH_PERMILLE = 30
"""This much above its place in the scene is a flash to an eye that has been in the dark."""
NEAR_PERMILLE = 15


class LightReturn(Requirement):
    id = "light.return"
    words = "A zone driver that starts anew joins the current scene, and does not flash."
    hazards = ("confusion over control",)
    in_a_log = NotInALog("a flash of light between two reports of a zone")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self.tally = Tally(self.id, WITHIN_MS, "ms", FROM_PLANT)
        plan = context.plan
        self.scenes = {scene.number: {zone: level for zone, level, _, _ in scene.levels} for scene in plan.scenes}
        self.zones: dict[str, list[tuple[str, int]]] = {}
        for zone in plan.zones:
            self.zones.setdefault(self.situation.node_of[zone.driver], []).append((zone.name, zone.number))
        self.scene = 0
        self.panels = {self.situation.node_of[panel.address] for panel in plan.panels}
        self.keepers: set[str] = set()
        """Nodes of panels that have run ever since the scene was called."""
        self.back_ns: dict[str, int] = {}
        """Node that came back -> when, until its time to join is over."""
        self.joined: set[str] = set()
        """Of those, the ones that have; they still have to show no flash."""
        self.levels = {zone.name: 0 for zone in plan.zones}

    def attach(self, journal: Journal) -> None:
        for panel in self.context.plan.panels:
            journal.watch_frames(bits.CODE_SCENE << 6 | panel.address, self._scene)
        for kind in ("start", "power"):
            journal.watch_events(kind, getattr(self, f"_{kind}"))
        journal.watch_events("lamp", self._lamp)
        journal.watch_events("key", self._key)

    def _scene(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        whole = int.from_bytes(data, "big")
        if len(data) == bits.SCENE_BYTES and not bits.field(whole, bits.SCENE_JOINING):
            if bits.field(whole, bits.SCENE_NUMBER) != self.scene:
                self._settle(now_ns, self.back_ns)
                self.back_ns.clear()
            self.scene = bits.field(whole, bits.SCENE_NUMBER)
            self.keepers = self.panels & self.situation.running

    def _key(self, event: Event) -> None:
        at_ns, node, key = event[0], event[3], event[4]
        self._close(at_ns)
        if key.startswith("touch."):
            self.back_ns.clear()  # somebody works the lights: what their places are is not known any more
        elif key.startswith("switch.") and node in self.back_ns:
            del self.back_ns[node]

    def _start(self, event: Event) -> None:
        at_ns, node = event[0], event[3]
        self._forgets(node)
        if at_ns and self.keepers and node in self.zones and self.scene in self.scenes and self._wanted(node):
            self.back_ns[node] = at_ns
            self.joined.discard(node)

    def _power(self, event: Event) -> None:
        if not event[4]:
            self._forgets(event[3])

    def _forgets(self, node: str) -> None:
        if node in self.keepers:
            self.keepers.discard(node)
            if not self.keepers:
                self.back_ns.clear()

    def _wanted(self, node: str) -> dict[str, int]:
        levels = self.scenes.get(self.scene, {})
        return {name: levels[number] for name, number in self.zones[node] if number in levels}

    def _lamp(self, event: Event) -> None:
        at_ns, zone, permille = event[0], event[3], event[4]
        self._close(at_ns)
        if zone in self.levels:
            self.levels[zone] = permille
        for node in list(self.back_ns):
            wanted = self._wanted(node)
            if zone not in wanted:
                continue
            if permille > wanted[zone] + FLASH_PERMILLE:
                self.tally.fail(at_ns, f"{node}: {zone} flashed to {permille} permille, its place is {wanted[zone]}")
                del self.back_ns[node]
            elif node not in self.joined and self._in_place(wanted):
                self.joined.add(node)
                took_ms = -(-(at_ns - self.back_ns[node]) // MS)
                self.tally.measure(took_ms, at_ns, f"{node}: joined the scene")

    def _in_place(self, wanted: dict[str, int]) -> bool:
        return all(abs(self.levels[name] - level) <= NEAR_PERMILLE for name, level in wanted.items())

    def _close(self, now_ns: int) -> None:
        """Those whose time is over are judged as they were until now."""
        over = [node for node, back_ns in self.back_ns.items() if now_ns - back_ns > WITHIN_MS * MS]
        if over:
            self._settle(now_ns, over)
            for node in over:
                del self.back_ns[node]

    def _settle(self, now_ns: int, nodes: Iterable[str]) -> None:
        """What is known, as things are, of those that were not seen to join since they came back."""
        for node in [node for node in nodes if node not in self.joined]:
            back_ns = self.back_ns[node]
            if self._in_place(self._wanted(node)):
                self.tally.held(now_ns, f"{node}: is as the scene wants it")
            elif now_ns - back_ns > WITHIN_MS * MS:
                self.tally.fail(now_ns, f"{node}: has not joined the scene", (now_ns - back_ns) // MS)
            else:
                self.tally.undecided(now_ns, f"{node}: the run ended within {WITHIN_MS * MS // SECOND} s of its return")

    def finish(self, now_ns: int) -> Verdict:
        self._settle(now_ns, self.back_ns)
        return self.tally.verdict("no zone driver came back while a scene was on")
