"""`busim listen [BOAT]`: what is on a live bus, in words; kept where that is wanted, and judged where the boat is known."""

import json
import re
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from busim import VERSION, labels
from busim import adapter_labels as words
from busim.boat.load import BOAT_FILE_NAME, LoadedBoat
from busim.commands import ending
from busim.commands.adapters import list_adapters, wanted_adapter
from busim.commands.boats import boat_line, find_boat, shown_path
from busim.commands.judge import status_of
from busim.commands.judge_output import JSON_VERSION, MOST_LINES, JudgedLines, json_object, text_lines
from busim.commands.plug import bus_of
from busim.commands.run import fingerprints
from busim.commands.tables import table
from busim.logs.channels import Channels
from busim.logs.content import ContentTold, content_words
from busim.logs.frame import PLAIN, LogFrame
from busim.logs.judge import Judge, Judgement
from busim.reading.problem import InputError, printable, refused
from busim.run.timeline import Line
from busim.units import SECOND


@dataclass(frozen=True)
class Asked:
    """What the command line says."""

    interface: str | None
    channel: str | None
    bit_rate: int | None
    bus: str | None
    record: Path | None
    seconds: int | None
    acknowledge: bool
    frames: bool
    as_json: bool


def listen(boat_path: Path | None, asked: Asked, *, show: bool) -> int:
    if show:
        return list_adapters(simulated=False)
    from busim.bench.adapter import AdapterError, Wanted, open_adapter
    from busim.bench.hearing import Keeping

    boat = find_boat(boat_path) if boat_path is not None or Path(BOAT_FILE_NAME).exists() else None
    bus = bus_of(asked.bus, boat) if boat is not None else None
    if boat is None and asked.bus is not None:
        raise refused(Path("--bus"), words.BUS_OF_NO_BOAT)
    interface, channel = wanted_adapter(asked.interface, asked.channel)
    wanted = Wanted(interface, channel, _bit_rate(asked, interface, boat, bus), listen_only=not asked.acknowledge)
    keeping = Keeping(asked.record) if asked.record is not None else None
    try:
        with open_adapter(wanted) as adapter:
            return Listening(boat, bus, asked, adapter, keeping).run()
    except AdapterError as error:
        if keeping is not None:
            keeping.drop()
        ending.say_error(str(error))
        return ending.BAD_INPUT
    finally:
        if keeping is not None:
            keeping.close()


def _bit_rate(asked: Asked, interface: str, boat: LoadedBoat | None, bus: str | None) -> int:
    option = Path("--bit-rate")
    if boat is not None and bus is not None:
        written = boat.boat.buses[bus].bit_rate
        if asked.bit_rate not in (None, written):
            raise refused(option, words.RATE_IS_WRITTEN.format(bus=bus, bit_rate=written))
        return written
    if asked.bit_rate is None and interface != "socketcan":
        raise refused(option, words.RATE_WANTED)
    return asked.bit_rate or 0


def channel_word(interface: str, channel: str) -> str:
    """What a log calls the adapter: one word, without what only a path or an address needs."""
    name = "" if "://" in channel else re.sub(r"[^A-Za-z0-9]+", "", channel.rpartition("/")[2])
    return name or interface


class Listening:
    """One session: what is printed while it lasts, and what it came to."""

    def __init__(self, boat: LoadedBoat | None, bus: str | None, asked: Asked, adapter: Any, keeping: Any) -> None:
        from busim.bench.hearing import Hearing

        self.boat = boat
        self.asked = asked
        self.adapter = adapter
        self.keeping = keeping
        self.lines = JudgedLines(kept=MOST_LINES if asked.as_json else 0)
        names = {address: name for address, name, _ in boat.plan.nodes} if boat is not None else {}
        self.content = ContentTold(names, self.lines.take if asked.frames or boat is None else lambda line: None)
        self.judge: Judge | None = None
        channel = bus or channel_word(adapter.wanted.interface, adapter.wanted.channel)
        if boat is not None:
            names_of = [name for name, _, _ in boat.plan.buses]
            channels = Channels(boat.plan, {channel: names_of.index(channel)})
            channels.why[channel] = labels.CHANNEL_NAMED
            self.judge = Judge(boat.boat, boat.plan, channels, self.lines.take)
        self.hearing = Hearing(adapter, channel, self._take, self._say, keeping)
        self.said: list[str] = []
        self.heard: set[int] = set()

    def _take(self, frames: list[LogFrame]) -> None:
        for frame in frames:
            self.content.feed(frame)
            address = frame[3] & 0x3F
            if frame[2] == PLAIN and address in self.content.names and address not in self.heard:
                self.heard.add(address)
                self.lines.take(Line(self.content.clock.last_ns, words.HEARD_FIRST.format(node=self.content.names[address])))
        if self.judge is not None:
            self.judge.feed(frames)
        if not self.asked.as_json:
            sys.stdout.flush()  # it is read as it happens, through a pipe too

    def _say(self, said: str) -> None:
        """Meanwhile; with --json not among its lines."""
        self.said.append(said)
        if self.asked.as_json:
            ending.say_error(printable(said))
        else:
            print(printable(said), flush=True)

    def run(self) -> int:
        from busim.bench.adapter import AdapterError
        from busim.bench.interrupts import Interrupts
        from busim.bench.pacing import clock_ns

        if not self.asked.as_json:
            self._head()
        trouble: Exception | None = None
        with Interrupts() as interrupts:
            until_ns = None if self.asked.seconds is None else clock_ns() + self.asked.seconds * SECOND
            try:
                self.hearing.run(until_ns, lambda: interrupts.asked)
            except (AdapterError, InputError, BrokenPipeError) as error:
                trouble = error
            interrupted = interrupts.asked
        if isinstance(trouble, BrokenPipeError):
            raise trouble
        if trouble is None and not self.hearing.frames and not interrupted:
            trouble = AdapterError(self.hearing.why_nothing())
        judgement = self.judge.finish() if self.judge is not None and self.hearing.frames else None
        status = self._status(judgement, trouble, interrupted=interrupted)
        self._tell(judgement, trouble, status)
        if trouble is not None:
            ending.say_error(printable(str(trouble)))
        return status

    def _status(self, judgement: Judgement | None, trouble: Exception | None, *, interrupted: bool) -> int:
        if trouble is not None:
            return ending.BAD_INPUT
        if interrupted:
            return ending.INTERRUPTED
        return status_of(judgement) if judgement is not None else ending.PASSED

    # ------------------------------------------------------------------------------------------------ what is printed

    def _head(self) -> None:
        wanted = self.adapter.wanted
        print(boat_line(self.boat) if self.boat is not None else words.LISTEN_WITHOUT_BOAT)
        print(words.LISTEN_HEAD.format(interface=wanted.interface, channel=printable(wanted.channel), bus=self.hearing.channel))
        print(self.adapter.words)
        if self.keeping is not None:
            print(words.LISTEN_KEPT.format(path=shown_path(self.keeping.path)))
        print(words.LISTEN_ENDS, flush=True)

    def _tell(self, judgement: Judgement | None, trouble: Exception | None, status: int) -> None:
        notes = self.hearing.notes() + (judgement.notes if judgement is not None else [])
        if self.asked.as_json:
            print(json.dumps(self._object(judgement, notes, trouble, status), indent=1))
            return
        if judgement is not None and self.boat is not None:
            for line in text_lines(judgement, notes, bool(self.boat.boat.accepted_weaknesses)):
                print(line)
        else:
            for line in self._ids():
                print(line)
            print(labels.LOG_NOTES_HEAD)
            for note in notes:
                print(f"  {printable(note)}")
            print(words.HEARD_FRAMES.format(frames=self.hearing.frames))
        if self.keeping is not None:
            print(words.LISTEN_KEPT.format(path=shown_path(self.keeping.path)))

    def _ids(self) -> list[str]:
        """Every id that was heard, and what it said last."""
        rows = [(f"{can_id:03X}" if kind == PLAIN else f"{can_id:08X}", f"{count:,}", self._last(kind, can_id))
                for (kind, can_id), count in sorted(self.content.counts.items())]  # fmt: skip
        return ["", *table(words.IDS_HEAD, rows), ""] if rows else [""]

    def _last(self, kind: int, can_id: int) -> str:
        if kind != PLAIN:
            return labels.FRAME_ODD[kind].format(can_id=can_id)
        return content_words(can_id, self.content.newest[can_id], self.content.names)

    def _object(self, judgement: Judgement | None, notes: list[str], trouble: Exception | None, status: int) -> dict[str, Any]:
        wanted = self.adapter.wanted
        about: dict[str, Any] = {
            "adapter": {"interface": wanted.interface, "channel": wanted.channel, "bit_rate": wanted.bit_rate or None,
                        "listens_only": self.adapter.silent},
            "log": str(self.keeping.path) if self.keeping is not None else None,
            "trouble": str(trouble) if trouble is not None else None,
            "said": self.said,
        }  # fmt: skip
        if judgement is not None and self.boat is not None:
            plan = self.boat.plan
            named = {"boat": {"name": self.boat.boat.boat.name, "file": str(self.boat.path)},
                     "fingerprints": fingerprints(plan.helm_fingerprint, plan.lighting_fingerprint), **about}  # fmt: skip
            again = words.AGAIN_FROM.format(path=about["log"], boat=self.boat.path) if about["log"] else ""
            return json_object(judgement, named, notes, self.lines, status, again)
        return {
            "json": JSON_VERSION,
            "busim": VERSION,
            **about,
            "frames": self.hearing.frames,
            "exit_status": status,
            "notes": notes,
            "ids": [
                {"id": can_id, "kind": kind, "frames": count, "says": self._last(kind, can_id)}
                for (kind, can_id), count in sorted(self.content.counts.items())
            ],
            "timeline": [{"at_ns": line.at_ns, "words": line.words} for line in self.lines.kept],
            "timeline_left_out": self.lines.left_out,
        }
