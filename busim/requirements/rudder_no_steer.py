"""While nobody steers, no drive gives more throttle than is for that.

Judged for each drive by its own reception of the rudder's reports, and by what its node orders of the throttle.
"""

from busim.events import bits
from busim.events.journal import Event, Journal
from busim.events.table import MEASURED
from busim.requirements.in_a_log import Reported
from busim.requirements.requirement import Context, Requirement, hung_node
from busim.requirements.verdict import Tally, Verdict
from busim.units import MS

MARGIN_MS = 100
"""Beyond the time the boat allows: two reports of the rudder, and processing."""


class Steering:
    """What one drive knows of the steering. `since_ns`: since when nobody steers; None while somebody does."""

    __slots__ = ("allowed_ms", "cause", "heard_ns", "said", "since_ns", "throttle")

    def __init__(self) -> None:
        self.throttle = 0
        self.forget()

    def forget(self) -> None:
        self.heard_ns: int | None = None
        self.since_ns: int | None = None
        self.allowed_ms = 0
        self.cause = ""
        self.said = False
        """This time was measured already."""

    def nobody(self, at_ns: int, cause: str, allowed_ms: int) -> None:
        if self.since_ns is None:
            self.since_ns, self.cause, self.allowed_ms, self.said = at_ns, cause, allowed_ms, False
        elif at_ns + allowed_ms * MS < self.since_ns + self.allowed_ms * MS:
            self.since_ns, self.cause, self.allowed_ms = at_ns, cause, allowed_ms


class NoSteer(Requirement):
    id = "rudder.no_steer"
    words = "While nobody steers, every drive keeps its throttle at or below what the boat file allows then."
    hazards = ("loss of all control", "throttle rise")
    in_a_log = Reported("asked throttle")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        timing = context.plan.timing
        self.silent_ms = timing.heartbeat_missing_ms + MARGIN_MS
        self.nobody_ms = timing.transfer_ms + MARGIN_MS
        self.tally = Tally(self.id, self.nobody_ms, "ms", MEASURED)
        self.most = context.plan.rudder.no_steer_permille if context.plan.rudder is not None else 1000
        self.hung: set[str] = set()
        """Drives' nodes whose program stands still."""
        self.drives = {drive.node: Steering() for drive in self.situation.drives.values()}
        self.bits = {drive.node: self.situation.host_bit[drive.address] for drive in self.situation.drives.values()}

    def attach(self, journal: Journal) -> None:
        rudder = self.situation.rudder
        if rudder is None:
            return
        journal.watch_frames(bits.CODE_RUDDER_STATE << 6 | rudder.address, self._state)
        for kind in ("output", "start", "power", "fault"):
            journal.watch_events(kind, getattr(self, f"_{kind}"))

    def _state(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        if not bits.sound(can_id, data):
            return
        whole = int.from_bytes(data, "big")
        for node, drive in self.drives.items():
            if not mask & self.bits[node]:
                continue
            self._look(node, drive, now_ns)
            drive.heard_ns = now_ns
            if bits.field(whole, bits.RUDDER_FAULT):
                drive.nobody(now_ns, "the rudder reported a fault", MARGIN_MS)
            elif not bits.field(whole, bits.RUDDER_STATION):
                drive.nobody(now_ns, "the rudder obeyed nobody", self.nobody_ms)
            else:
                drive.since_ns = None

    def _output(self, event: Event) -> None:
        at_ns, _, _, node, channel, value = event
        drive = self.drives.get(node)
        if drive is None or channel != "throttle":
            return
        self._look(node, drive, at_ns)
        before, drive.throttle = drive.throttle, value
        if drive.since_ns is None or drive.said:
            return
        if before > self.most >= value:
            drive.said = True
            if value == self.most:  # else it came down because its lever did, or control was lost
                late_ms = -(-(at_ns - drive.since_ns) // MS)
                self.tally.measure(late_ms, at_ns, f"{node}: {drive.cause}, and its throttle came down", drive.allowed_ms)
        elif value > self.most:
            self._look(node, drive, at_ns)

    def _look(self, node: str, drive: Steering, now_ns: int) -> None:
        """Silence has to be noticed by itself; and a throttle that is up after its time."""
        if drive.heard_ns is not None and now_ns - drive.heard_ns > (self.silent_ms - MARGIN_MS) * MS:
            drive.nobody(drive.heard_ns, "the rudder was not heard", self.silent_ms)
        if drive.since_ns is None or drive.throttle <= self.most or node not in self.situation.running or node in self.hung:
            return
        late_ms = -(-(now_ns - drive.since_ns) // MS)
        if late_ms > drive.allowed_ms:
            self.tally.fail(now_ns, f"{node}: {drive.cause}, and its throttle stayed up", late_ms, drive.allowed_ms)

    def _fault(self, event: Event) -> None:
        node, begins = hung_node(event), event[5]
        if node in self.drives:  # what becomes of it is judged by drive.self_loss
            (self.hung.add if begins else self.hung.discard)(node)

    def _start(self, event: Event) -> None:
        self._forget(event[3])
        if event[3] in self.drives:
            self.drives[event[3]].heard_ns = event[0]  # whom it never heard is as silent as who fell silent then

    def _forget(self, node: str) -> None:
        self.hung.discard(node)
        if node in self.drives:
            self.drives[node].forget()
            self.drives[node].throttle = 0

    def _power(self, event: Event) -> None:
        if not event[4]:
            self._forget(event[3])

    def finish(self, now_ns: int) -> Verdict:
        if self.situation.rudder is None:
            return self.tally.verdict("the boat has no rudder on her bus")
        for node, drive in self.drives.items():
            self._look(node, drive, now_ns)
        return self.tally.verdict("no throttle was above the limit while nobody steered")
