"""Test vectors: frames and what a receiver has to make of them, and runs of counters with their verdicts. Made with the codec that
busim's own nodes use, so they show that another one does the same; what is right is shown by frames worked out by hand (tests).

Of every signal: its edges, every bit alone, every choice, and the first values that make no sense. Of every message: wrong CRC,
wrong length, another message's id.
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from busim.export.written import MARK
from busim.protocol.catalogue import LEVER, MESSAGES, PROTOCOL_VERSION
from busim.protocol.codec import INVALID, Message, Signal, check, read_plain
from busim.protocol.counter import ACCEPTED, DUPLICATE, REFUSED, CounterWatch, PairWatch, limit_ms
from busim.protocol.ids import HELM_ADDRESSES, code_of
from busim.protocol.page_boat import senders_of
from busim.protocol.plan import WirePlan
from busim.units import MS

FORMAT: Final = 2
OK: Final = "ok"
OTHER_MESSAGE: Final = "other_message"
WRONG_LENGTH: Final = "wrong_length"
WRONG_CRC: Final = "wrong_crc"
OUT_OF_RANGE: Final = "out_of_range"
RESULTS: Final = (OK, OTHER_MESSAGE, WRONG_LENGTH, WRONG_CRC, OUT_OF_RANGE)
"""In the order of busim_result."""
VERDICTS: Final = {DUPLICATE: "duplicate", ACCEPTED: "accepted", REFUSED: "refused"}
"""In the order of busim_verdict."""
COUNTERS: Final = (0, 1, 127, 128, 255)
STEADY_COUNTER: Final = 42


@dataclass(frozen=True)
class Frame:
    """A frame offered to whoever unpacks `message`. `counter` is -1 where the message has none; `raw` is empty where it is refused
    as a frame, and filled in where only a value makes no sense."""

    message: Message
    why: str
    can_id: int
    data: bytes
    result: str
    counter: int
    raw: tuple[int, ...]


@dataclass(frozen=True)
class Run:
    """Frames of one sender as (ms, bus, counter), and what each of them is; on a pair of buses, with its limit, where `buses` has
    two."""

    why: str
    max_gap: int
    limit_ms: int
    buses: tuple[int, ...]
    frames: tuple[tuple[int, int, int], ...]
    verdicts: tuple[int, ...]


# ------------------------------------------------------------------------------------------------ frames


def frames_of(plan: WirePlan) -> Iterator[Frame]:
    for message in MESSAGES:
        address = _sender(message, plan)
        yield from _by_value(message, address)
        yield from _broken(message, address)


def _sender(message: Message, plan: WirePlan) -> int:
    senders = senders_of(message, plan)
    return senders[-1][0] if senders else HELM_ADDRESSES[-1]


def judged(message: Message, why: str, can_id: int, data: bytes) -> Frame:
    """The frame with what the codec makes of it."""
    if code_of(can_id) != message.code:
        return Frame(message, why, can_id, data, OTHER_MESSAGE, -1, ())
    if len(data) != message.length:
        return Frame(message, why, can_id, data, WRONG_LENGTH, -1, ())
    word = check(can_id, data) if message.is_safety else read_plain(message, data)
    if word == INVALID:
        return Frame(message, why, can_id, data, WRONG_CRC, -1, ())
    raw = message.unpack(word)
    result = OK if all(map(makes_sense, message.signals, raw)) else OUT_OF_RANGE
    return Frame(message, why, can_id, data, result, data[1] if message.is_safety else -1, raw)


def makes_sense(signal: Signal, value: int) -> bool:
    least, most = signal.range
    return least <= value <= most


def packed(message: Message, can_id: int, counter: int, raw: tuple[int, ...]) -> bytes:
    return message.pack(can_id, counter, *raw) if message.is_safety else message.pack(*raw)


def _by_value(message: Message, address: int) -> Iterator[Frame]:
    can_id = message.can_id(address)
    least = tuple(signal.range[0] for signal in message.signals)
    most = tuple(signal.range[1] for signal in message.signals)
    given: set[bytes] = set()

    def frame(why: str, raw: tuple[int, ...], counter: int = STEADY_COUNTER) -> Iterator[Frame]:
        data = packed(message, can_id, counter, raw)
        if data not in given:
            given.add(data)
            yield judged(message, why, can_id, data)

    yield from frame("every signal at its least", least)
    yield from frame("every signal at its most", most)
    for counter in COUNTERS if message.is_safety else ():
        yield from frame(f"counter {counter}", most, counter)
    for place, signal in enumerate(message.signals):
        values = [(f"{signal.name} {value}", value) for value in (*signal.range, *(value for value, _ in signal.choices))]
        values += [(f"{signal.name} out of range", value) for value in (signal.range[0] - 1, signal.range[1] + 1)]
        values += [(f"{signal.name}, bit {bit} alone", _bit(bit, signal.bits, signal.signed)) for bit in range(signal.bits)]
        for why, value in values:
            if signal.low <= value <= signal.high:
                yield from frame(why, (*least[:place], value, *least[place + 1 :]))


def _bit(bit: int, bits: int, signed: bool) -> int:
    return -(1 << bit) if signed and bit == bits - 1 else 1 << bit


def _broken(message: Message, address: int) -> Iterator[Frame]:
    can_id = message.can_id(address)
    most = tuple(signal.range[1] for signal in message.signals)
    data = packed(message, can_id, STEADY_COUNTER, most)
    for length in range(9):
        if length != len(data):
            yield judged(message, f"length {length}", can_id, (data + bytes(8))[:length])
    yield judged(message, "the next more urgent code", can_id - 64 if message.code else can_id + 64, data)
    if not message.is_safety:
        return
    # One bit of each byte; of the lever frame, which more hangs on than on any other, every bit.
    for bit in range(0, 64, 1 if message is LEVER else 8):
        place = bit if message is LEVER else bit + bit // 8
        spoiled = bytearray(data)
        spoiled[place // 8] ^= 0x80 >> place % 8
        yield judged(message, f"bit {place % 8} of byte {place // 8} wrong", can_id, bytes(spoiled))
    other = message.can_id(address - 1 if address > 1 else 2)
    yield judged(message, "under another sender's id", other, data)


# ------------------------------------------------------------------------------------------------ counters


def runs_of(plan: WirePlan) -> Iterator[Run]:
    gap, limit = plan.timing.max_gap, limit_ms(plan.timing, LEVER)
    alone: tuple[tuple[str, tuple[int, ...]], ...] = (
        ("one after the other, over the end", (253, 254, 255, 0, 1)),
        ("the same again and again", (7, 8, 8, 8, 9)),
        ("as far ahead as may be", (10, 11, (11 + gap) & 255, (11 + 2 * gap) & 255)),
        ("one too far, then on from there", (10, 11, (12 + gap) & 255, (13 + gap) & 255, (14 + gap) & 255)),
        ("stale: back to before", (100, 101, 102, 90, 103, 91, 92, 93)),
        ("too far each time", (0, 1, 50, 100, 150, 200, 201)),
        ("the refused one again", (0, 1, 60, 60, 61)),
    )
    for why, counters in alone:
        watch = CounterWatch(gap)
        frames = tuple((20 * place, 0, each) for place, each in enumerate(counters))
        yield Run(why, gap, limit, (0,), frames, tuple(watch.judge(each) for each in counters))
    for why, frames in _pairs(limit):
        pair = PairWatch(gap, (0, 1), limit)
        verdicts = tuple(pair.judge(counter, bus, at_ms * MS) for at_ms, bus, counter in frames)
        yield Run(why, gap, limit, (0, 1), frames, verdicts)


Heard = tuple[tuple[int, int, int], ...]
"""(ms, bus, counter)."""


def _pairs(limit: int) -> Iterator[tuple[str, Heard]]:
    """On two buses, a frame every 20 ms; what is let go after it was held back comes 8 in a ms."""
    half_ms = limit // 2
    yield "a pair: both bring the same", _both(0, 5)
    yield "a pair: one bus late", _in_time(_by(0, 0, 8), _by(1, 0, 8, late_ms=45))
    for held in (10, 40, 130, 250, 300):
        end = 3 + held
        released = tuple((20 * end - 5 + each // 8, 1, (3 + each) & 255) for each in range(held))
        why = f"a pair: {held} frames held back by one bus, then all at once"
        yield why, _in_time(_both(0, 3), _by(0, 3, end), released, _both(end, end + 12))
    step_ms = max(half_ms // 12, 1)
    for behind in (50, 250):
        began = tuple((4060 + each * step_ms, 1, (203 - behind + each) & 255) for each in range(16))
        yield f"a pair: the other bus dead, the sender begun anew {behind} behind", (*_both(200, 203), *began)
    yield "a pair: both silent, then one bus alone", (*_both(0, 3), *_by(1, 12, 15, late_ms=half_ms * 3))


def _both(first: int, end: int) -> Heard:
    return tuple((20 * each, bus, each & 255) for each in range(first, end) for bus in (0, 1))


def _by(bus: int, first: int, end: int, late_ms: int = 0) -> Heard:
    return tuple((20 * each + late_ms, bus, each & 255) for each in range(first, end))


def _in_time(*parts: Heard) -> Heard:
    return tuple(sorted((frame for part in parts for frame in part), key=lambda frame: frame[0]))


# ------------------------------------------------------------------------------------------------ JSON


def vectors_text(plan: WirePlan, title: str) -> str:
    """All of it as JSON, one vector a line so that two exports can be compared by eye."""
    head = {
        "exported": MARK, "format": FORMAT, "boat": title, "protocol": PROTOCOL_VERSION,
        "helm_fingerprint": f"{plan.helm_fingerprint:04X}", "lighting_fingerprint": f"{plan.lighting_fingerprint:04X}",
    }  # fmt: skip
    parts = [f"  {json.dumps(key)}: {json.dumps(value)}" for key, value in head.items()]
    parts.append(_listed("frames", [_frame_entry(frame) for frame in frames_of(plan)]))
    parts.append(_listed("counters", [_run_entry(run) for run in runs_of(plan)]))
    return "{\n" + ",\n".join(parts) + "\n}\n"


def _listed(name: str, entries: list[dict[str, Any]]) -> str:
    return f'  "{name}": [\n' + ",\n".join(f"    {json.dumps(entry)}" for entry in entries) + "\n  ]"


def _frame_entry(frame: Frame) -> dict[str, Any]:
    entry: dict[str, Any] = {
        "message": frame.message.name, "why": frame.why, "id": f"{frame.can_id:03X}", "data": frame.data.hex().upper(),
        "result": frame.result,
    }  # fmt: skip
    if frame.counter >= 0:
        entry["counter"] = frame.counter
    if frame.raw:
        entry["raw"] = {signal.name: value for signal, value in zip(frame.message.signals, frame.raw, strict=True)}
    return entry


def _run_entry(run: Run) -> dict[str, Any]:
    steps = [[*frame, VERDICTS[verdict]] for frame, verdict in zip(run.frames, run.verdicts, strict=True)]
    return {
        "why": run.why, "max_gap": run.max_gap, "limit_ms": run.limit_ms, "buses": run.buses, "ms_bus_counter_verdict": steps,
    }  # fmt: skip
