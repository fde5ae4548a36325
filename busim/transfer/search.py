"""The search: every state that can be reached within a budget, and whether somebody can always take control afterwards.

States with more of the budget left do all that those with less of it left can: of two that are otherwise the same only the first
counts. Disturbances are spent one after the other, so that a violation is found with as few of them as it takes.
"""

from array import array
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field

from busim.transfer.cell import HERE, TAKES
from busim.transfer.judge import OBEYED_OLD, STUCK, Judge
from busim.transfer.network import UNCUT, Network
from busim.transfer.slots import FREE, QUIET, Choice, Slots, State
from busim.units import MS


@dataclass(frozen=True)
class Budget:
    """At most so many moments in which somebody takes, and so many disturbances, from nobody in control and from each of the
    first so many stations in control."""

    takes: int
    disturbances: int
    holders: int = 1_000


@dataclass
class Round:
    """What one search came to. `depth` in slots; `open` states were seen whose next ones were not worked out."""

    budget: Budget
    states: int = 0
    transitions: int = 0
    depth: int = 0
    open: int = 0
    longest_apart: int = 0
    longest_both: int = 0
    longest_settling: int = 0
    longest_take: int = 0
    finished: bool = False

    @property
    def closed(self) -> bool:
        return self.finished and not self.open


@dataclass
class Violation:
    """`path` is what happened in each slot, first the take that led to where the search began, then from there."""

    what: str
    words: str
    prelude: int
    """Index of the station in control at the beginning, -1 for nobody."""
    path: list[Choice]
    states: list[State] = field(repr=False, default_factory=list)


class Search:
    def __init__(self, network: Network, depth: int, most_states: int) -> None:
        self.network = network
        self.depth = depth
        """Most slots from where it begins; 0 for no limit."""
        self.most_states = most_states

    def run(self, budget: Budget, into: Round) -> Violation | None:
        """Search within the budget, writing down in `into` how far it is. Returns the first violation."""
        self.slots = Slots(self.network, Judge(self.network, budget.disturbances))
        self.states: dict[State, int] = {}
        """State -> its place in the lists below: takes so far, slots so far, what it came from, and by what."""
        self.taken = array("B")
        self.depths = array("L")
        self.parents = array("l")
        self.by: list[Choice] = []
        self.preludes: dict[int, int] = {}
        later: list[dict[State, tuple[int, int, int, Choice]]] = [{} for _ in range(budget.disturbances + 1)]
        """Per disturbances spent: states to go on from, as (takes, slots, what it came from, by what)."""
        for prelude, state in self._beginnings(budget.holders):
            self.preludes[self._enter(state, 0, 0, -1, QUIET)] = prelude
            later[0][state] = (0, 0, self.states[state], QUIET)
        for spent, fresh in enumerate(later):
            queue: deque[tuple[State, int, int]] = deque()
            for state, (taken, depth, parent, choice) in fresh.items():
                place = self.states.get(state)
                if place is None or self.taken[place] > taken:
                    place = self._enter(state, taken, depth, parent, choice)
                elif spent:
                    continue
                queue.append((state, place, taken))
            fresh.clear()
            while queue:
                if len(self.states) > self.most_states:
                    into.open = len(queue) + sum(map(len, later))
                    self._note(into)
                    return None
                state, place, taken = queue.popleft()
                if self.taken[place] < taken:
                    continue
                depth = self.depths[place]
                if self.depth and depth >= self.depth:
                    into.open += 1
                    continue
                into.depth = max(into.depth, depth)
                violation = self._expand(state, place, Budget(taken, spent), budget, queue, later, into)
                if violation is not None or into.transitions & 0x3FF == 0:
                    self._note(into)
                if violation is not None:
                    return violation
        self._note(into)
        violation = self._stuck(into)
        into.finished = True
        return violation

    def _enter(self, state: State, taken: int, depth: int, parent: int, choice: Choice) -> int:
        """Note a state, or that fewer takes lead to it than was known."""
        place = self.states.setdefault(state, len(self.by))
        if place == len(self.by):
            self.taken.append(taken)
            self.depths.append(depth)
            self.parents.append(parent)
            self.by.append(choice)
        else:
            self.taken[place], self.depths[place], self.parents[place], self.by[place] = taken, depth, parent, choice
        return place

    def _note(self, into: Round) -> None:
        judge = self.slots.judge
        into.states = len(self.states)
        into.longest_apart, into.longest_both = judge.longest_apart, judge.longest_both

    def _beginnings(self, holders: int) -> Iterator[tuple[int, State]]:
        """Nobody in control; and each station in control for a while, its levers ahead."""
        slots = self.slots
        nobody, _ = slots.settled(slots.start())
        yield -1, nobody
        for index in range(min(holders, len(self.network.stations))):
            state, _ = slots.settled(slots.advance(nobody, ("take", (index, TAKES)), 0).state)
            yield index, state

    def _expand(
        self,
        state: State,
        place: int,
        used: Budget,
        budget: Budget,
        queue: deque[tuple[State, int, int]],
        later: list[dict[State, tuple[int, int, int, Choice]]],
        into: Round,
    ) -> Violation | None:
        slots, states = self.slots, self.states
        judge = slots.judge
        depth = self.depths[place] + 1
        for choice in slots.choices(state, budget.takes - used.takes, budget.disturbances - used.disturbances):
            taken = used.takes + (choice[0] == "take")
            found, obeyed_old = slots.advance(state, choice, budget.takes - taken)
            into.transitions += 1
            wrong = OBEYED_OLD if obeyed_old else judge.wrong(found[3], found[4])
            if wrong:
                return self._violation(wrong, obeyed_old, place, choice, found)
            known = states.get(found)
            if known is not None and self.taken[known] <= taken:
                continue
            if choice[0] in FREE:
                queue.append((found, self._enter(found, taken, depth, place, choice), taken))
            else:
                waits = later[used.disturbances + 1]
                if found not in waits or waits[found][0] > taken:
                    waits[found] = (taken, depth, place, choice)
        return None

    def _violation(self, what: str, words: str, place: int, last: Choice | None, end: State) -> Violation:
        """The way to the state at `place`, and by the choice `last`, if there is one, to the state `end`."""
        path = [last] if last is not None else []
        places = [place]
        while self.parents[places[-1]] >= 0:
            path.append(self.by[places[-1]])
            places.append(self.parents[places[-1]])
        wanted = set(places)
        by_place = {each: state for state, each in self.states.items() if each in wanted}
        states = [by_place[each] for each in reversed(places)]
        return Violation(what, words, self.preludes[places[-1]], path[::-1], [*states, end] if last is not None else states)

    # ------------------------------------------------------------------------------------------------ somebody can take control

    def _stuck(self, into: Round) -> Violation | None:
        """From every state: all cuts healed and nothing more happening, the boat settles; and there some station can take."""
        slots = self.slots
        uncut = (UNCUT,) * len(self.network.bus_names)
        left: dict[State, int] = {}
        """Slots until it has settled where somebody can take control."""
        for state, place in self.states.items():
            way: list[State] = []
            seen: dict[State, int] = {}
            here: State = (*state[:2], uncut, 0, 0)
            while here not in left and here not in seen:
                seen[here] = len(way)
                way.append(here)
                here = slots.advance(here, QUIET, 0).state
                here = (*here[:2], uncut, 0, 0)
            if here not in left:
                settled = way[seen[here] :]
                took = min((slots_taken for each in settled if (slots_taken := self._fastest_take(each)) is not None), default=None)
                if took is None:
                    return self._violation(STUCK, "", place, None, state)
                into.longest_take = max(into.longest_take, took)
                left.update(dict.fromkeys(settled, 0))
                del way[seen[here] :]
            after = left[here]
            for each in reversed(way):
                after += 1
                left[each] = after
            into.longest_settling = max(into.longest_settling, after)
        return None

    def _fastest_take(self, state: State) -> int | None:
        """Slots from a press of a take key to a station in control of all it may take; None where no station gets there."""
        taking = [self.take_time(state, index) for index in range(len(self.network.stations))]
        return min((each for each in taking if each is not None), default=None)

    def take_time(self, state: State, index: int) -> int | None:
        slots, network = self.slots, self.network
        wanted = network.followers_of(network.stations[index])
        limit = -(-network.plan.timing.transfer_ms * MS // network.slot_ns) + 1
        state = slots.advance(state, ("take", (index, TAKES)), 0).state
        for after in range(1, limit + 1):
            cells = state[0]
            told = {slots.cells[each].told[cells[each]] for each in wanted}
            if slots.cells[index].shows[cells[index]] in HERE and len(told) == 1 and next(iter(told))[0] == network.stations[index]:
                return after
            state = slots.advance(state, QUIET, 0).state
        return None
