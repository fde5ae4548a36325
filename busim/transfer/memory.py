"""What a node remembers, in canonical form: moments relative to now, counters as differences, numbers of takes by rank.

A node's slots are walked by its own table (`busim.seam.Node.memory`), and rewritten: now is zero, and so is what each sender's
counter stands at. What was rewritten goes on exactly as the node itself would, but for what a wrapped counter would do.
"""

from collections.abc import Iterator, Mapping
from typing import Any, Final, NamedTuple

from busim.protocol.catalogue import BY_CODE, DRIVE_OBEYS, LEVER, NUMBER
from busim.protocol.codec import INVALID, check, counter_of
from busim.seam import Kept, Node
from busim.units import MS, NEVER

Label = tuple[int, int]
"""(address of a sender, code of a message): whose counter it is."""

FORGOTTEN: Final = -1
"""In place of how far a counter moved: its sender began anew, where its counter stands has nothing to do with where it stood."""
SOON: Final = 8
"""Frames of one sender and code that can be on their way at once, and then some."""
_NEVER: Final = NEVER // 2
_NONE_YET: Final = -1


class UntoldError(Exception):
    """A class does not say what its slots are; the message says which."""


class Leaf(NamedTuple):
    owner: Any
    slot: str
    kept: Kept
    label: Label


def leaves(node: Node) -> Iterator[Leaf]:
    """Every slot that is not fixed, in an order that is the same for all nodes of a class."""
    return _walk(node, node, (0, -1))


def _walk(node: Node, owner: Any, label: Label) -> Iterator[Leaf]:
    for slot, kept in slots_of(type(owner), node.memory):
        if kept.what == "fixed":
            continue
        here = _label(node, owner, kept, label)
        if kept.what != "inside":
            yield Leaf(owner, slot, kept, here)
            continue
        inside = getattr(owner, slot)
        if isinstance(inside, dict):
            for key, each in inside.items():
                yield from _walk(node, each, (key, here[1]) if kept.sender == "key" else here)
        elif inside is not None:
            for each in inside if isinstance(inside, list) else (inside,):
                yield from _walk(node, each, here)


def _label(node: Any, owner: Any, kept: Kept, label: Label) -> Label:
    sender, code = label
    if kept.sender == "self" or kept.what == "own_counter":
        sender = node.address
    elif kept.sender and kept.sender != "key":
        sender = getattr(owner, kept.sender)
    return sender, kept.code if kept.code >= 0 else code


_slots: dict[tuple[type, int], list[tuple[str, Kept]]] = {}


def slots_of(kind: type, memory: Mapping[str, Mapping[str, Kept]]) -> list[tuple[str, Kept]]:
    """A class's slots, its bases' first. UntoldError where its table leaves one out."""
    found = _slots.get((kind, id(memory)))
    if found is None:
        found = []
        for base in reversed(kind.__mro__[:-1]):
            names = base.__dict__.get("__slots__")
            if names is None:
                raise UntoldError(f"{base.__name__} has no __slots__: what it remembers can't be told")
            for name in (names,) if isinstance(names, str) else names:
                kept = memory.get(base.__name__, {}).get(name)
                if kept is None:
                    raise UntoldError(f"{base.__name__} does not say in `memory` what its slot {name!r} is")
                found.append((name, kept))
        _slots[kind, id(memory)] = found
    return found


# ------------------------------------------------------------------------------------------------ rewriting


def settle(node: Node, passed_ns: int) -> dict[Label, int]:
    """Make now zero again after `passed_ns`, and the node's own counters too. How far each of those had moved."""
    moved: dict[Label, int] = {}
    for owner, slot, kept, label in leaves(node):
        value = getattr(owner, slot)
        if kept.what == "own_counter":
            if value:
                moved[label] = value
            value = 0
        elif kept.what == "moment":
            value = _moment(node, kept, value, passed_ns)
        if kept.trim is not None:
            value = kept.trim(owner, value)
        setattr(owner, slot, value)
    return moved


def _moment(node: Node, kept: Kept, value: int, passed_ns: int) -> int:
    if not -_NEVER < value < _NEVER:
        return value
    value -= passed_ns
    if kept.limit_ms is None:
        return value
    limit_ms = kept.limit_ms(node)
    # A millisecond more, as some limits are met at exactly the limit and some only beyond it.
    oldest_ns = -(limit_ms + 1) * MS if limit_ms else 0
    return max(value, oldest_ns)


def relabel(node: Node, moved: Mapping[Label, int], numbers: Mapping[int, int]) -> None:
    """Senders' counters have moved, and numbers are called anew: rewrite what the node remembers of them."""
    for owner, slot, kept, label in leaves(node):
        what = kept.what
        if what == "number":
            if numbers:
                value = getattr(owner, slot)
                setattr(owner, slot, _renumbered(value, kept.at, numbers))
        elif what in ("seen", "counter"):
            by = moved.get(label, 0)
            if by:
                value = getattr(owner, slot)
                setattr(owner, slot, _seen(owner, slot, value, by) if what == "seen" else _counter(node, kept, value, by))
        elif what == "frame":
            data = getattr(owner, slot)
            if data:
                setattr(owner, slot, relabel_frame(label[1] << 6 | label[0], data, moved, numbers))


def _renumbered(value: Any, at: int, numbers: Mapping[int, int]) -> Any:
    if at < 0:
        return numbers.get(value, value)
    if len(value) <= at:
        return value
    return (*value[:at], numbers.get(value[at], value[at]), *value[at + 1 :])


def _seen(watch: Any, slot: str, value: int, by: int) -> int:
    if value == _NONE_YET or by == FORGOTTEN:
        return _NONE_YET
    value = value - by & 0xFF
    behind = -value & 0xFF
    # Further behind than any gap that is accepted, its sender's next frame is judged as if none had been heard.
    return value if behind <= SOON + (watch.max_gap if slot == "last" else 0) else _NONE_YET


def _counter(node: Node, kept: Kept, value: int, by: int) -> int:
    if by == FORGOTTEN:
        return value
    value = value - by & 0xFF
    most = kept.limit_ms(node) + SOON if kept.limit_ms is not None else 0x7F
    return value if -value & 0xFF <= most or value <= SOON else -most & 0xFF


def numbers_in(node: Node) -> frozenset[int]:
    """The numbers of takes it remembers, 0 left out."""
    found = set()
    for owner, slot, kept, label in leaves(node):
        if kept.what == "number":
            value = getattr(owner, slot)
            if kept.at >= 0:
                value = value[kept.at] if len(value) > kept.at else 0
            found.add(value)
        elif kept.what == "frame" and (data := getattr(owner, slot)):
            found |= numbers_in_frame(label[1] << 6 | label[0], data)
    return frozenset(found - {0})


def form(node: Node) -> tuple[Any, ...]:
    """All it remembers: equal for two nodes of a class that will do the same from here on."""
    return tuple([_plain(getattr(leaf.owner, leaf.slot)) for leaf in leaves(node)])


def _plain(value: Any) -> Any:
    return tuple(value) if isinstance(value, list) else value


# ------------------------------------------------------------------------------------------------ frames


def numbers_in_frame(can_id: int, data: bytes) -> frozenset[int]:
    message = BY_CODE[can_id >> 6]
    word = check(can_id, data)
    if word == INVALID or NUMBER not in message.signals:
        return frozenset()
    return frozenset({message.unpack(word)[message.signals.index(NUMBER)]} - {0})


def relabel_frame(can_id: int, data: bytes, moved: Mapping[Label, int], numbers: Mapping[int, int]) -> bytes:
    """The same frame after its sender's counter moved, and numbers are called anew."""
    message = BY_CODE[can_id >> 6]
    word = check(can_id, data)
    if word == INVALID:
        return data
    fields = list(message.unpack(word))
    for index, signal in enumerate(message.signals):
        if signal == NUMBER:
            fields[index] = numbers.get(fields[index], fields[index])
        elif message is DRIVE_OBEYS and signal.name == "acted_on":
            by = moved.get((fields[0], LEVER.code), 0)
            fields[index] = fields[index] - by & 0xFF if by != FORGOTTEN else fields[index]
    by = moved.get((can_id & 0x3F, can_id >> 6), 0)
    counter = counter_of(word) - by & 0xFF if by != FORGOTTEN else counter_of(word)
    return message.pack(can_id, counter, *fields)

