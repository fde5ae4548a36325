"""Where the rudder is, where it was asked to be, and whether the two belong together. Decides nothing about who steers.

Angles in hundredths of a degree, + is starboard. Three stretches are kept in billionths of that, so that a speed times a time is
a whole number: `expected`, where a rudder a quarter slower than the boat file says would have got to; `low` to `high`, where one
that does as it is told can be, whether it sticks or is twice as fast. Behind `expected`, it does not arrive. Outside `low` to
`high`, it moved unasked. Both need 4 degrees for 100 ms.
"""

from typing import Final

from busim.protocol.plan import RudderPlan
from busim.units import MS, NEVER

FINE: Final = 10**9
UNSEEN: Final = -(10**6)
"""A feedback not read since start."""
APART_CDEG: Final = 400
APART_NS: Final = 100 * MS
ARRIVED_CDEG: Final = 200
BEYOND_CDEG: Final = 300
"""A feedback further beyond hard over than this shows nothing: no rudder gets past its stops."""
JUMP_CDEG: Final = 50
"""More than noise, from one sample to the next, on top of what twice the rudder's speed explains."""
SAMPLE_NS: Final = 20 * MS
RESTED_NS: Final = 1000 * MS
"""A feedback that was not believed is believed again once it has shown for so long that the rudder rests where it was asked to."""


def toward(position: int, goal: int, way: int) -> int:
    return min(position + way, goal) if position < goal else max(position - way, goal)


class RudderMotion:
    __slots__ = (
        "asked", "astray", "astray_since_ns", "at_ns", "believed", "expected", "hard_over", "high", "known", "late",
        "late_since_ns", "low", "rested_since_ns", "sensed", "speed",
    )  # fmt: skip

    def __init__(self, me: RudderPlan) -> None:
        self.hard_over = me.hard_over_cdeg
        self.speed = me.cdeg_per_s
        self.start(0)

    def start(self, now_ns: int) -> None:
        self.at_ns = now_ns
        self.asked = 0
        self.sensed = UNSEEN
        self.known = False
        """A reading was believed since start."""
        self.believed = False
        self.late = False
        self.astray = False
        self.expected = self.low = self.high = 0
        self.late_since_ns = self.astray_since_ns = self.rested_since_ns = NEVER

    def here(self) -> int:
        """Where the rudder is, as well as it is known."""
        return self.sensed if self.believed else (self.expected + FINE // 2) // FINE

    def clipped(self, angle_cdeg: int) -> int:
        return max(-self.hard_over, min(angle_cdeg, self.hard_over))

    def ask(self, now_ns: int, angle_cdeg: int) -> None:
        self._advance(now_ns)
        self.asked = self.clipped(angle_cdeg)

    def read(self, now_ns: int, angle_cdeg: int) -> None:
        """The feedback shows this. Nothing is known of the rudder before the first reading within its travel."""
        elapsed_ns = max(now_ns - self.at_ns, SAMPLE_NS)
        self._advance(now_ns)
        jumped = abs(angle_cdeg - self.sensed) > JUMP_CDEG + 2 * self.speed * elapsed_ns // FINE
        beyond = abs(angle_cdeg) > self.hard_over + BEYOND_CDEG
        self.sensed = angle_cdeg
        if beyond or (jumped and self.believed):
            self.believed = False
            self.late_since_ns = self.astray_since_ns = self.rested_since_ns = NEVER
        elif not self.known:
            self.known = self.believed = True
            self.asked = self.clipped(angle_cdeg)
            self.expected = self.low = self.high = angle_cdeg * FINE
        self._compare(now_ns)

    def look(self, now_ns: int) -> None:
        """Time has passed; the feedback is as it was."""
        self._advance(now_ns)
        self._compare(now_ns)

    def due_ns(self) -> int:
        """When something will have lasted long enough, as things stand."""
        late_ns = NEVER if self.late else self.late_since_ns + APART_NS
        return min(late_ns, self.astray_since_ns + APART_NS, self.rested_since_ns + RESTED_NS, NEVER)

    def _advance(self, now_ns: int) -> None:
        way = self.speed * (now_ns - self.at_ns)
        self.at_ns = now_ns
        asked = self.asked * FINE
        self.expected = toward(self.expected, asked, way * 3 // 4)
        self.low = min(self.low, max(asked, self.low - 2 * way))
        self.high = max(self.high, min(asked, self.high + 2 * way))

    def _compare(self, now_ns: int) -> None:
        if not self.known:
            return
        asked, sensed = self.asked * FINE, self.sensed * FINE
        if not self.believed:
            self._believe_again(now_ns, asked, sensed)
            return
        if abs(asked - sensed) < abs(asked - self.expected):
            self.expected = sensed
        if self.low <= sensed <= self.high:
            self.low = self.high = sensed
        outside = max(self.low - sensed, sensed - self.high)
        if outside < APART_CDEG * FINE:
            self.astray_since_ns = NEVER
        else:
            self.astray_since_ns = min(self.astray_since_ns, now_ns)
            self.astray = now_ns - self.astray_since_ns >= APART_NS
        behind = self.expected - sensed if asked > sensed else sensed - self.expected
        if behind < APART_CDEG * FINE:
            self.late_since_ns = NEVER
        else:
            self.late_since_ns = min(self.late_since_ns, now_ns)
            self.late = self.late or now_ns - self.late_since_ns >= APART_NS
        if abs(asked - sensed) <= ARRIVED_CDEG * FINE:
            self.late = False

    def _believe_again(self, now_ns: int, asked: int, sensed: int) -> None:
        if self.expected != asked or abs(asked - sensed) > ARRIVED_CDEG * FINE:
            self.rested_since_ns = NEVER
            return
        self.rested_since_ns = min(self.rested_since_ns, now_ns)
        if now_ns - self.rested_since_ns >= RESTED_NS:
            self.believed = True
            self.late = False
            self.rested_since_ns = NEVER
            self.expected = self.low = self.high = sensed
