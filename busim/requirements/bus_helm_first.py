"""The helm goes first: lights and everything else on a bus never hold a lever frame up for a whole period.

Judged by the gaps between a station's lever frames while nothing is broken: a frame that waited longer than its period is
overwritten by the next, so that a gap is all that is seen of it; also of one that goes on when something breaks or the run ends.
"""

from busim.events import bits
from busim.events.journal import Event, Journal
from busim.events.table import MEASURED
from busim.requirements.in_a_log import Wire
from busim.requirements.requirement import Context, Requirement, Trouble
from busim.requirements.verdict import Tally, Verdict
from busim.units import US


class HelmFirst(Requirement):
    id = "bus.helm_first"
    words = "No lever frame waits for a whole period behind anything else on its bus."
    hazards = ("loss of all control",)
    in_a_log = Wire(excuse="a log does not say whether anything was broken then")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self.period_us = context.plan.timing.lever_ms * 1000
        self.tally = Tally(self.id, self.period_us, "us", MEASURED)
        self.last_ns: dict[tuple[int, int], int] = {}
        """(bus, id) -> when the last one was over; forgotten when its sender stops or something breaks."""
        self.longest_us = -1
        """Of all waits: only a longer one says anything."""
        self.trouble = Trouble()

    def attach(self, journal: Journal) -> None:
        for station in self.context.plan.stations:
            journal.watch_frames(bits.CODE_LEVER << 6 | station.address, self._lever)
        journal.watch_events("fault", self._fault)
        journal.watch_events("power", self._stopped)
        journal.watch_events("start", self._stopped)
        journal.watch_events("controller", self._stopped)

    def _fault(self, event: Event) -> None:
        self._waiting(event[0])
        self.trouble.note(event)
        self.last_ns.clear()

    def _waiting(self, now_ns: int) -> None:
        """Those that are late and have not come. A log may go on beyond a station that was switched off, and does not say so."""
        if not self.trouble.lasting and self.situation.reception_known:
            for (_, can_id), before_ns in self.last_ns.items():
                if now_ns - before_ns > 2 * self.period_us * US:
                    self._measure(can_id, now_ns - before_ns, now_ns)

    def _stopped(self, event: Event) -> None:
        self.last_ns.clear()

    def _lever(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        if self.trouble.lasting:
            return
        before_ns = self.last_ns.get((bus, can_id))
        self.last_ns[bus, can_id] = now_ns
        if before_ns is None:
            return
        self._measure(can_id, now_ns - before_ns, now_ns)

    def _measure(self, can_id: int, gap_ns: int, now_ns: int) -> None:
        waited_us = max(gap_ns // US - self.period_us, 0)
        if waited_us > self.longest_us:
            self.longest_us = waited_us
            self.tally.measure(waited_us, now_ns, f"{self.situation.node_of[can_id & 0x3F]}: a lever frame waited")

    def finish(self, now_ns: int) -> Verdict:
        self._waiting(now_ns)
        return self.tally.verdict("no two lever frames followed each other while nothing was broken")
