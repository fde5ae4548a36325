"""`busim export KIND [BOAT]`."""

from pathlib import Path

from busim.commands.boats import boat_line, find_boat
from busim.protocol.page import protocol_page
from busim.reading.problem import printable, quoted, refused, suggestion

KINDS = ("protocol",)


def export(kind: str, path: Path | None) -> int:
    if kind not in KINDS:
        words = f"there is nothing called {quoted(kind)} to export"
        raise refused(Path("export"), f"{words}: {suggestion(kind, KINDS, otherwise='there is')}")
    boat = find_boat(path)
    print(boat_line(boat))
    print()
    print(protocol_page(boat.plan, printable(boat.boat.boat.name)))
    return 0
