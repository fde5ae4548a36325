"""A take of control is complete within the transfer time, or leaves nobody half in control.

Complete: every drive the station may take reports the station, under one number newer than before, and so does the rudder where
its claims want that. Not complete: it is withdrawn, and by twice the transfer time nobody obeys it any more. From the key's
contact, with the levers in neutral.
"""

from busim.events import bits
from busim.events.journal import Event, Journal
from busim.events.table import REPORTED
from busim.protocol.plan import StationPlan
from busim.requirements.in_a_log import Reported
from busim.requirements.requirement import TAMPERED, Context, Requirement
from busim.requirements.verdict import Tally, Verdict
from busim.units import MS

RUDDER_WANTED = 4
"""In what a claim wants."""


class Take:
    """One press of a take key: the number each drive had then, which a take has to leave behind; `rudder`: of that one too."""

    __slots__ = ("at_ns", "before", "rudder", "station")

    def __init__(self, station: StationPlan, at_ns: int, before: dict[str, int]) -> None:
        self.station = station
        self.at_ns = at_ns
        self.before = before
        self.rudder = False


class Transfer(Requirement):
    id = "station.transfer"
    words = "A take of control is complete in time, or is withdrawn whole."
    hazards = ("confusion over control", "loss of all control")
    in_a_log = Reported("claims for the key, lever frames for the lever")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        timing = context.plan.timing
        self.transfer_ns = timing.transfer_ms * MS
        self.limit_ms = timing.transfer_ms + timing.lever_ms
        self.tally = Tally(self.id, self.limit_ms, "ms", REPORTED)
        self.stations = {self.situation.node_of[station.address]: station for station in context.plan.stations}
        self.names = {station.name: self.situation.node_of[station.address] for station in context.plan.stations}
        self.levers: dict[tuple[str, str], int] = {}
        """(station's node, drive) -> where the lever was last put."""
        self.open: list[Take] = []
        self.untrue: set[str] = set()
        """Nodes whose own reports are spoilt on their way out: whom they obey is not known."""

    def attach(self, journal: Journal) -> None:
        for address in self.situation.by_address:
            journal.watch_frames(bits.CODE_DRIVE_OBEYS << 6 | address, self._obeys)
        if self.situation.rudder is not None:
            journal.watch_frames(bits.CODE_RUDDER_STATE << 6 | self.situation.rudder.address, self._obeys)
            for station in self.stations.values():
                journal.watch_frames(bits.CODE_CLAIM << 6 | station.address, self._claim)
        journal.watch_events("key", self._key)
        journal.watch_events("lever", self._lever)
        journal.watch_events("fault", self._fault)

    def _fault(self, event: Event) -> None:
        _, _, _, fault, place, begins = event
        if fault in TAMPERED:
            concerned = set(place.replace(",", " ").split()) & set(self.situation.node_of.values())
            self.untrue = self.untrue | concerned if begins else self.untrue - concerned

    def _lever(self, event: Event) -> None:
        _, _, _, station, drive, permille, _ = event
        self.levers[self.names[station], drive] = permille

    def _key(self, event: Event) -> None:
        at_ns, _, _, node, key, down = event
        station = self.stations.get(node)
        if station is None or key != "take" or not down or node not in self.situation.running:
            return
        wanted = self._wanted(station)
        in_neutral = all(not permille for (lever_node, _), permille in self.levers.items() if lever_node == node)
        if wanted and in_neutral:
            self._close(at_ns)
            for take in [take for take in self.open if take.station is station and at_ns - take.at_ns > self.transfer_ns]:
                self.open.remove(take)  # it came to nothing in time, and what comes now is the next one's
                self.tally.held(at_ns, f"{station.name}: its take came to nothing, and control was asked for again")
            numbers = {drive.name: drive.number for drive in self.situation.drives.values()}
            self.open.append(Take(station, at_ns, {name: numbers[name] for name in wanted}))

    def _wanted(self, station: StationPlan) -> list[str]:
        return [drive.name for drive in self.situation.drives.values() if drive.instance in station.drives]

    def _claim(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        wanted = bits.field(int.from_bytes(data, "big"), bits.CLAIM_WANTED) if bits.sound(can_id, data) else 0
        for take in self.open:
            if take.station.address == can_id & 0x3F and wanted & RUDDER_WANTED:
                take.rudder = True

    def _obeys(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        for take in list(self.open):
            if now_ns - take.at_ns <= self.limit_ms * MS and self._complete(take):
                self.open.remove(take)
                words = f"{take.station.name}: obeyed by every drive{' and the rudder' if take.rudder else ''} it wants"
                self.tally.measure(-(-(now_ns - take.at_ns) // MS), now_ns, words)
        self._close(now_ns)

    def _pairs(self, take: Take) -> list[tuple[int, int]]:
        """Of the drives wanted: (station, number), 0 for a number that was there before."""
        drives = [self.situation.drives[name] for name in take.before]
        return [(drive.station, drive.number if drive.number != take.before[drive.name] else 0) for drive in drives]

    def _complete(self, take: Take) -> bool:
        pairs = set(self._pairs(take))
        rudder = self.situation.rudder
        if take.rudder and rudder is not None:
            pairs.add((rudder.station, rudder.number))
        return len(pairs) == 1 and all(station == take.station.address and number for station, number in pairs)

    def _close(self, now_ns: int) -> None:
        """What was not complete in time: by now it has to be withdrawn."""
        for take in [take for take in self.open if now_ns - take.at_ns > 2 * self.transfer_ns]:
            self.open.remove(take)
            pairs = zip(take.before, self._pairs(take), strict=True)
            known = {name for name, drive in self.situation.drives.items() if drive.node not in self.untrue}
            half = [name for name, (station, number) in pairs if station == take.station.address and number and name in known]
            rudder = self.situation.rudder
            if rudder is not None and rudder.node in self.untrue:
                rudder = None
            if take.rudder and rudder is not None and rudder.station == take.station.address:
                half.append("rudder")
            if half:
                self.tally.fail(now_ns, f"{take.station.name}: its take was left half done ({', '.join(half)})")
            else:
                self.tally.held(now_ns, f"{take.station.name}: its take came to nothing, and no drive obeys it")

    def finish(self, now_ns: int) -> Verdict:
        self._close(now_ns)
        for take in self.open:
            self.tally.undecided(now_ns, f"{take.station.name}: the run ended during its take")
        return self.tally.verdict("no station with its levers in neutral asked for control")
