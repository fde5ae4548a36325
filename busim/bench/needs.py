"""What a stimulus may need of machinery, people, boat and adapter: what can't be had is not exercised, and so never passed."""

from collections.abc import Iterable
from typing import Final

from busim import bench_labels as labels
from busim.bench.order import BAND, RIG, SIMULATED, Order
from busim.units import MS

MACHINERY: Final = "machinery"
"""Something that moves, real or simulated, reaches the device."""
TWO_STATIONS: Final = "two stations"
SUPPLY: Final = "supply"
"""The device's supply can be switched: by a hand, or by the simulation."""
HAND: Final = "a hand"
PLAYED: Final = "played machinery"
"""What the device measures of its machinery is the bench's to say."""
TIMELY: Final = "timely"
"""The adapter is quick enough that what is timed by it means something."""
FULL_BUS: Final = "a full bus"
"""The adapter takes as many frames as fill the bus: known only when it was tried."""
OF_THE_ADAPTER: Final = (TIMELY, FULL_BUS)
SLOWEST_NS: Final = 50 * MS
"""A way to the adapter and back that takes longer is a fifth of a control timeout: nothing is timed by it."""


def lacking(needs: Iterable[str], order: Order, *, simulated: bool, stations: int, round_trip_ns: int) -> list[str]:
    """What is not there, in words. `simulated`: the device is; `stations`: how many may take it."""
    there = {
        MACHINERY: order.machinery in (SIMULATED, BAND, RIG),
        PLAYED: order.machinery in (SIMULATED, BAND),
        TWO_STATIONS: stations > 1,
        SUPPLY: simulated or order.hands,
        HAND: simulated or order.hands,
        TIMELY: round_trip_ns <= SLOWEST_NS,
    }
    return [labels.LACKS[need] for need in needs if not there.get(need, True)]


def wanted_of_adapter(needs: Iterable[str]) -> list[str]:
    """In words."""
    return [labels.NEEDS[need] for need in needs if need in OF_THE_ADAPTER]
