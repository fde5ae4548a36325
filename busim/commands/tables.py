"""Plain-text tables: columns as wide as what is in them, the last one wrapped to the width of the terminal."""

import shutil
import textwrap
from collections.abc import Iterable, Sequence

NARROWEST_LAST = 24


def table(head: Sequence[str], rows: Iterable[Sequence[str]], indent: str = "  ") -> list[str]:
    """Lines of a table. Numbers are for the caller to have put into words."""
    cells = [tuple(head), *(tuple(row) for row in rows)]
    widths = [max(len(row[column]) for row in cells) for column in range(len(head) - 1)]
    before = len(indent) + sum(widths) + 2 * len(widths)
    last = max(shutil.get_terminal_size((100, 24)).columns - before - 1, NARROWEST_LAST)
    lines = []
    for number, row in enumerate(cells):
        wrapped = textwrap.wrap(row[-1], last) or [""]
        start = indent + "".join(cell.ljust(width) + "  " for cell, width in zip(row[:-1], widths, strict=True))
        lines.append((start + wrapped[0]).rstrip())
        lines += [" " * before + more for more in wrapped[1:]]
        if number == 0:
            lines.append(indent + "-" * (min(before + last, before + max(len(each[-1]) for each in cells)) - len(indent)))
    return lines
