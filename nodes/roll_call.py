"""Whom a listener hears of helm and navigation nodes, and what silence means: one node, everybody beyond a place of a bus, or all.

A node counts as missing once nothing of it was heard for `heartbeat_missing_ms`; one that was never heard, so long after this
node's own start. Everything here is this node's own reception; the order of nodes along each trunk is the plan's.
"""

from typing import Final

from busim.protocol.alarms import BY_NAME, TOGETHER_MS
from busim.protocol.catalogue import HEARTBEAT
from busim.protocol.codec import CONTENT_BITS, INVALID, check
from busim.protocol.counter import ACCEPTED, CounterWatch, PairWatch, counter_watch
from busim.protocol.ids import ADDRESS_MASK, HELM_ADDRESSES
from busim.protocol.plan import WirePlan
from busim.seam import NOTHING, Actions
from busim.units import MS, NEVER

HEARS_NOTHING: Final = BY_NAME["hears_nothing"].number
BUS_LOST_BEYOND: Final = BY_NAME["bus_lost_beyond"].number
NODE_LOST: Final = BY_NAME["node_lost"].number
OTHER_BOAT_FILE: Final = BY_NAME["other_boat_file"].number
ONE_BUS_LOST: Final = BY_NAME["one_bus_lost"].number

_FINGERPRINT_AT, _FINGERPRINT_MASK = HEARTBEAT.place("helm_fingerprint")

ONE_FURTHER: Final = 1 << CONTENT_BITS
NOT_EXPECTED: Final = -2
"""What `check` never returns."""

Cause = tuple[int, int]
"""(number of the alarm, address it is about)."""


class Presence:
    """One other node. `heard_ns`: bus -> when its heartbeat came by it last; `missing`: the buses it is missing on."""

    __slots__ = ("back_ns", "counter", "expected", "heard_ns", "missing", "pair", "same_boat")

    def __init__(self, counter: CounterWatch, buses: tuple[int, ...]) -> None:
        self.counter = counter
        self.pair = counter if isinstance(counter, PairWatch) else None
        """The same where it is heard on several buses."""
        self.heard_ns = dict.fromkeys(buses, -NEVER)
        self.missing: tuple[int, ...] = ()
        self.same_boat = True
        self.back_ns = -NEVER
        """Since when it has been there without a break."""
        self.expected = NOT_EXPECTED
        """The next heartbeat of one that is there, on its only bus: the content of the last, counted one further."""

    @property
    def gone(self) -> bool:
        return len(self.missing) == len(self.heard_ns)

    def heard_by(self, now_ns: int, bus: int, counter: int) -> bool:
        """Note a heartbeat; True where it is a new one. One that only the other bus of a pair brought first shows that this bus is
        sound."""
        pair = self.pair
        if pair is None:
            if self.counter.judge(counter) != ACCEPTED:
                return False
            self.heard_ns[bus] = now_ns
            return True
        of_bus = pair.buses[bus]
        before = of_bus.last
        new = pair.judge(counter, bus, now_ns) == ACCEPTED
        if of_bus.last != before:
            self.heard_ns[bus] = now_ns
        return new


class RollCall:
    __slots__ = (
        "address", "causes", "changed_ns", "due_ns", "fingerprint", "helm", "members", "missing_ns", "parents", "settle_ns",
        "trunks",
    )  # fmt: skip

    def __init__(self, plan: WirePlan, address: int) -> None:
        self.address = address
        self.fingerprint = plan.helm_fingerprint
        self.missing_ns = plan.timing.heartbeat_missing_ms * MS
        self.settle_ns = 2 * plan.timing.heartbeat_ms * MS
        """Nodes behind one cut are found missing one after another, as their heartbeats would have come."""
        mine = plan.buses_of(address)
        self.trunks = {bus: plan.roll_of(bus) for bus in mine}
        self.members: dict[int, Presence] = {}
        for other in sorted({each for trunk in self.trunks.values() for each in trunk} - {address}):
            shared = tuple(bus for bus in mine if other in self.trunks[bus])
            self.members[other] = Presence(counter_watch(plan, address, other, HEARTBEAT), shared)
        self.helm = [presence for other, presence in self.members.items() if other in HELM_ADDRESSES]
        self.due_ns = NEVER
        self.changed_ns = 0
        """When somebody was found missing, or heard again, last."""
        self.causes: tuple[Cause, ...] = ()
        """What there is to alarm."""
        self.parents: dict[Cause, Cause] = {}
        """Under which of them another one stands."""

    def heartbeat_ids(self) -> list[tuple[int, int]]:
        return [(bus, HEARTBEAT.can_id(other)) for other, presence in self.members.items() for bus in presence.heard_ns]

    def start(self, now_ns: int) -> None:
        self.changed_ns = now_ns
        for presence in self.members.values():
            presence.heard_ns = dict.fromkeys(presence.heard_ns, now_ns)
            presence.back_ns = now_ns
        self.due_ns = now_ns + self.missing_ns if self.members else NEVER

    def hear(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        """A heartbeat: of all that a node hears, most are this, and most of them say nothing but that it is still there."""
        word = check(can_id, data)
        presence = self.members[can_id & ADDRESS_MASK]
        if word == presence.expected:
            presence.expected = word + ONE_FURTHER
            presence.counter.last = word >> CONTENT_BITS
            presence.heard_ns[bus] = now_ns
            return NOTHING
        presence.expected = NOT_EXPECTED
        if word == INVALID or not presence.heard_by(now_ns, bus, word >> CONTENT_BITS):
            if presence.missing:
                self.due_ns = now_ns
            return NOTHING
        # What a navigation node does hangs on nothing of the helm's.
        same_boat = word >> _FINGERPRINT_AT & _FINGERPRINT_MASK == self.fingerprint or can_id & ADDRESS_MASK not in HELM_ADDRESSES
        if same_boat != presence.same_boat or presence.missing:
            presence.same_boat = same_boat
            self.due_ns = now_ns
        elif presence.pair is None:
            presence.expected = word + ONE_FURTHER
        return NOTHING

    def is_gone(self, address: int) -> bool:
        presence = self.members.get(address)
        return presence is not None and presence.gone

    def back_since_ns(self, address: int) -> int:
        presence = self.members.get(address)
        return presence.back_ns if presence is not None else -NEVER

    # ------------------------------------------------------------------------------------------------ looking

    def look(self, now_ns: int) -> None:
        """Find out who is missing and what to alarm; to be called once `due_ns` has come."""
        due_ns = NEVER
        quiet = not self.causes and not self.parents
        for presence in self.members.values():
            before = presence.missing
            missing: list[int] = []
            for bus, heard_ns in presence.heard_ns.items():
                gone_ns = heard_ns + self.missing_ns
                if gone_ns <= now_ns:
                    missing.append(bus)
                elif gone_ns < due_ns:
                    due_ns = gone_ns
            if not missing and not before:
                quiet = quiet and presence.same_boat
                continue
            quiet = False
            presence.missing = tuple(missing)
            presence.expected = NOT_EXPECTED
            if presence.missing != before:
                self.changed_ns = now_ns
                if len(before) == len(presence.heard_ns):
                    presence.back_ns = now_ns
        settled_ns = self.changed_ns + self.settle_ns
        self.due_ns = min(due_ns, settled_ns) if now_ns < settled_ns else due_ns
        if not quiet:
            self._name(now_ns >= settled_ns)

    def _name(self, settled: bool) -> None:
        before = {child: parent for child, parent in self.parents.items() if parent[0] in (BUS_LOST_BEYOND, ONE_BUS_LOST)}
        self.parents = {}
        causes: list[Cause] = []
        if self.helm and all(presence.gone for presence in self.helm):
            causes.append((HEARS_NOTHING, self.address))
            gone = [address for address, presence in self.members.items() if presence.gone]
            self.parents = {(NODE_LOST, address): (HEARS_NOTHING, self.address) for address in gone}
        for address, presence in self.members.items():
            if presence.gone:
                causes.append((NODE_LOST, address))
            elif presence.missing:
                causes.append((ONE_BUS_LOST, address))
            if not presence.same_boat:
                causes.append((OTHER_BOAT_FILE, address))
        if not settled:
            # What was grouped stays so until it is known what became of it.
            causes += before.values()
            self.parents = before | self.parents
        elif (HEARS_NOTHING, self.address) not in causes:
            for bus in self.trunks:
                self._name_beyond(bus, causes)
        self.causes = tuple(dict.fromkeys(causes))

    def _name_beyond(self, bus: int, causes: list[Cause]) -> None:
        """Everybody missing on a bus whom the rest of it is heard without: one alarm, the others under it."""
        trunk = self.trunks[bus]
        here = trunk.index(self.address)
        others = [address for address in trunk if address != self.address]
        silent = {address: self.members[address].heard_ns[bus] for address in others if bus in self.members[address].missing}
        if len(silent) == len(others) > 1:  # nobody at all by this bus of several
            self._group((ONE_BUS_LOST, self.address), list(silent), causes)
            return
        for outwards in (trunk[here + 1 :], trunk[:here][::-1]):
            lost: list[int] = []
            for address in reversed(outwards):
                times = [silent[each] for each in (*lost, address) if each in silent]
                if address not in silent or max(times) - min(times) > TOGETHER_MS * MS:
                    break
                lost.insert(0, address)
            newest_ns = max((silent[address] for address in lost), default=0)
            elsewhere = [each for each in silent if each not in lost and abs(silent[each] - newest_ns) <= TOGETHER_MS * MS]
            if len(lost) > 1 and not elsewhere:
                self._group((BUS_LOST_BEYOND, lost[0]), lost, causes)

    def _group(self, parent: Cause, members: list[int], causes: list[Cause]) -> None:
        causes.append(parent)
        for address in members:
            self.parents[NODE_LOST if self.members[address].gone else ONE_BUS_LOST, address] = parent
