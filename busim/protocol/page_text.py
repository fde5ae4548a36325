"""How the written page is set: paragraphs, lists and tables that read well as Markdown and as plain text. No content is here."""

import re
import textwrap
from collections.abc import Iterable, Sequence
from typing import Final

WIDTH: Final = 100

_MARKUP: Final = re.compile(r"[\\`*\[\]<>|~]|#(?=\s*$)|&(?=[#\w])|(?<![^\W_])_|_(?![^\W_])")
"""What could be taken for markup inside one line; an underscore inside a word and a # before a number are plain text."""


def paragraph(text: str) -> str:
    return "\n".join(textwrap.wrap(text, WIDTH, break_long_words=False, break_on_hyphens=False))


def bullets(items: Iterable[str]) -> str:
    return "\n".join(_item("- ", item) for item in items)


def numbered(items: Iterable[str]) -> str:
    return "\n".join(_item(f"{place}. ", item) for place, item in enumerate(items, 1))


def _item(mark: str, text: str) -> str:
    indent = " " * len(mark)
    lines = textwrap.wrap(
        text, WIDTH, initial_indent=mark, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False
    )
    return "\n".join(lines)


def table(header: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A Markdown table whose columns also stand under each other as plain text."""
    lines = [[*header], *([str(cell).replace("|", "\\|") for cell in row] for row in rows)]
    widths = [max(len(line[column]) for line in lines) for column in range(len(header))]
    lines.insert(1, ["-" * width for width in widths])
    return "\n".join("| " + " | ".join(map(str.ljust, line, widths)) + " |" for line in lines)


def one_line(text: str) -> str:
    """A user's text on one line of the page: nothing in it is control, direction mark or markup."""
    printable = "".join(character if character.isprintable() else "?" for character in text)
    return _MARKUP.sub(lambda found: "\\" + found[0], printable)


def hex_bytes(data: bytes) -> str:
    return data.hex(" ").upper()


def listed(items: Iterable[object]) -> str:
    return ", ".join(map(str, items)) or "none"
