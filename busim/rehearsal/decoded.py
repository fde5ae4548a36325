"""A frame in words: who sent which message, and what stands in it. Worked out only for the frames that a screen shows."""

from dataclasses import dataclass
from functools import lru_cache

from busim import screen_labels as labels
from busim.protocol.catalogue import BY_CODE
from busim.protocol.codec import INVALID, check, read_plain
from busim.protocol.plan import WirePlan
from busim.rehearsal.shown import RawFrame


@dataclass(frozen=True)
class FrameWords:
    at_ns: int
    bus: str
    can_id: int
    sender: str
    message: str
    words: str


def decoded(frame: RawFrame, plan: WirePlan) -> FrameWords:
    at_ns, bus, can_id, data = frame
    address = can_id & 0x3F
    sender = next((name for number, name, _ in plan.nodes if number == address), labels.ADDRESS.format(number=address))
    message, words = _words(can_id, data)
    return FrameWords(at_ns, plan.buses[bus][0], can_id, sender, message, words)


@lru_cache(maxsize=2048)
def _words(can_id: int, data: bytes) -> tuple[str, str]:
    message = BY_CODE.get(can_id >> 6)
    if message is None:
        return labels.CODE.format(number=can_id >> 6), data.hex(" ")
    word = check(can_id, data) if message.is_safety else read_plain(message, data)
    if word == INVALID:
        return message.name, labels.NOT_SOUND.format(data=data.hex(" "))
    values = message.unpack(word)
    return message.name, " ".join(f"{signal.name} {value}" for signal, value in zip(message.signals, values, strict=True))
