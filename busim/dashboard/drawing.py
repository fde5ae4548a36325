"""A drawing: lines of styled text, and the places on it that a mouse can touch."""

import textwrap
from dataclasses import dataclass, field, replace
from typing import Any, Final

from rich.cells import cell_len, set_cell_size

from busim import screen_labels as labels

LEAST_WINDOW: Final = 3
"""With fewer lines there is no room to say what is left out."""


@dataclass(frozen=True)
class Target:
    """Cells `left` to `right` of line `line`: touching them means `what`. Of a slider, `what` is told the permille touched."""

    line: int
    left: int
    right: int
    what: tuple[Any, ...]
    slides: bool = False

    def permille(self, column: int) -> int:
        """-1000 at its left end to 1000 at its right; near its middle it snaps to 0."""
        wide = max(self.right - self.left - 1, 1)
        value = (column - self.left) * 2000 // wide - 1000
        return 0 if abs(value) < 1200 // wide else max(-1000, min(value, 1000))


@dataclass(frozen=True, slots=True)
class Row:
    """A line: (words, style) side by side. A picture has dozens of them twenty times a second, so they are no more than that."""

    parts: tuple[tuple[str, str], ...]

    @property
    def plain(self) -> str:
        return "".join([words for words, _ in self.parts])

    def cut(self, wide: int) -> "Row":
        """Exactly so many cells of it: cut, or filled up with blanks."""
        left, kept = wide, []
        for words, style in self.parts:
            cells = cell_len(words)
            if cells > left:
                kept.append((set_cell_size(words, left), style))
                left = 0
                break
            kept.append((words, style))
            left -= cells
        if left:
            kept.append((" " * left, ""))
        return Row(tuple(kept))


EMPTY: Final = Row(())


@dataclass
class Drawing:
    lines: list[Row] = field(default_factory=list)
    targets: list[Target] = field(default_factory=list)

    def put(self, *parts: tuple[str, str]) -> None:
        """One line of (words, style)."""
        self.lines.append(Row(parts))

    def gap(self) -> None:
        self.lines.append(EMPTY)

    def touch(self, left: int, right: int, *what: Any, slides: bool = False) -> None:
        """What lies on the line put last can be touched."""
        self.targets.append(Target(len(self.lines) - 1, left, right, what, slides))

    def add(self, other: "Drawing") -> None:
        """The other below this one."""
        first = len(self.lines)
        self.lines += other.lines
        self.targets += [replace(each, line=each.line + first) for each in other.targets]

    def beside(self, other: "Drawing", left: int) -> "Drawing":
        """This one with the other to the right of it, from column `left` on."""
        joined = Drawing(targets=list(self.targets))
        for number in range(max(len(self.lines), len(other.lines))):
            line = (self.lines[number] if number < len(self.lines) else EMPTY).cut(left)
            more = other.lines[number].parts if number < len(other.lines) else ()
            joined.lines.append(Row((*line.parts, *more)))
        joined.targets += [replace(each, left=each.left + left, right=each.right + left) for each in other.targets]
        return joined

    def window(self, high: int, keep: int, style: str) -> "Drawing":
        """So many lines of it at most, line `keep` among them; what is left out is said."""
        count = len(self.lines)
        if count <= high:
            return self
        first = max(0, min(keep - high // 2, count - high)) if high >= LEAST_WINDOW else 0
        cut = Drawing(self.lines[first : first + high])
        cut.targets = [replace(each, line=each.line - first) for each in self.targets if first <= each.line < first + high]
        if high >= LEAST_WINDOW:
            if first:
                cut._say(0, labels.MORE_ABOVE.format(count=first + 1), style)
            if first + high < count:
                cut._say(high - 1, labels.MORE_BELOW.format(count=count - first - high + 1), style)
        return cut

    def _say(self, line: int, words: str, style: str) -> None:
        self.lines[line] = Row(((f"  {words}", style),))
        self.targets = [each for each in self.targets if each.line != line]


def wrapped(words: str, wide: int, indent: int = 0) -> list[str]:
    """Lines of so many cells at most, all but the first indented."""
    return textwrap.wrap(words, max(wide, 10), subsequent_indent=" " * indent) or [""]


def fitted_name(name: str, wide: int) -> str:
    """As `fitted`, but cut in its middle: names tell apart at both ends."""
    if cell_len(name) <= wide or wide < 5:
        return fitted(name, wide)
    tail = (wide - 1) // 2
    return f"{name[: wide - 1 - tail]}…{name[-tail:]}"


def fitted(words: str, wide: int) -> str:
    """Exactly so many cells: cut, or filled up with blanks."""
    cells = cell_len(words)
    if cells <= wide:
        return words + " " * (wide - cells)
    return set_cell_size(words, wide - 1) + "…" if wide > 0 else ""
