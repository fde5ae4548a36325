"""The kernel: one queue, one loop, one order.

Things happen in order of (time, priority, sequence). At one moment: frames that end there, by bus; then timers, in order of
their key (scenario and faults, machinery, put-off outputs, samples, deadlines, the end of the second); then arbitration.
Keys are given out when the world is built, so nobody who looks on can change the order.
"""

from heapq import heapify, heappop, heappush, heapreplace
from operator import attrgetter
from typing import Final

from busim.bus.bus import Bus
from busim.bus.segment import Segment
from busim.host.host import Kernel, Timer
from busim.units import NEVER

KEY_BITS: Final = 16
KEY_MASK: Final = (1 << KEY_BITS) - 1
SEGMENT_SHIFT: Final = KEY_BITS - 1
"""Brings a segment's `next_key` to the scale of the queue's numbers, so that one comparison finds what comes first: the end of
a frame lies before every timer of its moment, arbitration after all of them, as keys of timers stay below 1 << SEGMENT_SHIFT."""

_next_key_of: Final = attrgetter("next_key")


class _NoSegment(Segment):
    """What a loop without a bus looks at: nothing ever starts on it."""

    __slots__ = ()

    def __init__(self) -> None:
        self.next_key = NEVER * 2


class Loop(Kernel):
    __slots__ = ("buses", "heap", "now_ns", "segments", "timers")

    def __init__(self) -> None:
        self.now_ns = 0
        self.heap: list[int] = [NEVER << KEY_BITS]
        """Timers, each as its time and its key in one number: earlier ones, and of those at one moment lower keys, first."""
        self.timers: list[Timer] = []
        self.buses: list[Bus] = []
        self.segments: tuple[Segment, ...] = ()

    def add(self, timer: Timer) -> None:
        """Give a timer its key: timers added earlier come first at equal times."""
        timer.key = len(self.timers)
        self.timers.append(timer)

    def arm(self, timer: Timer, due_ns: int) -> None:
        """`timer` fires at `due_ns`. An entry it had before is dead: the loop sees that its time is not the armed one."""
        timer.armed_ns = due_ns
        heappush(self.heap, due_ns << KEY_BITS | timer.key)

    def gather_segments(self) -> None:
        self.segments = tuple(segment for bus in self.buses for segment in bus.segments)

    def next_ns(self) -> int:
        """When something happens next, or earlier: for who waits in real time. A timer armed anew may still stand where it was."""
        return min([self.heap[0] >> KEY_BITS, *[segment.next_key >> 1 for segment in self.segments]])

    def run(self, until_ns: int) -> None:
        """Everything up to and including `until_ns`, but for frames that would start at that very moment.

        Running in two pieces is the same as running in one.
        """
        heap = self.heap
        timers = self.timers
        segments = self.segments
        first = segments[0] if segments else _NoSegment()
        lone = len(segments) < 2
        end_key = until_ns * 2
        while True:
            entry = heap[0]
            if not lone:
                first = min(segments, key=_next_key_of)
            first_key = first.next_key
            if first_key << SEGMENT_SHIFT <= entry:
                if first_key > end_key:
                    break
                self.now_ns = now_ns = first_key >> 1
                if first_key & 1:
                    first.arbitrate(now_ns)
                else:
                    first.finish(now_ns)
                continue
            due_ns = entry >> KEY_BITS
            if due_ns > until_ns:
                break
            key = entry & KEY_MASK
            timer = timers[key]
            if timer.armed_ns != due_ns:
                heappop(heap)
                continue
            self.now_ns = due_ns
            timer.armed_ns = NEVER
            fire = timer.fire  # a value, not a method: called as one it would be looked for in the class each time
            next_ns = fire(due_ns)
            if self.segments is not segments:  # only what timers do can change them
                segments = self.segments
                first = segments[0] if segments else _NoSegment()
                lone = len(segments) < 2
            if heap[0] is not entry:  # something else was armed for this very moment and goes first
                heap.remove(entry)
                heapify(heap)
                if next_ns < timer.armed_ns:
                    self.arm(timer, next_ns)
            elif next_ns < timer.armed_ns:
                timer.armed_ns = next_ns
                heapreplace(heap, next_ns << KEY_BITS | key)
            else:
                heappop(heap)
        self.now_ns = until_ns
