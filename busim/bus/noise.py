"""What disturbs bits: at a rate, in bursts, or at one bit of a frame. A bit that is hit reads as its opposite.

Chance comes in from outside, as a function that draws from a seeded generator: this file holds none.
"""

from collections.abc import Callable
from typing import Final

from busim.bus.controller import Controller
from busim.bus.wiring import Wiring

_DIGITS: Final = 40
"""Binary digits of a gap: a gap of 2**40 bits is longer than any run."""


class Disturbance:
    """Something that hits bits. `places` are the places of the bus that see it, None for everybody."""

    __slots__ = ("places",)

    def __init__(self, places: frozenset[int] | None = None) -> None:
        self.places = places

    def seen_at(self, place: int) -> bool:
        return self.places is None or place in self.places

    def in_frame(self, sender: int, start_ns: int, bit_ns: int, bits: int) -> list[int]:
        """Which bits of a frame are hit, the sender's place given: `bits` of them, the last the last one of EOF."""
        raise NotImplementedError

    def in_delimiter(self, start_ns: int, bit_ns: int, bits: int) -> list[int]:
        """Which bits of an error delimiter are hit."""
        return []


class Noise(Disturbance):
    """Every bit is hit with the probability `rate`, always or only in windows `on_ns` long that begin every `every_ns`.

    Gaps between hits are geometric. They are drawn digit by digit: P(gap = g) = p q^g is a product over the binary digits of
    g, so digit k is one with the probability q^(2^k) / (1 + q^(2^k)), whatever the others are. That takes no logarithm, so it
    is the same on any machine. Only bits that somebody sends are counted; the distribution has no memory, so none is missed.
    """

    __slots__ = ("begin_ns", "draw", "every_ns", "gap", "odds", "on_ns")

    def __init__(
        self,
        rate: float,
        draw: Callable[[], float],
        places: frozenset[int] | None = None,
        *,
        begin_ns: int = 0,
        on_ns: int = 0,
        every_ns: int = 0,
    ) -> None:
        super().__init__(places)
        self.draw = draw
        self.begin_ns = begin_ns
        self.on_ns = on_ns
        """0: always on."""
        self.every_ns = every_ns
        """0: one window only."""
        self.odds = []
        power = 1.0 - rate
        for _ in range(_DIGITS):
            self.odds.append(power / (1.0 + power))
            power *= power
        self.gap = self._next_gap()

    def _next_gap(self) -> int:
        draw = self.draw
        gap = 0
        for digit, odds in enumerate(self.odds):
            if draw() < odds:
                gap |= 1 << digit
        return gap

    def _in_window(self, begin_ns: int, end_ns: int) -> bool:
        """Does any of the time from `begin_ns` up to, without, `end_ns` lie in a window?"""
        if not self.on_ns:
            return True
        if end_ns <= self.begin_ns:
            return False
        into_ns = begin_ns - self.begin_ns
        if into_ns < 0 or into_ns < self.on_ns:
            return True
        if not self.every_ns:
            return False
        into_ns %= self.every_ns
        return into_ns < self.on_ns or into_ns + end_ns - begin_ns > self.every_ns

    def in_delimiter(self, start_ns: int, bit_ns: int, bits: int) -> list[int]:
        hit = []
        for bit in range(bits):
            if self._in_window(start_ns + bit * bit_ns, start_ns + (bit + 1) * bit_ns):
                if self.gap == 0:
                    hit.append(bit)
                    self.gap = self._next_gap()
                else:
                    self.gap -= 1
        return hit

    def in_frame(self, sender: int, start_ns: int, bit_ns: int, bits: int) -> list[int]:
        if self.on_ns:
            return self.in_delimiter(start_ns, bit_ns, bits)
        hit = []
        while self.gap < bits:
            hit.append(self.gap)
            self.gap += 1 + self._next_gap()
        self.gap -= bits
        return hit


class SenderNoise(Noise):
    """Noise in the frames of one place, seen by everybody who hears them; it is `sender`'s clock that is wrong, or its wires."""

    __slots__ = ("sender",)

    def __init__(self, sender: int, rate: float, draw: Callable[[], float]) -> None:
        super().__init__(rate, draw)
        self.sender = sender

    def in_frame(self, sender: int, start_ns: int, bit_ns: int, bits: int) -> list[int]:
        return super().in_frame(sender, start_ns, bit_ns, bits) if sender == self.sender else []

    def in_delimiter(self, start_ns: int, bit_ns: int, bits: int) -> list[int]:
        return []


class Chatter(Noise):
    """Garbage that a node drives, at whoever hears it, while it has its supply."""

    __slots__ = ("source", "wiring")

    def __init__(self, source: Controller, wiring: Wiring, rate: float, draw: Callable[[], float]) -> None:
        super().__init__(rate, draw)
        self.source = source
        self.wiring = wiring

    def seen_at(self, place: int) -> bool:
        return bool(self.source.host.powered) and self.wiring.hears(place, self.source.place)


class HitBit(Disturbance):
    """One bit of every n-th frame, counted from the end: 1 is the last bit of EOF, 2 the last but one.

    Of frames that none of `places` sends, or, `own`, that one of them does.
    """

    __slots__ = ("every", "from_end", "own", "passed")

    def __init__(self, from_end: int, every: int = 1, places: frozenset[int] | None = None, *, own: bool = False) -> None:
        super().__init__(places)
        self.from_end = from_end
        self.own = own
        self.every = every
        self.passed = 0

    def in_frame(self, sender: int, start_ns: int, bit_ns: int, bits: int) -> list[int]:
        if self.places is not None and (sender in self.places) != self.own:
            return []
        self.passed += 1
        if self.passed < self.every:
            return []
        self.passed = 0
        return [bits - self.from_end]
