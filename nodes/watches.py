"""What a node remembers of another one: its heartbeat, its claims."""

from busim.protocol.alarms import LOCK_FORGOTTEN_MS
from busim.protocol.catalogue import CLAIM, HEARTBEAT
from busim.protocol.codec import INVALID, check, counter_of
from busim.protocol.counter import ACCEPTED, NONE_YET, CounterWatch, counter_watch
from busim.protocol.plan import WirePlan
from busim.units import MS, NEVER

_FINGERPRINT_AT, _FINGERPRINT_MASK = HEARTBEAT.place("helm_fingerprint")


class HeartbeatWatch:
    """One other node's heartbeat: when it was last heard, and whether it was built from the same helm values."""

    __slots__ = ("counter", "heard_ns", "same_boat")

    def __init__(self, counter: CounterWatch) -> None:
        self.counter = counter
        self.heard_ns = -NEVER
        self.same_boat = False

    def take(self, now_ns: int, bus: int, can_id: int, data: bytes, helm_fingerprint: int) -> bool:
        """Note a heartbeat frame; False where it does not count (CRC, duplicate, counter)."""
        word = check(can_id, data)
        if word == INVALID or self.counter.judge(counter_of(word), bus, now_ns) != ACCEPTED:
            return False
        self.heard_ns = now_ns
        self.same_boat = word >> _FINGERPRINT_AT & _FINGERPRINT_MASK == helm_fingerprint
        return True

    def good(self, now_ns: int, missing_ns: int) -> bool:
        return self.same_boat and now_ns - self.heard_ns < missing_ns


class StationWatch:
    """What a drive remembers of one station that may control it."""

    __slots__ = ("claim", "claim_counter", "heartbeat")

    def __init__(self, plan: WirePlan, receiver: int, station: int) -> None:
        self.heartbeat = HeartbeatWatch(counter_watch(plan, receiver, station, HEARTBEAT))
        self.claim_counter = counter_watch(plan, receiver, station, CLAIM)
        self.claim: tuple[int, ...] = ()


class NeutralKey:
    """A station's neutral-now key, and the keys that station has named stuck (bit n: the station at address n)."""

    __slots__ = ("counter", "locks", "locks_before", "locks_ns", "pressed_ns")

    def __init__(self) -> None:
        self.pressed_ns = -NEVER
        self.locks = 0
        self.locks_before = 0
        self.locks_ns = -NEVER
        """When they were said last."""
        self.counter = NONE_YET

    def name(self, now_ns: int, locks: int, counter: int) -> None:
        """Note the keys a frame names. Taking a key away needs two frames that agree, and a frame heard twice is one; the key
        itself needs one."""
        if counter != self.counter:
            self.counter = counter
            self.locks = locks & self.locks_before
            self.locks_before = locks
            self.locks_ns = now_ns

    def takes_away(self, now_ns: int, station: int) -> bool:
        """It says, and has not left off saying, that this station's key is stuck."""
        return bool(self.locks >> station & 1) and now_ns - self.locks_ns < LOCK_FORGOTTEN_MS * MS
