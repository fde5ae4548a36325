"""What a helm node has of its own to alarm, and how it is told: raised, answered, gone.

How a node uses it, all at the pace of its own main task, so that it needs no deadline of its own:

    self.alarms = AlarmRaiser(plan, address)                    # in __init__, and "alarms" in __slots__
    handlers |= self.alarms.receives()                          # in receives()
    actions += self.alarms.tell(now_ns, [ENGINE_CUT] if self.fired else [])     # in the main task: what there is to alarm now

`tell` is given the numbers of all alarms whose cause is there at this moment, and does the rest: it raises what is new, takes
back what is over, repeats, and follows the crew's answers. It raises `two_at_one_address` by itself. In `nodes.memory` the slot is
FIXED: no alarm ever changes what a node does with levers and wheels.
"""

from collections.abc import Iterable
from typing import Final

from busim.protocol.alarms import ANSWER_REPEAT_MS, BY_NAME, CHANGES_SENT, LISTENERS, REPEAT_MS
from busim.protocol.catalogue import ALARM, ALARM_ANSWER, HEARTBEAT
from busim.protocol.codec import INVALID, check, counter_of
from busim.protocol.counter import ACCEPTED, counter_watch
from busim.protocol.ids import address_of
from busim.protocol.plan import WirePlan
from busim.seam import NOTHING, QUEUE, Action, Actions, FrameHandler
from busim.units import MS, NEVER, SECOND
from nodes.alarm_entry import GONE, PUT_RIGHT, Alarm

TWO_AT_ONE_ADDRESS: Final = BY_NAME["two_at_one_address"].number
NOT_HEARD_AGAIN_NS: Final = SECOND


class Raised(Alarm):
    """An alarm of this node's own, and when it is told next."""

    __slots__ = ("due_ns", "times")

    def __init__(self, which: int, about: int, raiser: int) -> None:
        super().__init__(which, about, raiser)
        self.confirmed_ns = NEVER  # nobody has to tell it
        self.due_ns = NEVER
        self.times = 0
        """So often the last change is still to be told."""


class AlarmRaiser:
    __slots__ = (
        "address", "answers", "beat_id", "buses", "counter", "entries", "helm_buses", "last_number", "other_heard_ns", "sees",
    )  # fmt: skip

    def __init__(self, plan: WirePlan, address: int) -> None:
        self.address = address
        self.buses = plan.buses_of(address)
        self.helm_buses = plan.helm_buses_of(address)
        self.beat_id = HEARTBEAT.can_id(address)
        mine = set(self.buses)
        listeners = (other for other, _, kind in plan.nodes if kind in LISTENERS and other != address)
        self.answers = {
            listener: counter_watch(plan, address, listener, ALARM_ANSWER)
            for listener in listeners
            if mine & set(plan.buses_of(listener))
        }
        self.entries: dict[int, Raised] = {}
        """By the number of the alarm: all of them are about this node."""
        self.counter = 0
        self.last_number = 0
        self.other_heard_ns = -NEVER
        """When a heartbeat came under this node's own address."""
        self.sees = 0
        """How often something changed: whoever shows these too looks at it."""

    def receives(self) -> dict[tuple[int, int], FrameHandler]:
        handlers: dict[tuple[int, int], FrameHandler] = {}
        for bus in self.buses:
            handlers[bus, self.beat_id] = self.on_own_address
            handlers |= {(bus, ALARM_ANSWER.can_id(listener)): self.on_answer for listener in self.answers}
        return handlers

    # ------------------------------------------------------------------------------------------------ frames

    def on_own_address(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        """A controller does not receive what it sent itself: this is somebody else's."""
        if check(can_id, data) != INVALID:
            self.other_heard_ns = now_ns
        return NOTHING

    def on_answer(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        word = check(can_id, data)
        if word != INVALID and self.answers[address_of(can_id)].judge(counter_of(word), bus, now_ns) == ACCEPTED:
            self.answer(now_ns, *ALARM_ANSWER.unpack(word))
        return NOTHING

    def answer(self, now_ns: int, which: int, raiser: int, answer: int, number: int) -> None:
        entry = self.entries.get(which)
        if entry is None or raiser != self.address or number != entry.number or answer > 1:
            return
        if entry.answered(now_ns, answer):
            self._changed(now_ns, entry)

    # ------------------------------------------------------------------------------------------------ telling

    def tell(self, now_ns: int, causes: Iterable[int]) -> list[Action]:
        """`causes`: the numbers of all alarms of this node's own whose cause is there now."""
        wanted = list(causes)
        if now_ns - self.other_heard_ns < NOT_HEARD_AGAIN_NS:
            wanted.append(TWO_AT_ONE_ADDRESS)
        if not wanted and not self.entries:
            return []
        for which in wanted:
            entry = self.entries.get(which)
            if entry is None:
                entry = self.entries[which] = Raised(which, self.address, self.address)
            if not entry.stands and entry.event(now_ns, "arises"):
                entry.number = self.last_number = self.last_number + 1 & 0xFF or 1
                self._changed(now_ns, entry)
        actions: list[Action] = []
        for which, entry in list(self.entries.items()):
            if (which not in wanted and entry.stands and entry.event(now_ns, "put_right")) or entry.wake(now_ns):
                self._changed(now_ns, entry)
            if now_ns >= entry.due_ns:
                entry.times -= 1
                actions += self._frame(entry)
                entry.due_ns = now_ns + (ANSWER_REPEAT_MS if entry.times > 0 else REPEAT_MS) * MS
                if not entry.stands and entry.times <= 0:
                    entry.due_ns = NEVER
                    if entry.state == GONE:
                        del self.entries[which]
        return actions

    def _changed(self, now_ns: int, entry: Raised) -> None:
        self.sees = self.sees + 1 & 0xFFFF
        entry.times = CHANGES_SENT
        entry.due_ns = now_ns

    def _frame(self, entry: Raised) -> list[Action]:
        self.counter = self.counter + 1 & 0xFF
        can_id = ALARM.can_id(self.address)
        state = GONE if entry.state == PUT_RIGHT else entry.state
        data = ALARM.pack(can_id, self.counter, entry.which, entry.about, state, entry.priority, entry.number)
        return [(QUEUE, bus, can_id, data, REPEAT_MS * MS) for bus in self.helm_buses]
