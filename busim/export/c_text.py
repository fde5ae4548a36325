"""How exported C is set: names that are no keyword and stand once, comments that end where they should, constants, arrays."""

import re
import textwrap
from collections.abc import Iterable, Sequence
from typing import Final

from busim.boat.rules import C_WORDS, CPP_WORDS

WIDTH: Final = 100

TAKEN: Final = C_WORDS | CPP_WORDS | {"asm", "bool", "errno", "false", "fortran", "main", "true"}
"""Words that are no names in C or C++, whose compilers read the headers too. Names of a boat file are refused where they are one
(see `rules`); names of signals are looked at here."""


def c_word(text: str) -> str:
    """`text` as a part of a C name: letters a to z, digits and _."""
    word = re.sub(r"[^a-z0-9]+", "_", text.lower()).strip("_") or "x"
    return f"n{word}" if word[0].isdigit() else word


def c_field(text: str) -> str:
    """`text` as the name of a field of a struct: a keyword gets a `_` at its end."""
    word = c_word(text)
    return f"{word}_" if word in TAKEN else word


class Names:
    """The names of one header: each may be given once, and anything that would stand twice is refused before a compiler sees it."""

    def __init__(self) -> None:
        self._given: set[str] = set()

    def give(self, *parts: str) -> str:
        """The constant's name made of these parts. Errors: ValueError where another thing has it already."""
        name = "BUSIM_" + "_".join(c_word(part) for part in parts).upper()
        if name in self._given:
            raise ValueError(f"two things would be called {name} in C")
        self._given.add(name)
        return name


# ------------------------------------------------------------------------------------------------ text


def plain(text: str) -> str:
    """`text` as it may stand inside a comment or a string literal: printable ASCII, and nothing that ends or changes either."""
    ascii_only = "".join(character if " " <= character <= "~" else "?" for character in text)
    return re.sub(r"\?(?=\?)", "? ", ascii_only.replace("*/", "* /").replace("/*", "/ *").replace("\\", "/"))


def literal(text: str) -> str:
    return '"' + plain(text).replace('"', "'") + '"'


def comment(text: str, indent: str = "") -> str:
    """A comment of one line or several, lines of `text` kept apart."""
    lines: list[str] = []
    for part in text.split("\n"):
        lines += textwrap.wrap(plain(part), WIDTH - len(indent) - 6, break_long_words=False, break_on_hyphens=False) or [""]
    if len(lines) == 1:
        return f"{indent}/* {lines[0]} */"
    return "\n".join([f"{indent}/* {lines[0]}", *(f"{indent} * {line}".rstrip() for line in lines[1:]), f"{indent} */"])


def heading(text: str) -> str:
    return f"/* {'-' * (WIDTH - len(text) - 7)} {plain(text)} */"


def macro(name: str, value: str, words: str = "") -> str:
    line = f"#define {name:<44} {value}"
    return f"{line}  /* {plain(words)} */" if words else line


def unsigned(value: int) -> str:
    """A constant that is at least as wide as its value on every machine, where `int` may have 16 bits."""
    return f"{value}u" if value < 1 << 16 else f"{value}ul" if value < 1 << 32 else f"{value}ull"


def hexadecimal(value: int, digits: int = 4) -> str:
    return f"0x{value:0{digits}X}u"


def truth(value: bool) -> str:
    return "true" if value else "false"


def signed(value: int) -> str:
    """A signed constant; the least of a type has no literal of its own in C."""
    if value in (-(1 << 15), -(1 << 31)):
        return f"({signed(value + 1)} - 1)"
    return str(value) if -(1 << 15) < value < 1 << 15 else f"{value}L"


def array(declaration: str, rows: Sequence[str]) -> str:
    """A constant array of these rows. C has no array of nothing: an empty one holds one entry of zeros, and its count is 0."""
    body = ",\n    ".join(rows) if rows else "{0}"
    return f"const {declaration} = {{\n    {body}\n}};"


def filled(values: Iterable[object], width: int = WIDTH - 4) -> str:
    """Values in a row, wrapped, for long tables of numbers."""
    return textwrap.fill(", ".join(map(str, values)), width).replace("\n", "\n    ")


def guarded(guard: str, includes: Sequence[str], blocks: Iterable[str], head: str) -> str:
    """A whole header."""
    lines = [f"#include {name}" for name in includes]
    opening = '#ifdef __cplusplus\nextern "C" {\n#endif'
    closing = "#ifdef __cplusplus\n}\n#endif"
    once = f"#ifndef {guard}\n#define {guard}"
    return "\n\n".join([comment(head), once, "\n".join(lines), opening, *blocks, closing, f"#endif /* {guard} */"]) + "\n"
