"""`busim begin DIR`."""

import shlex
from pathlib import Path

from busim.boat.begin import begin as write
from busim.boat.begin_layout import Size
from busim.commands.boats import shown_path


def begin(directory: Path, engines: int | None, stations: int | None, zones: int | None) -> int:
    wanted = {"engines": engines, "stations": stations, "zones": zones}
    asked = {name: number for name, number in wanted.items() if number is not None}
    for path in write(directory, Size(**asked) if asked else None):
        print(f"wrote {shown_path(path)}")
    there = shlex.quote(shown_path(directory))
    print(f"next: busim check {there}, then busim run {there}")
    return 0
