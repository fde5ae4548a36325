"""`busim bench`: one real node on an adapter, the rest of the boat simulated round it. This process shows, asks and judges; the
session runs in another, which brings the device to neutral by itself if this one dies."""

import contextlib
import multiprocessing
import os
import select
import shlex
import shutil
import sys
from datetime import UTC, datetime
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from busim import bench_labels as words
from busim import labels
from busim.bench import order as ways
from busim.bench.interrupts import Interrupts
from busim.bench.judging import Judging
from busim.bench.order import ADAPTER, INTERRUPTED, REFUSED, WENT_WRONG, Ending, Order
from busim.bench.results import BenchRecord, about
from busim.bench.stage import Result
from busim.bench.stimuli import BY_NAME
from busim.bench.worker import ASK, BLOCK, ENDED, RESULTS, SAY, Job, work
from busim.boat.load import LoadedBoat
from busim.commands import ending as endings
from busim.commands.adapters import INTERFACE, SIMULATED
from busim.commands.boats import boat_line, find_boat, results_folder, shown_path
from busim.commands.kinds import classes_for, replaced_kinds
from busim.commands.plug import bus_of
from busim.commands.run_output import verdict_row
from busim.commands.tables import table
from busim.reading.problem import printable, quoted, refused, suggestion
from busim.record.writer import new_folder
from busim.requirements.verdict import FAIL, INCONCLUSIVE, NOT_EXERCISED, Verdict
from busim.signals import held_back

NODE = Path("--node")
ONLY = Path("--stimulus")


def bench(
    boat_path: Path | None,
    *,
    node: str | None,
    bus: str | None,
    interface: str,
    channel: str | None,
    firmware: str | None,
    machinery: str | None,
    cap_permille: int,
    witness: str | None,
    only: list[str],
    seed: int,
    kinds: list[str],
) -> int:
    boat = find_boat(boat_path)
    name = _node(node, boat)
    chosen = _bus(bus, name, boat)
    replaced = replaced_kinds(kinds, boat.boat)
    classes_for(replaced, boat.boat, boat.plan)
    for stimulus in only:
        if stimulus not in BY_NAME:
            meant = suggestion(stimulus, BY_NAME, otherwise=labels.THEY_ARE)
            raise refused(ONLY, words.NO_STIMULUS.format(name=quoted(stimulus), meant=meant))
    moves = boat.boat.nodes[name].kind in ways.MOVING_KINDS
    if machinery == ways.BAND and not moves:
        raise refused(Path("--machinery"), words.BAND_CARRIES_NOTHING.format(kind=boat.boat.nodes[name].kind))
    way, moved_by = _way(interface, channel, firmware, boat.boat.buses[chosen].bit_rate)
    typed = Typed()
    if way[0] != "simulated":
        moved_by = machinery or (moved_by if moves else ways.RIG) or _asked_machinery(typed)
    order = Order(
        boat.boat, boat.plan, name, chosen, seed, cap_permille, moved_by, tuple(only), _witness(witness, name, chosen, way, boat),
        hands=firmware is None,
    )  # fmt: skip
    print(boat_line(boat))
    print(words.BENCH_HEAD.format(node=name, bus=chosen, cap=cap_permille), flush=True)
    folder = new_folder(results_folder(boat), "bench")
    record = BenchRecord(folder, list(boat.boat.buses))
    try:
        desk = Desk(order, record, typed)
        ending = desk.run(Job(order, replaced, way))
        verdicts = desk.verdicts()
        lines = [*_head(order, ending, boat), *_tables(desk.results, verdicts)]
        date = datetime.now(UTC).isoformat(timespec="seconds")
        record.finish(about(order, ending, " ".join(map(str, way)), date, desk.results, verdicts), lines, desk.results, verdicts)
    finally:
        record.close()
    for line in lines[1:]:
        print(line)
    print(labels.RECORD_LINE.format(folder=shown_path(folder)))
    return _status(ending, desk.results, verdicts)


# ------------------------------------------------------------------------------------------------ what was asked for


def _node(node: str | None, boat: LoadedBoat) -> str:
    nodes = boat.boat.nodes
    if node is None or node not in nodes:
        meant = suggestion(node or "", nodes, otherwise=labels.THEY_ARE)
        raise refused(NODE, words.NO_NODE.format(node=quoted(node or ""), meant=meant))
    return node


def _bus(bus: str | None, node: str, boat: LoadedBoat) -> str:
    taps = list(boat.boat.nodes[node].taps)
    chosen = bus_of(bus, boat) if bus is not None or bus_of(None, boat) in taps else taps[0]
    if chosen not in taps:
        raise refused(Path("--bus"), words.NOT_ON_BUS.format(node=node, bus=chosen, taps=" and ".join(taps)))
    return chosen


def _witness(witness: str | None, node: str, bus: str, way: tuple[Any, ...], boat: LoadedBoat) -> str:
    """A cutout of the device's own drive, on the same bus, as real as the device."""
    if witness is None:
        return ""
    fitting = [
        cutout.node
        for cutout in boat.boat.cutouts.values()
        if boat.boat.drives[cutout.drive].node == node and bus in boat.boat.nodes[cutout.node].taps
    ]
    if way[0] != "adapter" or witness not in fitting:
        there = ", ".join(fitting) or words.NOBODY
        raise refused(Path("--witness"), words.NO_WITNESS.format(witness=quoted(witness), fitting=there))
    return witness


def _way(interface: str, channel: str | None, firmware: str | None, bit_rate: int) -> tuple[tuple[Any, ...], str]:
    """(how the device is reached, how machinery reaches it where nothing else was said; "" is to be asked)"""
    if interface == SIMULATED:
        if channel is not None:
            raise refused(INTERFACE, words.NO_CHANNEL)
        if firmware is None:
            return ("simulated",), ways.SIMULATED
        return ("firmware", *shlex.split(firmware)), ways.BAND
    if firmware is not None:
        raise refused(INTERFACE, words.FIRMWARE_IS_SIMULATED)
    if channel is None:
        raise refused(Path("--channel"), words.CHANNEL_WANTED)
    return ("adapter", interface, channel, bit_rate), ""


def _asked_machinery(typed: "Typed") -> str:
    print(f"{words.ASK_MACHINERY}:", flush=True)
    while (answer := typed.line()) is None:
        typed.read()
    if answer not in (ways.RIG, ways.BAND):
        raise refused(Path("--machinery"), words.NO_MACHINERY.format(said=printable(answer)))
    return answer


# ------------------------------------------------------------------------------------------------ showing, asking, judging


class Typed:
    """Lines that are typed, read without holding up anything else. Where nobody can type, every answer is empty."""

    def __init__(self) -> None:
        self.held = b""
        self.over = False

    def read(self) -> None:
        """What is there; waits where nothing is."""
        received = os.read(sys.stdin.fileno(), 4096)
        self.over = not received
        self.held += received

    def line(self) -> str | None:
        """The next line; None while there is none."""
        if b"\n" in self.held:
            line, _, self.held = self.held.partition(b"\n")
            return line.decode("utf-8", "replace").strip()
        return "" if self.over else None


class Desk:
    """This end of the pipe."""

    def __init__(self, order: Order, record: BenchRecord, typed: Typed) -> None:
        self.order = order
        self.record = record
        self.results: list[Result] = []
        self.blocks = 0
        self.judging = Judging(order.boat, order.plan, order.boat.nodes[order.node].kind, order.machinery)
        self.ending: Ending | None = None
        self.asking = False
        self.typed = typed

    def run(self, job: Job) -> Ending:
        context = multiprocessing.get_context("spawn")
        ours, theirs = context.Pipe()
        process = context.Process(target=work, args=(theirs, job), daemon=False)
        with Interrupts() as interrupts:
            with held_back():  # its imports are no place to be stopped in: it hears of it as soon as it can act on it
                process.start()
            theirs.close()
            while self.ending is None and self._step(ours):
                if interrupts.asked and process.pid is not None:
                    interrupts.asked = False
                    print(words.ENDING_SOON, flush=True)
                    os.kill(process.pid, 2)  # if it came from elsewhere than the keyboard, it has not heard of it
            process.join(30)
        if self.ending is None:
            # It may have sent something: who does not know has to believe the worst.
            moves = self.order.boat.nodes[self.order.node].kind in ways.MOVING_KINDS
            sent = bool(self.blocks)
            self.ending = Ending(WENT_WRONG, words.SESSION_DIED, neutral=False if sent and moves else None, spoke=sent)
        if self.ending.neutral is False:
            fill_the_screen()
        return self.ending

    def _step(self, ours: Connection) -> bool:
        watched: list[Any] = [ours]
        if self.asking and not self.typed.over:
            watched.append(sys.stdin)
        ready, _, _ = select.select(watched, [], [], 0.2)
        if sys.stdin in ready:
            self.typed.read()
            self._answer(ours)
        if ours in ready:
            try:
                kind, what = ours.recv()
            except (EOFError, OSError):
                return False
            self._message(ours, kind, what)
        return True

    def _message(self, ours: Connection, kind: str, what: Any) -> None:
        if kind == SAY:
            print(printable(what), flush=True)
        elif kind == ASK:
            print(f"{printable(what)}:", flush=True)
            self.asking = True
            self._answer(ours)
        elif kind == RESULTS:
            self.results += what
            for result in what:
                line = words.RESULT.format(verdict=result.verdict, words=result.words, measured=_measured(result))
                print(printable(line), flush=True)
        elif kind == BLOCK:
            frames, events, digest = what
            self.record.keep(frames, events, digest)
            self.judging.block(frames, events)
            self.blocks += 1
        elif kind == ENDED:
            self.ending = what

    def _answer(self, ours: Connection) -> None:
        answer = self.typed.line()
        if answer is not None:
            self.asking = False
            with contextlib.suppress(OSError):
                ours.send(answer)

    def verdicts(self) -> list[Verdict]:
        return self.judging.verdicts(max((result.uncertainty for result in self.results), default=0))


def fill_the_screen() -> None:
    """So that nobody in the room can miss it."""
    columns, lines = shutil.get_terminal_size((80, 24))
    block = [line.center(columns, "!") for line in words.CUT_POWER]
    rows = max(lines - 1, len(block))
    for number in range(rows):
        print(block[number % len(block)], file=sys.stderr)
    sys.stderr.flush()


# ------------------------------------------------------------------------------------------------ what it came to


def _head(order: Order, ending: Ending, boat: LoadedBoat) -> list[str]:
    lines = [boat_line(boat), ""]
    lines.append(words.TESTED.format(node=order.node, version=ending.version or words.UNKNOWN, machinery=_machinery(ending)))
    lines += [printable(f"  {note}") for note in ending.notes]
    if ending.words:
        lines.append(printable(ending.words))
    lines.append(words.NO_DRIVE if ending.neutral is None and ending.spoke else words.NEUTRAL[ending.neutral])
    return lines


def _machinery(ending: Ending) -> str:
    return words.MACHINERY.get(ending.machinery, words.UNKNOWN)


def _measured(result: Result) -> str:
    if result.measured is None:
        return ""
    doubt = f" +- {result.uncertainty}" if result.uncertainty else ""
    return f", {result.measured:,}{doubt} {result.unit} of {result.limit:,} {result.unit}"


def _tables(results: list[Result], verdicts: list[Verdict]) -> list[str]:
    rows = [(each.stimulus, each.verdict, ", ".join(each.requirements), each.words + _measured(each)) for each in results]
    lines = ["", *table(words.STIMULUS_HEAD, [tuple(map(printable, row)) for row in rows])] if rows else []
    shown = [verdict for verdict in verdicts if verdict.verdict != NOT_EXERCISED]
    if shown:
        lines += ["", *table(labels.VERDICT_HEAD, [verdict_row(verdict) for verdict in shown])]
    missing = [verdict.id for verdict in verdicts if verdict.verdict == NOT_EXERCISED]
    if missing:
        lines += ["", words.MISSING.format(names=", ".join(missing))]
    return lines


def _status(ending: Ending, results: list[Result], verdicts: list[Verdict]) -> int:
    if ending.why in (REFUSED, ADAPTER):
        return endings.BAD_INPUT
    if ending.why == WENT_WRONG:
        return endings.CONTRADICTION
    came_to = [result.verdict for result in results]
    if FAIL in came_to or any(verdict.verdict == FAIL for verdict in verdicts) or ending.neutral is False:
        return endings.FAILED
    if ending.why == INTERRUPTED:
        return endings.INTERRUPTED
    undecided = NOT_EXERCISED in came_to or INCONCLUSIVE in came_to
    return endings.NOT_SHOWN if undecided or not results else endings.PASSED
