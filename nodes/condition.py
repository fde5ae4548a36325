"""The boat's navigation light condition as its nodes keep it: the highest number stands, of two equal ones the lower address.

A station changes it when a panel asks, and says it three times on every change and once a second. Stations that hear the same press
come to the same number and the same condition, each by itself.
"""

from busim.protocol.catalogue import CONDITION, PRESS
from busim.protocol.codec import INVALID, check, counter_of, read_plain
from busim.protocol.counter import ACCEPTED, CounterWatch, counter_watch, newer
from busim.protocol.ids import address_of
from busim.protocol.plan import WirePlan
from busim.protocol.values import (
    CONDITION_AGAIN_MS,
    CONDITION_FORGOTTEN_MS,
    CONDITION_TIMES,
    NAVIGATION_CONDITIONS,
    PRESS_CONDITION,
)
from busim.units import MS, NEVER, SECOND
from nodes.member import following

KNOWN = len(NAVIGATION_CONDITIONS)
CONDITION_FORGOTTEN_NS = CONDITION_FORGOTTEN_MS * MS


class Condition:
    """What one node knows of it. `take` wants every frame of a station."""

    __slots__ = ("address", "condition", "number", "said_ns", "watches")

    def __init__(self, plan: WirePlan, receiver: int) -> None:
        self.condition = 0
        self.number = 0
        """0: none was heard yet."""
        self.address = 0
        self.said_ns = -NEVER
        """When anybody said last what stands."""
        self.watches: dict[int, CounterWatch] = {
            station.address: counter_watch(plan, receiver, station.address, CONDITION)
            for station in plan.stations
            if station.address != receiver
        }

    def take(self, now_ns: int, bus: int, can_id: int, data: bytes) -> bool:
        """Note a frame; True where the condition that stands has changed."""
        condition, number = self.hear(now_ns, bus, can_id, data)
        return number > 0 and self.weigh(now_ns, address_of(can_id), condition, number)

    def hear(self, now_ns: int, bus: int, can_id: int, data: bytes) -> tuple[int, int]:
        """(condition, number) that a frame says; (0, 0) where it counts for nothing."""
        word = check(can_id, data)
        if word == INVALID or self.watches[address_of(can_id)].judge(counter_of(word), bus, now_ns) != ACCEPTED:
            return 0, 0
        condition, number = CONDITION.unpack(word)
        return (condition, number) if condition < KNOWN else (0, 0)

    def weigh(self, now_ns: int, station: int, condition: int, number: int) -> bool:
        """Does what a station says take the place of what stood, and change it? One that nobody says any more holds no other back:
        its stations began anew, and count from 1."""
        if (number, condition) == (self.number, self.condition):
            self.said_ns = now_ns
        forgotten = now_ns - self.said_ns >= CONDITION_FORGOTTEN_NS
        if not (newer(number, self.number) or (number == self.number and station < self.address) or forgotten):
            return False
        self.said_ns = now_ns
        changed = condition != self.condition or not self.number
        self.condition, self.number, self.address = condition, number, station
        return changed


def _after(number: int) -> int:
    """The next number; 0 is none."""
    return (number + 1 & 0xFFFF) or 1


class ConditionKeeper:
    """A station's part: panels ask it, and it tells everybody."""

    __slots__ = ("address", "asked", "counter", "due_ns", "guessed_ns", "known", "repeated_ns", "times")

    def __init__(self, plan: WirePlan, address: int) -> None:
        self.guessed_ns = -NEVER
        """When it was asked before it knew of any condition, and counted from nothing; -NEVER once another station has agreed."""
        self.known = Condition(plan, address)
        self.address = address
        self.asked: dict[int, tuple[int, int]] = {}
        """Panel -> number of the last press that was done, and when."""
        # The last repeat leaves before the press has failed, and may wait one repeat long in the panel's queue.
        self.repeated_ns = (plan.timing.press_failed_ms + plan.timing.press_repeat_ms) * MS
        self.counter = 0
        self.due_ns = NEVER
        self.times = 0
        """So often the last change is still to be said at once."""

    def ask(self, now_ns: int, can_id: int, data: bytes) -> bool:
        """A panel's press; True where it asks for a condition, and there is something to say."""
        word = read_plain(PRESS, data)
        if word == INVALID:
            return False
        press, _, action, condition, _, _ = PRESS.unpack(word)
        if action != PRESS_CONDITION or condition >= KNOWN:
            return False
        self.due_ns = now_ns
        known = self.known
        panel = address_of(can_id)
        before, done_ns = self.asked.get(panel, (-1, 0))
        if before == press and now_ns - done_ns <= self.repeated_ns:
            return True
        self.asked[panel] = (press, now_ns)
        if condition != known.condition or not known.number:
            if not known.number:
                self.guessed_ns = now_ns
            known.number = _after(known.number)
            known.condition, known.address = condition, self.address
            self.times = CONDITION_TIMES
        return True

    def take(self, now_ns: int, bus: int, can_id: int, data: bytes) -> bool:
        """Another station's word; True where there is something new to say. What was asked here before anything was heard is
        younger than what the others go on saying: it gets the number after theirs, or a press that was answered would come to
        nothing."""
        known = self.known
        wished = known.condition
        condition, number = known.hear(now_ns, bus, can_id, data)
        if not number:
            return False
        changed = known.weigh(now_ns, address_of(can_id), condition, number)
        if (known.condition, known.number) == (condition, number):
            if changed and now_ns - self.guessed_ns < CONDITION_FORGOTTEN_NS:
                known.condition, known.address = wished, self.address
                known.number = _after(number)
            self.guessed_ns = -NEVER
        if changed:
            self.due_ns = now_ns
            self.times = CONDITION_TIMES
        return changed

    def say(self, now_ns: int) -> tuple[int, bytes]:
        """The frame that tells it: (id, data)."""
        self.times = max(self.times - 1, 0)
        self.due_ns = now_ns + CONDITION_AGAIN_MS * MS if self.times else following(self.due_ns, SECOND, now_ns)
        self.known.said_ns = now_ns
        self.counter = self.counter + 1 & 0xFF
        can_id = CONDITION.can_id(self.address)
        return can_id, CONDITION.pack(can_id, self.counter, self.known.condition, self.known.number)


