"""A station's wheel: what its sensor means, the wheel frames, and what the rudder says of who steers."""

from typing import Final

from busim.protocol import values as v
from busim.protocol.catalogue import RUDDER_STATE, WHEEL
from busim.protocol.codec import INVALID, check, counter_of
from busim.protocol.counter import ACCEPTED, counter_watch
from busim.protocol.plan import RudderPlan, WirePlan
from busim.units import MS, NEVER

PORT_PERMILLE: Final = 100
MIDDLE_PERMILLE: Final = 500
STARBOARD_PERMILLE: Final = 900
"""What the sensor shows, of its supply, with the wheel at either end and amidships."""
OUT_OF_RANGE_PERMILLE: Final = 30
WHEEL_NS: Final = WHEEL.period_ms * MS

Pair = tuple[int, int]
"""(address of the station, number of its take)."""


class Wheel:
    """The wheel of one station, on a boat with a rudder. Who steers is a pair of station and number, as with drives.

    A station that lost its drives, or let go of them, goes on steering with the take it had as long as the rudder obeys that
    one and nobody else took over: neutral is no reason for a boat that still makes way to lose her steering too. Nor is a take of
    another station's that may still be withdrawn, or one of its own: until the rudder follows it, the old one steers.
    """

    __slots__ = (
        "angle", "counter", "drives", "due_ns", "fault", "faulty", "heard_ns", "held", "keeps", "missing_ns", "pair",
        "rudder", "rudder_address", "rudder_counter", "settled_ns", "taken_ns", "wanted", "wheel_id",
    )  # fmt: skip

    def __init__(self, plan: WirePlan, address: int, rudder: RudderPlan) -> None:
        self.rudder = rudder
        self.rudder_address = rudder.address
        self.drives = plan.station_at(address).drives
        self.wheel_id = WHEEL.can_id(address)
        self.angle = 0
        self.faulty = True
        """Its sensor is out of range, or was never read."""
        self.counter = 0
        self.due_ns = NEVER
        self.rudder_counter = counter_watch(plan, address, rudder.address, RUDDER_STATE)
        self.missing_ns = plan.timing.heartbeat_missing_ms * MS
        self.settled_ns = (plan.timing.transfer_ms + 2 * plan.timing.claim_ms) * MS
        """By then a take that a drive reports is complete, or the drive was told that it is withdrawn, one claim lost included."""
        self.heard_ns = -NEVER
        self.pair: Pair = (0, 0)
        """Whom the rudder says it obeys."""
        self.fault = v.RUDDER_SOUND
        self.wanted = False
        """The station's take is of the rudder too."""
        self.held = False
        """The take it holds is of the rudder too, and the rudder has not been lost since."""
        self.keeps = 0
        """The number of the take it steers with, whether it holds drives or not; 0 none."""
        self.taken_ns = NEVER
        """Since when a drive has reported a newer take of another station."""

    def read(self, permille: int) -> None:
        self.faulty = not PORT_PERMILLE - OUT_OF_RANGE_PERMILLE <= permille <= STARBOARD_PERMILLE + OUT_OF_RANGE_PERMILLE
        if not self.faulty:
            travel = max(PORT_PERMILLE, min(permille, STARBOARD_PERMILLE)) - MIDDLE_PERMILLE
            way = abs(travel) * self.rudder.hard_over_cdeg // (STARBOARD_PERMILLE - MIDDLE_PERMILLE)
            self.angle = way if travel > 0 else -way

    def want(self, now_ns: int) -> None:
        """A take begins. It is of the rudder too, unless that can't come of it: then its drives can be had all the same."""
        self.wanted = not self.faulty and self.heard(now_ns) and self.fault != v.RUDDER_MOVED_UNASKED

    def heard(self, now_ns: int) -> bool:
        return now_ns - self.heard_ns < self.missing_ns

    def steered_by(self, now_ns: int) -> int:
        """The station the rudder obeys, as far as it is heard; 0 nobody."""
        return self.pair[0] if self.heard(now_ns) else 0

    def frame(self, number: int) -> bytes:
        self.counter = self.counter + 1 & 0xFF
        return WHEEL.pack(self.wheel_id, self.counter, number, self.angle, v.WHEEL_ANGLE, int(self.faulty))

    def hear(self, now_ns: int, bus: int, can_id: int, data: bytes) -> bool:
        """Note a report of the rudder; True where what it says of its master or its health is new."""
        word = check(can_id, data)
        if word == INVALID or self.rudder_counter.judge(counter_of(word), bus, now_ns) != ACCEPTED:
            return False
        silent = not self.heard(now_ns)
        station, number, _, _, fault = RUDDER_STATE.unpack(word)
        changed = silent or (station, number, fault) != (*self.pair, self.fault)
        self.heard_ns = now_ns
        self.pair, self.fault = (station, number), fault
        return changed

    def lost(self, now_ns: int, mine: Pair, holding: bool, taken: bool) -> bool:
        """Note whether the station, whose take is `mine`, steers; True where it does no more and nobody took it over.

        The drives it holds are held on to: steering lost is no reason for neutral, and thrust may be what is left to steer by.
        `taken`: a drive reports a newer take of another station. Once one has for `settled_ns`, that take is complete.
        """
        address, number = mine
        if not taken:
            self.taken_ns = NEVER
        elif self.taken_ns == NEVER:
            self.taken_ns = now_ns
        over = not holding and now_ns - self.taken_ns >= self.settled_ns
        master, by = self.pair if self.heard(now_ns) else (0, 0)
        before, held = self.keeps, self.held
        self.held = held and (master, by) == mine
        if master == address and ((holding and by == number) or (by == before and not over)):
            self.keeps = by
        else:
            self.keeps = 0
        return (holding and held and not self.held) or (before != 0 and not self.keeps and not over and not master)
