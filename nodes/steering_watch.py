"""What a drive knows of the steering, and how much throttle that leaves it.

While nobody steers, the throttle is capped: a boat that can't be steered must not be fast. The cap is on at once where the
rudder is silent or reports a fault. Where it only obeys nobody, it waits `transfer_ms`: a hand-over may pass through nobody, and
must not change the thrust. Once the cap has held a throttle back it stays until the lever itself asks for no more than the cap:
steering that comes back must not open a throttle by itself (46 CFR 184.620(c) of thrust that rises unasked).
"""

from typing import Final

from busim.protocol import values as v
from busim.protocol.catalogue import RUDDER_STATE
from busim.protocol.codec import INVALID, check, counter_of
from busim.protocol.counter import ACCEPTED, counter_watch
from busim.protocol.plan import RudderPlan, WirePlan
from busim.units import MS, NEVER

FULL_PERMILLE: Final = 1000


class SteeringWatch:
    __slots__ = ("cap_permille", "counter", "fault", "heard_ns", "held_back", "missing_ns", "nobody_since_ns", "rudder", "wait_ns")

    def __init__(self, plan: WirePlan, receiver: int, rudder: RudderPlan) -> None:
        self.rudder = rudder.address
        self.cap_permille = rudder.no_steer_permille
        self.missing_ns = plan.timing.heartbeat_missing_ms * MS
        self.wait_ns = plan.timing.transfer_ms * MS
        self.counter = counter_watch(plan, receiver, rudder.address, RUDDER_STATE)
        self.heard_ns = -NEVER
        self.fault = v.RUDDER_SOUND
        self.nobody_since_ns = -NEVER
        """Since when the rudder has obeyed nobody; NEVER while it obeys a station."""
        self.held_back = False

    def take(self, now_ns: int, bus: int, can_id: int, data: bytes) -> bool:
        """Note a report of the rudder; True where what it says of its health, or whether anybody steers, has changed."""
        word = check(can_id, data)
        if word == INVALID or self.counter.judge(counter_of(word), bus, now_ns) != ACCEPTED:
            return False
        station, _, _, _, fault = RUDDER_STATE.unpack(word)
        before = self.fault, self.nobody_since_ns
        self.heard_ns = now_ns
        self.fault = fault
        if station:
            self.nobody_since_ns = NEVER
        elif self.nobody_since_ns == NEVER:
            self.nobody_since_ns = now_ns
        return before != (self.fault, self.nobody_since_ns)

    def due_ns(self) -> int:
        """From when on the throttle is capped, as things stand; in the past where it is already."""
        if self.fault != v.RUDDER_SOUND:
            return -NEVER
        return min(self.heard_ns + self.missing_ns, self.nobody_since_ns + self.wait_ns)

    def most(self, now_ns: int, lever_permille: int) -> int:
        """The most throttle that may be given while the lever asks for this (of its last two frames, the higher)."""
        capped = now_ns >= self.due_ns()
        if lever_permille <= self.cap_permille:
            self.held_back = False
        elif capped:
            self.held_back = True
        return self.cap_permille if capped or self.held_back else FULL_PERMILLE
