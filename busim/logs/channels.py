"""Which channel of a log is which bus of the boat: as told, else by name, else by who sends on it."""

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Final

from busim import labels
from busim.logs.frame import PLAIN, LogFrame
from busim.protocol.ids import HELM_ADDRESSES
from busim.protocol.plan import WirePlan
from busim.reading.problem import InputError, Problem, quoted, suggestion

OPTION: Final = Path("--bus")


def told_channels(texts: Iterable[str], plan: WirePlan) -> dict[str, int]:
    """`CHANNEL=BUS` as given, as channel -> number of the bus. Errors: InputError."""
    names = [name for name, _, _ in plan.buses]
    told: dict[str, int] = {}
    problems = []
    for text in texts:
        channel, mark, bus = text.rpartition("=")
        if not mark:
            problems.append(labels.BUS_UNWRITTEN.format(text=quoted(text)))
        elif bus not in names:
            problems.append(labels.BUS_UNKNOWN.format(bus=quoted(bus), meant=suggestion(bus, names, otherwise="this boat has")))
        elif channel in told:
            problems.append(labels.BUS_TWICE.format(channel=quoted(channel)))
        else:
            told[channel] = names.index(bus)
    if problems:
        raise InputError(Problem(OPTION, None, None, words) for words in problems)
    return told


class Channels:
    """Channel -> number of its bus. What is not told is found out from the first frames, and `words` says how."""

    def __init__(self, plan: WirePlan, told: Mapping[str, int]) -> None:
        self.plan = plan
        self.names = [name for name, _, _ in plan.buses]
        self.of = dict(told)
        self.why: dict[str, str] = dict.fromkeys(told, labels.CHANNEL_TOLD)

    def learn(self, frames: Iterable[LogFrame]) -> None:
        """Give every channel of these frames its bus."""
        senders: dict[str, set[int]] = {}
        for _, channel, kind, can_id, _ in frames:
            if channel not in self.of:
                heard = senders.setdefault(channel, set())
                if kind == PLAIN:
                    heard.add(can_id & 0x3F)
        for channel in list(senders):
            if channel in self.names:
                self._take(channel, self.names.index(channel), labels.CHANNEL_NAMED)
                del senders[channel]
        # The channel that can be told best first, and no bus twice while there is another.
        while senders:
            free = [number for number in range(len(self.names)) if number not in self.of.values()] or list(range(len(self.names)))
            score, channel, bus = max(
                ((self._score(heard, number), name, -number) for name, heard in senders.items() for number in free),
            )
            self._take(channel, -bus, labels.CHANNEL_SENDERS if score > 0 else labels.CHANNEL_LEFT)
            del senders[channel]

    def bus_of(self, channel: str) -> int:
        """Of a channel that may be new."""
        if channel not in self.of:
            self.learn([(0, channel, PLAIN, 0, b"")])
        return self.of[channel]

    def _score(self, heard: set[int], number: int) -> int:
        """Those who send here and are on that bus, less those who are not; helm nodes count double."""
        members = set(self.plan.buses[number][2])
        known = {address for address, _, _ in self.plan.nodes}
        return sum((2 if address in HELM_ADDRESSES else 1) * (1 if address in members else -1) for address in heard & known)

    def _take(self, channel: str, bus: int, why: str) -> None:
        self.of[channel] = bus
        self.why[channel] = why

    def words(self) -> list[str]:
        """A line a channel; nothing for one that is called as its bus."""
        return [
            labels.CHANNEL_IS.format(channel=quoted(channel) if channel else labels.CHANNEL_NAMELESS, bus=self.names[bus], why=why)
            for channel, bus in self.of.items()
            if (why := self.why[channel]) != labels.CHANNEL_NAMED
        ]
