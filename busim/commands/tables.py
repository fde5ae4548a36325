"""Plain-text tables: columns as wide as what is in them; the last one is wrapped to the width of the terminal, and where
there is no room for it beside the others, stands below them."""

import shutil
import textwrap
from collections.abc import Iterable, Sequence

NARROWEST_LAST = 30
WIDTH_OF_A_FILE = 100


def wrapped(words: str) -> list[str]:
    """One long line, as many as the terminal needs; what follows the first is indented."""
    columns = shutil.get_terminal_size((WIDTH_OF_A_FILE, 24)).columns
    return textwrap.wrap(words, max(columns, NARROWEST_LAST), subsequent_indent="    ")


def table(head: Sequence[str], rows: Iterable[Sequence[str]], indent: str = "  ") -> list[str]:
    """Lines of a table. Numbers are for the caller to have put into words."""
    cells = [tuple(head), *(tuple(row) for row in rows)]
    widths = [max(len(row[column]) for row in cells) for column in range(len(head) - 1)]
    before = len(indent) + sum(widths) + 2 * len(widths)
    columns = shutil.get_terminal_size((WIDTH_OF_A_FILE, 24)).columns
    longest = max(len(row[-1]) for row in cells)
    beside = columns - before - 1 >= min(longest, NARROWEST_LAST)
    start = before if beside else 2 * len(indent)
    last = max(columns - start - 1, NARROWEST_LAST)
    lines = []
    for number, row in enumerate(cells):
        wrapped = textwrap.wrap(row[-1], last) or [""]
        line = indent + "".join(cell.ljust(width) + "  " for cell, width in zip(row[:-1], widths, strict=True))
        if beside:
            line += wrapped.pop(0)
        lines.append(line.rstrip())
        lines += [" " * start + more for more in wrapped]
        if number == 0:
            lines.append(indent + "-" * (min(max(before - 2, start + min(last, longest)), columns) - len(indent)))
    return lines
