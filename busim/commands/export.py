"""`busim export KIND [BOAT]`."""

from pathlib import Path

from busim.boat.load import boat_file_of
from busim.boat.schema import schema_text
from busim.commands.boats import boat_line, find_boat
from busim.protocol.page import protocol_page
from busim.reading.problem import printable, quoted, refused, suggestion
from busim.reading.source import read_text

KINDS = ("protocol", "schema")


def export(kind: str, path: Path | None) -> int:
    if kind not in KINDS:
        words = f"there is nothing called {quoted(kind)} to export"
        raise refused(Path("export"), f"{words}: {suggestion(kind, KINDS, otherwise='there is')}")
    if kind == "schema":
        # The schema helps to put a boat file right, so what is wrong in this one is no obstacle; and a reader of JSON wants
        # nothing before it.
        if path is not None:
            read_text(boat_file_of(path), "boat file")
        print(schema_text(), end="")
        return 0
    boat = find_boat(path)
    print(boat_line(boat))
    print()
    print(protocol_page(boat.plan, printable(boat.boat.boat.name)))
    return 0
