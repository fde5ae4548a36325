"""`busim rehearse`: the screen, in real time."""

import shlex
import sys
from pathlib import Path

from busim import labels
from busim.boat.load import LoadedBoat
from busim.boat.shipped import shipped_folder
from busim.commands import ending
from busim.commands.boats import boat_line, find_boat, results_folder, shown_path, typed_path
from busim.commands.kinds import classes_for, kind_options, replaced_kinds
from busim.reading.problem import printable, quoted, refused, suggestion
from busim.record.writer import RecordWriter, new_folder
from busim.rehearsal.guides import BY_NAME, Guide
from busim.rehearsal.rehearsal import Rehearsal
from busim.scenario.model import ScenarioFile
from busim.units import SECOND

GUIDE = Path("--guide")


def rehearse(boat_path: Path | None, seed: int, *, record: bool, kinds: list[str], guide: str | None = None) -> int:
    boat = find_boat(boat_path)
    replaced = replaced_kinds(kinds, boat.boat)
    classes = classes_for(replaced, boat.boat, boat.plan)
    followed = _guide(guide, boat)
    if not sys.stdin.isatty() or not sys.stdout.isatty():
        ending.say_error(labels.NO_TERMINAL)
        return ending.BAD_INPUT
    from busim.dashboard.app import RehearsalApp

    writer = None
    if record:
        nothing_yet = ScenarioFile(scenario="rehearsal", lasts_s=1)
        writer = RecordWriter(new_folder(results_folder(boat), "rehearsal"), boat.boat, nothing_yet, seed, replaced, played=True)
    rehearsal = Rehearsal(boat.boat, boat.plan, classes, seed, writer.keep if writer else None)
    if writer:
        rehearsal.script.written = writer.done
    try:
        path = boat.path if boat.path.parent.resolve() not in _shipped() else None
        RehearsalApp(rehearsal, boat.boat.boat.name, path=path, guide=followed).run()
        # To the end of the second that was begun, so that the record has no loose end.
        rehearsal.advance(-(-rehearsal.now_ns // SECOND) * SECOND)
    finally:
        if writer:
            writer.close()
    print(boat_line(boat))
    print(labels.REHEARSED.format(seconds=rehearsal.now_ns // SECOND, digest=rehearsal.world.journal.digest))
    if writer:
        print(labels.RECORD_LINE.format(folder=shown_path(writer.folder)))
        words = ["busim", "run", "--from", typed_path(writer.folder), *kind_options(replaced)]
        print(labels.RERUN_LINE.format(line=printable(shlex.join(words))))
    return ending.PASSED


def _shipped() -> set[Path]:
    """Boats that come with busim are not written into."""
    return {folder.resolve() for folder in shipped_folder().iterdir()}


def _guide(name: str | None, boat: LoadedBoat) -> Guide | None:
    if name is None:
        return None
    if name not in BY_NAME:
        meant = suggestion(name, BY_NAME, otherwise="they are")
        raise refused(GUIDE, labels.GUIDES_ARE.format(name=quoted(name), meant=meant))
    if not BY_NAME[name].needs(boat.boat):
        raise refused(GUIDE, labels.GUIDE_NEEDS.format(name=name))
    return BY_NAME[name]
