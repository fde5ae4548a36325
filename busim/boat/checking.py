"""What the rules are checked with: a collector of problems that knows where everything in the boat file stands. No rule is here."""

from collections.abc import Callable, Iterable, Mapping
from typing import Any, Final

from busim.boat.model import BoatFile
from busim.reading.document import Document
from busim.reading.problem import Problem, quoted, suggestion
from busim.reading.tree import Loc

_MOST_SUGGESTIONS: Final = 50


class Check:
    """Problems of one boat file, all of them, in the order they were found."""

    def __init__(self, document: Document[BoatFile]) -> None:
        self.document = document
        self.boat = document.value
        self.problems: list[Problem] = []
        self._buses: dict[str, frozenset[str]] = {}
        self._suggested = 0

    def wrong(self, loc: Loc, words: str) -> None:
        """The value at `loc` is wrong."""
        self.problems.append(self.document.problem(loc, words))

    def wrong_name(self, loc: Loc, words: str) -> None:
        """The thing named at `loc` is wrong, or its name is: the problem stands at the name."""
        self.problems.append(self.document.key_problem(loc, words))

    def line(self, loc: Loc) -> int:
        return self.document.line(loc)

    def is_written(self, loc: Loc) -> bool:
        return self.document.positions.holds(loc)

    def known(self, loc: Loc, name: str, section: Mapping[str, Any], what: str, *, is_key: bool = False) -> bool:
        """True where `name`, the value or the key at `loc`, is in `section`; else a problem, with what was probably meant."""
        if name in section:
            return True
        words = f"there is no {what} {quoted(name)}"
        # Looking for what was meant is slow, and who has this many names wrong has not mistyped them.
        if self._suggested < _MOST_SUGGESTIONS:
            self._suggested += 1
            words += f": {suggestion(name, section, otherwise=f'the {what} names are')}"
        (self.wrong_name if is_key else self.wrong)(loc, words)
        return False

    def all_known(self, loc: Loc, names: tuple[str, ...], section: Mapping[str, Any], what: str) -> bool:
        """The same for a list of names, none of which may stand in it twice."""
        known = [self.known((*loc, index), name, section, what) for index, name in enumerate(names)]
        self.once(((name, (*loc, index), name) for index, name in enumerate(names)), lambda name, _: f"{name} is listed twice")
        return all(known)

    def once(self, entries: Iterable[tuple[Any, Loc, str]], words: Callable[[Any, str], str]) -> None:
        """`entries` are (value, its loc, whose it is). A value that came before is a problem.

        Its words are `words(value, first)`, `first` saying whose it is already and on which line.
        """
        first: dict[Any, tuple[Loc, str]] = {}
        for value, loc, owner in entries:
            if value in first:
                other_loc, other = first[value]
                self.wrong(loc, words(value, f"{other}, line {self.line(other_loc)}"))
            else:
                first[value] = (loc, owner)

    def buses_of(self, node_name: str) -> frozenset[str]:
        """The buses a node is on. The two of a redundant pair are two: nothing forwards from one to the other."""
        if node_name not in self._buses:
            self._buses[node_name] = frozenset(bus for bus in self.boat.nodes[node_name].taps if bus in self.boat.buses)
        return self._buses[node_name]

    def share_a_bus(self, loc: Loc, node: str, other: str, words: str) -> None:
        """A problem at `loc` where two known nodes have no bus in common."""
        if node in self.boat.nodes and other in self.boat.nodes and not self.buses_of(node) & self.buses_of(other):
            self.wrong(loc, f"{words}: {node} and {other} are on no bus together")
