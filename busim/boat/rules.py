"""Rules a boat file must keep across its values. Each broken one is a problem with its place; all of them are found at once.

What a single value may be stands in `model`; what is allowed but unwise in `findings`. The rules stand by subject in the
`rules_*` files; here is what all things have in common: their names.
"""

from collections.abc import Iterator
from typing import Final

from busim.boat.checking import Check
from busim.boat.model import BoatFile
from busim.boat.rules_helm import check_helm
from busim.boat.rules_lights import check_lights
from busim.boat.rules_timing import check_timing
from busim.boat.rules_wiring import check_wiring
from busim.reading.document import Document
from busim.reading.problem import Problem
from busim.reading.tree import Loc

C_WORDS: Final = frozenset(
    """
    auto break case char const continue default do double else enum extern float for goto if inline int long register restrict
    return short signed sizeof static struct switch typedef union unsigned void volatile while
    """.split()  # noqa: SIM905
)
"""Keywords of C99 (ISO/IEC 9899:1999, 6.4.1) that a name in a boat file could be. From memory; a test asks a C lexer."""

CPP_WORDS: Final = frozenset(
    """
    and and_eq asm bitand bitor bool catch class compl const_cast delete dynamic_cast explicit export false friend mutable namespace
    new not not_eq operator or or_eq private protected public reinterpret_cast static_cast template this throw true try typeid
    typename using virtual wchar_t xor xor_eq
    """.split()  # noqa: SIM905
)
"""Keywords of C++ (ISO/IEC 14882:1998, 2.11) beside those: much firmware for small boards is compiled as C++. From memory too."""

DEVICE_NAMES: Final = frozenset(("con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(1, 10))))
"""Names Windows keeps for devices, whatever folder they stand in. From memory."""


def broken_rules(document: Document[BoatFile]) -> list[Problem]:
    """Every rule this boat breaks; none where nodes can be built from it."""
    check = Check(document)
    _check_names(check)
    check_wiring(check)
    check_helm(check)
    check_timing(check)
    check_lights(check)
    return check.problems


def _check_names(check: Check) -> None:
    for loc in _names(check.boat):
        name = str(loc[-1])
        if name in C_WORDS:
            check.wrong_name(loc, f'the name "{name}" is a word of the C language, and firmware could not use it: choose another')
        elif name in CPP_WORDS:
            check.wrong_name(loc, f'the name "{name}" is a word of the C++ language, and firmware could not use it: choose another')
        elif name in DEVICE_NAMES:
            check.wrong_name(loc, f'the name "{name}" can not be a file\'s name on every computer: choose another')


def _names(boat: BoatFile) -> Iterator[Loc]:
    """Where each name stands that a builder chose."""
    for section in ("buses", "supplies", "nodes", "stations", "drives", "zones", "scenes", "panels"):
        yield from ((section, name) for name in getattr(boat, section))
    yield from (("types", "boards", name) for name in boat.types.boards)
    yield from (("types", "actuators", name) for name in boat.types.actuators)
    for panel_name, panel in boat.panels.items():
        for page_name, page in panel.pages.items():
            yield ("panels", panel_name, "pages", page_name)
            yield from (("panels", panel_name, "pages", page_name, control) for control in page)
