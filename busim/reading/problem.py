"""What is wrong with a file, and where; and how text that came from outside is shown. Nothing here reads anything."""

from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Final

LONGEST_SHOWN: Final = 60
MOST_PROBLEMS: Final = 200
"""Beyond this many nobody reads on, and wording them takes longer than anybody waits: the rest is counted."""


def printable(text: str) -> str:
    """`text` with everything a terminal would act on, or that can't be seen, written as an escape."""
    if text.isprintable():
        return text
    return "".join(
        character if character.isprintable() else character.encode("unicode_escape", "surrogatepass").decode() for character in text
    )


def quoted(text: str, longest: int = LONGEST_SHOWN) -> str:
    """`text` from outside, as a person is shown it: in quotes, escaped, and cut after `longest` characters."""
    if len(text) > longest:
        return f'"{printable(text[:longest])}..."'
    return f'"{printable(text)}"'


def listed(names: Iterable[str], longest: int = 12) -> str:
    """Names in a row, cut after `longest` of them."""
    every = [printable(name[:LONGEST_SHOWN]) for name in names]
    rest = len(every) - longest
    return ", ".join(every[:longest]) + (f" and {rest} more" if rest > 0 else "")


def nearest(name: str, known: Iterable[str]) -> str | None:
    """The known name most like `name`, or None where none is near enough to be a slip of the hand."""
    # The cost grows with the product of the lengths, and no name anybody meant is longer than this.
    lowered = {each.lower(): each for each in known}
    close = get_close_matches(name[:LONGEST_SHOWN].lower().replace("-", "_").replace(" ", "_"), lowered, n=1, cutoff=0.6)
    return lowered[close[0]] if close else None


def suggestion(name: str, known: Iterable[str], *, otherwise: str = "known here") -> str:
    """The end of a sentence about an unknown name: what was probably meant, or else what there is."""
    every = list(known)
    if (near := nearest(name, every)) is not None:
        return f"did you mean {printable(near)}?"
    return f"{otherwise}: {listed(every)}" if every else "there are none in this file"


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong. Line and column count from 1; a file that can't be read, or a folder, has neither."""

    path: Path
    line: int | None
    column: int | None
    words: str

    def __str__(self) -> str:
        place = printable(str(self.path))
        if self.line is not None:
            place += f":{self.line}:{self.column}"
        return f"{place}: {self.words}"


class InputError(Exception):
    """What a person gave can't be used. `problems` holds all that was found, in the order of the file; printing it shows them."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = tuple(
            sorted(set(problems), key=lambda problem: (str(problem.path), problem.line or 0, problem.column or 0, problem.words))
        )
        super().__init__("\n".join(map(str, self.problems)))


def refused(path: Path, words: str, line: int | None = None, column: int | None = None) -> InputError:
    """An `InputError` of a single problem."""
    return InputError([Problem(path, line, column, words)])
