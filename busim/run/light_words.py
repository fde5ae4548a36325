"""What lamps did, in words: where each came to rest. A fade is a hundred small steps that nobody wants to read."""

from typing import Final

from busim import labels
from busim.boat.model import BoatFile
from busim.events.journal import Event
from busim.units import MS

AT_REST_NS: Final = 60 * MS
"""A fade moves every 10 ms: lamps that have not changed for this long have arrived."""


class LightWords:
    __slots__ = ("channels", "last")

    def __init__(self, boat: BoatFile) -> None:
        self.channels = {
            name: ("warm", "cool") if zone.kind == "tunable_white" else ("red", "green", "blue")
            for name, zone in boat.zones.items()
            if zone.kind in ("colour", "tunable_white")
        }
        self.last: dict[str, Event] = {}

    def take(self, event: Event) -> list[tuple[int, str]]:
        """(at_ns, words) of what this change shows to have come to rest before it."""
        zone = event[3]
        before = self.last.get(zone)
        self.last[zone] = event
        return [self._words(before)] if before is not None and event[0] - before[0] >= AT_REST_NS else []

    def rest(self) -> list[tuple[int, str]]:
        """Where every lamp is that changed at all."""
        return [self._words(event) for event in self.last.values()]

    def _words(self, event: Event) -> tuple[int, str]:
        at_ns, _, _, zone, permille, shares = event
        if not permille:
            return at_ns, labels.LAMP_DARK.format(zone=zone)
        words = labels.LAMP_LIT.format(zone=zone)
        if permille < 1000:
            words = labels.LAMP_LIT_AT.format(zone=zone, level=f"{permille / 10:g}")
        names = self.channels.get(zone, ())
        parts = [f"{name} {(shares >> 8 * place & 0xFF) * 100 // 255} %" for place, name in enumerate(reversed(names))]
        return at_ns, words + (f" ({', '.join(reversed(parts))})" if parts else "")
