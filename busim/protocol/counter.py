"""The counter rule of safety frames: which frames count, and which do not even feed a timeout.

The counter is 8 bits and is advanced by the task that sampled the lever, so equal means "nothing new was sampled".
"""

from typing import Final

from busim.protocol.alarms import ANSWER_LONGEST_MS, UNCONFIRMED_MS
from busim.protocol.catalogue import ALARM, ALARM_ANSWER, CLAIM, CONDITION, DRIVE_OBEYS, LEVER, WHEEL
from busim.protocol.codec import Message
from busim.protocol.plan import Timing, WirePlan
from busim.units import MS, NEVER

DUPLICATE: Final = 0
ACCEPTED: Final = 1
REFUSED: Final = 2

NONE_YET: Final = -1


class CounterWatch:
    """One sender's counter as one receiver follows it.

    Equal to the last: duplicate. 1 to `max_gap` ahead: accepted. Anything else is refused until a frame follows a refused
    one by exactly 1; that second one is accepted. The very first frame heard is treated like one after a gap.
    """

    __slots__ = ("candidate", "last", "max_gap")

    def __init__(self, max_gap: int) -> None:
        self.max_gap = max_gap
        self.last = NONE_YET
        self.candidate = NONE_YET

    def judge(self, counter: int, bus: int = 0, now_ns: int = 0) -> int:
        """Take note of a frame whose CRC was right; DUPLICATE, ACCEPTED or REFUSED."""
        if self.last >= 0:
            ahead = counter - self.last & 0xFF
            if 0 < ahead <= self.max_gap:
                self.last = counter
                self.candidate = NONE_YET
                return ACCEPTED
            if ahead == 0:
                return DUPLICATE
        if self.candidate >= 0 and counter - self.candidate & 0xFF == 1:
            self.last = counter
            self.candidate = NONE_YET
            return ACCEPTED
        self.candidate = counter
        return REFUSED

    def forget(self) -> None:
        """As if nothing had been heard."""
        self.last = NONE_YET
        self.candidate = NONE_YET


class BusOfPair(CounterWatch):
    """One bus of a pair, by which one sender is heard."""

    __slots__ = ("counted_ns", "limit_ms", "near_ns")

    def __init__(self, max_gap: int, limit_ms: int) -> None:
        super().__init__(max_gap)
        self.limit_ms = limit_ms
        self.counted_ns = -NEVER
        """When it last brought something that counted on it."""
        self.near_ns = -NEVER
        """Since when it has kept up with what is acted on; NEVER while it is astray."""

    def forget(self) -> None:
        super().forget()
        self.counted_ns = -NEVER
        self.near_ns = -NEVER


class PairWatch(CounterWatch):
    """One sender heard on several buses: the first valid new frame counts, whichever bus it comes by, and nothing old comes back.

    Each bus has a watch of its own; what that accepts counts if it is new. A counter of 8 bits alone can't tell that: what a bus
    held back for long looks newer than what is acted on. So a bus that fell behind by more than `max_gap`, or brought nothing for
    `limit_ms` while others did, is astray, until it has kept within `max_gap` of what is acted on for half of `limit_ms`.

    * Ahead (up to half the circle), by a bus that is not astray: counts.
    * Else: held back as long as another bus stands where it was acted on; a sender that began to count anew moves them all. And
      no longer than half of `limit_ms` by a bus that alone brings anything: the others are dead, their last word holds nothing.

    Half, so that half is left to hear the bus that is left over in: after `limit_ms` the silence of this sender would mean
    something. Times are in whole ms of the node's clock, as the exported C has them. What 8 bits can't tell, whatever the time: a
    bus that is late by a whole turn of the counter, and brings one frame for one of the sender's.
    """

    __slots__ = ("alone_bus", "alone_ns", "buses", "limit_ms")

    def __init__(self, max_gap: int, buses: tuple[int, ...], limit_ms: int) -> None:
        super().__init__(max_gap)
        self.limit_ms = limit_ms
        self.buses = {bus: BusOfPair(max_gap, limit_ms) for bus in buses}
        self.alone_bus = NONE_YET
        self.alone_ns = 0
        """Which bus brought the last that counted on its bus, and since when nothing did by another."""

    def judge(self, counter: int, bus: int = 0, now_ns: int = 0) -> int:
        each = self.buses.get(bus)
        if each is None:
            return REFUSED  # by a bus it is not on: that is not this sender
        verdict = each.judge(counter)
        if verdict != ACCEPTED:
            return verdict
        if bus != self.alone_bus or _passed_ms(each.counted_ns, now_ns) >= self.limit_ms:
            self.alone_bus, self.alone_ns = bus, now_ns
        each.counted_ns = now_ns
        if self.last < 0:
            for other in self.buses.values():
                other.counted_ns = now_ns  # whoever is not heard from now on is silent
        elif not self._is_new(each, counter - self.last & 0xFF, now_ns):
            return DUPLICATE
        self.last = counter
        each.near_ns = -NEVER
        for other in self.buses.values():
            if _passed_ms(other.counted_ns, now_ns) >= self.limit_ms:
                other.near_ns = NEVER
        return ACCEPTED

    def _is_new(self, each: BusOfPair, ahead: int, now_ns: int) -> bool:
        """Of a frame `ahead` of the last acted on: does it count?"""
        half_ms = self.limit_ms // 2
        if ahead:
            if ahead < 0x80 and _passed_ms(each.near_ns, now_ns) >= half_ms:
                return True
            if _passed_ms(self.alone_ns, now_ns) >= half_ms:
                return True
            if all(other.last != self.last for other in self.buses.values() if other is not each):
                return True
        if self.max_gap < ahead < 0x100 - self.max_gap:
            each.near_ns = NEVER
        elif each.near_ns == NEVER:
            each.near_ns = now_ns
        return False

    def forget(self) -> None:
        super().forget()
        self.alone_bus = NONE_YET
        self.alone_ns = 0
        for each in self.buses.values():
            each.forget()


def _passed_ms(since_ns: int, now_ns: int) -> int:
    """From the one whole ms to the other."""
    return now_ns // MS - since_ns // MS


def limit_ms(timing: Timing, message: Message) -> int:
    """Silent for so long, its sender is lost to the most impatient of its listeners; of what is only sent now and then: for how
    long it is said again."""
    return {
        CLAIM.code: timing.transfer_ms,
        LEVER.code: timing.control_timeout_ms,
        WHEEL.code: timing.control_timeout_ms,
        DRIVE_OBEYS.code: timing.age_max_ms,
        ALARM.code: UNCONFIRMED_MS,
        ALARM_ANSWER.code: ANSWER_LONGEST_MS,
        CONDITION.code: UNCONFIRMED_MS,
    }.get(message.code, timing.heartbeat_missing_ms)


def counter_watch(plan: WirePlan, receiver: int, sender: int, message: Message) -> CounterWatch:
    """How the node at address `receiver` follows the counter of this message of the one at `sender`: by each bus they share."""
    shared = tuple(sorted(set(plan.buses_of(receiver)) & set(plan.buses_of(sender))))
    timing = plan.timing
    return PairWatch(timing.max_gap, shared, limit_ms(timing, message)) if len(shared) > 1 else CounterWatch(timing.max_gap)


def newer(number: int, than: int) -> bool:
    """Serial comparison of 16-bit numbers of the take of control (RFC 1982, s. 3.2): is `number` later than `than`?

    0 is no number, but what a node reports that has heard of no take: it is later than none and all others are later. Were
    it compared like a number, whoever starts anew could not follow, and would seem to outbid, a take beyond 32767.
    """
    if not number or not than:
        return number > than
    return 0 < (number - than & 0xFFFF) < 0x8000
