"""`busim export pictures`: the rehearsal's screen as SVG, for a page about the boat."""

from pathlib import Path
from typing import Final

from busim import labels
from busim.boat.load import LoadedBoat
from busim.commands.boats import shown_path
from busim.commands.kinds import classes_for
from busim.reading.problem import refused

FOLDER: Final = Path("pictures")
MARK: Final = "<!-- Generated with Rich"
"""How a picture begins inside: only such a file is written over."""


def pictures(boat: LoadedBoat, folder: Path) -> int:
    """As many as the boat has something to show for. What is no picture is never written over."""
    from busim.dashboard.pictures import PICTURES, make
    from busim.rehearsal.rehearsal import Rehearsal

    try:
        folder.mkdir(parents=True, exist_ok=True)
        for picture in PICTURES:
            if not picture.needs(boat.boat):
                continue
            path = folder / f"{picture.name}.svg"
            if path.exists() and MARK not in path.read_text(encoding="utf-8", errors="replace")[:400]:
                raise refused(path, labels.NO_PICTURE)
            rehearsal = Rehearsal(boat.boat, boat.plan, classes_for({}, boat.boat, boat.plan), 1)
            path.write_text(make(picture, rehearsal, boat.boat.boat.name), encoding="utf-8", newline="\n")
            print(shown_path(path), flush=True)
    except OSError as error:
        raise refused(folder, labels.PICTURES_UNWRITTEN.format(why=error.strerror)) from error
    return 0
