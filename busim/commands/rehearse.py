"""`busim rehearse`: the screen, in real time."""

import contextlib
import gc
import os
import shlex
import sys
from pathlib import Path

from busim import labels, screen_labels
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
    if not _on_a_terminal():
        return _without_screen(boat_path, seed, record=record, kinds=kinds, guided=followed is not None)
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
        app = RehearsalApp(rehearsal, boat.boat.boat.name, path=path, guide=followed)
        steady()
        app.run()
        if app.failure is not None:
            raise app.failure
        # To the end of the second that was begun, so that the record has no loose end.
        if not app.error:
            rehearsal.advance(-(-rehearsal.now_ns // SECOND) * SECOND)
    finally:
        if writer:
            writer.close()
    _say_how_it_ended(boat, rehearsal, writer, replaced)
    if app.error:
        ending.say_error(printable(app.error))
        return ending.BAD_INPUT
    return ending.INTERRUPTED if app.interrupted else ending.PASSED


def _say_how_it_ended(boat: LoadedBoat, rehearsal: Rehearsal, writer: RecordWriter | None, replaced: dict[str, str]) -> None:
    """Nobody may be there to read it: a terminal that was closed takes no words, and that is no error."""
    with contextlib.suppress(OSError):
        print(boat_line(boat))
        print(screen_labels.REHEARSED.format(seconds=rehearsal.now_ns // SECOND, digest=rehearsal.world.journal.digest))
        if writer:
            print(labels.RECORD_LINE.format(folder=shown_path(writer.folder)))
            words = ["busim", "run", "--from", typed_path(writer.folder), *kind_options(replaced)]
            print(screen_labels.RERUN_LINE.format(line=printable(shlex.join(words))))
        sys.stdout.flush()
        return
    ending.hush()
    ending.hush(sys.stderr)


def _on_a_terminal() -> bool:
    return sys.stdin.isatty() and sys.stdout.isatty() and os.environ.get("TERM") != "dumb"


def _without_screen(boat_path: Path | None, seed: int, *, record: bool, kinds: list[str], guided: bool) -> int:
    """Somebody piped it, or has no terminal: the scenario that every boat begins with is played instead, which ends by itself."""
    if guided:
        ending.say_error(screen_labels.NO_TERMINAL_GUIDE)
        return ending.BAD_INPUT
    from busim.commands.run import run_once

    print(screen_labels.NO_TERMINAL, flush=True)
    return run_once(boat_path, None, seed, record=record, as_json=False, kinds=kinds)


def steady() -> None:
    """What the collector of garbage has no need to look at again, it does not: a look through a whole boat and screen takes longer
    than the simulation may be late."""
    gc.collect()
    gc.freeze()


def _shipped() -> set[Path]:
    """Boats that come with busim are not written into."""
    return {folder.resolve() for folder in shipped_folder().iterdir()}


def _guide(name: str | None, boat: LoadedBoat) -> Guide | None:
    if name is None:
        return None
    if name not in BY_NAME:
        meant = suggestion(name, BY_NAME, otherwise="they are")
        raise refused(GUIDE, screen_labels.GUIDES_ARE.format(name=quoted(name), meant=meant))
    if not BY_NAME[name].needs(boat.boat):
        raise refused(GUIDE, screen_labels.GUIDE_NEEDS.format(name=name))
    return BY_NAME[name]
