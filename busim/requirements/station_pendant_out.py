"""A pendant's plug is pulled. In control, its drives go neutral in their limit; else nothing happens to anybody."""

from busim.events import bits
from busim.events.journal import Event, Journal
from busim.events.table import FROM_PLANT
from busim.requirements.in_a_log import NotInALog
from busim.requirements.requirement import Context, Requirement
from busim.requirements.verdict import Tally, Verdict
from busim.units import MS

FAULT = "unplugged"


class Pulled:
    """A plug that was pulled, until it is judged. `drives`: those it controlled and that were in gear -> last good lever frame."""

    __slots__ = ("drives", "obeyed", "since_ns", "until_ns")

    def __init__(self, since_ns: int, until_ns: int) -> None:
        self.since_ns = since_ns
        self.until_ns = until_ns
        self.drives: dict[str, int] = {}
        self.obeyed: dict[str, tuple[int, int]] = {}
        """Drives of others -> (station, number)."""


class PendantOut(Requirement):
    id = "station.pendant_out"
    words = "A pendant that is unplugged leaves its drives in neutral, and disturbs nobody where it was not in control."
    hazards = ("fails to disengage", "loss of all control", "person at the propeller")
    in_a_log = NotInALog("that a plug is pulled, only that a station falls silent")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        timing = context.plan.timing
        self.tally = Tally(self.id, None, "ms", FROM_PLANT)
        self.limits = {name: limit.loss_to_neutral_ms for name, limit in context.limits.items()}
        self.watch_ns = (timing.heartbeat_missing_ms + timing.control_timeout_ms + timing.overlap_ms) * MS
        """By then whatever follows from a silent station has followed."""
        self.missing_ns = timing.heartbeat_missing_ms * MS
        self.address = {name: address for address, name, _ in context.plan.nodes}
        self.stations = {self.situation.node_of[station.address] for station in context.plan.stations}
        self.pulled: dict[str, Pulled] = {}
        self.heard_ns: dict[int, int] = {}

    def attach(self, journal: Journal) -> None:
        for address in self.situation.node_of:
            journal.watch_frames(bits.CODE_HEARTBEAT << 6 | address, self._heartbeat)
        for kind in ("fault", "gear"):
            journal.watch_events(kind, getattr(self, f"_{kind}"))

    def _heartbeat(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        self.heard_ns[can_id & 0x3F] = now_ns
        for node, pulled in list(self.pulled.items()):
            if now_ns >= pulled.until_ns and not pulled.drives:
                self._undisturbed(node, pulled, now_ns)
                del self.pulled[node]

    def _fault(self, event: Event) -> None:
        at_ns, _, _, fault, place, begins = event
        if not begins and fault != FAULT:
            return
        if fault != FAULT or place not in self.stations:
            # Something else breaks meanwhile: who is disturbed then can't be told.
            for pulled in self.pulled.values():
                pulled.obeyed.clear()
            return
        if not begins:
            return
        before = self.pulled.get(place)
        pulled = self.pulled[place] = Pulled(at_ns, at_ns + self.watch_ns)
        if before is not None:
            pulled.drives = before.drives  # in gear still since it was pulled last
        address = self.address[place]
        for drive in self.situation.drives.values():
            if drive.station == address and drive.true_gear and drive.control_ns is not None:
                pulled.drives.setdefault(drive.name, drive.control_ns)
            elif drive.station not in (0, address):
                pulled.obeyed[drive.name] = drive.station, drive.number

    def _undisturbed(self, node: str, pulled: Pulled, now_ns: int) -> None:
        for name, pair in pulled.obeyed.items():
            drive = self.situation.drives[name]
            if not drive.station:
                self.tally.fail(now_ns, f"{name}: forced by the plug of {node}, which was not in control")
            elif (drive.station, drive.number) == pair:
                self.tally.held(now_ns, f"{name}: not disturbed by the plug of {node}")
        for address, heard_ns in self.heard_ns.items():
            name = self.situation.node_of[address]
            beating = pulled.since_ns - heard_ns < self.missing_ns or heard_ns > pulled.since_ns
            if name != node and pulled.obeyed and beating and now_ns - heard_ns > self.missing_ns:
                self.tally.fail(now_ns, f"{name}: lost with the plug of {node}")

    def _gear(self, event: Event) -> None:
        at_ns, _, _, name, gear, _, _ = event
        if gear:
            return
        for node, pulled in self.pulled.items():
            base_ns = pulled.drives.pop(name, None)
            if base_ns is not None:
                took_ms = -(-(at_ns - base_ns) // MS)
                self.tally.measure(took_ms, at_ns, f"{name}: gear out after {node} was unplugged", self.limits[name])

    def finish(self, now_ns: int) -> Verdict:
        for node, pulled in self.pulled.items():
            for name, base_ns in pulled.drives.items():
                waited_ms = (now_ns - base_ns) // MS
                if waited_ms > self.limits[name]:
                    words = f"{name}: gear still in after {node} was unplugged"
                    self.tally.measure(waited_ms, now_ns, words, self.limits[name])
                else:
                    self.tally.undecided(now_ns, f"{name}: the run ended before the limit")
        return self.tally.verdict("no station was unplugged")
