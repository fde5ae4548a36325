"""What can be known of the rudder: whom it obeys, what it says of itself, where it really is. Part of the situation.

Angles in hundredths of a degree, + is starboard. What is said on the wire is read with the positions of `bits`; fields named
`true_` come from the machinery.
"""

from busim.events import bits
from busim.events.journal import Event, Journal
from busim.protocol.plan import RudderPlan, WirePlan
from busim.units import SECOND

KNOTS_KEPT = 4_000
"""Moments at which it was told to go elsewhere, or came to rest: more than two minutes of a wheel that never rests."""
STEP_CDEG = 5


class RudderView:
    """The rudder, as it can be known. `station` is an address, 0 nobody."""

    __slots__ = (
        "address", "asked_cdeg", "fault", "heard_ns", "knots", "node", "number", "ordered_cdeg", "plan", "power", "sensed_cdeg",
        "station",
    )  # fmt: skip

    def __init__(self, plan: RudderPlan, node: str) -> None:
        self.plan = plan
        self.node = node
        self.address = plan.address
        self.knots: list[tuple[int, int, int]] = [(0, 0, 0)]
        """(at_ns, where it was, where it went), as the machinery said it."""
        self.power = True
        """Its actuator has power, as far as its node has a say in it."""
        self.forget()

    def forget(self) -> None:
        """The node has lost its memory, or nothing was heard yet."""
        self.station = 0
        self.number = 0
        self.fault = 0
        self.heard_ns: int | None = None
        self.asked_cdeg: int | None = None
        self.sensed_cdeg: int | None = None
        self.ordered_cdeg: int | None = None
        """What its node's output orders of the actuator."""

    def true_cdeg(self, at_ns: int) -> int:
        """Where it really was: on a straight way from one moment that was said to the next, after the last at its own speed."""
        knots = self.knots
        index = len(knots) - 1
        while index and knots[index][0] > at_ns:
            index -= 1
        from_ns, start, goal = knots[index]
        if index + 1 < len(knots):
            next_ns, there, _ = knots[index + 1]
            return start + (there - start) * (at_ns - from_ns) // max(next_ns - from_ns, 1)
        way = self.plan.cdeg_per_s * (at_ns - from_ns) // SECOND
        return min(start + way, goal) if goal > start else max(start - way, goal)

    # ------------------------------------------------------------------------------------------------ frames and events

    def attach(self, journal: Journal) -> None:
        journal.watch_frames(bits.CODE_RUDDER_STATE << 6 | self.address, self._state)
        for kind in ("rudder", "power", "start"):
            journal.watch_events(kind, getattr(self, f"_{kind}"))
        journal.watch_outputs(self._output, "rudder", "rudder_power")

    def _state(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        if not bits.sound(can_id, data):
            return
        whole = int.from_bytes(data, "big")
        self.heard_ns = now_ns
        self.station = bits.field(whole, bits.RUDDER_STATION)
        self.number = bits.field(whole, bits.RUDDER_NUMBER)
        self.asked_cdeg = STEP_CDEG * bits.signed_field(whole, bits.RUDDER_ASKED)
        self.sensed_cdeg = STEP_CDEG * bits.signed_field(whole, bits.RUDDER_SENSED)
        self.fault = bits.field(whole, bits.RUDDER_FAULT)

    def _rudder(self, event: Event) -> None:
        self.knots.append((event[0], event[3], event[4]))
        if len(self.knots) > KNOTS_KEPT:
            del self.knots[: KNOTS_KEPT // 2]

    def _output(self, event: Event) -> None:
        _, _, _, node, channel, value = event
        if node == self.node and channel == "rudder":
            self.ordered_cdeg = value
        elif node == self.node and channel == "rudder_power":
            self.power = value > 0

    def _power(self, event: Event) -> None:
        if event[3] == self.node and not event[4]:
            self.forget()

    def _start(self, event: Event) -> None:
        if event[3] == self.node:
            self.forget()


def view_of(plan: WirePlan) -> RudderView | None:
    """None where the boat has no rudder on the bus."""
    if plan.rudder is None:
        return None
    nodes = {address: name for address, name, _ in plan.nodes}
    return RudderView(plan.rudder, nodes[plan.rudder.address])
