"""A drive says "neutral" of its sensed gear only while the gear is really out, and does not go on naming a gear that is not in.

A report that repeats an old counter is one that nobody acts on, and says nothing. A clutch lets go before any sensor shows it, and
a linkage may come off, before a gear went in as well as after: a gear that is out may be named for as long as the shift has to go
where it was told (see `orders`), from when it came out or the linkage off, whichever was last.
"""

from busim.events import bits
from busim.events.journal import Event, Journal
from busim.events.table import FROM_PLANT
from busim.requirements.in_a_log import NotInALog
from busim.requirements.orders import shift_allowed_ms
from busim.requirements.requirement import TWO_AT_ONE, Context, Requirement, Spoilt
from busim.requirements.verdict import Tally, Verdict
from busim.units import MS


class NeutralConfirmed(Requirement):
    id = "drive.neutral_confirmed"
    words = "The gear a drive reports as sensed is sensed, not what it asked for."
    hazards = ("fails to disengage", "confusion over control")
    in_a_log = NotInALog("where a gear really is, only what its drive says of it")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self.tally = Tally(self.id, 0, "times", FROM_PLANT)
        self.was_in: set[str] = set()
        self.heard: set[str] = set()
        self.counters = {
            drive.name: drive.new_rule(context.plan.timing.heartbeat_missing_ms) for drive in self.situation.drives.values()
        }
        self.untrue = Spoilt(self.situation.by_node, TWO_AT_ONE)
        self.out_ns: dict[str, int] = {}
        """Drive -> when its gear came out, or its linkage off, last."""
        self.allowed_ns = {name: shift_allowed_ms(limit) * MS for name, limit in context.limits.items()}

    def attach(self, journal: Journal) -> None:
        journal.watch_events("fault", self.untrue.note)
        for drive in self.situation.drives.values():
            journal.watch_frames(bits.CODE_DRIVE_STATE << 6 | drive.address, self._state)
        journal.watch_events("gear", self._gear)
        journal.watch_events("fault", self._fault)

    def _fault(self, event: Event) -> None:
        at_ns, _, _, fault, place, begins = event
        name = place.removesuffix(" shift")
        if fault == "linkage_off" and begins and name != place:
            self.out_ns[name] = at_ns

    def _gear(self, event: Event) -> None:
        if event[4]:
            self.was_in.add(event[3])
        else:
            self.out_ns[event[3]] = event[0]

    def _state(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        drive = self.situation.by_address[can_id & 0x3F]
        if drive.name not in self.was_in or drive.node in self.untrue or not bits.sound(can_id, data):
            return
        whole = int.from_bytes(data, "big")
        first = drive.name not in self.heard
        self.heard.add(drive.name)
        if not self.counters[drive.name].counts(bits.field(whole, bits.COUNTER), bus, now_ns) and not first:
            return
        sensed = bits.field(whole, bits.STATE_SENSED_GEAR)
        if sensed == bits.NEUTRAL and drive.true_gear:
            self.tally.fail(now_ns, f"{drive.name}: reported neutral as sensed with the gear in", 1)
        elif sensed in (bits.AHEAD, bits.ASTERN) and drive.true_gear not in (None, sensed) and self._too_long(drive.name, now_ns):
            self.tally.fail(now_ns, f"{drive.name}: reported a gear as sensed that is not in", 1)
        elif sensed == bits.NEUTRAL:
            self.tally.measure(0, now_ns, f"{drive.name}: neutral reported only with the gear out")

    def _too_long(self, name: str, now_ns: int) -> bool:
        """The other gear is in, or none has been for longer than a shift may take."""
        return bool(self.situation.drives[name].true_gear) or now_ns - self.out_ns.get(name, 0) > self.allowed_ns[name]

    def finish(self, now_ns: int) -> Verdict:
        return self.tally.verdict("no drive was heard to come back to neutral")
