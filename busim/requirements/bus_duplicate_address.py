"""Two nodes send under one address: an alarm says so, and no drive engages by the false one.

A node does not receive what it sent itself, so a frame under an address that the host of that address accepted is somebody else's.
"""

from busim.events import bits
from busim.events.journal import Event, Journal
from busim.events.table import MEASURED
from busim.requirements.alarm_cover import listeners_of
from busim.requirements.in_a_log import NotInALog
from busim.requirements.requirement import Context, Requirement
from busim.requirements.verdict import Tally, Verdict
from busim.units import MS

NOTICED_MS = 1000
"""What keeps a thought (Miller 1968; Card 1991)."""
LONGEST_SHIFT_NS = 3000 * MS
"""A gear that goes in was asked for within this before: the longest shift, and then some."""


class DuplicateAddress(Requirement):
    id = "bus.duplicate_address"
    words = "Two nodes at one address are alarmed, and no drive engages by the false one."
    hazards = ("unintended engagement", "confusion over control")
    in_a_log = NotInALog("who sent a frame, nor who accepted it")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self.tally = Tally(self.id, NOTICED_MS, "ms", MEASURED)
        self.listeners = listeners_of(context.plan)
        self.open: dict[int, int] = {}
        """Address -> when the first heartbeat of another node came under it, until it is alarmed."""
        self.known: set[int] = set()
        self.asked: dict[tuple[bool, int, int, int], int] = {}
        """(false, station, instance, gear) -> when a lever frame of that kind asked for that gear last."""

    def attach(self, journal: Journal) -> None:
        for address in self.situation.node_of:
            if address < 16:
                journal.watch_frames(bits.CODE_HEARTBEAT << 6 | address, self._heartbeat)
        for station in self.context.plan.stations:
            journal.watch_frames(bits.CODE_LEVER << 6 | station.address, self._lever)
        for kind in ("output", "gear", "start", "power"):
            journal.watch_events(kind, getattr(self, f"_{kind}"))

    def _is_false(self, can_id: int, mask: int) -> bool:
        return mask >= 0 and bool(mask & self.situation.host_bit[can_id & 0x3F])

    def _heartbeat(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        address = can_id & 0x3F
        if not mask & self.situation.host_bit[address]:  # nearly always; else `_is_false` says what that shows
            return
        if address in self.known or not self._is_false(can_id, mask) or not bits.sound(can_id, data):
            return
        if self.situation.node_of[address] in self.situation.running:
            self.known.add(address)
            self.open[address] = now_ns
            self._look(now_ns)

    def _lever(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        if self.known and bits.sound(can_id, data):
            whole, false = int.from_bytes(data, "big"), self._is_false(can_id, mask)
            for instance, place in bits.LEVER_GEAR.items():
                self.asked[false, can_id & 0x3F, instance, bits.field(whole, place)] = now_ns

    def _gear(self, event: Event) -> None:
        """A clutch takes: by whose lever?"""
        at_ns, _, _, name, gear, _, _ = event
        drive = self.situation.drives[name]
        if gear and drive.station:
            by_false, by_true = (
                self.asked.get((false, drive.station, drive.instance, gear), -LONGEST_SHIFT_NS) for false in (True, False)
            )
            if at_ns - by_false < LONGEST_SHIFT_NS <= at_ns - by_true:
                self.tally.fail(at_ns, f"{name}: engages by a lever that sends under another's address")

    def _output(self, event: Event) -> None:
        if self.open and event[4].startswith("alarm."):
            self._look(event[0])

    def _look(self, now_ns: int) -> None:
        for address, since_ns in list(self.open.items()):
            if any(self.situation.alarms.at(node).shows(bits.TWO_AT_ONE_ADDRESS, address) for node in self.listeners):
                del self.open[address]
                name = self.situation.node_of[address]
                self.tally.measure(-(-(now_ns - since_ns) // MS), now_ns, f"somebody else sends as {name}: alarmed")

    def _start(self, event: Event) -> None:
        self._power((*event[:4], 0))

    def _power(self, event: Event) -> None:
        """Whose address it is can't tell while it is off, and begins anew."""
        for address in list(self.known):
            if self.situation.node_of[address] == event[3] and not event[4]:
                self._waits(address, event[0])
                self.open.pop(address, None)
                self.known.discard(address)

    def _waits(self, address: int, now_ns: int) -> bool:
        """It is not alarmed yet: fails where that is over its time."""
        since_ns = self.open.get(address)
        if since_ns is None:
            return False
        waited_ms = -(-(now_ns - since_ns) // MS)
        if waited_ms > NOTICED_MS:
            self.tally.measure(waited_ms, now_ns, f"somebody else sends as {self.situation.node_of[address]}: not alarmed")
        return waited_ms <= NOTICED_MS

    def finish(self, now_ns: int) -> Verdict:
        for address in self.open:
            if self._waits(address, now_ns):
                name = self.situation.node_of[address]
                self.tally.undecided(now_ns, f"somebody else sends as {name}: the run ended before the limit")
        return self.tally.verdict("nobody sent under another's address")
