"""What every node of ours does, whatever its kind: heartbeat and identity."""

from types import FunctionType
from typing import Any

from busim.protocol.catalogue import HEARTBEAT, IDENTITY, PROTOCOL_VERSION
from busim.protocol.codec import seal, template_of
from busim.protocol.plan import WirePlan
from busim.protocol.values import NODE_STARTING, NODE_WORKING
from busim.seam import NOTHING, QUEUE, SEND, Action, Actions, Node
from busim.units import MS, NEVER, SECOND
from nodes.memory import MEMORY

SOFTWARE = (0, 1, 0)
KIND_NUMBERS = {"station": 1, "drive": 2, "panel": 3, "zone_driver": 4, "rudder": 5, "cutout": 6, "alarm": 7, "navigation": 8}


def following(due_ns: int, period_ns: int, now_ns: int) -> int:
    """The next moment of a periodic task that was due: a program that hung for a while skips what it missed."""
    due_ns += period_ns
    return due_ns if due_ns > now_ns else now_ns + period_ns


class Member(Node):
    """A node that beats. Subclasses set `task_ran` in their main task: without it, no heartbeat goes out."""

    __slots__ = (
        "address", "beat_counter", "beat_due_ns", "beat_id", "beat_period_ns", "beat_templates", "build", "buses",
        "helm_buses", "identity_due_ns", "plan", "task_ran", "timing", "working",
    )  # fmt: skip

    memory = MEMORY

    def __init_subclass__(cls, **options: Any) -> None:
        """Give each kind its own copy of `beat`: the interpreter remembers in the code where an attribute of the last class it
        met is kept, and in one copy, run by all kinds in turn, would remember in vain (3 % of a run)."""
        super().__init_subclass__(**options)
        beat = cls.beat
        if isinstance(beat, FunctionType):
            copy = FunctionType(beat.__code__.replace(), beat.__globals__, beat.__name__, beat.__defaults__, beat.__closure__)
            setattr(cls, "beat", copy)  # noqa: B010 - mypy takes an assignment for a change of what `beat` is

    def __init__(self, plan: WirePlan, address: int, build: int = 1) -> None:
        super().__init__()
        self.plan = plan
        self.timing = plan.timing
        self.address = address
        self.build = build
        self.buses = plan.buses_of(address)
        self.helm_buses = plan.helm_buses_of(address)
        self.beat_id = HEARTBEAT.can_id(address)
        self.beat_counter = 0
        self.beat_due_ns = NEVER
        self.beat_period_ns = self.timing.heartbeat_ms * MS
        self.identity_due_ns = NEVER
        self.beat_templates = (0, 0)
        """What its heartbeat says while it starts, and once it works."""
        self.task_ran = True
        self.working = False

    def on_start(self, now_ns: int, reset_cause: int) -> Actions:
        self.beat_templates = (self._beat_template(NODE_STARTING, reset_cause), self._beat_template(NODE_WORKING, reset_cause))
        self.beat_due_ns = now_ns
        self.identity_due_ns = now_ns
        self.deadline_ns = now_ns
        return NOTHING

    def _beat_template(self, state: int, reset_cause: int) -> int:
        plan = self.plan
        fingerprints = plan.helm_fingerprint, plan.lighting_fingerprint
        return template_of(HEARTBEAT.pack(self.beat_id, 0, state, reset_cause, *fingerprints, self.build))

    def send(self, can_id: int, data: bytes, drop_after_ns: int) -> list[Action]:
        """One frame for the helm, in its own mailbox."""
        return [(SEND, bus, can_id, data, drop_after_ns) for bus in self.helm_buses]

    def queue(self, can_id: int, data: bytes, drop_after_ns: int) -> list[Action]:
        """One frame on every bus this node is on, behind what waits."""
        return [(QUEUE, bus, can_id, data, drop_after_ns) for bus in self.buses]

    def beat(self, now_ns: int) -> list[Action]:
        """Heartbeat and identity, where they are due. The heartbeat waits for the main task to have run since the last one."""
        actions: list[Action] = []
        if now_ns >= self.beat_due_ns:
            period_ns = self.beat_period_ns
            self.beat_due_ns = due_ns = self.beat_due_ns + period_ns
            if due_ns <= now_ns:
                self.beat_due_ns = now_ns + period_ns
            if self.task_ran:
                self.task_ran = False
                self.beat_counter = counter = self.beat_counter + 1 & 0xFF
                data = seal(self.beat_templates[self.working], counter)
                for bus in self.buses:
                    actions.append((SEND, bus, self.beat_id, data, period_ns))
        if now_ns >= self.identity_due_ns:
            self.identity_due_ns = following(self.identity_due_ns, SECOND, now_ns)
            kind = next((KIND_NUMBERS.get(kind, 0) for address, _, kind in self.plan.nodes if address == self.address), 0)
            actions += self.queue(IDENTITY.can_id(self.address), IDENTITY.pack(PROTOCOL_VERSION, kind, *SOFTWARE), SECOND)
        return actions
