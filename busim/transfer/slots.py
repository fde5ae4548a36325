"""A slot of the whole boat: from one state and what happens in it to the next state, and what can happen at all.

A state is plain and canonical: (forms of all cells, frames on their way, cuts, how long two followers obey different takes, how
long two stations show that they are in control).
"""

from collections.abc import Iterator
from itertools import combinations
from typing import Final, NamedTuple

from busim.events import bits
from busim.transfer.cell import NOTHING_DONE, RESETS, TAKES, TAKES_MATCHED, Done
from busim.transfer.judge import Judge
from busim.transfer.memory import FORGOTTEN, Label, numbers_in_frame, relabel_frame
from busim.transfer.network import DISTURBED, UNCUT, Network

Frame = tuple[int, int, int, int, bytes, tuple[int, ...]]
"""A frame on its way: (slots until it is heard, 1 if it was held up, bus, id, data, members that will hear it)."""

State = tuple[tuple[int, ...], tuple[Frame, ...], tuple[int, ...], int, int]

LONGEST_DELAY: Final = 3
"""Slots by which a frame comes later than others: 60 ms let a claim come behind the next one."""

Choice = tuple[str, tuple[int, ...]]
"""What happens in a slot: a word, and what it happens to. See `Slots.choices`."""
QUIET: Final[Choice] = ("quiet", ())
FREE: Final = ("quiet", "take", "heal", "order")
"""What no budget of disturbances pays for."""


class Next(NamedTuple):
    state: State
    obeyed_old: str


class Slots:
    def __init__(self, network: Network, judge: Judge) -> None:
        self.network = network
        self.judge = judge
        self.cells = network.cells
        self._names: dict[tuple[tuple[tuple[Label, int], ...], tuple[tuple[int, int], ...]], int] = {}
        self._frames: dict[tuple[int, bytes, int], bytes] = {}
        self._numbers: dict[tuple[int, bytes], frozenset[int]] = {}
        self._matched = {station.address for station in network.plan.stations if station.matched_take}

    def start(self) -> State:
        return tuple(cells.first() for cells in self.cells), (), (UNCUT,) * len(self.network.bus_names), 0, 0

    # ------------------------------------------------------------------------------------------------ what can happen

    def choices(self, state: State, takes_left: int, disturbances_left: int) -> Iterator[Choice]:
        """All that can happen in the slot after `state`, quiet first. Frames are named by their place among those due."""
        yield QUIET
        cells, flight, cuts, _, _ = state
        running = [index for index, number in enumerate(cells) if self.cells[index].running[number]]
        takers = [index for index in running if index < len(self.network.stations)]
        if takes_left:
            for index in takers:
                yield "take", (index, TAKES)
                if self.network.members[index] in self._matched:
                    yield "take", (index, TAKES_MATCHED)
        if takes_left > 1:
            for one, other in combinations(takers, 2):
                yield "take", (one, TAKES, other, TAKES)
        for bus, cut in enumerate(cuts):
            if cut != UNCUT:
                yield "heal", (bus,)
        due = [frame for frame in flight if not frame[0]]
        if any(frame[3] >> 6 == bits.CODE_CLAIM for frame in due):
            yield "order", ()
        if not disturbances_left:
            return
        for index in running:
            yield "reset", (index,)
        for bus, cut in enumerate(cuts):
            if cut == UNCUT:
                yield from (("cut", (bus, place)) for place in range(len(self.network.cuts_m[bus])))
        for place, frame in enumerate(due):
            if frame[3] >> 6 not in DISTURBED:
                continue
            listeners = frame[5]
            yield from (("lost", (place, listener)) for listener in listeners)
            if len(listeners) > 1:
                yield "lost", (place, *listeners)
            if frame[3] >> 6 == bits.CODE_LEVER and not self._numbers_of(frame[3], frame[4]):
                continue  # it holds no number: nobody obeys it, whenever it comes
            for slots in range(1, LONGEST_DELAY + 1):
                yield "late", (place, slots)
                yield "twice", (place, slots)

    # ------------------------------------------------------------------------------------------------ what comes of it

    def advance(self, state: State, choice: Choice, takes_left: int) -> Next:
        cells, flight, cuts, apart, both = state
        what, where = choice
        network, all_cells = self.network, self.cells
        if what == "cut":
            cuts = (*cuts[: where[0]], where[1], *cuts[where[0] + 1 :])
        elif what == "heal":
            cuts = (*cuts[: where[0]], UNCUT, *cuts[where[0] + 1 :])
        heard: list[list[tuple[int, int, bytes]]] = [[] for _ in cells]
        onward: list[Frame] = []
        members = network.members
        place = -1
        for frame in flight:
            wait, late, bus, can_id, data, listeners = frame
            if wait:
                onward.append((wait - 1, late, bus, can_id, data, listeners))
                continue
            place += 1
            if where and where[0] == place:
                if what == "lost":
                    listeners = tuple(each for each in listeners if each not in where[1:])
                elif what == "late":
                    onward.append((where[1] - 1, 1, bus, can_id, data, listeners))
                    continue
                elif what == "twice":
                    onward.append((where[1] - 1, 1, bus, can_id, data, listeners))
            cut = cuts[bus]
            for listener in listeners:
                if cut == UNCUT or network.passes(bus, cut, can_id & 0x3F, members[listener]):
                    heard[listener].append((bus, can_id, data))
        events = [NOTHING_DONE] * len(cells)
        if what == "take":
            for index, event in zip(where[::2], where[1::2], strict=True):
                events[index] = event
        elif what == "reset":
            events[where[0]] = RESETS
        if what == "order":
            for each in heard:
                each.reverse()
        done = [all_cells[index].step(number, events[index], tuple(heard[index])) for index, number in enumerate(cells)]
        return self._assemble(done, onward, cuts, apart, both, takes_left, where[0] if what == "reset" else -1)

    def _assemble(
        self, done: list[Done], onward: list[Frame], cuts: tuple[int, ...], apart: int, both: int, takes_left: int, reset: int
    ) -> Next:
        network = self.network
        moved: list[tuple[Label, int]] = []
        routes = network.routes
        flight = onward
        obeyed_old = ""
        for each in done:
            moved += each.moved
            if each.obeyed_old:
                obeyed_old = each.obeyed_old
            for bus, can_id, data in each.sent:
                listeners = routes.get((bus, can_id))
                if listeners:
                    flight.append((0, 0, bus, can_id, data, listeners))
        if reset >= 0:
            address = network.members[reset]
            flight = [frame for frame in flight if frame[3] & 0x3F != address]
            moved += (((address, code), FORGOTTEN) for code in range(16))
        cells = [each.cell for each in done]
        if moved:
            cells, flight = self._rename(cells, flight, tuple(moved), ())
        numbers = self._ranks(cells, flight, takes_left + 2)
        if numbers:
            cells, flight = self._rename(cells, flight, (), numbers)
        flight.sort(key=_order)
        told = [self.cells[index].told[number] for index, number in enumerate(cells)]
        shows = [self.cells[index].shows[number] for index, number in enumerate(cells)]
        apart, both = self.judge.ages(told, shows, cuts, apart, both)
        return Next((tuple(cells), tuple(flight), cuts, apart, both), obeyed_old)

    def _rename(
        self, cells: list[int], flight: list[Frame], moved: tuple[tuple[Label, int], ...], numbers: tuple[tuple[int, int], ...]
    ) -> tuple[list[int], list[Frame]]:
        key = (moved, numbers)
        names = self._names.get(key)
        if names is None:
            names = self._names[key] = len(self._names)
        moves, ranks = dict(moved), dict(numbers)
        cells = [self.cells[index].relabelled(number, names, moves, ranks) for index, number in enumerate(cells)]
        renamed = []
        for wait, late, bus, can_id, data, listeners in flight:
            new = self._frames.get((can_id, data, names))
            if new is None:
                new = self._frames[can_id, data, names] = relabel_frame(can_id, data, moves, ranks)
            renamed.append((wait, late, bus, can_id, new, listeners))
        return cells, renamed

    def _ranks(self, cells: list[int], flight: list[Frame], gap: int) -> tuple[tuple[int, int], ...]:
        """Numbers called anew: in their order, and no further apart than `gap`, which is more than takes can still bridge."""
        found: set[int] = set()
        for index, number in enumerate(cells):
            found |= self.cells[index].numbers[number]
        for frame in flight:
            found |= self._numbers_of(frame[3], frame[4])
        before = rank = 0
        ranks = []
        for value in sorted(found):
            rank += min(value - before, gap)
            before = value
            if rank != value:
                ranks.append((value, rank))
        return tuple(ranks)

    def _numbers_of(self, can_id: int, data: bytes) -> frozenset[int]:
        found = self._numbers.get((can_id, data))
        if found is None:
            found = self._numbers[can_id, data] = numbers_in_frame(can_id, data)
        return found


def _order(frame: Frame) -> tuple[int, int, int, int]:
    """As frames are heard: what was held up comes behind, else the lowest id first, as arbitration has it."""
    return frame[0], frame[1], frame[3], frame[2]
