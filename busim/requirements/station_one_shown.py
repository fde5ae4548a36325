"""Two stations never both show that they are in control of the same drive for longer than the boat's overlap.

Judged by what their displays say, where station.one_in_control goes by what the drives report: two people who both read "in
control here" each wait for the other, or pull against each other. A station whose program hangs goes on showing what it showed,
which is for its watchdog and for the others to see.

And whoever is in control shows it (SOLAS II-1/31: each position shows which one is): a station to which every drive it may take
goes on reporting it, under one number, shows so in the time that it has to show that nobody is. Of reports those tell it something
that count by the rule for counters.
"""

from itertools import combinations

from busim.events import bits
from busim.events.journal import Event, Journal
from busim.events.table import MEASURED
from busim.requirements.in_a_log import NotInALog
from busim.requirements.requirement import Context, Requirement, Spoilt, hung_node
from busim.requirements.verdict import Tally, Verdict
from busim.units import MS

SHOWS_CONTROL = (2, 8)
"""In control here; in control here without the rudder."""
SHOWS_ELSE = (5, 6)
"""Asking for control: its take is complete only once the rudder follows, too, and that is station.transfer's to judge. Drives and
rudder do not all obey one station: the rudder may obey another."""
SILENCE_MARGIN_MS = 150
"""As in station.nobody_shown."""


class OneShown(Requirement):
    id = "station.one_shown"
    words = "One station at a time shows that it is in control, but for the time a hand-over takes; and the one that is shows it."
    hazards = ("confusion over control",)
    in_a_log = NotInALog("what a station's display shows")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self.overlap_ns = context.plan.timing.overlap_ms * MS
        self.tally = Tally(self.id, context.plan.timing.overlap_ms, "ms", MEASURED)
        takes = {self.situation.node_of[station.address]: frozenset(station.drives) for station in context.plan.stations}
        self.rivals = {node: [other for other in takes if other != node and takes[node] & takes[other]] for node in takes}
        self.control: dict[str, int] = {}
        """Node of a station that shows control -> since when."""
        timing = context.plan.timing
        self.missing_ns = timing.heartbeat_missing_ms * MS
        self.age_max_ms = timing.age_max_ms
        self.owed_ms = timing.heartbeat_missing_ms + SILENCE_MARGIN_MS
        self.addresses = {self.situation.node_of[station.address]: station.address for station in context.plan.stations}
        self.drives = {
            node: [drive.address for drive in context.plan.drives if drive.instance in takes[node]] for node in self.addresses
        }
        self.told: dict[tuple[str, int], tuple[int, int, int]] = {}
        """(station's node, drive) -> whom the drive reported to it to obey last, as (station, number), and when."""
        self.owed_ns: dict[str, int] = {}
        """Node of a station that is in control and does not show it -> since when."""
        self.hung: set[str] = set()
        self.untrue = Spoilt([*self.addresses, *self.situation.by_node])
        """Whose frames are spoilt or late: a drive's report is of before, or it goes on with a take that its station let go of."""
        self.rules: dict[tuple[str, int], bits.CounterRule | bits.SeveralBusesRule] = {}
        """(station's node, drive) -> which of the drive's reports count for it; begun as the station's program begins."""

    def attach(self, journal: Journal) -> None:
        journal.watch_outputs(self._output, "shows")
        for kind in ("start", "power", "fault"):
            journal.watch_events(kind, getattr(self, f"_{kind}"))
        journal.watch_events("fault", self.untrue.note)
        for address in self.situation.by_address:
            journal.watch_frames(bits.CODE_DRIVE_OBEYS << 6 | address, self._obeys)

    # ------------------------------------------------------------------------------------------------ who is in control shows it

    def _obeys(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        if not bits.sound(can_id, data):
            return
        whole, drive = int.from_bytes(data, "big"), can_id & 0x3F
        pair = bits.field(whole, bits.OBEYS_STATION), bits.field(whole, bits.OBEYS_NUMBER)
        for node, address in self.addresses.items():
            if not mask & self.situation.host_bit[address] or node not in self.situation.running or node in self.hung:
                continue
            rule = self.rules.get((node, drive)) or self._begin_rule(node, drive)
            if rule.counts(bits.field(whole, bits.COUNTER), bus, now_ns):
                self.told[node, drive] = *pair, now_ns
                self._owes(node, now_ns)

    def _begin_rule(self, node: str, drive: int) -> bits.CounterRule | bits.SeveralBusesRule:
        plan = self.context.plan
        shared = len(set(plan.buses_of(self.addresses[node])) & set(plan.buses_of(drive)))
        rule = self.rules[node, drive] = self.situation.by_address[drive].new_rule(self.age_max_ms, shared)
        return rule

    def _in_control(self, node: str, now_ns: int) -> bool:
        told = [self.told.get((node, drive), (0, 0, 0)) for drive in self.drives[node]]
        heard = all(station == self.addresses[node] and now_ns - at_ns <= self.missing_ns for station, _, at_ns in told)
        return heard and len({number for _, number, _ in told}) == 1

    def _owes(self, node: str, now_ns: int) -> None:
        """A report has told it something: is it in control, without showing it? Fails where that is so for too long."""
        untrue = node in self.untrue or any(self.situation.node_of[drive] in self.untrue for drive in self.drives[node])
        if untrue or self._shown(node) or not self._in_control(node, now_ns):
            self.owed_ns.pop(node, None)
            return
        waited_ms = -(-(now_ns - self.owed_ns.setdefault(node, now_ns)) // MS)
        if waited_ms > self.owed_ms:
            words = f"{node}: is in control of every drive it hears, and did not show it"
            self.tally.measure(waited_ms, now_ns, words, self.owed_ms)

    def _shown(self, node: str) -> bool:
        return self.situation.shows.get(node) in (*SHOWS_CONTROL, *SHOWS_ELSE)

    def _forget(self, node: str) -> None:
        if node in self.addresses:
            self.owed_ns.pop(node, None)
            for drive in self.drives[node]:
                self.told.pop((node, drive), None)
                self.rules.pop((node, drive), None)

    # ------------------------------------------------------------------------------------------------ one at a time

    def _output(self, event: Event) -> None:
        at_ns, _, _, node, channel, value = event
        if node not in self.rivals or channel != "shows":
            return
        if self._shown(node):
            self.owed_ns.pop(node, None)
        elif self._in_control(node, at_ns):
            self.owed_ns.setdefault(node, at_ns)
        if value not in SHOWS_CONTROL:
            self._ends(node, at_ns)
        elif node not in self.control:
            self.control[node] = at_ns
            if not any(other in self.control for other in self.rivals[node]):
                self.tally.measure(0, at_ns, f"{node}: shows that it is in control, and no other station does")

    def _ends(self, node: str, now_ns: int) -> None:
        """It shows no control any more, or counts no longer: how long did others show it too?"""
        since_ns = self.control.pop(node, None)
        if since_ns is None:
            return
        for other in self.rivals[node]:
            if other in self.control:
                self._measure(node, other, now_ns - max(since_ns, self.control[other]), now_ns)

    def _measure(self, node: str, other: str, both_ns: int, now_ns: int) -> None:
        if both_ns:
            self.tally.measure(-(-both_ns // MS), now_ns, f"{node}, {other}: both show that they are in control")

    def _start(self, event: Event) -> None:
        self.hung.discard(event[3])
        self._power(event)

    def _power(self, event: Event) -> None:
        self._ends(event[3], event[0])
        self._forget(event[3])

    def _fault(self, event: Event) -> None:
        node = hung_node(event)
        if node in self.rivals:
            self._ends(node, event[0])
            self._forget(node)
            (self.hung.add if event[5] else self.hung.discard)(node)
            if not event[5] and self.situation.shows.get(node) in SHOWS_CONTROL:
                self.control[node] = event[0]  # its program goes on, and shows what it showed

    def finish(self, now_ns: int) -> Verdict:
        for (one, one_ns), (other, other_ns) in combinations(self.control.items(), 2):
            both_ns = now_ns - max(one_ns, other_ns)
            if other in self.rivals[one] and both_ns > self.overlap_ns:
                self._measure(one, other, both_ns, now_ns)
        if not any(self.rivals.values()):
            return self.tally.verdict("no two stations may take the same drive")
        return self.tally.verdict("no station showed that it was in control")
