"""The station in control dies or goes silent: every other live station that the drive reaches shows it and sounds.

Counted from the last valid lever frame the drive received. Of a drive that is hardly heard no station may believe a single
report: it knows of the loss by the first that counts for it, and has from there, at the least, what it takes to show one. An
alarm is a line whose cause is there, or one of that drive or that station whose cause is over and that sounds still.
HSC Code 2000, 11.2: a failure of remote control gives an audible and visual alarm; SOLAS II-1/31: each position shows which one is
in control. That one can then take is `station.transfer`'s to judge.
"""

from busim.events import bits
from busim.events.alarm_view import LINE_OVER
from busim.events.journal import Event, Journal
from busim.events.situation import DriveView
from busim.events.table import MEASURED
from busim.requirements.in_a_log import NotInALog
from busim.requirements.requirement import Context, Requirement
from busim.requirements.verdict import Tally, Verdict
from busim.units import MS

SLACK_MS = 200
LOST_CAUSES = (2, 3)
"""Of a drive's report: nothing valid from the lever, no heartbeat."""
SHOWS_LOSS = (1, 4, 5, 6, 7)
"""Displays that nobody takes for being in control: nobody, nothing heard, asking, drives apart, control lost."""


class Loss(Requirement):
    id = "station.loss"
    words = "When the station in control is lost, every other one shows that and alarms."
    hazards = ("loss of all control", "confusion over control")
    in_a_log = NotInALog("what a station's display shows, nor whether it sounds")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        timing = context.plan.timing
        self.limit_ms = timing.heartbeat_missing_ms + timing.control_timeout_ms + SLACK_MS
        self.tally = Tally(self.id, self.limit_ms, "ms", MEASURED)
        self.stations = {self.situation.node_of[station.address]: station.address for station in context.plan.stations}
        self.obeyed: dict[int, tuple[int, int]] = {}
        """Drive -> (station, when the last lever frame that counted came), as long as it obeys one."""
        self.rules = {
            (node, drive.address): self._rule(address, drive)
            for node, address in self.stations.items()
            for drive in self.situation.drives.values()
        }
        """(station, drive) -> which of the drive's reports count for that station."""
        self.lost: dict[int, tuple[int, int, set[str]]] = {}
        """Drive that lost its station -> (last good lever frame, the station that is lost, the stations that know)."""
        self.open: dict[str, tuple[int, int, int]] = {}
        """Station -> (last good lever frame of the lost one, which that is, the drive that lost it): it has still to show it."""

    def _rule(self, station: int, drive: DriveView) -> bits.CounterRule | bits.SeveralBusesRule:
        plan = self.context.plan
        return drive.new_rule(plan.timing.age_max_ms, len(set(plan.buses_of(station)) & set(plan.buses_of(drive.address))))

    def attach(self, journal: Journal) -> None:
        for address in self.situation.by_address:
            journal.watch_frames(bits.CODE_DRIVE_OBEYS << 6 | address, self._obeys)
        for station in self.stations.values():
            journal.watch_frames(bits.CODE_LEVER << 6 | station, self._lever)
        for kind in ("output", "start", "power"):
            journal.watch_events(kind, getattr(self, f"_{kind}"))

    def _lever(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        for drive in self.situation.followers.get(can_id & 0x3F, ()):
            if drive.control_ns is not None:
                self.obeyed[drive.address] = drive.station, drive.control_ns

    def _obeys(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        if not bits.sound(can_id, data):
            return
        whole = int.from_bytes(data, "big")
        drive, station = can_id & 0x3F, bits.field(whole, bits.OBEYS_STATION)
        counter = bits.field(whole, bits.COUNTER)
        told = {
            node
            for node, address in self.stations.items()
            if mask & self.situation.host_bit[address] and self.rules[node, drive].counts(counter, bus, now_ns)
        }
        if station:
            self.lost.pop(drive, None)
            self._over(now_ns)
            return
        before = self.obeyed.pop(drive, None)
        if before is not None and bits.field(whole, bits.OBEYS_CAUSE) in LOST_CAUSES:
            self.lost[drive] = before[1], before[0], {self.situation.node_of[before[0]]}
        if drive in self.lost:
            base_ns, lost, knowing = self.lost[drive]
            for node in sorted(told - knowing & self.situation.running - self.open.keys()):
                self.open[node] = max(base_ns, now_ns - (self.limit_ms - SLACK_MS) * MS), lost, drive
            knowing |= told
        self._look(now_ns)

    def _over(self, now_ns: int) -> None:
        """Some drive obeys somebody: what has not been shown by now is late, or is not wanted any more."""
        for node, (base_ns, lost, _) in list(self.open.items()):
            if now_ns - base_ns > self.limit_ms * MS:
                self._late(node, base_ns, lost, now_ns)
                del self.open[node]
            elif all(drive.station for drive in self.situation.drives.values()):
                del self.open[node]

    def _output(self, event: Event) -> None:
        if event[3] in self.open:
            self._look(event[0])

    def _look(self, now_ns: int) -> None:
        for node, (base_ns, lost, drive) in list(self.open.items()):
            if self.situation.shows.get(node, 0) in SHOWS_LOSS and self._alarms(node, lost, drive):
                del self.open[node]
                told = f"{node}: shows and alarms that {self.situation.node_of[lost]} lost control"
                self.tally.measure(-(-(now_ns - base_ns) // MS), now_ns, told)

    def _alarms(self, node: str, lost: int, drive: int) -> bool:
        view = self.situation.alarms.at(node)
        return any(line.state != LINE_OVER or (view.sounds and line.about in (lost, drive)) for line in view.lines.values())

    def _late(self, node: str, base_ns: int, lost: int, now_ns: int) -> None:
        waited_ms = (now_ns - base_ns) // MS
        told = f"{node}: did not show and alarm that {self.situation.node_of[lost]} lost control"
        self.tally.measure(waited_ms, now_ns, told)

    def _start(self, event: Event) -> None:
        """Its program begins: it has heard of nothing yet."""
        node = event[3]
        self.open.pop(node, None)
        for drive in self.situation.drives.values():
            if node in self.stations:
                self.rules[node, drive.address] = self._rule(self.stations[node], drive)

    def _power(self, event: Event) -> None:
        self.open.pop(event[3], None)

    def finish(self, now_ns: int) -> Verdict:
        for node, (base_ns, lost, _) in self.open.items():
            if now_ns - base_ns > self.limit_ms * MS:
                self._late(node, base_ns, lost, now_ns)
            else:
                self.tally.undecided(now_ns, f"{node}: the run ended before the limit")
        return self.tally.verdict("no station that was in control was lost while another one lived")
