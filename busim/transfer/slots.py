"""A slot of the whole boat: from one state and what happens in it to the next state, and what can happen at all.

A state is plain and canonical: (forms of all cells, frames on their way, cuts, how long two followers obey different takes, how
long two stations show that they are in control).
"""

from collections.abc import Iterator
from itertools import combinations
from typing import Any, Final, NamedTuple

from busim.events import bits
from busim.host.host import NodeError
from busim.transfer.cell import NOTHING_DONE, RESETS, TAKES, TAKES_MATCHED, Done
from busim.transfer.judge import Judge
from busim.transfer.memory import FORGOTTEN, Label, numbers_in_frame, relabel_frame
from busim.transfer.network import DISTURBED, UNCUT, Network

Wire = tuple[int, int, bytes]
"""(bus, id, data)."""

Frame = tuple[int, int, Wire, tuple[int, ...]]
"""A frame on its way: (slots until it is heard, 1 if it was held up, the frame, members that will hear it)."""

State = tuple[tuple[int, ...], tuple[Frame, ...], tuple[int, ...], int, int]

LONGEST_DELAY: Final = 3
"""Slots by which a frame comes later than others: 60 ms let a claim come behind the next one."""

LONGEST_SETTLING: Final = 2000
"""Slots after which no boat is waited for any longer."""

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
        self._frames: dict[tuple[Wire, int], Wire] = {}
        self._numbers: dict[Wire, frozenset[int]] = {}
        self._known: dict[Any, Any] = {}
        self._matched = {station.address for station in network.plan.stations if station.matched_take}

    def start(self) -> State:
        """All has been switched on a moment ago."""
        return tuple(cells.first() for cells in self.cells), (), (UNCUT,) * len(self.network.bus_names), 0, 0

    def settled(self, state: State) -> tuple[State, int]:
        """Where the boat comes to when nothing happens, and after how many slots: the first state of those it repeats for ever.

        Errors: NodeError where it never repeats, as then nothing can be explored to its end.
        """
        seen: dict[State, int] = {}
        while state not in seen:
            if len(seen) > LONGEST_SETTLING:
                raise NodeError("left alone, the nodes never repeat themselves: a slot said to be a value counts, or keeps a time")
            seen[state] = len(seen)
            state = self.advance(state, QUIET, 0).state
        return state, seen[state]

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
            for one, other in combinations(takers, 2):
                yield "take", (one, TAKES, other, TAKES)
        for bus, cut in enumerate(cuts):
            if cut != UNCUT:
                yield "heal", (bus,)
        due = [frame for frame in flight if not frame[0]]
        if any(frame[2][1] >> 6 == bits.CODE_CLAIM for frame in due):
            yield "order", ()
        if not disturbances_left:
            return
        for index in running:
            yield "reset", (index,)
        for bus, cut in enumerate(cuts):
            if cut == UNCUT:
                yield from (("cut", (bus, place)) for place in range(len(self.network.cuts_m[bus])))
        for place, frame in enumerate(due):
            if frame[2][1] >> 6 not in DISTURBED:
                continue
            listeners = frame[3]
            yield from (("lost", (place, listener)) for listener in listeners)
            if len(listeners) > 1:
                yield "lost", (place, *listeners)
            if frame[2][1] >> 6 == bits.CODE_LEVER and not self._numbers_of(frame[2]):
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
        heard: list[list[Wire]] = [[] for _ in cells]
        onward: list[Frame] = []
        members = network.members
        place = -1
        for frame in flight:
            wait, late, wire, listeners = frame
            if wait:
                onward.append((wait - 1, late, wire, listeners))
                continue
            place += 1
            if where and where[0] == place:
                if what == "lost":
                    listeners = tuple(each for each in listeners if each not in where[1:])
                elif what == "late":
                    onward.append((where[1] - 1, 1, wire, listeners))
                    continue
                elif what == "twice":
                    onward.append((where[1] - 1, 1, wire, listeners))
            bus = wire[0]
            cut = cuts[bus]
            for listener in listeners:
                if cut == UNCUT or network.passes(bus, cut, wire[1] & 0x3F, members[listener]):
                    heard[listener].append(wire)
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
            for wire in each.sent:
                listeners = routes.get(wire[:2])
                if listeners:
                    flight.append((0, 0, wire, listeners))
        if reset >= 0:
            address = network.members[reset]
            flight = [frame for frame in flight if frame[2][1] & 0x3F != address]
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
        on_its_way = self._same(tuple([self._same(frame) for frame in flight]))
        return Next((tuple(cells), on_its_way, self._same(cuts), apart, both), obeyed_old)

    def _same(self, thing: Any) -> Any:
        """The first of all things equal to this one: there are many of them, and they take a lot of room."""
        return self._known.setdefault(thing, thing)

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
        for wait, late, wire, listeners in flight:
            new = self._frames.get((wire, names))
            if new is None:
                bus, can_id, data = wire
                new = self._frames[wire, names] = self._same((bus, can_id, relabel_frame(can_id, data, moves, ranks)))
            renamed.append((wait, late, new, listeners))
        return cells, renamed

    def _ranks(self, cells: list[int], flight: list[Frame], gap: int) -> tuple[tuple[int, int], ...]:
        """Numbers called anew: in their order, and no further apart than `gap`, which is more than takes can still bridge."""
        found: set[int] = set()
        for index, number in enumerate(cells):
            found |= self.cells[index].numbers[number]
        for frame in flight:
            found |= self._numbers_of(frame[2])
        before = rank = 0
        ranks = []
        for value in sorted(found):
            rank += min(value - before, gap)
            before = value
            if rank != value:
                ranks.append((value, rank))
        return tuple(ranks)

    def _numbers_of(self, wire: Wire) -> frozenset[int]:
        found = self._numbers.get(wire)
        if found is None:
            found = self._numbers[wire] = numbers_in_frame(wire[1], wire[2])
        return found


def _order(frame: Frame) -> tuple[int, int, int]:
    """As frames are heard: what was held up comes behind, else the lowest id first, as arbitration has it; of one id as sent."""
    return frame[0], frame[1], frame[2][1]
