"""The command line `busim`. Commands import what they need when they run, so that a wrong word answers at once."""

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

import typer

from busim import VERSION, labels
from busim.boat.begin_layout import MOST_ENGINES, MOST_STATIONS, MOST_ZONES
from busim.commands import ending
from busim.commands.guard import guarded

app = typer.Typer(
    name="busim",
    help="Rehearse, break and prove a boat's CAN-wired lights and helm before it moves.",
    epilog=labels.CAUTION,
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)

LARGEST_SEED = 2**63 - 1
MOST_PRESSES = 10_000_000


def _whole_number(low: int, high: int) -> Callable[[str], int]:
    def read(text: str) -> int:
        number = int(text) if text.isascii() and text.isdecimal() and len(text) < 20 else -1
        if not low <= number <= high:
            raise typer.BadParameter(f"a whole number from {low} to {high} is wanted")
        return number

    return read


def _count(low: int, high: int, words: str) -> Any:
    return typer.Option(metavar="NUMBER", parser=_whole_number(low, high), help=f"{words}: {low} to {high}.")


Boat = Annotated[
    Path | None,
    typer.Argument(metavar="BOAT", help="A boat file, or its folder. Left out: boat.yaml here, else the boat that ships."),
]
Kinds = Annotated[
    list[str] | None,
    typer.Option("--kind", metavar="KIND=MODULE:CLASS", help="Play a kind of node by another class. May be repeated."),
]


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
    engines: Annotated[int | None, _count(1, MOST_ENGINES, "How many engines")] = None,
    stations: Annotated[int | None, _count(1, MOST_STATIONS, "From how many places she is driven")] = None,
    zones: Annotated[int | None, _count(0, MOST_ZONES, "How many lights, or groups of them")] = None,
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
        bool, typer.Option("--transfer", help="Explore takes of control over a bus that loses, delays, doubles and parts.")
    ] = False,
    takes: Annotated[int | None, _count(0, 5, "How many moments in which somebody takes")] = None,
    disturbances: Annotated[int | None, _count(0, 5, "How many frames hit, cuts and resets")] = None,
    slot: Annotated[int | None, _count(10, 100, "Milliseconds to a step; left out, 40")] = None,
    depth: Annotated[int | None, _count(1, 100_000, "How many steps at the most; left out, no limit")] = None,
    states: Annotated[int | None, _count(1000, 100_000_000, "How many states at the most; left out, two million")] = None,
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
            parser=_whole_number(0, LARGEST_SEED),
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
            metavar="NUMBER", parser=_whole_number(1, MOST_PRESSES), help="Press so many touch fields, in trouble of several kinds."
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
        typer.Option(metavar="NUMBER", parser=_whole_number(0, LARGEST_SEED), help="Draws all that is random. Left out: 1."),
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


@app.command(short_help="Judge a log: what happened in it, and verdicts.")
@guarded
def judge(
    record: Annotated[Path, typer.Argument(metavar="RECORD", help="A log (.log, .asc, .blf, .csv, .db, .mf4, .trc), or a record.")],
    boat: Annotated[
        Path | None,
        typer.Argument(metavar="BOAT", help="Whose log it is. Left out: a record's own boat, or boat.yaml here."),
    ] = None,
    bus: Annotated[
        list[str] | None,
        typer.Option("--bus", metavar="CHANNEL=BUS", help="Take a channel of the log for this bus. May be repeated."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of text.")] = False,
) -> int:
    """What happened in a log, judged and explained: the timeline and verdicts of a run, from frames alone."""
    from busim.commands.judge import judge as run

    return run(record, boat, buses=bus or [], as_json=as_json)


@app.command(short_help="Listen to a live bus: what is on it in words, kept and judged.")
@guarded
def listen(
    boat: Annotated[
        Path | None,
        typer.Argument(metavar="BOAT", help="Whose bus it is. Left out: boat.yaml here, else frames by the protocol alone."),
    ] = None,
    interface: Annotated[
        str | None, typer.Option(metavar="KIND", help="Kind of adapter, as python-can has it: slcan, socketcan.")
    ] = None,
    channel: Annotated[str | None, typer.Option(metavar="CHANNEL", help="Which adapter: a serial port, can0, a number.")] = None,
    list_: Annotated[bool, typer.Option("--list", help="Show the adapters that are there, and end.")] = False,
    bus: Annotated[
        str | None, typer.Option(metavar="NAME", help="Which bus of the boat it is. Left out: the one of the helm.")
    ] = None,
    bit_rate: Annotated[int | None, _count(10_000, 1_000_000, "Bit/s; left out, the boat file says it")] = None,
    record: Annotated[Path | None, typer.Option(metavar="FILE", help="Keep every frame in a new log, FILE.log.")] = None,
    seconds: Annotated[int | None, _count(1, 1_000_000, "End by itself after so many seconds")] = None,
    acknowledge: Annotated[
        bool, typer.Option("--acknowledge", help="Acknowledge what is heard: for a node alone on the bus.")
    ] = False,
    frames: Annotated[bool, typer.Option("--frames", help="Tell what frames say, too, whenever that is new.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of text, at the end.")] = False,
) -> int:
    """What is on a live bus: in words as it happens, kept as a log, and judged like one where the boat is known. Nothing is sent,
    and the adapter is told to listen only where it can be."""
    from busim.commands.listen import Asked
    from busim.commands.listen import listen as run

    asked = Asked(interface, channel, bit_rate, bus, record, seconds, acknowledge, frames, as_json)
    return run(boat, asked, show=list_)


@app.command(short_help="Break everything that can break, in every mode.")
@guarded
def sweep(
    boat: Boat = None,
    seed: Annotated[
        int | None,
        typer.Option(metavar="NUMBER", parser=_whole_number(0, LARGEST_SEED - 100), help="Draws all that is random. Left out: 1."),
    ] = None,
    full: Annotated[bool, typer.Option("--full", help="Every duration, at several moments, in every cell: days.")] = False,
    only: Annotated[
        list[str] | None,
        typer.Option(metavar="FAULT/MODE", help="Only this fault, FAULT/MODE or /MODE; FAULT may have its place. May be repeated."),
    ] = None,
    budget: Annotated[int | None, _count(1, 100_000, "Stop after so many minutes, the most telling runs first")] = None,
    workers: Annotated[int | None, _count(1, 64, "Processes; left out, one for each core")] = None,
    resume: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="Go on with a sweep that was cut short: its folder in results/.")
    ] = None,
    pairs: Annotated[int | None, _count(1, 1_000_000, "Then so many pairs of faults, those that nobody is told of first")] = None,
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


@app.command(short_help="Plug programs into the simulated boat, as if by a CAN adapter.")
@guarded
def plug(
    boat: Boat = None,
    port: Annotated[
        int | None,
        typer.Option(metavar="NUMBER", parser=_whole_number(0, 65_535), help="TCP port of this computer; 0: a free one."),
    ] = None,
    pty: Annotated[
        int | None, typer.Option(metavar="NUMBER", parser=_whole_number(1, 8), help="So many pseudo-terminals instead, or as well.")
    ] = None,
    bus: Annotated[
        str | None, typer.Option(metavar="NAME", help="The bus they are plugged into. Left out: the one of the helm.")
    ] = None,
    without: Annotated[
        list[str] | None, typer.Option("--without", metavar="NODE", help="Leave out a node for a program to play. May be repeated.")
    ] = None,
    scenario: Annotated[
        Path | None, typer.Option(metavar="FILE", help="A scenario that plays meanwhile, or the name of one in scenarios/.")
    ] = None,
    seed: Annotated[
        int | None,
        typer.Option(metavar="NUMBER", parser=_whole_number(0, LARGEST_SEED), help="Draws all that is random. Left out: 1."),
    ] = None,
    seconds: Annotated[
        int | None,
        typer.Option("--for", metavar="SECONDS", parser=_whole_number(1, 86_400), help="End by itself after so many seconds."),
    ] = None,
    kind: Kinds = None,
) -> int:
    """The simulated boat in real time, for any program that opens a serial CAN adapter (slcan). Each program is a node on the bus
    of its own. Levers and keys are moved by lines typed meanwhile: `help` lists them."""
    from busim.commands.plug import plug as run

    return run(
        boat,
        port=port,
        terminals=pty or 0,
        bus=bus,
        without=without or [],
        scenario_path=scenario,
        seed=1 if seed is None else seed,
        seconds=seconds,
        kinds=kind or [],
    )


@app.command(short_help="One real node on an adapter, the rest of the boat simulated round it.")
@guarded
def bench(
    boat: Boat = None,
    node: Annotated[str | None, typer.Option(metavar="NAME", help="The node that is on the bench.")] = None,
    interface: Annotated[
        str, typer.Option(metavar="KIND", help="Kind of adapter, as python-can has it; simulated: no hardware.")
    ] = "simulated",
    channel: Annotated[str | None, typer.Option(metavar="CHANNEL", help="Which adapter: a serial port, can0, a number.")] = None,
    firmware: Annotated[
        str | None,
        typer.Option(metavar="PROGRAM", help="Firmware as a program: it is given HOST:PORT and speaks slcan there."),
    ] = None,
    list_: Annotated[bool, typer.Option("--list", help="Show the adapters that are there, and end.")] = False,
    bus: Annotated[str | None, typer.Option(metavar="NAME", help="Which of its buses. Left out: the one of the helm.")] = None,
    machinery: Annotated[
        str | None,
        typer.Option(metavar="rig|band", help="How machinery reaches it: its own rig, or the bench band. Left out: asked."),
    ] = None,
    witness: Annotated[
        str | None,
        typer.Option(metavar="NODE", help="The drive's cutout, real and on the same adapter: its gear switch is evidence."),
    ] = None,
    cap: Annotated[
        int | None,
        typer.Option(
            "--throttle-cap", metavar="PERMILLE", parser=_whole_number(0, 1000), help="The most throttle sent. Left out: none."
        ),
    ] = None,
    stimulus: Annotated[
        list[str] | None, typer.Option("--stimulus", metavar="NAME", help="Only this stimulus. May be repeated.")
    ] = None,
    seed: Annotated[
        int | None,
        typer.Option(metavar="NUMBER", parser=_whole_number(0, LARGEST_SEED), help="Draws all that is random. Left out: 1."),
    ] = None,
    kind: Kinds = None,
) -> int:
    """One real node on an adapter, the rest of the boat simulated round it in real time: from harmless to violent, with verdicts.
    It listens first, and refuses a bus with anybody else on it. However it ends, neutral and idle are commanded and awaited."""
    if machinery not in (None, "rig", "band"):
        ending.say_error("--machinery: rig or band is wanted")
        return ending.BAD_INPUT
    if list_:
        from busim.commands.adapters import list_adapters

        return list_adapters(simulated=True)
    from busim.commands.bench import bench as run

    return run(
        boat,
        node=node,
        bus=bus,
        interface=interface,
        channel=channel,
        firmware=firmware,
        machinery=machinery,
        cap_permille=cap or 0,
        witness=witness,
        only=stimulus or [],
        seed=1 if seed is None else seed,
        kinds=kind or [],
    )


@app.command(short_help="Write what others need, such as the protocol.")
@guarded
def export(
    kind: Annotated[str, typer.Argument(metavar="KIND", help="c, vectors, database, pictures, protocol or schema.")],
    boat: Boat = None,
    node: Annotated[str | None, typer.Option(metavar="NAME", help="c: of this node alone.")] = None,
    to: Annotated[Path | None, typer.Option(metavar="FOLDER", help="Where files go. Left out: beside the boat file.")] = None,
    replace: Annotated[bool, typer.Option("--replace", help="Write over files that are no export, or were changed.")] = False,
) -> int:
    """Write what others need of the boat. `protocol`: the page for whoever writes firmware. `schema`: the JSON schema of the
    boat file, for an editor; it is the same for every boat. These are printed. `c`: C99 for firmware, with messages, timing and
    tables of this boat and of each node. `vectors`: frames to try a codec with, as JSON and as a C program. `database`: a DBC and
    a KCD for each bus. These are written to files, and want a boat of your own to be named or in the current folder. `pictures`:
    the rehearsal's screen as SVG, in pictures/ or where --to says."""
    from busim.commands.export import Wanted
    from busim.commands.export import export as run

    return run(kind, boat, Wanted(node, to, replace))


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
