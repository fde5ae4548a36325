"""The counter rule of safety frames: which frames count, and which do not even feed a timeout.

The counter is 8 bits and is advanced by the task that sampled the lever, so equal means "nothing new was sampled".
"""

from typing import Final

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

    def judge(self, counter: int) -> int:
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


def newer(number: int, than: int) -> bool:
    """Serial comparison of 16-bit numbers of the take of control (RFC 1982, s. 3.2): is `number` later than `than`?

    0 is no number, but what a node reports that has heard of no take: it is later than none and all others are later. Were
    it compared like a number, whoever starts anew could not follow, and would seem to outbid, a take beyond 32767.
    """
    if not number or not than:
        return number > than
    return 0 < (number - than & 0xFFFF) < 0x8000
