"""The search: every state that can be reached within a budget, and whether somebody can always take control afterwards.

States with more of the budget left do all that those with less of it left can: of two that are otherwise the same only the first
counts. Disturbances are spent one after the other, so that a violation is found with as few of them as it takes.
"""

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
    """At most so many moments in which somebody takes, and so many disturbances."""

    takes: int
    disturbances: int


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
        self.best: dict[State, int] = {}
        self.came: dict[State, tuple[State, Choice] | int] = {}
        waiting: list[deque[tuple[State, int, int]]] = [deque() for _ in range(budget.disturbances + 1)]
        for prelude, state in self._beginnings(budget):
            self.best[state] = 0
            self.came[state] = prelude
            waiting[0].append((state, 0, 0))
        for spent, queue in enumerate(waiting):
            while queue:
                into.states = len(self.best)
                if into.transitions & 0xFFF == 0:
                    self._note(into)
                if into.states > self.most_states:
                    into.open = sum(map(len, waiting))
                    self._note(into)
                    return None
                state, taken, depth = queue.popleft()
                if self.best[state] < taken:
                    continue
                if self.depth and depth >= self.depth:
                    into.open += 1
                    continue
                into.depth = max(into.depth, depth)
                violation = self._expand(state, taken, depth, spent, budget, waiting, into)
                if violation is not None:
                    self._note(into)
                    return violation
        self._note(into)
        violation = self._stuck(into)
        into.finished = True
        return violation

    def _note(self, into: Round) -> None:
        judge = self.slots.judge
        into.states = len(self.best)
        into.longest_apart, into.longest_both = judge.longest_apart, judge.longest_both

    def _beginnings(self, budget: Budget) -> Iterator[tuple[int, State]]:
        """Nobody in control; and each station in control for a while, its levers ahead."""
        slots = self.slots
        nobody, _ = slots.settled(slots.start())
        yield -1, nobody
        for index in range(len(self.network.stations)):
            state, _ = slots.settled(slots.advance(nobody, ("take", (index, TAKES)), 0).state)
            yield index, state

    def _expand(
        self,
        state: State,
        taken: int,
        depth: int,
        spent: int,
        budget: Budget,
        waiting: list[deque[tuple[State, int, int]]],
        into: Round,
    ) -> Violation | None:
        slots, best = self.slots, self.best
        judge = slots.judge
        for choice in slots.choices(state, budget.takes - taken, budget.disturbances - spent):
            now_taken = taken + (choice[0] == "take")
            now_spent = spent + (choice[0] not in FREE)
            found, obeyed_old = slots.advance(state, choice, budget.takes - now_taken)
            into.transitions += 1
            before = best.get(found)
            if before is None or before > now_taken:
                best[found] = now_taken
                if before is None:
                    self.came[found] = (state, choice)
                waiting[now_spent].append((found, now_taken, depth + 1))
            wrong = OBEYED_OLD if obeyed_old else judge.wrong(found[3], found[4])
            if wrong:
                return self._violation(wrong, obeyed_old, [*self._way(state), (state, choice)], found)
        return None

    def _way(self, state: State) -> list[tuple[State, Choice]]:
        way: list[tuple[State, Choice]] = []
        came = self.came[state]
        while not isinstance(came, int):
            way.append(came)
            came = self.came[came[0]]
        return way[::-1]

    def _violation(self, what: str, words: str, way: list[tuple[State, Choice]], last: State) -> Violation:
        prelude = self.came[way[0][0]] if way else self.came[last]
        assert isinstance(prelude, int)
        return Violation(what, words, prelude, [choice for _, choice in way], [*(state for state, _ in way), last])

    # ------------------------------------------------------------------------------------------------ somebody can take control

    def _stuck(self, into: Round) -> Violation | None:
        """From every state: all cuts healed and nothing more happening, the boat settles; and there some station can take."""
        slots = self.slots
        uncut = (UNCUT,) * len(self.network.bus_names)
        left: dict[State, int] = {}
        """Slots until it has settled where somebody can take control."""
        for state in self.best:
            way = []
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
                    return self._violation(STUCK, "", self._way(state), state)
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
