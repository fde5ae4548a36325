"""What every requirement is."""

from collections.abc import Collection
from dataclasses import dataclass
from typing import ClassVar, Final

from busim.boat.derive import DriveLimits
from busim.events.journal import Event, Journal
from busim.events.situation import Situation
from busim.protocol.plan import WirePlan
from busim.requirements.in_a_log import NotInALog, Reported, Wire
from busim.requirements.verdict import Tally, Verdict
from busim.units import SECOND

_HANGS: Final = ("hang", "application_dead")
"""Faults, named as in a scenario, in which a program stops and its outputs stay; their place begins with the node."""

TAMPERED: Final = (
    "corrupted", "byte_swapped", "truncated", "stale_mailbox", "frozen_data", "queue_held", "delayed", "replayed",
    "duplicate_address",
)  # fmt: skip
"""Faults in which what a node sends is not what it means, or not when: what it is heard to obey is no ground to judge it by."""


TWO_AT_ONE: Final = ("duplicate_address",)
"""What is heard under one of the two addresses is of two nodes, and under the other nothing."""


def hung_node(event: Event) -> str | None:
    """The node whose program a "fault" event says to stand still, or to go on; None where it is of another fault."""
    fault, place = event[3:5]
    return str(place).partition(",")[0] if fault in _HANGS else None


STRIKES: Final = 2
"""Of a "fault" event: it is over at once, and no event ends it."""


class Trouble:
    """Whether something is broken, as "fault" events have said so far, or struck a while ago: a program starts again, a
    controller comes back from bus-off."""

    STRUCK_NS: Final = 3 * SECOND

    def __init__(self) -> None:
        self.lasting = 0
        """Faults that are on."""
        self.struck_ns = -self.STRUCK_NS
        """When the last one struck that was over at once."""

    def note(self, event: Event) -> None:
        at_ns, begins = event[0], event[5]
        if begins == STRIKES:
            self.struck_ns = at_ns
        else:
            self.lasting += 1 if begins else -1

    def felt(self, now_ns: int) -> bool:
        return self.lasting > 0 or now_ns - self.struck_ns < self.STRUCK_NS


class Spoilt:
    """Of some nodes, those whose frames a fault spoils on their way out, as "fault" events have said so far."""

    def __init__(self, nodes: Collection[str], faults: Collection[str] = TAMPERED) -> None:
        self.nodes = frozenset(nodes)
        self.faults = faults
        self.now: frozenset[str] = frozenset()

    def __contains__(self, node: str) -> bool:
        return node in self.now

    def note(self, event: Event) -> None:
        _, _, _, fault, place, begins = event
        if fault in self.faults:
            concerned = self.nodes.intersection(place.replace(",", " ").split())
            self.now = self.now | concerned if begins else self.now - concerned


@dataclass(frozen=True)
class Context:
    """What requirements are judged against: the boat as its nodes know it, its limits per drive, the situation."""

    plan: WirePlan
    limits: dict[str, DriveLimits]
    situation: Situation
    ride_through_ms: int = 200
    rearm_max_s: int = 10


class Requirement:
    """One requirement over one run. `attach` subscribes it to what it needs, behind the situation; `finish` gives its verdict."""

    id: ClassVar[str]
    words: ClassVar[str]
    hazards: ClassVar[tuple[str, ...]]
    """What happens to somebody where it is not met (see `table.HAZARDS`)."""
    in_a_log: ClassVar[Wire | Reported | NotInALog]
    """What of it a log of frames shows."""
    tally: Tally

    def __init__(self, context: Context) -> None:
        self.context = context
        self.situation = context.situation

    def attach(self, journal: Journal) -> None:
        raise NotImplementedError

    def finish(self, now_ns: int) -> Verdict:
        raise NotImplementedError
