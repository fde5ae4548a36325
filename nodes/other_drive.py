"""The other drive as a drive of two knows it, and what follows from what it does.

Two engines that obey different stations turn the boat on the spot. A drive that hears the other one obey another pair of
station and number than its own, for longer than `overlap_ms` after the later change, goes neutral. What it does while the
other one obeys nobody, or is not heard at all, is the boat's policy. Where its station may control both and took this one alone,
as the other was dead or refused, only a take of another station that goes before its own counts: of two stations that each took
one drive, one has to give way.
"""

from busim.protocol import values as v
from busim.protocol.catalogue import DRIVE_OBEYS
from busim.protocol.codec import INVALID, check, counter_of
from busim.protocol.counter import ACCEPTED, CounterWatch, newer
from busim.protocol.plan import DrivePlan, Timing
from busim.units import MS, NEVER

Pair = tuple[int, int]
"""(address of the station, number of its take)."""


class OtherDrive:
    __slots__ = (
        "address", "carries_on", "changed_ns", "counter", "heard_ns", "missing_ns", "neutral_when_apart", "overlap_ns", "pair",
    )  # fmt: skip

    def __init__(self, address: int, me: DrivePlan, timing: Timing, counter: CounterWatch) -> None:
        self.address = address
        self.carries_on = me.on_other_lost == "carry_on"
        self.neutral_when_apart = me.when_apart == "neutral"
        self.overlap_ns = timing.overlap_ms * MS
        self.missing_ns = timing.heartbeat_missing_ms * MS
        self.counter = counter
        self.heard_ns = -NEVER
        self.changed_ns = -NEVER
        self.pair: Pair = (0, 0)

    def take(self, now_ns: int, bus: int, can_id: int, data: bytes) -> bool:
        """Note its report; True where whom it obeys has changed."""
        word = check(can_id, data)
        if word == INVALID or self.counter.judge(counter_of(word), bus, now_ns) != ACCEPTED:
            return False
        station, number, *_ = DRIVE_OBEYS.unpack(word)
        self.heard_ns = now_ns
        if (station, number) == self.pair:
            return False
        self.pair = (station, number)
        self.changed_ns = now_ns
        return True

    def due_ns(self, now_ns: int, mine: Pair, changed_ns: int, both: bool) -> int:
        """When a drive that has obeyed the pair `mine` since `changed_ns` has to go neutral because of this one, as things stand;
        NEVER where it need not. `both`: that take is of this one too."""
        silent_ns = max(self.heard_ns, changed_ns) + self.missing_ns
        due_ns = silent_ns if self.neutral_when_apart else NEVER
        if now_ns < silent_ns and self._apart(mine, both):
            due_ns = min(due_ns, max(self.changed_ns, changed_ns) + self.overlap_ns)
        return due_ns

    def _apart(self, mine: Pair, both: bool) -> bool:
        station, number = self.pair
        if both:
            return self.pair != mine and (station != 0 or not self.carries_on)
        before = newer(number, mine[1]) or (number == mine[1] and station < mine[0])
        return station not in (0, mine[0]) and before

    def cause(self, now_ns: int) -> int:
        """Why it has to, once `due_ns` has come."""
        heard = now_ns - self.heard_ns < self.missing_ns
        return v.CAUSE_PARTITION if heard and self.pair[0] else v.CAUSE_OTHER_DRIVE_LOST
