"""A lever's sensor breaks: in time the station's lever frames ask for neutral, or say that the lever can't be believed.

In time is about when a drive would have let go of a station that fell silent: orders that can't be read are orders lost. An open
wire or a short shows at once. A sensor that sticks, slips or runs backwards is wrong only as far as the hand is from what it shows:
judged from the moment that is more than an eighth of the lever's half travel, by where the hand really is.
"""

from busim.events import bits
from busim.events.journal import Event, Journal
from busim.events.table import FROM_PLANT
from busim.requirements.in_a_log import NotInALog
from busim.requirements.requirement import Context, Requirement
from busim.requirements.verdict import Tally, Verdict
from busim.units import MS

ASTRAY_PERMILLE = 150
"""Of half the travel, beyond which what is shown is not what the hand does: with a margin over the 10 % that tracks may differ."""
AT_ONCE = ("sensor_open", "sensor_short")
BY_THE_HAND = ("sensor_stuck", "sensor_slipped", "sensor_reversed")


class Hand:
    """Where a hand holds a lever, in permille of half the travel: as told, in a straight line."""

    __slots__ = ("at_ns", "over_ns", "start", "target")

    def __init__(self) -> None:
        self.at_ns = 0
        self.over_ns = 0
        self.start = 0
        self.target = 0

    def move(self, now_ns: int, target: int, over_ns: int) -> None:
        self.start = self.read(now_ns)
        self.at_ns, self.target, self.over_ns = now_ns, target, over_ns

    def read(self, now_ns: int) -> int:
        gone_ns = now_ns - self.at_ns
        if gone_ns >= self.over_ns:
            return self.target
        return self.start + (self.target - self.start) * gone_ns // self.over_ns


class Broken:
    """A lever with a broken sensor. `since_ns`: when what it shows began to be wrong without the frames saying so."""

    __slots__ = ("at", "fault", "since_ns", "told")

    def __init__(self, fault: str, at: int, now_ns: int) -> None:
        self.fault = fault
        self.at = at
        self.since_ns: int | None = now_ns if fault in AT_ONCE else None
        self.told = False

    def astray(self, hand: int) -> bool:
        if self.fault in AT_ONCE or self.fault == "sensor_slipped":
            return True
        return abs(hand - self.at if self.fault == "sensor_stuck" else 2 * hand) > ASTRAY_PERMILLE


class LeverFaultFound(Requirement):
    id = "station.lever_fault_found"
    words = "A lever whose sensor is broken asks for neutral, or says so."
    hazards = ("unintended engagement", "throttle rise", "wrong direction", "fails to disengage")
    in_a_log = NotInALog("where a hand holds the lever")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        timing = context.plan.timing
        self.limit_ms = timing.control_timeout_ms + 2 * timing.lever_ms  # for a reading, and for a frame that says so
        self.tally = Tally(self.id, self.limit_ms, "ms", FROM_PLANT)
        instances = {drive.name: drive.instance for drive in context.plan.drives}
        self.instances = instances
        node_of = {station.name: self.situation.node_of[station.address] for station in context.plan.stations}
        self.nodes = node_of
        self.address = {node_of[station.name]: station.address for station in context.plan.stations}
        self.hands: dict[tuple[str, int], Hand] = {}
        self.broken: dict[tuple[str, int], Broken] = {}
        """(node, instance) -> what is wrong with that lever's sensors."""

    def attach(self, journal: Journal) -> None:
        for station in self.context.plan.stations:
            journal.watch_frames(bits.CODE_LEVER << 6 | station.address, self._lever_frame)
        for kind in ("lever", "fault"):
            journal.watch_events(kind, getattr(self, f"_{kind}"))

    def _lever(self, event: Event) -> None:
        at_ns, _, _, station, drive, permille, over_ms = event
        hand = self.hands.setdefault((self.nodes[station], self.instances[drive]), Hand())
        hand.move(at_ns, permille, over_ms * MS)

    def _fault(self, event: Event) -> None:
        at_ns, _, _, fault, place, begins = event
        node, _, channel = place.partition(", ")
        if fault not in AT_ONCE + BY_THE_HAND or not channel.startswith("lever.") or node not in self.address:
            return
        key = node, int(channel[6:7])
        if begins:
            hand = self.hands.setdefault(key, Hand()).read(at_ns)
            self.broken.setdefault(key, Broken(fault, hand, at_ns))
        else:
            self.broken.pop(key, None)

    def _lever_frame(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        if not self.broken or not bits.sound(can_id, data):
            return
        node = self.situation.node_of[can_id & 0x3F]
        whole = int.from_bytes(data, "big")
        for (where, instance), broken in self.broken.items():
            if where != node:
                continue
            hand = self.hands[where, instance].read(now_ns)
            safe = bits.field(whole, bits.LEVER_FAULT) or not bits.field(whole, bits.LEVER_GEAR[instance])
            if not broken.astray(hand):
                broken.since_ns = None
            elif broken.since_ns is None and (not safe or not broken.told):
                broken.since_ns = now_ns
            if broken.since_ns is None:
                continue
            took_ms = -(-(now_ns - broken.since_ns) // MS)
            words = f"{node}: lever {instance}, {broken.fault.replace('_', ' ')}"
            if safe:
                self.tally.measure(took_ms, now_ns, f"{words}: neutral or told")
                broken.since_ns, broken.told = None, True
            elif took_ms > self.limit_ms:
                self.tally.measure(took_ms, now_ns, f"{words}: goes on asking for a gear")

    def finish(self, now_ns: int) -> Verdict:
        for (node, instance), broken in self.broken.items():
            if broken.since_ns is not None and now_ns - broken.since_ns <= self.limit_ms * MS:
                self.tally.undecided(now_ns, f"{node}: lever {instance}: the run ended before the limit")
        return self.tally.verdict("no lever's sensor broke, or none was moved while it was broken")
