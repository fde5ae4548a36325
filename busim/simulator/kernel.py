"""The kernel: one queue, one loop, one order.

Things happen in order of (time, priority, sequence). At one moment: frames that end there, by bus; then timers, in order of
their key (scenario and faults, machinery, put-off outputs, samples, deadlines, the end of the second); then arbitration.
Keys are given out when the world is built, so nobody who looks on can change the order.
"""

from heapq import heapify, heappop, heappush, heapreplace
from typing import Final

from busim.bus.bus import Bus
from busim.bus.segment import Segment
from busim.host.host import Kernel, Timer
from busim.units import NEVER

KEY_BITS: Final = 16
KEY_MASK: Final = (1 << KEY_BITS) - 1


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

    def run(self, until_ns: int) -> None:
        """Everything up to and including `until_ns`, but for frames that would start at that very moment.

        Running in two pieces is the same as running in one.
        """
        heap = self.heap
        timers = self.timers
        segments = self.segments
        lone = segments[0] if len(segments) == 1 else None
        end_key = until_ns * 2
        while True:
            entry = heap[0]
            due_ns = entry >> KEY_BITS
            if lone is not None:
                first = lone
                first_key = lone.next_key
            else:
                first, first_key = None, entry
                for segment in segments:
                    if segment.next_key < first_key:
                        first, first_key = segment, segment.next_key
            if first_key <= due_ns * 2 and first is not None:
                if first_key > end_key:
                    break
                self.now_ns = now_ns = first_key >> 1
                if first_key & 1:
                    first.arbitrate(now_ns)
                else:
                    first.finish(now_ns)
                continue
            if due_ns > until_ns:
                break
            timer = timers[entry & KEY_MASK]
            if timer.armed_ns != due_ns:
                heappop(heap)
                continue
            self.now_ns = due_ns
            timer.armed_ns = NEVER
            next_ns = timer.fire(due_ns)
            if self.segments is not segments:  # only what timers do can change them
                segments = self.segments
                lone = segments[0] if len(segments) == 1 else None
            if heap[0] is not entry:  # something else was armed for this very moment and goes first
                heap.remove(entry)
                heapify(heap)
                if next_ns < timer.armed_ns:
                    self.arm(timer, next_ns)
            elif next_ns < timer.armed_ns:
                timer.armed_ns = next_ns
                heapreplace(heap, next_ns << KEY_BITS | timer.key)
            else:
                heappop(heap)
        self.now_ns = until_ns
