"""`busim begin DIR`."""

from pathlib import Path

from busim.boat.begin import begin as write
from busim.commands.boats import shown_path


def begin(directory: Path) -> int:
    for path in write(directory):
        print(f"wrote {shown_path(path)}")
    print(f"next: busim check {shown_path(directory)}, then busim run {shown_path(directory)}")
    return 0
