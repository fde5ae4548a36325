"""Who is heard: nodes by their heartbeats. When each started, fell silent and came back, and with which fingerprints.

Silence is noticed when the next frame comes, of whomever; nothing else moves a log's clock.
"""

from collections.abc import Callable

from busim import labels
from busim.events import bits
from busim.events.journal import Journal
from busim.events.situation import Situation
from busim.logs.tell import Teller
from busim.requirements.in_a_log import Doubt
from busim.units import MS

STARTING = 0
FIRST_COUNTERS = 3
"""A counter this low after a silence is of a node that counts anew."""


class Heard:
    """One node. `heard_ns`: its last heartbeat; None before the first."""

    __slots__ = ("counter", "heard_ns", "name", "silent", "starting")

    def __init__(self, name: str) -> None:
        self.name = name
        self.heard_ns: int | None = None
        self.counter = -1
        self.starting = False
        self.silent = False


class Roster(Teller):
    """`say(at_ns, words)` is given what is to be read. `strangers`: node -> fingerprints it sent that are not this boat's."""

    def __init__(self, journal: Journal, doubt: Doubt, situation: Situation, say: Callable[[int, str], None]) -> None:
        super().__init__(journal, doubt)
        self.situation = situation
        self.say = say
        plan = situation.plan
        self.missing_ns = plan.timing.heartbeat_missing_ms * MS
        self.own = plan.helm_fingerprint, plan.lighting_fingerprint
        self.nodes = {address: Heard(name) for address, name, _ in plan.nodes}
        self.strangers: dict[str, tuple[int, int]] = {}
        for address in self.nodes:
            journal.watch_frames(bits.CODE_HEARTBEAT << 6 | address, self._heartbeat)

    def _heartbeat(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        heard = self.nodes[can_id & 0x3F]
        counter = data[1] if len(data) > 1 else -1
        if counter == heard.counter or not bits.sound(can_id, data):
            return  # the same again by its other bus
        whole = int.from_bytes(data, "big")
        starting = bits.field(whole, bits.HEARTBEAT_STATE) == STARTING
        anew = counter <= FIRST_COUNTERS and (counter - heard.counter) % 256 > FIRST_COUNTERS
        before_ns, was_starting = heard.heard_ns, heard.starting
        heard.heard_ns, heard.counter, heard.starting = now_ns, counter, starting
        if heard.silent:
            heard.silent = False
            self.say(now_ns, labels.HEARD_AGAIN.format(node=heard.name))
        self.situation.running.add(heard.name)
        if (starting and not was_starting) or (before_ns is not None and anew):
            cause = bits.field(whole, bits.HEARTBEAT_CAUSE)
            self.tell(now_ns, 0 if before_ns is None else now_ns - before_ns, "start", heard.name, cause)
        self._fingerprints(now_ns, heard, whole)

    def _fingerprints(self, now_ns: int, heard: Heard, whole: int) -> None:
        sent = bits.field(whole, bits.HEARTBEAT_HELM), bits.field(whole, bits.HEARTBEAT_LIGHTING)
        if sent != self.own and self.strangers.get(heard.name) != sent:
            self.strangers[heard.name] = sent
            self.say(now_ns, labels.STRANGE_FINGERPRINT.format(node=heard.name, helm=sent[0], lighting=sent[1]))

    def look(self, now_ns: int) -> None:
        """To be called every now and then: who has fallen silent?"""
        for heard in self.nodes.values():
            if heard.heard_ns is not None and not heard.silent and now_ns - heard.heard_ns > self.missing_ns:
                heard.silent = True
                self.situation.running.discard(heard.name)
                self.say(heard.heard_ns + self.missing_ns, labels.NOT_HEARD.format(node=heard.name, ms=self.missing_ns // MS))

    def never(self) -> list[str]:
        return [heard.name for heard in self.nodes.values() if heard.heard_ns is None]
