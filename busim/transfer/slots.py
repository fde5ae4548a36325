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
from busim.transfer.memory import FORGOTTEN, Label, numbers_in_frame
from busim.transfer.network import CODE_WHEEL, DISTURBED, UNCUT, Network
from busim.transfer.parcels import Parcel
from busim.units import MS

State = tuple[tuple[int, ...], tuple[int, ...], tuple[int, ...], int, int]
"""(numbers of the cells' forms, numbers of the parcels on their way, place of each bus's cut, apart, both)."""

LONGEST_DELAY_MS: Final = 60
"""By how much a frame comes later than others at the most, rounded up to whole slots: it lets a claim come behind the next one."""

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
        self.parcels = network.parcels
        self.longest_delay = -(-LONGEST_DELAY_MS * MS // network.slot_ns)
        self._fresh: dict[int, int] = {}
        """Frame -> its parcel when it was just sent, -1 where nobody hears it."""
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
        due = self.due(flight)
        codes = [self.parcels.wires[parcel.wire][1] >> 6 for parcel in due]
        if bits.CODE_CLAIM in codes:
            yield "order", ()
        if not disturbances_left:
            return
        for index in running:
            yield "reset", (index,)
        for bus, cut in enumerate(cuts):
            if cut == UNCUT:
                yield from (("cut", (bus, place)) for place in range(len(self.network.cuts_m[bus])))
        for place, (parcel, code) in enumerate(zip(due, codes, strict=True)):
            if code in DISTURBED:
                yield from self._hits(place, parcel, code)

    def due(self, flight: tuple[int, ...]) -> list[Parcel]:
        """What is heard in the next slot, unless something happens to it."""
        return [parcel for number in flight if not (parcel := self.parcels.parcels[number]).wait]

    def _hits(self, place: int, parcel: Parcel, code: int) -> Iterator[Choice]:
        listeners = parcel.listeners
        yield from (("lost", (place, listener)) for listener in listeners)
        if len(listeners) > 1:
            yield "lost", (place, *listeners)
        if code in (bits.CODE_LEVER, CODE_WHEEL):
            _, can_id, data = self.parcels.wires[parcel.wire]
            if not numbers_in_frame(can_id, data):
                return  # it holds no number: nobody obeys it, whenever it comes
        for slots in range(1, self.longest_delay + 1):
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
        heard: list[list[int]] = [[] for _ in cells]
        onward: list[int] = []
        members, table = network.members, self.parcels
        place = -1
        for number in flight:
            wait, late, wire, listeners = table.parcels[number]
            if wait:
                onward.append(table.parcel(wait - 1, late, wire, listeners))
                continue
            place += 1
            if where and where[0] == place and what in ("lost", "late", "twice"):
                if what == "lost":
                    listeners = tuple(each for each in listeners if each not in where[1:])
                else:
                    onward.append(table.parcel(where[1] - 1, 1, wire, listeners))
                    if what == "late":
                        continue
            bus, can_id, _ = table.wires[wire]
            cut = cuts[bus]
            for listener in listeners:
                if cut == UNCUT or network.passes(bus, cut, can_id & 0x3F, members[listener]):
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
        self, done: list[Done], onward: list[int], cuts: tuple[int, ...], apart: int, both: int, takes_left: int, reset: int
    ) -> Next:
        network = self.network
        moved: list[tuple[Label, int]] = []
        flight = onward
        obeyed_old = ""
        for each in done:
            moved += each.moved
            if each.obeyed_old:
                obeyed_old = each.obeyed_old
            for wire in each.sent:
                fresh = self._fresh.get(wire)
                if fresh is None:
                    listeners = network.routes.get(self.parcels.wires[wire][:2], ())
                    fresh = self._fresh[wire] = self.parcels.parcel(0, 0, wire, listeners) if listeners else -1
                if fresh >= 0:
                    flight.append(fresh)
        if reset >= 0:
            address = network.members[reset]
            flight = [number for number in flight if self._sender(number) != address]
            moved += (((address, code), FORGOTTEN) for code in range(16))
        cells = [each.cell for each in done]
        if moved:
            cells, flight = self._rename(cells, flight, tuple(moved), ())
        numbers = self._ranks(cells, flight, takes_left + 2)
        if numbers:
            cells, flight = self._rename(cells, flight, (), numbers)
        flight.sort(key=self.parcels.order.__getitem__)
        told = [self.cells[index].told[number] for index, number in enumerate(cells)]
        shows = [self.cells[index].shows[number] for index, number in enumerate(cells)]
        apart, both = self.judge.ages(told, shows, cuts, apart, both)
        return Next((self._same(tuple(cells)), self._same(tuple(flight)), self._same(cuts), apart, both), obeyed_old)

    def _sender(self, number: int) -> int:
        return self.parcels.wires[self.parcels.parcels[number].wire][1] & 0x3F

    def _same(self, thing: Any) -> Any:
        """The first of all things equal to this one: there are many of them, and they take a lot of room."""
        return self._known.setdefault(thing, thing)

    def _rename(
        self, cells: list[int], flight: list[int], moved: tuple[tuple[Label, int], ...], numbers: tuple[tuple[int, int], ...]
    ) -> tuple[list[int], list[int]]:
        key = (moved, numbers)
        names = self.network.names_of.setdefault(key, len(self.network.names_of))
        moves, ranks = dict(moved), dict(numbers)
        cells = [self.cells[index].relabelled(number, names, moves, ranks) for index, number in enumerate(cells)]
        return cells, self.parcels.renamed(flight, names, moves, ranks)

    def _ranks(self, cells: list[int], flight: list[int], gap: int) -> tuple[tuple[int, int], ...]:
        """Numbers called anew: in their order, and no further apart than `gap`, which is more than takes can still bridge."""
        found: set[int] = set()
        for index, number in enumerate(cells):
            found |= self.cells[index].numbers[number]
        numbers = self.parcels.numbers
        for parcel in flight:
            found |= numbers[parcel]
        before = rank = 0
        ranks = []
        for value in sorted(found):
            rank += min(value - before, gap)
            before = value
            if rank != value:
                ranks.append((value, rank))
        return tuple(ranks)
