"""What each drive told its actuators last, and how long they may take over it: for whoever judges a drive by what it ordered.

A gear has half again its actuator's time and 200 ms to go where it was told, and so has a throttle that was told to go to its
stop. What has not gone by then is the actuator's fault and not its drive's: drive.actuator_fault_found judges what follows.
"""

from typing import Final

from busim.boat.derive import DriveLimits
from busim.events.journal import Event, Journal
from busim.events.situation import Situation
from busim.requirements.requirement import hung_node
from busim.units import MS

SPARE_MS: Final = 200


def shift_allowed_ms(limits: DriveLimits) -> int:
    return limits.half_shift_ms * 3 // 2 + SPARE_MS


def throttle_allowed_ms(limits: DriveLimits) -> int:
    return limits.full_throttle_ms * 3 // 2 + SPARE_MS


class Orders:
    def __init__(self, situation: Situation, limits: dict[str, DriveLimits]) -> None:
        self.situation = situation
        self.allowed_ms = {
            channel: {name: allowed(limit) for name, limit in limits.items()}
            for channel, allowed in (("shift", shift_allowed_ms), ("throttle", throttle_allowed_ms))
        }
        self.hung: set[str] = set()
        """Drives whose program stands still: what becomes of them is judged by drive.self_loss, by its own limit."""
        self.told: dict[tuple[str, str], tuple[int, int]] = {}
        """(drive, output) -> what it was told last, and when."""

    def attach(self, journal: Journal) -> None:
        journal.watch_events("output", self._output)
        journal.watch_events("start", self._forget)
        journal.watch_events("power", self._forget)
        journal.watch_events("fault", self._fault)

    def _fault(self, event: Event) -> None:
        node, begins = hung_node(event), event[5]
        drive = self.situation.by_node.get(node) if node is not None else None
        if drive is not None:
            (self.hung.add if begins else self.hung.discard)(drive.name)

    def _output(self, event: Event) -> None:
        at_ns, _, _, node, channel, value = event
        drive = self.situation.by_node.get(node)
        if drive is not None and channel in self.allowed_ms:
            self.told[drive.name, channel] = value, at_ns

    def _forget(self, event: Event) -> None:
        drive = self.situation.by_node.get(event[3])
        if drive is not None:
            self.hung.discard(drive.name)
            for channel in self.allowed_ms:
                self.told.pop((drive.name, channel), None)

    def at_rest_unfollowed(self, name: str, channel: str, by_ns: int, now_ns: int) -> bool:
        """Was this actuator told by then to go to neutral, or to its stop, and so long ago that it should be there?"""
        value, told_ns = self.told.get((name, channel), (-1, now_ns))
        return value == 0 and told_ns <= by_ns and now_ns - told_ns > self.allowed_ms[channel][name] * MS
