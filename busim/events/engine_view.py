"""What can be known of each engine and its cutout: runs or not, fuel cut or not, what the cutout says. Part of the situation."""

from busim.events import bits
from busim.events.journal import Event, Journal
from busim.protocol.plan import WirePlan


class EngineView:
    """One drive's engine. `cutout` is the node of its cutout, "" for none fitted; fields named `says_` are from the wire."""

    __slots__ = ("cutout", "cutout_address", "cutout_ms", "cuts", "running", "says_fired")

    def __init__(self) -> None:
        self.cutout = ""
        self.cutout_address = 0
        self.cutout_ms = 0
        self.running: bool | None = None
        """As the machinery has it; None until it said so: a run begins with engines running unless it says otherwise."""
        self.cuts: set[str] = set()
        """Nodes whose output cuts this engine's fuel."""
        self.says_fired = False


class Engines:
    """Drive -> its engine, by name; and which drive a cutout's or a drive's node belongs to."""

    def __init__(self, plan: WirePlan) -> None:
        nodes = {address: name for address, name, _ in plan.nodes}
        self.of = {drive.name: EngineView() for drive in plan.drives}
        self.drive_of = {nodes[drive.address]: drive.name for drive in plan.drives}
        names = {drive.instance: drive.name for drive in plan.drives}
        self._by_address: dict[int, EngineView] = {}
        for cutout in plan.cutouts:
            view = self._by_address[cutout.address] = self.of[names[cutout.instance]]
            view.cutout, view.cutout_address, view.cutout_ms = nodes[cutout.address], cutout.address, cutout.cutout_ms
            self.drive_of[view.cutout] = names[cutout.instance]

    def attach(self, journal: Journal) -> None:
        for address in self._by_address:
            journal.watch_frames(bits.CODE_CUTOUT_STATE << 6 | address, self._cutout)
        journal.watch_events("engine", self._engine)
        journal.watch_outputs(self._output, "engine_stop", "fuel_cut")
        journal.watch_events("power", self._power)
        journal.watch_events("start", self._power)

    def _cutout(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        if bits.sound(can_id, data):
            fired = bits.field(int.from_bytes(data, "big"), bits.CUTOUT_FIRED)
            self._by_address[can_id & 0x3F].says_fired = bool(fired)

    def _engine(self, event: Event) -> None:
        self.of[event[3]].running = bool(event[4])

    def _output(self, event: Event) -> None:
        _, _, _, node, channel, value = event
        if channel in ("engine_stop", "fuel_cut") and node in self.drive_of:
            cuts = self.of[self.drive_of[node]].cuts
            (cuts.add if value > 0 else cuts.discard)(node)

    def _power(self, event: Event) -> None:
        """An output without a program behind it cuts nothing."""
        node = event[3]
        if node in self.drive_of:
            self.of[self.drive_of[node]].cuts.discard(node)
