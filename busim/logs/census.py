"""Counts what is on the bus: every id on every bus, and what no node of this boat sends, or sends rightly."""

from collections.abc import Iterator
from typing import Final

from busim import labels
from busim.events.bits import sound
from busim.logs.frame import ERROR, EXTENDED, FLEXIBLE, REMOTE
from busim.protocol.catalogue import BOAT_FILE_CODES, MESSAGES
from busim.protocol.page_boat import senders_of
from busim.protocol.plan import WirePlan
from busim.reading.problem import listed

IDS: Final = 2048
SAFETY_IDS: Final = 1024
MOST_NAMED: Final = 8
ODD: Final = {EXTENDED: labels.ODD_EXTENDED, REMOTE: labels.ODD_REMOTE, ERROR: labels.ODD_ERROR, FLEXIBLE: labels.ODD_FLEXIBLE}


class Census:
    """`counts[bus][can_id]`; `lengths[can_id]` is what a frame of that id holds, -1 where this boat has none."""

    def __init__(self, plan: WirePlan) -> None:
        self.plan = plan
        self.node_of = {address: name for address, name, _ in plan.nodes}
        self.lengths = [-1] * IDS
        self.messages: dict[int, str] = {}
        for message in MESSAGES:
            for address, _ in senders_of(message, plan):
                self.lengths[message.can_id(address)] = message.length
                self.messages[message.can_id(address)] = message.name
        self.counts = [[0] * IDS for _ in plan.buses]
        self.spoilt = [0] * IDS
        self.misfits = [0] * IDS
        self.odd = dict.fromkeys(ODD, 0)
        self.odd_ids: dict[int, int] = {}
        """29-bit ids -> how often, as far as there is room."""
        self.frames = 0

    def note_odd(self, kind: int, can_id: int) -> None:
        self.odd[kind] += 1
        if kind == EXTENDED and (can_id in self.odd_ids or len(self.odd_ids) < MOST_NAMED):
            self.odd_ids[can_id] = self.odd_ids.get(can_id, 0) + 1

    def note_unlike(self, can_id: int, data: bytes) -> None:
        """A frame whose length is not its message's."""
        if self.lengths[can_id] >= 0:
            self.misfits[can_id] += 1

    def is_spoilt(self, can_id: int, data: bytes) -> bool:
        if sound(can_id, data):
            return False
        self.spoilt[can_id] += 1
        return True

    # ------------------------------------------------------------------------------------------------ in words

    def words(self) -> Iterator[str]:
        unknown = {
            can_id: count
            for can_id in range(IDS)
            if self.lengths[can_id] < 0 and can_id >> 6 not in BOAT_FILE_CODES and (count := self._of(can_id))
        }
        own = sum(self._of(can_id) for can_id in range(IDS) if can_id >> 6 in BOAT_FILE_CODES)
        if unknown:
            ids = [self._unknown(can_id, count) for can_id, count in sorted(unknown.items(), key=lambda item: -item[1])]
            yield labels.CENSUS_UNKNOWN.format(count=sum(unknown.values()), ids=listed(ids, MOST_NAMED))
        if own:
            yield labels.CENSUS_OWN.format(count=own)
        for words, counts in ((labels.CENSUS_SPOILT, self.spoilt), (labels.CENSUS_MISFITS, self.misfits)):
            named = [self._named(can_id, count) for can_id, count in enumerate(counts) if count and self.lengths[can_id] >= 0]
            if named:
                yield words.format(count=sum(counts), ids=listed(named, MOST_NAMED))
        for kind, count in self.odd.items():
            if count:
                where = listed((f"{can_id:08X} ({times})" for can_id, times in self.odd_ids.items()), MOST_NAMED)
                yield ODD[kind].format(count=count, ids=f", {where}" if kind == EXTENDED else "")
        yield from self._elsewhere()

    def _of(self, can_id: int) -> int:
        return sum(counts[can_id] for counts in self.counts)

    def _unknown(self, can_id: int, count: int) -> str:
        node = self.node_of.get(can_id & 0x3F)
        sender = labels.CENSUS_NODE.format(node=node) if node else labels.CENSUS_NOBODY.format(address=can_id & 0x3F)
        return f"{can_id:03X} ({count}, {sender})"

    def _named(self, can_id: int, count: int) -> str:
        return f"{self.messages[can_id]} of {self.node_of[can_id & 0x3F]} ({count})"

    def _elsewhere(self) -> Iterator[str]:
        """Nodes heard on a bus they are not on: mostly a channel that was taken for another bus."""
        for number, (name, _, members) in enumerate(self.plan.buses):
            others = {can_id & 0x3F for can_id, count in enumerate(self.counts[number]) if count and self.lengths[can_id] >= 0}
            strangers = [self.node_of[address] for address in sorted(others - set(members))]
            if strangers:
                yield labels.CENSUS_ELSEWHERE.format(bus=name, nodes=listed(strangers, MOST_NAMED))
