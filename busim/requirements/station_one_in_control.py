"""Two drives never obey different stations for longer than the boat's overlap.

Judged by what the drives report; what they do about it is judged by their outputs in drive.refuse_bad_frame. One that fell silent
while another one is heard says nothing any more: it may be dead, and the other one may have been taken without it. Nor does one
whose frames a fault spoils on their way out: whom it obeys is not known.
"""

from busim.events import bits
from busim.events.journal import Journal
from busim.events.table import REPORTED
from busim.requirements.in_a_log import Wire
from busim.requirements.requirement import Context, Requirement, Spoilt
from busim.requirements.verdict import Tally, Verdict
from busim.units import MS


class OneInControl(Requirement):
    id = "station.one_in_control"
    words = "One station is in control of both drives, or of none, but for the time a hand-over takes."
    hazards = ("confusion over control", "wrong direction")
    in_a_log = Wire()

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self.overlap_ns = context.plan.timing.overlap_ms * MS
        self.tally = Tally(self.id, context.plan.timing.overlap_ms, "ms", REPORTED)
        self.missing_ns = context.plan.timing.heartbeat_missing_ms * MS
        self.apart_since_ns: int | None = None
        self.apart_until_ns = 0
        """When the one of them that was heard less lately still said so."""
        self.untrue = Spoilt(self.situation.by_node)

    def attach(self, journal: Journal) -> None:
        journal.watch_events("fault", self.untrue.note)
        for address in self.situation.by_address:
            journal.watch_frames(bits.CODE_DRIVE_OBEYS << 6 | address, self._obeys)

    def _obeys(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        drives = [drive for drive in self.situation.drives.values() if drive.node not in self.untrue]
        obey = [drive for drive in drives if drive.station]
        heard = [drive for drive in obey if now_ns - (drive.heard_ns or 0) <= self.missing_ns]
        stations = {drive.station for drive in heard}
        if len(stations) > 1:
            if self.apart_since_ns is None:
                self.apart_since_ns = now_ns
            self.apart_until_ns = min(drive.heard_ns or 0 for drive in heard)
        elif self.apart_since_ns is not None:
            fell_silent = len({drive.station for drive in obey}) > 1
            ended_ns = self.apart_until_ns if fell_silent else now_ns
            then = "one fell silent" if fell_silent else "one or none"
            self._measure(max(ended_ns, self.apart_since_ns), f"obeyed different stations, then {then}")
            self.apart_since_ns = None
        elif len(drives) > 1 and len({(drive.station, drive.number) for drive in drives}) == 1 and stations:
            self.tally.measure(0, now_ns, "every drive obeys one station")

    def _measure(self, now_ns: int, words: str) -> None:
        if self.apart_since_ns is not None:
            names = ", ".join(self.situation.drives)
            self.tally.measure(-(-(now_ns - self.apart_since_ns) // MS), now_ns, f"{names}: {words}")

    def finish(self, now_ns: int) -> Verdict:
        if self.apart_since_ns is not None and now_ns - self.apart_since_ns > self.overlap_ns:
            self._measure(now_ns, "still obey different stations")
        if len(self.situation.drives) < 2:
            return self.tally.verdict("the boat has one drive")
        return self.tally.verdict("no station was in control of both drives")
