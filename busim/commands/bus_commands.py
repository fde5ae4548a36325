"""Commands that deal with a bus as programs or wires have it: plug, bench, listen, judge. See `busim.commands.main`."""

from pathlib import Path
from typing import Annotated

import typer

from busim.commands import ending
from busim.commands.guard import guarded
from busim.commands.options import LARGEST_SEED, Boat, Kinds, count, whole_number


@guarded
def plug(
    boat: Boat = None,
    port: Annotated[
        int | None,
        typer.Option(metavar="NUMBER", parser=whole_number(0, 65_535), help="TCP port of this computer; 0: a free one."),
    ] = None,
    pty: Annotated[
        int | None, typer.Option(metavar="NUMBER", parser=whole_number(1, 8), help="So many pseudo-terminals instead, or as well.")
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
        typer.Option(metavar="NUMBER", parser=whole_number(0, LARGEST_SEED), help="Draws all that is random. Left out: 1."),
    ] = None,
    seconds: Annotated[
        int | None,
        typer.Option("--for", metavar="SECONDS", parser=whole_number(1, 86_400), help="End by itself after so many seconds."),
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
            "--throttle-cap",
            metavar="PERMILLE",
            parser=whole_number(0, 1000),
            help="The most throttle sent. Left out: 0, none at all.",
        ),
    ] = None,
    stimulus: Annotated[
        list[str] | None, typer.Option("--stimulus", metavar="NAME", help="Only this stimulus. May be repeated.")
    ] = None,
    seed: Annotated[
        int | None,
        typer.Option(metavar="NUMBER", parser=whole_number(0, LARGEST_SEED), help="Draws all that is random. Left out: 1."),
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
    bit_rate: Annotated[int | None, count(10_000, 1_000_000, "Bit/s; left out, the boat file says it")] = None,
    record: Annotated[Path | None, typer.Option(metavar="FILE", help="Keep every frame in a new log, FILE.log.")] = None,
    seconds: Annotated[int | None, count(1, 1_000_000, "End by itself after so many seconds")] = None,
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


BUS_COMMANDS = (
    ("Plug programs into the simulated boat, as if by a CAN adapter.", plug),
    ("One real node on an adapter, the rest of the boat simulated round it.", bench),
    ("Listen to a live bus: what is on it in words, kept and judged.", listen),
    ("Judge a log: what happened in it, and verdicts.", judge),
)
"""What each does in a few words, and the command."""
