"""`busim begin DIR`."""

import shlex
from pathlib import Path

from busim.boat.begin import begin as write
from busim.commands.boats import shown_path


def begin(directory: Path) -> int:
    for path in write(directory):
        print(f"wrote {shown_path(path)}")
    there = shlex.quote(shown_path(directory))
    print(f"next: busim check {there}, then busim run {there}")
    return 0
