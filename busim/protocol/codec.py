"""Messages as definitions, and the packing and reading functions generated from them.

A message is a row of signals, most significant bit first, in the order of its row. The functions are plain integer shifts,
written out as Python source once per message and compiled: the same arithmetic the exported C does.

Safety frames: byte 0 the CRC, byte 1 the counter, bytes 2 to 7 the 48 bits of content. Other frames: content from byte 0 on.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from busim.protocol.crc8 import CRC_SOURCE, CRC_TABLES, crc_of_word
from busim.protocol.ids import SAFETY_CODES, make_id

COUNTER_BITS: Final = 8
CONTENT_BITS: Final = 48
INVALID: Final = -1


@dataclass(frozen=True)
class Signal:
    """One field. `step` and `unit` turn the raw integer into a quantity; `choices` names values; `signed` is two's complement.

    `least` and `most` are raw integers, written where its bits and choices let through what makes no sense (see `range`).
    """

    name: str
    bits: int
    words: str
    unit: str = ""
    step: int | float = 1
    signed: bool = False
    choices: tuple[tuple[int, str], ...] = ()
    least: int | None = None
    most: int | None = None

    @property
    def low(self) -> int:
        return -(1 << self.bits - 1) if self.signed else 0

    @property
    def high(self) -> int:
        return (1 << self.bits - 1) - 1 if self.signed else (1 << self.bits) - 1

    @property
    def range(self) -> tuple[int, int]:
        """Least and greatest raw integer that makes sense. `pack` looks at the bits alone, for a broken node sends anything; the
        exported C sends nothing outside, and says so of what it receives."""
        values = [value for value, _ in self.choices]
        if values and values != [*range(len(values))]:
            raise ValueError(f"{self.name}: its choices have a gap")
        least = self.least if self.least is not None else self.low
        most = self.most if self.most is not None else values[-1] if values else self.high
        return least, most


@dataclass(frozen=True)
class Message:
    """One row of the catalogue. `pack` and `unpack` are made from `signals` and take and give raw integers in that order.

    * safety: `pack(can_id, counter, *raw) -> bytes`; `unpack(word) -> tuple`, `word` being what `check` returned.
    * other: `pack(*raw) -> bytes`; `unpack(word) -> tuple`, `word` being what `read_plain` returned.

    `pack` raises ValueError, naming the message, where a value does not fit its bits. `period_ms` is 0 for "on change only";
    where `timing` names a value of the boat's `Timing`, that one holds and `period_ms` is its default.
    """

    code: int
    name: str
    senders: str
    signals: tuple[Signal, ...]
    words: str
    timing: str
    period_ms: int = 0
    part: str = "helm"
    reserved_for: str = ""
    pack: Callable[..., bytes] = field(init=False, repr=False, compare=False)
    unpack: Callable[[int], tuple[int, ...]] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        available = CONTENT_BITS if self.is_safety else 64
        if self.content_bits > available:
            raise ValueError(f"{self.name}: {self.content_bits} bits of content, {available} are there")
        object.__setattr__(self, "pack", _compile(self, "pack", _pack_source(self)))
        object.__setattr__(self, "unpack", _compile(self, "unpack", _unpack_source(self)))

    @property
    def is_safety(self) -> bool:
        return self.code in SAFETY_CODES

    @property
    def content_bits(self) -> int:
        return sum(signal.bits for signal in self.signals)

    @property
    def length(self) -> int:
        """Bytes of data (the DLC)."""
        return 8 if self.is_safety else (self.content_bits + 7) // 8

    def can_id(self, address: int) -> int:
        return make_id(self.code, address)

    def place(self, name: str) -> tuple[int, int]:
        """(bits below it, mask) of one unsigned signal, for who needs no other: `word >> bits & mask`."""
        return next((below, (1 << signal.bits) - 1) for signal, below in self.placed() if signal.name == name)

    def placed(self) -> list[tuple[Signal, int]]:
        """Each signal with the position of its lowest bit, counted from the last bit of the frame's last byte."""
        position = CONTENT_BITS if self.is_safety else 8 * self.length
        rows = []
        for signal in self.signals:
            position -= signal.bits
            rows.append((signal, position))
        return rows


# ------------------------------------------------------------------------------------------------ reading what arrived

_last: tuple[int, bytes, int] = (0, b"", INVALID)


def check(can_id: int, data: bytes) -> int:
    """Bytes 1 to 7 of a safety frame as one integer, or INVALID where its length or its CRC is wrong.

    One frame reaches several receivers: the answer for the very same bytes object is kept for the next of them, as one
    tuple, so that another thread never sees the answer of one frame beside the id of another.
    """
    global _last
    last = _last
    if last[1] is data and last[0] == can_id:
        return last[2]
    if len(data) != 8:
        return INVALID
    whole = int.from_bytes(data, "big")
    word = whole & 0xFFFFFFFFFFFFFF
    if crc_of_word(can_id, word) != whole >> 56:
        word = INVALID
    _last = (can_id, data, word)
    return word


_COUNTED: Final = tuple(
    (crc_of_word(0, counter << CONTENT_BITS) ^ crc_of_word(0, 0)) << 56 | counter << CONTENT_BITS for counter in range(256)
)
"""What a counter adds to a frame that was packed with the counter 0: itself, and, as the CRC is linear, always the same CRC."""


def template_of(frame: bytes) -> int:
    """A safety frame packed with the counter 0, as one integer, to be sent again and again with `seal`."""
    return int.from_bytes(frame, "big")


def seal(template: int, counter: int) -> bytes:
    """A safety frame of content that was packed before: only the counter, and so the CRC, is new."""
    return (template ^ _COUNTED[counter]).to_bytes(8, "big")


def counter_of(word: int) -> int:
    """The counter of a checked safety frame."""
    return word >> CONTENT_BITS


def read_plain(message: Message, data: bytes) -> int:
    """The content of a frame without CRC as one integer, or INVALID where its length is wrong."""
    return int.from_bytes(data, "big") if len(data) == message.length else INVALID


# ------------------------------------------------------------------------------------------------ generated functions


def _compile(message: Message, function: str, source: str) -> Any:
    namespace: dict[str, Any] = {**CRC_TABLES, "_reject": _reject, "_message": message}
    exec(compile(source, f"<{message.name}.{function}>", "exec"), namespace)
    return namespace[function]


def _reject(message: Message, values: Sequence[int]) -> None:
    for signal, value in zip(message.signals, values, strict=True):
        if not signal.low <= value <= signal.high:
            raise ValueError(f"{message.name}.{signal.name}: {value} is not between {signal.low} and {signal.high}")
    raise ValueError(f"{message.name}: the counter is not between 0 and 255")


def _pack_source(message: Message) -> str:
    names = [signal.name for signal in message.signals]
    misfits, parts = [], []
    for signal, position in message.placed():
        name = signal.name
        if signal.signed:
            half = 1 << signal.bits - 1
            misfits.append(f"{name} + {half} >> {signal.bits}")
            name = f"({name} & {(1 << signal.bits) - 1})"
        else:
            misfits.append(f"{name} >> {signal.bits}")
        parts.append(f"{name} << {position}" if position else name)
    values = f"({', '.join(names)},)"
    if not message.is_safety:
        return (
            f"def pack({', '.join(names)}):\n"
            f"    if {' or '.join(misfits)}:\n"
            f"        _reject(_message, {values})\n"
            f"    return ({' | '.join(parts)}).to_bytes({message.length}, 'big')\n"
        )
    return (
        f"def pack(can_id, counter, {', '.join(names)}):\n"
        f"    if {' or '.join([*misfits, f'counter >> {COUNTER_BITS}'])}:\n"
        f"        _reject(_message, {values})\n"
        f"    word = {' | '.join([f'counter << {CONTENT_BITS}', *parts])}\n"
        f"    return (({CRC_SOURCE}) << 56 | word).to_bytes(8, 'big')\n"
    )


def _unpack_source(message: Message) -> str:
    parts = []
    for signal, position in message.placed():
        raw = f"word >> {position} & {(1 << signal.bits) - 1}" if position else f"word & {(1 << signal.bits) - 1}"
        if signal.signed:
            half = 1 << signal.bits - 1
            raw = f"(({raw}) ^ {half}) - {half}"
        parts.append(raw)
    return f"def unpack(word):\n    return ({', '.join(parts)},)\n"
