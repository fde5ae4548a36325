"""What a node remembers, in canonical form: moments relative to now, counters as differences, numbers of takes by rank.

A node's slots are walked by its own table (`busim.seam.Node.memory`) into a flat tuple, its form, in which now is zero and so is
what each sender's counter stands at. A node that a form is written into goes on exactly as the one it was read from, but for
what a counter would do that wrapped while nobody heard it.
"""

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final, NamedTuple

from busim.protocol.catalogue import BY_CODE, DRIVE_OBEYS, LEVER, NUMBER
from busim.protocol.codec import INVALID, check, counter_of
from busim.seam import Kept, Node
from busim.units import MS, NEVER

Label = tuple[int, int]
"""(address of a sender, code of a message): whose counter it is."""

Form = tuple[Any, ...]

FORGOTTEN: Final = -1
"""In place of how far a counter moved: its sender began anew, where its counter stands has nothing to do with where it stood."""
SOON: Final = 4
"""Frames of one sender and code that can be on their way at once, and then some."""
_NEVER: Final = NEVER // 2
_NONE_YET: Final = -1


class UntoldError(Exception):
    """A class does not say what its slots are; the message says which."""


class Leaf(NamedTuple):
    """A slot that is not fixed. `sender` and `code`: whose counter it is; where `sender_at` >= 0, that entry of the form tells."""

    owner: Any
    slot: str
    kept: Kept
    sender: int
    sender_at: int
    code: int


def slots_of(kind: type, memory: Mapping[str, Mapping[str, Kept]]) -> list[tuple[str, Kept]]:
    """A class's slots, its bases' first, each with what it is. UntoldError where the table leaves one out."""
    found = []
    for base in reversed(kind.__mro__[:-1]):
        names = base.__dict__.get("__slots__")
        if names is None:
            raise UntoldError(f"{base.__name__} has no __slots__, so that what it remembers can't be told")
        for name in (names,) if isinstance(names, str) else names:
            kept = memory.get(base.__name__, {}).get(name)
            if kept is None:
                raise UntoldError(f"{base.__name__} does not say in `memory` what its slot {name!r} is")
            found.append((name, kept))
    return found


class Shape:
    """A node taken apart: its leaves, and what it keeps them in. One shape serves every form read from nodes alike in that."""

    def __init__(self, node: Node) -> None:
        self.node = node
        self.leaves: list[Leaf] = []
        self.inside: list[tuple[Any, str, Any, Any, list[tuple[str, Kept]]]] = []
        """(owner, slot, key where the slot holds a dict, the thing in it, that thing's slots)."""
        self._trimmed_inside: list[tuple[Any, str, Callable[[Any, Any, Any], Any]]] = []
        self._sizes: list[tuple[Any, str, int]] = []
        self._walk(node, 0, -1, -1)
        self.handlers = node.receives()
        self.key = tuple([(slot, key, type(thing).__name__) for _, slot, key, thing, _ in self.inside])
        self._lists = [index for index, leaf in enumerate(self.leaves) if isinstance(getattr(leaf.owner, leaf.slot), list)]
        leaves = list(enumerate(self.leaves))
        self._moments = [(index, self._oldest_ns(leaf.kept)) for index, leaf in leaves if leaf.kept.what == "moment"]
        self._own = [(index, (leaf.sender, leaf.code)) for index, leaf in leaves if leaf.kept.what == "own_counter"]
        self._trimmed = [(leaf.owner, leaf.slot, leaf.kept.trim) for leaf in self.leaves if leaf.kept.trim is not None]
        self._get, self._put = _access(self.leaves)
        self._numbers = [(index, leaf.kept.at) for index, leaf in leaves if leaf.kept.what == "number"]
        self._frames = [(index, leaf) for index, leaf in leaves if leaf.kept.what == "frame"]
        self._seen = [
            (index, leaf, SOON + (leaf.owner.max_gap if leaf.slot == "last" else 0))
            for index, leaf in leaves
            if leaf.kept.what == "seen"
        ]
        self._counters = [
            (index, leaf, (leaf.kept.limit_ms(node) if leaf.kept.limit_ms else 0x70) + SOON)
            for index, leaf in leaves
            if leaf.kept.what == "counter"
        ]

    def _walk(self, owner: Any, sender: int, sender_at: int, code: int) -> None:
        node: Any = self.node
        slots = slots_of(type(owner), self.node.memory)
        first = len(self.leaves)
        for slot, kept in slots:
            what = kept.what
            if what == "fixed":
                continue
            whose, whose_at = sender, sender_at
            if kept.sender == "self" or what == "own_counter":
                whose, whose_at = node.address, -1
            elif kept.sender and kept.sender != "key":
                whose, whose_at = self._sender(owner, kept.sender, slots, first)
            of_code = kept.code if kept.code >= 0 else code
            if what == "inside" and kept.trim is not None:
                self._trimmed_inside.append((owner, slot, kept.trim))
            if what != "inside":
                self.leaves.append(Leaf(owner, slot, kept, whose, whose_at, of_code))
                continue
            thing = getattr(owner, slot)
            if isinstance(thing, dict):
                self._sizes.append((owner, slot, len(thing)))
                for key, each in thing.items():
                    self.inside.append((owner, slot, key, each, slots_of(type(each), node.memory)))
                    by_key = kept.sender == "key"
                    self._walk(each, key if by_key else whose, -1 if by_key else whose_at, of_code)
            elif thing is not None:
                self.inside.append((owner, slot, None, thing, slots_of(type(thing), node.memory)))
                self._walk(thing, whose, whose_at, of_code)

    def _sender(self, owner: Any, name: str, slots: list[tuple[str, Kept]], first: int) -> Label:
        """A slot's fixed address, or where in the form it stands."""
        kept = dict(slots)[name]
        if kept.what == "fixed":
            return getattr(owner, name), -1
        for index in range(first, len(self.leaves)):
            if self.leaves[index].owner is owner and self.leaves[index].slot == name:
                return 0, index
        raise UntoldError(f"{type(owner).__name__}: the slot {name!r} has to stand before those whose sender it is")

    def _oldest_ns(self, kept: Kept) -> int:
        if kept.limit_ms is None:
            return -NEVER
        limit_ms = kept.limit_ms(self.node)
        # A millisecond more, as some limits are met at exactly the limit and some only beyond it.
        return -(limit_ms + 1) * MS if limit_ms else 0

    # ------------------------------------------------------------------------------------------------ node and form

    def keeps(self) -> bool:
        """Does the node still keep things alike in the same places? New ones are put in the old ones' place, which this knows."""
        for owner, slot, key, thing, slots in self.inside:
            holder = getattr(owner, slot)
            new = holder if key is None else holder.get(key)
            if new is thing:
                continue
            if type(new) is not type(thing):
                return False
            for name, kept in slots:
                value = getattr(new, name)
                if kept.what != "fixed":
                    setattr(thing, name, value)
                elif value != getattr(thing, name):
                    return False
            if key is None:
                setattr(owner, slot, thing)
            else:
                holder[key] = thing
        return all(len(getattr(owner, slot)) == size for owner, slot, size in self._sizes)

    def write(self, form: Form) -> Node:
        """Make the node the one this form was read from."""
        for owner, slot, key, thing, _ in self.inside:
            if key is None:
                setattr(owner, slot, thing)
            else:
                getattr(owner, slot)[key] = thing
        self._put(form)
        for index in self._lists:
            leaf = self.leaves[index]
            setattr(leaf.owner, leaf.slot, list(form[index]))
        return self.node

    def read(self, passed_ns: int) -> tuple[Form, dict[Label, int]]:
        """The node's form `passed_ns` after it was written, and how far each of its own counters moved meanwhile."""
        form = list(self._get())
        for index, _ in self._moments:
            value = form[index]
            if -_NEVER < value < _NEVER:
                form[index] = value - passed_ns
        self._put(form)
        for owner, slot, forget in self._trimmed_inside:
            forget(self.node, owner, getattr(owner, slot))
        for owner, slot, trim in self._trimmed:
            setattr(owner, slot, trim(self.node, owner, getattr(owner, slot)))
        form = list(self._get())
        for index, oldest_ns in self._moments:
            if form[index] < oldest_ns:
                form[index] = oldest_ns
        moved: dict[Label, int] = {}
        for index, label in self._own:
            if form[index]:
                moved[label] = form[index]
                form[index] = 0
        for index in self._lists:
            form[index] = tuple(form[index])
        return tuple(form), moved

    # ------------------------------------------------------------------------------------------------ form and form

    def relabel(self, form: Form, moved: Mapping[Label, int], numbers: Mapping[int, int]) -> Form:
        """The form after senders' counters have moved, and with numbers called anew."""
        new = list(form)
        if moved:
            for index, leaf, most in self._seen:
                by = moved.get(self._label(form, leaf), 0)
                value = new[index]
                if by and value != _NONE_YET:
                    value = value - by & 0xFF
                    # Further behind than any gap that is accepted: the next frame is judged as if none had been heard.
                    new[index] = value if by != FORGOTTEN and -value & 0xFF <= most else _NONE_YET
            for index, leaf, most in self._counters:
                by = moved.get(self._label(form, leaf), 0)
                if by and by != FORGOTTEN:
                    value = new[index] - by & 0xFF
                    new[index] = value if -value & 0xFF <= most or value <= SOON else -most & 0xFF
        if numbers:
            for index, at in self._numbers:
                new[index] = _renumbered(new[index], at, numbers)
        for index, leaf in self._frames:
            if new[index]:
                sender, code = self._label(form, leaf)
                new[index] = relabel_frame(code << 6 | sender, new[index], moved, numbers)
        return tuple(new)

    def numbers(self, form: Form) -> frozenset[int]:
        """The numbers of takes in it, 0 left out."""
        found = set()
        for index, at in self._numbers:
            value = form[index]
            if at >= 0:
                value = value[at] if len(value) > at else 0
            found.add(value)
        for index, leaf in self._frames:
            if form[index]:
                sender, code = self._label(form, leaf)
                found |= numbers_in_frame(code << 6 | sender, form[index])
        return frozenset(found - {0})

    def _label(self, form: Form, leaf: Leaf) -> Label:
        return (leaf.sender if leaf.sender_at < 0 else form[leaf.sender_at]), leaf.code


def _access(leaves: list[Leaf]) -> tuple[Callable[[], Form], Callable[[Sequence[Any]], None]]:
    """Two functions that read and write all the leaves at once, written out as source: one by one takes ten times as long."""
    owners: dict[int, Any] = {id(leaf.owner): leaf.owner for leaf in leaves}
    names = {each: f"owner_{place}" for place, each in enumerate(owners)}
    slots = ", ".join(f"{names[id(leaf.owner)]}.{leaf.slot}" for leaf in leaves)
    scope: dict[str, Any] = {names[each]: owner for each, owner in owners.items()}
    exec(f"def get():\n    return ({slots},)\ndef put(form):\n    ({slots},) = form\n", scope)
    return scope["get"], scope["put"]


def _renumbered(value: Any, at: int, numbers: Mapping[int, int]) -> Any:
    if at < 0:
        return numbers.get(value, value)
    if len(value) <= at:
        return value
    return (*value[:at], numbers.get(value[at], value[at]), *value[at + 1 :])


# ------------------------------------------------------------------------------------------------ frames


def numbers_in_frame(can_id: int, data: bytes) -> frozenset[int]:
    """The number of a take in a frame, unless it is 0."""
    message = BY_CODE[can_id >> 6]
    word = check(can_id, data)
    if word == INVALID or NUMBER not in message.signals:
        return frozenset()
    return frozenset({message.unpack(word)[message.signals.index(NUMBER)]} - {0})


def relabel_frame(can_id: int, data: bytes, moved: Mapping[Label, int], numbers: Mapping[int, int]) -> bytes:
    """The same frame after counters have moved, and with numbers called anew."""
    message = BY_CODE[can_id >> 6]
    word = check(can_id, data)
    if word == INVALID:
        return data
    fields = list(message.unpack(word))
    for index, signal in enumerate(message.signals):
        if signal == NUMBER:
            fields[index] = numbers.get(fields[index], fields[index])
        elif message is DRIVE_OBEYS and signal.name == "acted_on":
            fields[index] = _moved(fields[index], moved.get((fields[0], LEVER.code), 0))
    counter = _moved(counter_of(word), moved.get((can_id & 0x3F, can_id >> 6), 0))
    return message.pack(can_id, counter, *fields)


def _moved(counter: int, by: int) -> int:
    return counter if by == FORGOTTEN else counter - by & 0xFF

