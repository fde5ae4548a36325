"""Nobody in control, or no drive heard: every station shows it within the limit.

Judged by each station's own reception: what it could know, and what its display shows.
"""

from busim.events import bits
from busim.events.journal import Event, Journal
from busim.events.table import MEASURED
from busim.requirements.in_a_log import NotInALog
from busim.requirements.requirement import Context, Requirement
from busim.requirements.verdict import Tally, Verdict
from busim.units import MS

SHOWS_NOBODY = 1
SHOWS_NOTHING_HEARD = 4
SHOWS_ASKING = 5
HONEST = (SHOWS_NOBODY, SHOWS_NOTHING_HEARD, SHOWS_ASKING)
"""Who reads one of these does not take himself to be in control."""
SILENCE_MARGIN_MS = 150
"""Beyond the time after which a node counts as missing: well inside the second that keeps a thought (Miller 1968; Card 1991)."""


class Watched:
    """One station: which drives' reports it received last and when, what it shows, since when that has been wrong."""

    __slots__ = ("heard_ns", "obeyed", "shows", "since_ns", "started_ns")

    def __init__(self, started_ns: int | None = None) -> None:
        self.obeyed: dict[int, int] = {}
        self.heard_ns: int | None = None
        self.started_ns = started_ns
        self.since_ns: int | None = None
        self.shows = 0


class NobodyShown(Requirement):
    id = "station.nobody_shown"
    words = "Every station shows that nobody is in control, or that it hears nothing."
    hazards = ("confusion over control", "loss of all control")
    in_a_log = NotInALog("what a station's display shows")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self.limit_ms = context.plan.timing.heartbeat_missing_ms + SILENCE_MARGIN_MS
        self.missing_ns = context.plan.timing.heartbeat_missing_ms * MS
        self.tally = Tally(self.id, self.limit_ms, "ms", MEASURED)
        addresses = {self.situation.node_of[station.address]: station.address for station in context.plan.stations}
        self.stations = {node: Watched() for node in addresses}
        self.bit = {node: self.situation.host_bit[address] for node, address in addresses.items()}

    def attach(self, journal: Journal) -> None:
        for address in self.situation.by_address:
            journal.watch_frames(bits.CODE_DRIVE_OBEYS << 6 | address, self._obeys)
        journal.watch_outputs(self._output, "shows")
        journal.watch_events("start", self._start)
        journal.watch_events("power", self._power)

    def _obeys(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        if not bits.sound(can_id, data):
            return
        obeyed = bits.field(int.from_bytes(data, "big"), bits.OBEYS_STATION)
        for node, station in self.stations.items():
            if mask & self.bit[node] and station.started_ns is not None:
                self._silence(station, now_ns)
                station.heard_ns = now_ns
                station.obeyed[can_id] = obeyed
                if obeyed or any(station.obeyed.values()):
                    if station.since_ns is not None:
                        self._too_late(node, station, now_ns)
                        station.since_ns = None
                elif station.since_ns is None and station.shows not in HONEST:
                    station.since_ns = now_ns

    def _silence(self, station: Watched, now_ns: int) -> None:
        """It has heard nothing since the last report it received, or since its start: the clock runs from there."""
        if station.since_ns is not None or station.shows in HONEST:
            return
        last_ns = station.heard_ns if station.heard_ns is not None else station.started_ns
        if last_ns is not None and now_ns - last_ns > self.missing_ns:
            station.since_ns = last_ns

    def _too_late(self, node: str, station: Watched, now_ns: int) -> bool:
        """The limit is over and the display still wrong."""
        if station.since_ns is None or now_ns - station.since_ns <= self.limit_ms * MS:
            return False
        late_ms = -(-(now_ns - station.since_ns) // MS)
        self.tally.measure(late_ms, now_ns, f"{node}: did not show that nobody is in control, or nothing heard")
        return True

    def _output(self, event: Event) -> None:
        at_ns, _, _, node, channel, value = event
        station = self.stations.get(node)
        if station is None or channel != "shows" or station.started_ns is None:
            return
        self._silence(station, at_ns)
        since_ns = station.since_ns
        if since_ns is None and value == SHOWS_NOTHING_HEARD and station.shows not in HONEST:
            since_ns = station.heard_ns if station.heard_ns is not None else station.started_ns
        if value in HONEST:
            if since_ns is not None:
                words = "hears nothing" if value == SHOWS_NOTHING_HEARD else "is not in control"
                self.tally.measure(-(-(at_ns - since_ns) // MS), at_ns, f"{node}: shows that it {words}")
            station.since_ns = None
        station.shows = value

    def _start(self, event: Event) -> None:
        if event[3] in self.stations:
            self.stations[event[3]] = Watched(event[0])

    def _power(self, event: Event) -> None:
        if event[3] in self.stations and not event[4]:
            self.stations[event[3]] = Watched()

    def finish(self, now_ns: int) -> Verdict:
        for node, station in self.stations.items():
            if station.started_ns is None:
                continue
            self._silence(station, now_ns)
            if not self._too_late(node, station, now_ns) and station.since_ns is not None:
                self.tally.undecided(now_ns, f"{node}: the run ended before the limit")
        return self.tally.verdict("no station ran")
