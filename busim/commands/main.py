"""The command line `busim`. Commands import what they need when they run, so that a wrong word answers at once."""

import sys
from pathlib import Path
from typing import Annotated

import typer

from busim import VERSION, labels
from busim.boat.begin_layout import MOST_ENGINES, MOST_STATIONS, MOST_ZONES
from busim.commands import ending
from busim.commands.bus_commands import BUS_COMMANDS
from busim.commands.guard import guarded
from busim.commands.options import LARGEST_SEED, Boat, Kinds, count, whole_number

app = typer.Typer(
    name="busim",
    help="Rehearse, break and prove a boat's CAN-wired lights and helm before it moves.",
    epilog=labels.CAUTION,
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)

MOST_PRESSES = 10_000_000


def _print_version(wanted: bool) -> None:
    if wanted:
        print(f"busim {VERSION}")
        raise typer.Exit


@app.callback()
def _busim(
    version: Annotated[bool, typer.Option("--version", callback=_print_version, is_eager=True, help="Print the version.")] = False,
) -> None:
    """Rehearse, break and prove a boat's CAN-wired lights and helm before it moves."""


@app.command(short_help="Write a boat file to start from.")
@guarded
def begin(
    directory: Annotated[Path, typer.Argument(metavar="DIR", help="Folder to start in; made if it is not there.")],
    engines: Annotated[int | None, count(1, MOST_ENGINES, "How many engines")] = None,
    stations: Annotated[int | None, count(1, MOST_STATIONS, "From how many places she is driven")] = None,
    zones: Annotated[int | None, count(0, MOST_ZONES, "How many lights, or groups of them")] = None,
) -> int:
    """Write a boat file to start from, with its scenarios: the smallest boat, or one of a wanted size (what is left out is 1)."""
    from busim.commands.begin import begin as run

    return run(directory, engines, stations, zones)


@app.command(short_help="Validate a boat file.")
@guarded
def check(
    boat: Boat = None,
    resolved: Annotated[bool, typer.Option("--resolved", help="Print every value, with its line or why it is what it is.")] = False,
    transfer: Annotated[
        bool,
        typer.Option(
            "--transfer",
            help="Explore takes of control over a bus that loses, delays, doubles and parts. The options below go with it.",
        ),
    ] = False,
    takes: Annotated[int | None, count(0, 5, "How many moments in which somebody takes")] = None,
    disturbances: Annotated[int | None, count(0, 5, "How many frames hit, cuts and resets")] = None,
    slot: Annotated[int | None, count(10, 100, "Milliseconds to a step; left out, 40")] = None,
    depth: Annotated[int | None, count(1, 100_000, "How many steps at the most; left out, no limit")] = None,
    states: Annotated[int | None, count(1000, 100_000_000, "How many states at the most; left out, two million")] = None,
    write: Annotated[Path | None, typer.Option(metavar="FILE", help="Write the scenario of what was found to a new file.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of text.")] = False,
    kind: Kinds = None,
) -> int:
    """Validate a boat file, and say what in it can't work. With --transfer: explore what the transfer of control can come to."""
    if not transfer:
        names = ("--takes", "--disturbances", "--slot", "--depth", "--states", "--write", "--json", "--kind")
        given = (takes, disturbances, slot, depth, states, write, as_json or None, kind or None)
        alone = [name for name, value in zip(names, given, strict=True) if value is not None]
        if alone:
            ending.say_error(f"{alone[0]} goes with --transfer")
            return ending.BAD_INPUT
        from busim.commands.check import check as run

        return run(boat, resolved=resolved)
    if resolved:
        ending.say_error("--transfer explores, --resolved prints values: one at a time")
        return ending.BAD_INPUT
    from busim.commands.check_transfer import Wanted, check_transfer

    wanted = Wanted(takes, disturbances, slot or 40, depth or 0, states or 2_000_000, write, as_json)
    return check_transfer(boat, wanted, kind or [])


@app.command(short_help="Play a scenario: what happened, and verdicts.")
@guarded
def run(
    boat: Boat = None,
    scenario: Annotated[
        Path | None, typer.Option(metavar="FILE", help="A scenario file, or the name of one in scenarios/ beside the boat.")
    ] = None,
    seed: Annotated[
        int | None,
        typer.Option(
            metavar="NUMBER",
            parser=whole_number(0, LARGEST_SEED),
            help="Draws all that is random; same seed, same run. Left out: 1.",
        ),
    ] = None,
    record: Annotated[bool, typer.Option("--record", help="Keep the run in results/.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of text.")] = False,
    kind: Kinds = None,
    from_record: Annotated[
        Path | None, typer.Option("--from", metavar="RECORD", help="Rerun a record, and compare it with what was kept.")
    ] = None,
    presses: Annotated[
        int | None,
        typer.Option(
            metavar="NUMBER", parser=whole_number(1, MOST_PRESSES), help="Press so many touch fields, in trouble of several kinds."
        ),
    ] = None,
    shrink: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="If it fails: write the shortest scenario found that still does to a new file."),
    ] = None,
) -> int:
    """One deterministic run without a screen: what happened, and the verdicts. With --presses: what becomes of many touches."""
    if shrink is not None and (presses is not None or from_record is not None):
        ending.say_error("--shrink goes with a scenario, not with --presses or --from")
        return ending.BAD_INPUT
    if presses is not None:
        if scenario is not None or record or from_record is not None:
            ending.say_error("--presses plays presses of its own: leave out --scenario, --record and --from")
            return ending.BAD_INPUT
        from busim.commands.presses import press_many

        return press_many(boat, presses, 1 if seed is None else seed, as_json=as_json, kinds=kind or [])
    if from_record is not None:
        if boat is not None or scenario is not None or seed is not None or record:
            ending.say_error("--from takes boat, scenario and seed from the record: leave them out, and --record too")
            return ending.BAD_INPUT
        from busim.commands.rerun import rerun

        return rerun(from_record, as_json=as_json, kinds=kind or [])
    from busim.commands.run import run_once

    return run_once(boat, scenario, 1 if seed is None else seed, record=record, as_json=as_json, kinds=kind or [], shrunk=shrink)


@app.command(short_help="Play the boat yourself, on a screen, in real time.")
@guarded
def rehearse(
    boat: Boat = None,
    seed: Annotated[
        int | None,
        typer.Option(metavar="NUMBER", parser=whole_number(0, LARGEST_SEED), help="Draws all that is random. Left out: 1."),
    ] = None,
    record: Annotated[bool, typer.Option("--record", help="Keep the rehearsal in results/, to run it again.")] = False,
    guide: Annotated[
        str | None,
        typer.Option(
            metavar="NAME", help="Be led: first_light, take_control, cut_the_cable, hand_over or night_scene."
        ),
    ] = None,
    kind: Kinds = None,
) -> int:
    """The boat on a screen: levers, panels, faults to break things with, and what the drives make of it."""
    from busim.commands.rehearse import rehearse as run

    return run(boat, 1 if seed is None else seed, record=record, kinds=kind or [], guide=guide)


@app.command(short_help="Break everything that can break, in every mode.")
@guarded
def sweep(
    boat: Boat = None,
    seed: Annotated[
        int | None,
        typer.Option(metavar="NUMBER", parser=whole_number(0, LARGEST_SEED - 100), help="Draws all that is random. Left out: 1."),
    ] = None,
    full: Annotated[bool, typer.Option("--full", help="Every duration, at several moments, in every cell: days.")] = False,
    only: Annotated[
        list[str] | None,
        typer.Option(metavar="FAULT/MODE", help="Only this fault, FAULT/MODE or /MODE; FAULT may have its place. May be repeated."),
    ] = None,
    budget: Annotated[int | None, count(1, 100_000, "Stop after so many minutes, the most telling runs first")] = None,
    workers: Annotated[int | None, count(1, 64, "Processes; left out, one for each core")] = None,
    resume: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="Go on with a sweep that was cut short: its folder in results/.")
    ] = None,
    pairs: Annotated[int | None, count(1, 1_000_000, "Then so many pairs of faults, those that nobody is told of first")] = None,
    again: Annotated[str | None, typer.Option(metavar="RUN", help="Play one run again, with its timeline.")] = None,
    write: Annotated[Path | None, typer.Option(metavar="FILE", help="With --again: write its scenario to a new file.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of text.")] = False,
    kind: Kinds = None,
) -> int:
    """Every fault that is modelled, wherever it can be, in every mode, at the moments that matter: the failure-mode table."""
    drawn = 1 if seed is None else seed
    if again is not None:
        if full or only or budget or workers or resume or pairs:
            ending.say_error("--again plays one run: it goes with --seed, --kind and --write only")
            return ending.BAD_INPUT
        from busim.commands.sweep import play_again

        return play_again(boat, again, drawn, write, kind or [])
    if write is not None:
        ending.say_error("--write goes with --again")
        return ending.BAD_INPUT
    from busim.commands.sweep import Wanted
    from busim.commands.sweep import sweep as run

    return run(boat, Wanted(drawn, full, tuple(only or ()), budget, workers, resume, as_json, pairs or 0), kind or [])


@app.command(short_help="Write what others need, such as the protocol.")
@guarded
def export(
    kind: Annotated[str, typer.Argument(metavar="KIND", help="c, vectors, database, pictures, protocol or schema.")],
    boat: Boat = None,
    node: Annotated[str | None, typer.Option(metavar="NAME", help="c: of this node alone.")] = None,
    to: Annotated[Path | None, typer.Option(metavar="FOLDER", help="Where files go. Left out: beside the boat file.")] = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="c, vectors, database: write over files that are no export, or were changed.")
    ] = False,
) -> int:
    """Write what others need of the boat. `protocol`: the page for whoever writes firmware. `schema`: the JSON schema of the
    boat file, for an editor; it is the same for every boat. These are printed. `c`: C99 for firmware, with messages, timing and
    tables of this boat and of each node. `vectors`: frames to try a codec with, as JSON and as a C program. `database`: a DBC and
    a KCD for each bus. These are written to files, and want a boat of your own to be named or in the current folder. `pictures`:
    the rehearsal's screen as SVG, in pictures/ beside the boat file or where --to says."""
    from busim.commands.export import Wanted
    from busim.commands.export import export as run

    return run(kind, boat, Wanted(node, to, replace))


for words, command in BUS_COMMANDS:
    app.command(short_help=words)(command)


def run_command_line() -> None:
    """The entry point `busim`."""
    ending.open_streams()
    try:
        app(prog_name="busim")
    except KeyboardInterrupt:
        ending.say_error(labels.STOPPED)
        sys.exit(ending.INTERRUPTED)
    except OSError as error:
        # Of a page of help; what commands print is guarded.
        ending.hush()
        if not isinstance(error, BrokenPipeError):
            ending.say_error(f"{labels.OUTPUT}: {error.strerror or error}")
        sys.exit(ending.PASSED if isinstance(error, BrokenPipeError) else ending.BAD_INPUT)
