"""Bursts of noise: a starter motor, a radio that transmits, a relay that chatters."""

from typing import Any

from pydantic import Field

from busim.boat.model import Section, Words
from busim.bus.noise import Noise
from busim.faults.noise_rate import NoiseFault
from busim.units import US

_HALF: float = 0.5


class BurstPlace(Section):
    bus: Words
    burst_us: int = Field(default=5000, ge=1, le=10_000_000, description="how long a burst lasts")
    every_us: int = Field(default=0, ge=0, le=100_000_000, description="from the start of one to that of the next; 0: one only")
    nodes: tuple[Words, ...] = Field(default=(), description="the nodes that see it; left out: all")


class NoiseBurst(NoiseFault):
    name = "noise_burst"
    words = "bursts of noise on a bus"
    effect = "in a burst half of all bits read as their opposite, so no frame gets through it"
    assumption = True
    place = BurstPlace

    def noise(self, now_ns: int, place: Any, draw: Any, places: frozenset[int] | None) -> Noise:
        return Noise(_HALF, draw, places, begin_ns=now_ns, on_ns=place.burst_us * US, every_ns=place.every_us * US)
