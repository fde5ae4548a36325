"""A drawing: lines of styled text, and the places on it that a mouse can touch."""

import textwrap
from dataclasses import dataclass, field, replace
from typing import Any

from rich.cells import cell_len
from rich.text import Text

from busim import screen_labels as labels


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


@dataclass
class Drawing:
    lines: list[Text] = field(default_factory=list)
    targets: list[Target] = field(default_factory=list)

    def put(self, *parts: tuple[str, str]) -> None:
        """One line of (words, style)."""
        self.lines.append(Text.assemble(*parts, no_wrap=True, end=""))

    def gap(self) -> None:
        self.lines.append(Text("", end=""))

    def touch(self, left: int, right: int, *what: Any, slides: bool = False) -> None:
        """What lies on the line put last can be touched."""
        self.targets.append(Target(len(self.lines) - 1, left, right, what, slides))

    def add(self, other: "Drawing") -> None:
        """The other below this one."""
        first = len(self.lines)
        self.lines += other.lines
        self.targets += [Target(each.line + first, each.left, each.right, each.what, each.slides) for each in other.targets]

    def beside(self, other: "Drawing", left: int) -> "Drawing":
        """This one with the other to the right of it, from column `left` on."""
        joined = Drawing(targets=list(self.targets))
        for number in range(max(len(self.lines), len(other.lines))):
            line = self.lines[number].copy() if number < len(self.lines) else Text("", end="")
            line.truncate(left, pad=True)
            if number < len(other.lines):
                line.append_text(other.lines[number])
            joined.lines.append(line)
        joined.targets += [Target(each.line, each.left + left, each.right + left, each.what, each.slides) for each in other.targets]
        return joined

    def window(self, high: int, keep: int, style: str) -> "Drawing":
        """So many lines of it at most, line `keep` among them; what is left out is said."""
        count = len(self.lines)
        if count <= high or high < 3:
            return Drawing(self.lines[:high], [each for each in self.targets if each.line < high]) if count > high else self
        first = max(0, min(keep - high // 2, count - high))
        cut = Drawing(self.lines[first : first + high])
        cut.targets = [replace(each, line=each.line - first) for each in self.targets if first <= each.line < first + high]
        if first:
            cut._say(0, labels.MORE_ABOVE.format(count=first + 1), style)
        if first + high < count:
            cut._say(high - 1, labels.MORE_BELOW.format(count=count - first - high + 1), style)
        return cut

    def _say(self, line: int, words: str, style: str) -> None:
        self.lines[line] = Text.assemble((f"  {words}", style), no_wrap=True, end="")
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
    if cell_len(words) > wide:
        cut = Text(words)
        cut.truncate(wide, overflow="ellipsis")
        words = cut.plain
    return words + " " * (wide - cell_len(words))
