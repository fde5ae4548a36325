"""A take of control is complete within the transfer time, or leaves nobody half in control.

Complete: every drive its claims want reports the station, under one number newer than before, and so does the rudder where its
claims want that. Not complete: it is withdrawn, and by twice the transfer time nobody obeys it any more. From the key's contact,
with the levers in neutral. Where nothing is broken, and nobody does anything else meanwhile, a take has to be complete.

A claim has to want every drive the station may take, unless the boat carries on with one drive, and the one left out is silent at
this station, or was heard and kept this station's last take from being complete, shortly before.
"""

from busim.events import bits
from busim.events.journal import Event, Journal
from busim.events.table import REPORTED
from busim.protocol.plan import StationPlan
from busim.requirements.in_a_log import Reported
from busim.requirements.requirement import Context, Requirement, Spoilt, Trouble
from busim.requirements.verdict import Tally, Verdict
from busim.units import MS, NEVER

RUDDER_WANTED = 4
"""In what a claim wants."""
PRESSED_AGAIN_NS = 10_000 * MS
"""For so long after a take failed, the next one may leave out who kept it from being complete."""
SLACK_NS = 5 * MS
"""What clocks, and processing, may make of a limit."""


class Take:
    """One press of a take key: the number each drive had then, which a take has to leave behind; `rudder`: of that one too.

    `left_out`: drives that its claims do not want; `echoed`: those that have obeyed it; `outbid`: one obeyed another station.
    """

    __slots__ = (
        "at_ns", "before", "complete", "echoed", "judged", "left_out", "outbid", "rudder", "rudder_before", "silent", "station",
        "undisturbed",
    )  # fmt: skip

    def __init__(self, station: StationPlan, at_ns: int, before: dict[str, int], silent: set[str], judged: bool) -> None:
        self.station = station
        self.at_ns = at_ns
        self.before = before
        self.judged = judged
        """Its levers were in neutral. Else the drives may well refuse it; but what it came to counts for the next one."""
        self.silent = silent
        """Drives that the station had not heard for as long as that takes to be missed."""
        self.rudder = False
        self.rudder_before = 0
        """The number the rudder obeyed then: by an older take of this station's it may be steered on."""
        self.undisturbed = False
        """Nothing was broken when it began, nor lately."""
        self.complete = False
        self.left_out: set[str] = set()
        self.echoed: set[str] = set()
        self.outbid = False


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
        self.last: dict[int, Take] = {}
        """Station -> its take before the one that is open, or the last one."""
        self.carries_on = all(drive.on_other_lost == "carry_on" for drive in context.plan.drives)
        self.missing_ns = timing.heartbeat_missing_ms * MS
        self.rules: dict[tuple[str, str], bits.CounterRule | bits.SeveralBusesRule] = {}
        """(station's node, drive) -> which of the drive's reports count there."""
        self.heard_ns: dict[tuple[str, str], int] = {}
        """The same -> when one counted last."""
        self.untrue = Spoilt(self.situation.node_of.values())
        """Whom such a node obeys, or what it asks, is not known."""
        self.trouble = Trouble()
        self.upset_ns = 0
        """When a fault, the supply of a node, a start, a key or a lever happened last."""
        self.afterwards_ns = self.missing_ns + max((limit.loss_to_neutral_ms for limit in context.limits.values()), default=0) * MS
        """Whatever that sets off has happened this long after it."""

    def attach(self, journal: Journal) -> None:
        for address in self.situation.by_address:
            journal.watch_frames(bits.CODE_DRIVE_OBEYS << 6 | address, self._obeys)
        if self.situation.rudder is not None:
            journal.watch_frames(bits.CODE_RUDDER_STATE << 6 | self.situation.rudder.address, self._obeys)
        for station in self.stations.values():
            journal.watch_frames(bits.CODE_CLAIM << 6 | station.address, self._claim)
        journal.watch_events("start", self._start)
        journal.watch_events("key", self._key)
        journal.watch_events("lever", self._lever)
        journal.watch_events("fault", self.untrue.note)
        journal.watch_events("fault", self._fault)
        journal.watch_events("power", self._power)

    def _fault(self, event: Event) -> None:
        self._close(event[0])
        self.upset_ns = event[0]
        self.trouble.note(event)

    def _power(self, event: Event) -> None:
        self._close(event[0])
        self.upset_ns = event[0]

    def _lever(self, event: Event) -> None:
        at_ns, _, _, station, drive, permille, _ = event
        self._close(at_ns)
        self.upset_ns = at_ns
        self.levers[self.names[station], drive] = permille

    def _key(self, event: Event) -> None:
        at_ns, _, _, node, key, down = event
        if down:
            self._close(at_ns)
            whole, self.upset_ns = not self.trouble.lasting and at_ns > self.upset_ns + self.afterwards_ns, at_ns
        station = self.stations.get(node)
        if station is None or key != "take" or not down or node not in self.situation.running:
            return
        wanted = self._wanted(station)
        in_neutral = all(not permille for (lever_node, _), permille in self.levers.items() if lever_node == node)
        if wanted and (in_neutral or station.matched_take):
            self._close(at_ns)
            for take in [take for take in self.open if take.station is station and at_ns - take.at_ns > self.transfer_ns]:
                self._over(take)  # it came to nothing in time, and what comes now is the next one's
                if take.judged:
                    self.tally.held(at_ns, f"{station.name}: its take came to nothing, and control was asked for again")
            numbers = {drive.name: drive.number for drive in self.situation.drives.values()}
            silent = {name for name in wanted if at_ns - self.heard_ns.get((node, name), -NEVER) >= self.missing_ns - SLACK_NS}
            take = Take(station, at_ns, {name: numbers[name] for name in wanted}, silent, in_neutral)
            take.undisturbed = whole and self.situation.reception_known
            take.rudder_before = self.situation.rudder.number if self.situation.rudder is not None else 0
            self.open.append(take)

    def _over(self, take: Take) -> None:
        self.open.remove(take)
        self.last[take.station.address] = take

    def _wanted(self, station: StationPlan) -> list[str]:
        return [drive.name for drive in self.situation.drives.values() if drive.instance in station.drives]

    def _claim(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        whole = int.from_bytes(data, "big")
        if not bits.sound(can_id, data) or bits.field(whole, bits.CLAIM_WITHDRAWN):
            return
        wanted = bits.field(whole, bits.CLAIM_WANTED)
        for take in self.open:
            if take.station.address == can_id & 0x3F:
                take.rudder = take.rudder or bool(wanted & RUDDER_WANTED)
                drives = self.situation.drives
                for name in {name for name in take.before if not drives[name].instance & wanted} - take.left_out:
                    take.left_out.add(name)
                    self._may_leave_out(now_ns, take, name)

    def _may_leave_out(self, now_ns: int, take: Take, name: str) -> None:
        """A claim does not want a drive that its station may take: has it a reason to?"""
        drive, station = self.situation.drives[name].node, self.situation.node_of[take.station.address]
        if drive in self.untrue or station in self.untrue or not self.situation.reception_known:
            return
        last = self.last.get(take.station.address)
        refused = (
            last is not None
            and not (last.complete or last.outbid or name in last.left_out or name in last.echoed)
            and bool(last.echoed)
            and take.at_ns - last.at_ns <= self.limit_ms * MS + PRESSED_AGAIN_NS + SLACK_NS
        )
        if not self.carries_on:
            self.tally.fail(now_ns, f"{take.station.name}: its claim leaves out {name}, and this boat's control is of all or none")
        elif name not in take.silent and not refused:
            self.tally.fail(now_ns, f"{take.station.name}: its claim leaves out {name}, which it hears and which refused nothing")

    def _start(self, event: Event) -> None:
        """A station's program begins: it has heard nobody."""
        self._close(event[0])
        self.upset_ns = event[0]
        for drive in self.situation.drives.values():
            self.heard_ns.pop((event[3], drive.name), None)
            self.rules.pop((event[3], drive.name), None)
        station = self.stations.get(event[3])
        if station is not None:
            self.last.pop(station.address, None)

    def _hear(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        """Which stations a drive's report counts for: those have heard it."""
        drive = self.situation.by_address.get(can_id & 0x3F)
        if drive is None or can_id >> 6 != bits.CODE_DRIVE_OBEYS or not bits.sound(can_id, data):
            return
        buses_of = self.context.plan.buses_of
        counter = bits.field(int.from_bytes(data, "big"), bits.COUNTER)
        for node, station in self.stations.items():
            if mask & self.situation.host_bit[station.address] and node in self.situation.running:
                rule = self.rules.get((node, drive.name))
                if rule is None:
                    shared = len(set(buses_of(station.address)) & set(buses_of(drive.address)))
                    rule = self.rules[node, drive.name] = drive.new_rule(self.context.plan.timing.age_max_ms, shared)
                if rule.counts(counter, bus, now_ns):
                    self.heard_ns[node, drive.name] = now_ns

    def _obeys(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        self._hear(now_ns, bus, can_id, data, mask)
        for take in list(self.open):
            self._note(take, can_id, mask)
            if now_ns - take.at_ns <= self.limit_ms * MS and self._complete(take):
                take.complete = True
                self._over(take)
                if not take.judged:
                    continue
                which = ", ".join(sorted(take.before.keys() - take.left_out)) if take.left_out else "every drive"
                words = f"{take.station.name}: obeyed by {which}{' and the rudder' if take.rudder else ''} it wants"
                words += f", {', '.join(sorted(take.left_out))} left out" if take.left_out else ""
                self.tally.measure(-(-(now_ns - take.at_ns) // MS), now_ns, words)
        self._close(now_ns)

    def _note(self, take: Take, can_id: int, mask: int) -> None:
        """Of a report that reached the taker: did the drive follow, or another station?"""
        drive = self.situation.by_address.get(can_id & 0x3F)
        if drive is None or drive.name not in take.before or not mask & self.situation.host_bit[take.station.address]:
            return
        if drive.station and drive.number != take.before[drive.name]:
            if drive.station == take.station.address:
                take.echoed.add(drive.name)
            else:
                take.outbid = True

    def _pairs(self, take: Take) -> list[tuple[int, int]]:
        """Of the drives wanted: (station, number), 0 for a number that was there before."""
        drives = [self.situation.drives[name] for name in take.before]
        return [(drive.station, drive.number if drive.number != take.before[drive.name] else 0) for drive in drives]

    def _complete(self, take: Take) -> bool:
        pairs = {pair for name, pair in zip(take.before, self._pairs(take), strict=True) if name not in take.left_out}
        rudder = self.situation.rudder
        if take.rudder and rudder is not None:
            pairs.add((rudder.station, rudder.number))
        return len(pairs) == 1 and all(station == take.station.address and number for station, number in pairs)

    def _close(self, now_ns: int) -> None:
        """What was not complete in time: by now it has to be withdrawn."""
        for take in [take for take in self.open if now_ns - take.at_ns > 2 * self.transfer_ns]:
            self._over(take)
            if not take.judged:
                continue
            pairs = zip(take.before, self._pairs(take), strict=True)
            known = {name for name, drive in self.situation.drives.items() if drive.node not in self.untrue}
            half = [name for name, (station, number) in pairs if station == take.station.address and number and name in known]
            rudder = self.situation.rudder
            if rudder is not None and rudder.node in self.untrue:
                rudder = None
            taken = rudder is not None and rudder.station == take.station.address and rudder.number != take.rudder_before
            if take.rudder and taken:
                half.append("rudder")
            if not half and take.undisturbed and not take.outbid and self.upset_ns == take.at_ns:
                self.tally.fail(now_ns, f"{take.station.name}: its take came to nothing, and nothing was broken")
            elif half:
                self.tally.fail(now_ns, f"{take.station.name}: its take was left half done ({', '.join(half)})")
            else:
                self.tally.held(now_ns, f"{take.station.name}: its take came to nothing, and no drive obeys it")

    def finish(self, now_ns: int) -> Verdict:
        self._close(now_ns)
        for take in [take for take in self.open if take.judged]:
            self.tally.undecided(now_ns, f"{take.station.name}: the run ended during its take")
        return self.tally.verdict("no station with its levers in neutral asked for control")
