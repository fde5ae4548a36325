"""A frame as a log holds it: plain, or of a kind that no node of a boat sends."""

from typing import Final, TypeAlias

LogFrame: TypeAlias = tuple[int, str, int, int, bytes]
"""(stamp in ns as the log has it, channel, kind, id, data)."""

PLAIN: Final = 0
EXTENDED: Final = 1
REMOTE: Final = 2
ERROR: Final = 3
FLEXIBLE: Final = 4
"""Kinds: 11-bit data frame; 29-bit; remote; error; CAN FD."""


def candump_text(frame: LogFrame) -> str:
    """One line as candump writes it with -l, time cut to microseconds; an error frame as the Linux kernel gives it."""
    stamp_ns, channel, kind, can_id, data = frame
    microseconds = stamp_ns // 1000
    head = f"({microseconds // 1_000_000:010d}.{microseconds % 1_000_000:06d}) {channel} "
    if kind == PLAIN:
        return f"{head}{can_id:03X}#{data.hex().upper()}\n"
    if kind == EXTENDED:
        return f"{head}{can_id:08X}#{data.hex().upper()}\n"
    if kind == REMOTE:
        return f"{head}{can_id:03X}#R\n" if can_id < 2048 else f"{head}{can_id:08X}#R\n"
    if kind == FLEXIBLE:
        return f"{head}{can_id:03X}##0{data.hex().upper()}\n" if can_id < 2048 else f"{head}{can_id:08X}##0{data.hex().upper()}\n"
    return f"{head}{0x20000000 | can_id & 0x1FFFFFFF:08X}#{data.hex().upper() or '0000000000000000'}\n"
