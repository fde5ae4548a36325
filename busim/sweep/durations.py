"""How long a fault lasts: one frame, shares and multiples of the control timeout, again and again, for good."""

from typing import Any, Final

from busim.boat.model import BoatFile
from busim.faults.fault import Fault
from busim.units import MS, SECOND

PERMANENT: Final = "permanent"
REPEATING: Final = "repeating"
ONCE: Final = "once"
FRAME: Final = "one frame"
SHARES: Final = {"0.5 timeout": 500, "0.9 timeout": 900, "1.1 timeouts": 1100, "3 timeouts": 3000}
"""In thousandths of the control timeout."""
BRIEF: Final = (FRAME, *SHARES)
LASTING: Final = (PERMANENT, *BRIEF, REPEATING)

_LONGEST_FRAME_BITS: Final = 132
"""SOF to the end of the end-of-frame field of eight bytes with every stuff bit there can be (ISO 11898-1: 34 + 64 bits can be
stuffed, one in four after the first; 10 are not)."""
_TIMES: Final = 5
_RESET_EVERY_MS: Final = 700
"""Once the program is up again after the one before."""
_BY_ITSELF: Final = ("intermittent", "noise_burst", "cranking_dip")
"""Faults that have their own course in time: they are left to it."""

Spans = tuple[tuple[int, int | None], ...]
"""(begins, ends) in ns from the first moment; None: never."""


def durations_of(fault: Fault) -> tuple[str, ...]:
    """The first is the one that tells most."""
    if not fault.lasts:
        return (ONCE, REPEATING)
    return (PERMANENT,) if fault.name in _BY_ITSELF or fault.from_start else LASTING


def spans(boat: BoatFile, fault: Fault, place: Any, duration: str) -> Spans:
    timeout_ns = boat.timing.control_timeout_ms * MS
    if duration in (ONCE, PERMANENT):
        return ((0, None),)
    if duration == FRAME:
        return ((0, frame_ns(boat, place)),)
    if duration == REPEATING and not fault.lasts:
        return tuple((number * _RESET_EVERY_MS * MS, None) for number in range(_TIMES))
    if duration == REPEATING:
        on_ns = timeout_ns * 6 // 10
        return tuple((number * 2 * on_ns, (number * 2 + 1) * on_ns) for number in range(_TIMES))
    return ((0, timeout_ns * SHARES[duration] // 1000),)


def frame_ns(boat: BoatFile, place: Any) -> int:
    """As long as the longest frame takes on the bus the place is on, or on the slowest of the boat's."""
    bus = getattr(place, "bus", None)
    rates = [boat.buses[bus].bit_rate] if bus in boat.buses else [each.bit_rate for each in boat.buses.values()]
    return _LONGEST_FRAME_BITS * SECOND // min(rates)
