"""Nobody in control, or no drive heard: every station shows it within the limit.

Judged by each station's own reception: what it could know, and what its display shows.
"""

from busim.events import bits
from busim.events.journal import Event, Journal
from busim.events.table import MEASURED
from busim.requirements.requirement import Context, Requirement
from busim.requirements.verdict import Tally, Verdict
from busim.units import MS, SECOND

SHOWS_NOBODY = 1
SHOWS_NOTHING_HEARD = 4
SHOWS_ASKING = 5
SILENCE_MARGIN_MS = 150
"""Beyond the time after which a node counts as missing: well inside the second that keeps a thought (Miller 1968; Card 1991)."""


class Watched:
    """One station: which drives' reports it received last and when, and since when its display has been wrong."""

    __slots__ = ("heard_ns", "obeyed", "since_ns", "started_ns")

    def __init__(self) -> None:
        self.obeyed: dict[int, int] = {}
        self.heard_ns: int | None = None
        self.started_ns: int | None = None
        self.since_ns: int | None = None


class NobodyShown(Requirement):
    id = "station.nobody_shown"
    words = "Every station shows that nobody is in control, or that it hears nothing."
    hazards = ("confusion over control", "loss of all control")

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
        journal.watch_events("output", self._output)
        journal.watch_events("start", self._start)
        journal.watch_events("power", self._power)

    def _obeys(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        if not bits.sound(can_id, data):
            return
        obeyed = bits.field(int.from_bytes(data, "big"), bits.OBEYS_STATION)
        for node, station in self.stations.items():
            if mask & self.bit[node] and station.started_ns is not None:
                self._silence(node, station, now_ns)
                station.heard_ns = now_ns
                station.obeyed[can_id] = obeyed
                self._weigh(node, station, now_ns)

    def _weigh(self, node: str, station: Watched, now_ns: int) -> None:
        """Is there something to show, and is it shown?"""
        if any(station.obeyed.values()) or self._shown(node):
            station.since_ns = None
        elif station.since_ns is None:
            station.since_ns = now_ns

    def _shown(self, node: str) -> bool:
        return self.situation.shows.get(node, 0) in (SHOWS_NOBODY, SHOWS_NOTHING_HEARD, SHOWS_ASKING)

    def _silence(self, node: str, station: Watched, now_ns: int) -> None:
        """It has heard nothing since the last report it received, or since its start: the clock runs from there."""
        last_ns = station.heard_ns if station.heard_ns is not None else station.started_ns
        if last_ns is not None and now_ns - last_ns > self.missing_ns and station.since_ns is None and not self._shown(node):
            station.since_ns = last_ns

    def _output(self, event: Event) -> None:
        at_ns, _, _, node, channel, value = event
        station = self.stations.get(node)
        if station is None or channel != "shows" or station.started_ns is None:
            return
        last_ns = station.heard_ns if station.heard_ns is not None else station.started_ns
        if value == SHOWS_NOTHING_HEARD:
            self.tally.measure(-(-(at_ns - last_ns) // MS), at_ns, f"{node}: shows that it hears nothing")
        elif value == SHOWS_NOBODY and station.since_ns is not None:
            self.tally.measure(-(-(at_ns - station.since_ns) // MS), at_ns, f"{node}: shows that nobody is in control")
        if value in (SHOWS_NOBODY, SHOWS_NOTHING_HEARD, SHOWS_ASKING):
            station.since_ns = None

    def _start(self, event: Event) -> None:
        station = self.stations.get(event[3])
        if station is not None:
            station.started_ns = event[0]
            station.heard_ns = station.since_ns = None
            station.obeyed = {}

    def _power(self, event: Event) -> None:
        station = self.stations.get(event[3])
        if station is not None and not event[4]:
            station.started_ns = None

    def finish(self, now_ns: int) -> Verdict:
        for node, station in self.stations.items():
            if station.started_ns is None:
                continue
            self._silence(node, station, now_ns)
            if station.since_ns is not None:
                late_ms = -(-(now_ns - station.since_ns) // MS)
                if late_ms > self.limit_ms:
                    self.tally.measure(late_ms, now_ns, f"{node}: still does not show that nobody is in control, or nothing heard")
                elif now_ns - station.since_ns < SECOND:
                    self.tally.undecided(now_ns, f"{node}: the run ended before the limit")
        return self.tally.verdict("no station ran")
