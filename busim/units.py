"""Units of time. The only module that every other one may import.

All times in busim are integer nanoseconds; a name says so by ending in `_ns`.
"""

from typing import Final

US: Final = 1_000
MS: Final = 1_000_000
SECOND: Final = 1_000_000_000

NEVER: Final = 2**62
"""Later than any run: a deadline that is not set."""


def seconds_text(time_ns: int, decimals: int = 3) -> str:
    """`time_ns` as seconds with `decimals` places, cut and not rounded, so that an event never reads as later than it was."""
    unit = 10 ** (9 - decimals)
    whole = time_ns // unit
    return f"{whole // 10**decimals}.{whole % 10**decimals:0{decimals}d}"
