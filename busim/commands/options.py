"""Options that several commands have, each with its words and its limits."""

from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

import typer

LARGEST_SEED = 2**63 - 1


def whole_number(low: int, high: int) -> Callable[[str], int]:
    def read(text: str) -> int:
        number = int(text) if text.isascii() and text.isdecimal() and len(text) < 20 else -1
        if not low <= number <= high:
            raise typer.BadParameter(f"a whole number from {low} to {high} is wanted")
        return number

    return read


def count(low: int, high: int, words: str) -> Any:
    return typer.Option(metavar="NUMBER", parser=whole_number(low, high), help=f"{words}: {low} to {high}.")


Boat = Annotated[
    Path | None,
    typer.Argument(metavar="BOAT", help="A boat file, or its folder. Left out: boat.yaml here, else the boat that ships."),
]
Kinds = Annotated[
    list[str] | None,
    typer.Option("--kind", metavar="KIND=MODULE:CLASS", help="Play a kind of node by another class. May be repeated."),
]
