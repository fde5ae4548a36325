"""What the user has picked on the screen. Nothing on board depends on it."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Choice:
    """`lever` 0: all of the station's together, else one of them; `filter` letters that shown frames have; `scroll` of the help."""

    station: int = 0
    lever: int = 0
    panel: int = 0
    field: int = 0
    fault: int = 0
    place: int = 0
    verdict: int = 0
    zone: int = 0
    filter: str = ""
    scroll: int = 0


CHOSEN = "›"
"""Stands before what is picked: colour alone is not seen by everybody."""


def mark(chosen: bool) -> str:
    return CHOSEN if chosen else " "
