"""What a frame says, in words: its message, who sent it, and every field, by the catalogue alone. No boat file is needed.

A plain frame of which a boat is known is told with the sender's name, any other with its address.
"""

from collections.abc import Callable, Mapping
from typing import Final

from busim import labels
from busim.logs.clock import Clock
from busim.logs.frame import PLAIN, LogFrame
from busim.protocol.catalogue import BOAT_FILE_CODES, BY_CODE
from busim.protocol.codec import CONTENT_BITS, INVALID, Signal, check, read_plain
from busim.protocol.ids import SAFETY_CODES
from busim.run.timeline import Line
from busim.units import MS

AGAIN_NS: Final = 500 * MS
"""What one id says is told no more often: a lever on its way would fill the screen."""
IDS_MOST: Final = 4096


def sender_words(can_id: int, names: Mapping[int, str]) -> str:
    address = can_id & 0x3F
    return names.get(address) or labels.SENDER_AT.format(address=address)


def content_words(can_id: int, data: bytes, names: Mapping[int, str]) -> str:
    """Of a plain frame. `names`: address -> name of the node."""
    message = BY_CODE.get(can_id >> 6)
    if message is None:
        words = labels.FRAME_OF_BOAT_FILE if can_id >> 6 in BOAT_FILE_CODES else labels.FRAME_UNKNOWN
        return words.format(can_id=can_id, data=data.hex(" ").upper() or labels.NO_DATA)
    head = f"{sender_words(can_id, names)}: {message.name.replace('_', ' ')}"
    if len(data) != message.length:
        return head + labels.FRAME_MISFIT.format(length=len(data), wanted=message.length)
    word = check(can_id, data) if message.is_safety else read_plain(message, data)
    if word == INVALID:
        return head + labels.FRAME_SPOILT
    if message.is_safety:
        word &= (1 << CONTENT_BITS) - 1
    fields = [_field(signal, raw, names) for signal, raw in zip(message.signals, message.unpack(word), strict=True)]
    return f"{head}: {', '.join(fields)}"


def _field(signal: Signal, raw: int, names: Mapping[int, str]) -> str:
    choices = dict(signal.choices)
    if choices:
        value = choices.get(raw, str(raw))
    elif signal.name.endswith("fingerprint"):
        value = f"{raw:04x}"
    elif signal.bits == 6:  # the width of an address, and of nothing else
        value = names.get(raw, str(raw)) if raw else labels.NO_NODE
    else:
        value = f"{raw * signal.step:,}" + (f" {signal.unit}" if signal.unit else "")
    return f"{signal.name.replace('_', ' ')} {value}"


class ContentTold:
    """Give it every frame: `sink` is given a line where an id says something new. Counters and check bytes are nothing new."""

    def __init__(self, names: Mapping[int, str], sink: Callable[[Line], None]) -> None:
        self.names = names
        self.sink = sink
        self.clock = Clock()
        self.counts: dict[tuple[int, int], int] = {}
        """(kind, id) -> how often, for as many as there is room."""
        self.newest: dict[int, bytes] = {}
        """Id -> what its last plain frame held."""
        self.last: dict[tuple[int, int], tuple[bytes | None, int]] = {}
        """(kind, id) -> (what was told last, when)"""

    def feed(self, frame: LogFrame) -> None:
        at_ns = self._time(frame[0])
        _, _, kind, can_id, data = frame
        key = kind, can_id
        if key not in self.counts and len(self.counts) >= IDS_MOST:
            return
        self.counts[key] = self.counts.get(key, 0) + 1
        if kind == PLAIN:
            self.newest[can_id] = data
        safety = kind == PLAIN and can_id >> 6 in SAFETY_CODES and len(data) == 8
        told = data[2:] if safety and check(can_id, data) != INVALID else data
        if safety and told is data:
            told = b"spoilt"  # each spoilt frame is another
        before, before_ns = self.last.get(key, (None, at_ns - AGAIN_NS))
        if told == before or at_ns - before_ns < AGAIN_NS:
            return
        self.last[key] = told, at_ns
        words = content_words(can_id, data, self.names) if kind == PLAIN else labels.FRAME_ODD[kind].format(can_id=can_id)
        self.sink(Line(at_ns, words))

    def _time(self, stamp_ns: int) -> int:
        clock = self.clock
        if clock.offset_ns is None:
            clock.begin(stamp_ns)
        at_ns = stamp_ns - (clock.offset_ns or 0)
        if at_ns < clock.last_ns:
            at_ns, _ = clock.back(at_ns)
        clock.last_ns = at_ns
        return at_ns
