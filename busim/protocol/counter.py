"""The counter rule of safety frames: which frames count, and which do not even feed a timeout.

The counter is 8 bits and is advanced by the task that sampled the lever, so equal means "nothing new was sampled".
"""

from typing import Final

from busim.protocol.plan import WirePlan

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

    def judge(self, counter: int, bus: int = 0) -> int:
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


class PairWatch(CounterWatch):
    """One sender heard on several buses: the first valid new frame counts, whichever bus it comes by.

    Each bus has a watch of its own. What a bus's own watch accepts counts if it is ahead of the last one acted on. One that is
    behind it is a late copy (a queue that was held back on one bus must not bring back an old lever) as long as another bus
    stands where it was acted on: a sender that began to count anew moves them all, and one bus left over says so in time.
    """

    __slots__ = ("alone", "buses")

    def __init__(self, max_gap: int, buses: tuple[int, ...]) -> None:
        super().__init__(max_gap)
        self.buses = {bus: CounterWatch(max_gap) for bus in buses}
        self.alone = (NONE_YET, 0)
        """The bus that was the only one to bring anything lately, and how many frames."""

    def judge(self, counter: int, bus: int = 0) -> int:
        each = self.buses.get(bus)
        if each is None:
            return REFUSED  # by a bus it is not on: that is not this sender
        verdict = each.judge(counter)
        if verdict != ACCEPTED:
            return verdict
        self.alone = (bus, self.alone[1] + 1 if self.alone[0] == bus else 1)
        if self.last >= 0:
            ahead = counter - self.last & 0xFF
            others = (each.last for number, each in self.buses.items() if number != bus)
            if not ahead or (ahead >= 0x80 and self.alone[1] < LEFT_OVER and self.last in others):
                return DUPLICATE
        self.last = counter
        return ACCEPTED

    def forget(self) -> None:
        super().forget()
        self.alone = (NONE_YET, 0)
        for each in self.buses.values():
            each.forget()


LEFT_OVER: Final = 32
"""So many frames in a row by one bus and none by the other: the other is dead, and its last word holds nothing back any more."""


def counter_watch(plan: WirePlan, receiver: int, sender: int) -> CounterWatch:
    """How the node at address `receiver` follows the counter of the one at `sender`: by each bus they share."""
    shared = tuple(sorted(set(plan.buses_of(receiver)) & set(plan.buses_of(sender))))
    return PairWatch(plan.timing.max_gap, shared) if len(shared) > 1 else CounterWatch(plan.timing.max_gap)


def newer(number: int, than: int) -> bool:
    """Serial comparison of 16-bit numbers of the take of control (RFC 1982, s. 3.2): is `number` later than `than`?

    0 is no number, but what a node reports that has heard of no take: it is later than none and all others are later. Were
    it compared like a number, whoever starts anew could not follow, and would seem to outbid, a take beyond 32767.
    """
    if not number or not than:
        return number > than
    return 0 < (number - than & 0xFFFF) < 0x8000
