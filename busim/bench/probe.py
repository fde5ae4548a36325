"""What is known of the adapter before anything is measured by it: bit rate, round trip, stamps, and whether anybody acknowledges.

`probe` is a generator of a session's course: it yields how long to wait in ns. No clock of its own.
"""

from collections.abc import Callable, Generator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from busim import bench_labels as labels
from busim.bench.slcan import PASSIVE
from busim.bench.wire_trouble import BUS_OFF, NO_ACKNOWLEDGEMENT
from busim.bench.wire_trouble import PASSIVE as SEEN_PASSIVE
from busim.protocol.values import BENCH_ADDRESS
from busim.units import MS

PROBE_ID: Final = 26 << 6 | BENCH_ADDRESS
"""Of a code that no message has: no node acts on it. The probe holds no data."""
WAIT_NS: Final = 100 * MS
"""A frame that nobody acknowledges has been tried so often by then that the controller is error passive: 16 times (Bosch CAN 2.0,
1991, s. 8, rules 3 and 8: 8 for each of them, error passive from 128), 13 ms at 100 kbit/s."""

ACKNOWLEDGED: Final = "acknowledged"
UNACKNOWLEDGED: Final = "unacknowledged"
UNTOLD: Final = "untold"


@dataclass
class Known:
    """`acknowledged` is one of the three above. `lines` are for a person."""

    acknowledged: str
    lines: list[str]


def rate_words(adapter: Any) -> str:
    bit_rate = adapter.wanted.bit_rate
    if adapter.wanted.interface == "socketcan":
        return labels.RATE_OF_LINK.format(bit_rate=bit_rate)
    taken = getattr(adapter.bus, "rate_taken", None)
    words = labels.RATE_TAKEN if taken else labels.RATE_TOLD if taken is None else labels.RATE_UNANSWERED
    return words.format(bit_rate=bit_rate)


def has_a_wire(adapter: Any, links: Path = Path("/sys/class/net")) -> bool:
    """A CAN link without a device behind it is one of this computer alone, where frames come back at once."""
    wanted = adapter.wanted
    return wanted.interface not in ("virtual", "udp_multicast") and (
        wanted.interface != "socketcan" or (links / wanted.channel / "device").exists()
    )


def probe(adapter: Any, send: Callable[[int, bytes], None]) -> Generator[int, str, Known]:
    """Sends one frame and sees what becomes of it. Errors: those of `send` and of the adapter."""
    adapter.look()
    yield WAIT_NS // 2
    _take_flags(adapter)
    echoes, seen = adapter.echoes, dict(adapter.trouble.seen)
    send(PROBE_ID, b"")
    yield WAIT_NS
    adapter.look()
    yield WAIT_NS // 2
    flags = _take_flags(adapter)
    acknowledged = UNTOLD
    newly = {what for what, count in adapter.trouble.seen.items() if count > seen.get(what, 0)}
    if not has_a_wire(adapter):
        pass
    elif newly & {NO_ACKNOWLEDGEMENT, SEEN_PASSIVE, BUS_OFF} or (flags or 0) & PASSIVE:
        acknowledged = UNACKNOWLEDGED
    elif flags is not None or adapter.echoes > echoes:
        acknowledged = ACKNOWLEDGED
    elif adapter.wanted.interface == "socketcan":
        acknowledged = UNACKNOWLEDGED  # a link gives back what went out, and nothing came back
    return Known(acknowledged, [rate_words(adapter), adapter.stamps.words(), labels.ACKNOWLEDGED[acknowledged]])


def _take_flags(adapter: Any) -> int | None:
    """The status flags that were asked for, where the adapter knows any."""
    take = getattr(adapter.bus, "take_status", None)
    flags: int | None = take() if take is not None else None
    adapter.trouble.flags(flags)
    return flags
