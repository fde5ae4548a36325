"""`busim export KIND [BOAT]`: pages are printed, files are written and listed."""

from dataclasses import dataclass
from pathlib import Path
from typing import Final

from busim import labels
from busim.boat.load import LoadedBoat, boat_file_of
from busim.boat.schema import schema_text
from busim.commands.boats import beside, boat_line, find_boat, named_boat, shown_path
from busim.protocol.page import protocol_page
from busim.reading.problem import printable, quoted, refused, suggestion
from busim.reading.source import read_text

PAGES: Final = ("protocol", "schema")
WRITTEN: Final = ("c", "vectors", "database")
PICTURES: Final = "pictures"
KINDS: Final = (*PAGES, *WRITTEN, PICTURES)


@dataclass(frozen=True)
class Wanted:
    """What was asked for beside kind and boat."""

    node: str | None = None
    to: Path | None = None
    replace: bool = False


def export(kind: str, path: Path | None, wanted: Wanted) -> int:
    _refuse_unfit(kind, wanted)
    if kind == "schema":
        # The schema helps to put a boat file right, so what is wrong in this one is no obstacle; and a reader of JSON wants
        # nothing before it.
        if path is not None:
            read_text(boat_file_of(path), "boat file")
        print(schema_text(), end="")
        return 0
    if kind == "protocol":
        boat = find_boat(path)
        print(boat_line(boat))
        print()
        print(protocol_page(boat.plan, printable(boat.boat.boat.name)))
        return 0
    if kind == PICTURES:
        from busim.commands.pictures import FOLDER, pictures

        boat = find_boat(path)
        print(boat_line(boat), flush=True)
        return pictures(boat, wanted.to if wanted.to is not None else beside(boat) / FOLDER)
    return _write(kind, named_boat(path), wanted)


def _refuse_unfit(kind: str, wanted: Wanted) -> None:
    """Errors: InputError for a kind there is not, and for options that go with another one."""
    if kind not in KINDS:
        words = f"there is nothing called {quoted(kind)} to export"
        raise refused(Path("export"), f"{words}: {suggestion(kind, KINDS, otherwise='there is')}")
    if wanted.node is not None and kind != "c":
        raise refused(Path("export"), "--node goes with c")
    if kind in PAGES and (wanted.to is not None or wanted.replace):
        option, goes_with = ("--to", (*WRITTEN, PICTURES)) if wanted.to is not None else ("--replace", WRITTEN)
        raise refused(Path("export"), f"{kind} is printed, and {option} goes with {', '.join(goes_with)}")
    if kind == PICTURES and wanted.replace:
        raise refused(Path("export"), f"a picture takes the place of an older one: --replace goes with {', '.join(WRITTEN)}")


def _write(kind: str, boat: LoadedBoat, wanted: Wanted) -> int:
    from busim.export.written import left_over, write_files

    texts = _texts(kind, boat, wanted.node)
    name = f"exported_{kind}" + (f"_{wanted.node}" if wanted.node is not None else "")
    folder = wanted.to if wanted.to is not None else beside(boat) / name
    paths = write_files(folder, texts, replace=wanted.replace)
    print(boat_line(boat))
    print(labels.EXPORTED.format(count=len(paths), folder=shown_path(folder)))
    for path in paths:
        print(f"  {printable(str(path.relative_to(folder)))}")
    for path in left_over(folder, texts):
        print(labels.LEFT_OVER.format(file=printable(str(path.relative_to(folder)))))
    return 0


def _texts(kind: str, boat: LoadedBoat, node: str | None) -> dict[str, str]:
    """Path in the folder -> text. Errors: InputError for a node the boat has not."""
    if node is not None and node not in boat.boat.nodes:
        words = f"has no node called {quoted(node)}: {suggestion(node, boat.boat.nodes, otherwise='there are')}"
        raise refused(boat.path, words)
    if kind == "database":
        from busim.export.database import database_files

        return database_files(boat)
    from busim.export.c_files import c_files, vector_files

    return c_files(boat, node) if kind == "c" else vector_files(boat)
