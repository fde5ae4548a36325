"""Controllers and segment against a second model of a bus, written here as plainly as it can be: a list of requests, and the
smallest of those that may start. Frames are hit, too: behind the CRC, where everybody sees the error at once, so that it lasts
6 + 8 + 3 bits (Bosch, CAN Specification 2.0, 1991, part A, ss. 3.1.2, 3.1.5, 7); no more of them than leave all error active.
"""

from dataclasses import dataclass, field

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule

from busim.bus.controller import FIRST_IN_FIRST_OUT
from busim.bus.noise import Disturbance
from busim.bus.reception import TAIL
from busim.frames.layout import TAIL_BITS, wire_bits
from busim.units import SECOND
from tests.unit.small_bus import BIT, SmallBus


class TailHits(Disturbance):
    """Of the frames with these numbers one bit behind the CRC reads wrong to everybody: 0 is the CRC delimiter."""

    __slots__ = ("hits", "started")

    def __init__(self, hits: dict[int, int]) -> None:
        super().__init__()
        self.hits = hits
        self.started = 0

    def in_frame(self, sender: int, start_ns: int, bit_ns: int, bits: int) -> list[int]:
        self.started += 1
        hit = self.hits.get(self.started - 1)
        return [] if hit is None else [bits - len(TAIL) + hit]


@dataclass
class Wanted:
    can_id: int
    number: int
    ready_ns: int
    drop_ns: int
    data: bytes
    mailbox: bool
    flying_until_ns: int = -1


@dataclass
class PlainBus:
    """Whoever is ready when the bus is free: the smallest id. One list per place, in the order of its queue.

    `loaded`: how many of a place's oldest compete, by priority; 1 is first in, first out. `hits`: frames by their number, and
    which bit of their tail everybody sees wrong.
    """

    loaded: list[int]
    hits: dict[int, int]
    started: int = 0
    places: list[list[Wanted]] = field(default_factory=list)
    accepted: list[tuple[int, int, bytes]] = field(default_factory=list)
    free_ns: int = 0

    def alive(self, place: int, one: Wanted, at_ns: int) -> bool:
        overwritten = any(
            other.mailbox and other.can_id == one.can_id and other.number > one.number and other.ready_ns <= at_ns
            for other in self.places[place]
        )
        return one.ready_ns <= at_ns <= one.drop_ns and not overwritten

    def add(self, place: int, wanted: Wanted, now_ns: int) -> None:
        queue = self.places[place]
        if wanted.mailbox:
            for position, other in enumerate(queue):
                waits = other.can_id == wanted.can_id and other.flying_until_ns <= now_ns
                takes_its_place = waits and self.alive(place, other, max(other.ready_ns, wanted.ready_ns))
                if takes_its_place:
                    queue.insert(position + 1, wanted)
                    return
        queue.append(wanted)

    def start(self, before_ns: int) -> bool:
        """One frame that starts before this moment, if there is one."""
        moments = sorted({max(self.free_ns, one.ready_ns) for queue in self.places for one in queue})
        for at_ns in moments:
            if at_ns >= before_ns:
                return False
            offers = []
            for place, queue in enumerate(self.places):
                ready = [one for one in queue if self.alive(place, one, at_ns)]
                if ready:
                    first = min(ready[: self.loaded[place]], key=lambda w: (w.can_id, w.number))
                    offers.append((first.can_id, place, first))
            if offers:
                _, place, best = min(offers, key=lambda offer: offer[0])
                bits = len(wire_bits(best.can_id, best.data)) + TAIL_BITS
                self.started += 1
                if self.started - 1 in self.hits:
                    # The bit itself, then 6 + 8 + 3; it stays the oldest of its place.
                    wrong = bits - TAIL_BITS + self.hits[self.started - 1]
                    self.free_ns = best.flying_until_ns = at_ns + (wrong + 1 + 6 + 8 + 3) * BIT
                    self.places[place].remove(best)
                    self.places[place].insert(0, best)
                    return True
                self.places[place] = [
                    one
                    for one in self.places[place]
                    if one is not best and not (best.mailbox and one.can_id == best.can_id and one.number < best.number)
                ]
                self.accepted.append((at_ns + (bits - 4) * BIT, best.can_id, best.data))
                self.free_ns = at_ns + bits * BIT
                return True
        return False

    def run(self, before_ns: int) -> None:
        while self.start(before_ns):
            pass


class AgainstPlainBus(RuleBasedStateMachine):
    """Every place has ids of its own, everybody is there to acknowledge: only order and times are at stake."""

    @initialize(
        loaded=st.lists(st.sampled_from([1000, 1, 2, 3]), min_size=3, max_size=3),
        delay=st.sampled_from([0, 1, 90 * BIT]),
        hits=st.dictionaries(st.integers(0, 30), st.sampled_from([0, 2, 3, 4, 5, 6, 7]), max_size=10),
    )
    def begin(self, loaded: list[int], delay: int, hits: dict[int, int]) -> None:
        self.small = SmallBus(4, delay_ns=delay)
        self.delay_ns = delay
        for name, count in zip("abc", loaded, strict=True):
            if count == 1:
                self.small.controller(name).queue = FIRST_IN_FIRST_OUT
            elif count < 1000:
                self.small.controller(name).mailboxes = count
        if hits:
            self.small.bus.disturb(0, TailHits(hits))
        self.plain = PlainBus(loaded, hits, places=[[], [], []])
        self.now_ns = 0
        self.number = 0

    @rule(
        place=st.integers(0, 2),
        code=st.integers(0, 3),
        data=st.binary(max_size=3),
        queued=st.booleans(),
        drop_ns=st.sampled_from([0, 30 * BIT, 200 * BIT, SECOND]),
    )
    def submit(self, place: int, code: int, data: bytes, queued: bool, drop_ns: int) -> None:
        # SEND and QUEUE each have ids of their own: the seam does not say what one does to the other.
        can_id = (code << 3 | place << 1 | queued) * 67 % 0x7E0
        self.small.send(self.now_ns, "abc"[place], can_id, data, drop_ns=drop_ns, queued=queued)
        self.plain.run(self.now_ns)
        self.number += 1
        ready_ns = self.now_ns + self.delay_ns
        self.plain.add(place, Wanted(can_id, self.number, ready_ns, ready_ns + drop_ns, data, not queued), self.now_ns)

    @rule(bits=st.integers(0, 150), more_ns=st.sampled_from([0, 0, 1, BIT - 1]))
    def wait(self, bits: int, more_ns: int) -> None:
        self.now_ns += bits * BIT + more_ns

    def teardown(self) -> None:
        if hasattr(self, "small"):
            self.plain.run(self.now_ns + 2 * SECOND)
            self.small.run(self.now_ns + 2 * SECOND)
            assert [(frame[0], frame[2], frame[3]) for frame in self.small.frames] == self.plain.accepted
            assert all(one.segment.contenders == [] for one in self.small.bus.controllers)


TestAgainstPlainBus = AgainstPlainBus.TestCase
TestAgainstPlainBus.settings = settings(
    max_examples=60, stateful_step_count=40, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
