"""Writes a run to a folder of its own under `results/`, second by second, so that a killed process loses at most the last one.

    head.json      everything the run is made from: resolved boat, scenario, seed, kinds, versions; no date
    frames.log     every accepted frame as candump text: (seconds) bus id#data
    events.jsonl   every other event, one JSON object a line
    seconds.txt    after each second: its number, its frames, the run code so far
    done.jsonl     of a rehearsal: what was done, as it was done

Folders are numbered and never written to again.
"""

import contextlib
import json
from pathlib import Path
from typing import Any, Final, TextIO

from busim import VERSION
from busim.boat.model import BoatFile
from busim.events.journal import DIGEST_VERSION, Event, Frame
from busim.events.table import BY_KIND
from busim.reading.problem import refused
from busim.scenario.model import ScenarioFile
from busim.units import SECOND

RECORD_VERSION: Final = 1
HEAD: Final = "head.json"
FRAMES: Final = "frames.log"
EVENTS: Final = "events.jsonl"
SECONDS: Final = "seconds.txt"
DONE: Final = "done.jsonl"


def new_folder(results: Path, name: str) -> Path:
    """Make the next numbered folder. Errors: InputError where it can't be made."""
    try:
        results.mkdir(parents=True, exist_ok=True)
        numbers = [path.name.rpartition("-")[2] for path in results.glob(f"{name}-*")]
        last = max((int(number) for number in numbers if number.isdecimal()), default=0)
        while True:
            last += 1
            folder = results / f"{name}-{last:04d}"
            try:
                folder.mkdir()
            except FileExistsError:
                continue  # another run has just made it
            return folder
    except (FileExistsError, NotADirectoryError):
        raise refused(results, "results can't be written here: this is a file, or part of its path is, and not a folder") from None
    except OSError as error:
        raise refused(results, f"results can't be written here: {error.strerror}") from error


class RecordWriter:
    """Give `keep` to the run. `close` when it is over; what was kept is whole in any case."""

    def __init__(
        self, folder: Path, boat: BoatFile, scenario: ScenarioFile, seed: int, kinds: dict[str, str], *, played: bool = False
    ) -> None:
        """`played`: the scenario is not known yet, it is whatever will be `done`."""
        self.folder = folder
        self.buses = list(boat.buses)
        self.second = 0
        """How many seconds are kept."""
        self.files: dict[str, TextIO] = {}
        head = {
            "record": RECORD_VERSION,
            "busim": VERSION,
            "digest": DIGEST_VERSION,
            "seed": seed,
            "kinds": kinds,
            "scenario": scenario.model_dump(mode="json", exclude_none=True),
            "boat": boat.model_dump(mode="json", exclude_none=True),
        }
        try:
            text = json.dumps(head, indent=1, ensure_ascii=False) + "\n"
            (folder / HEAD).write_text(text, encoding="utf-8", newline="\n")
            if played:
                (folder / DONE).touch()
            for name in (FRAMES, EVENTS, SECONDS):
                self.files[name] = (folder / name).open("w", encoding="utf-8", newline="\n")
        except OSError as error:
            self.close()
            raise refused(folder, f"the record can't be written: {error.strerror}") from error

    def keep(self, frames: list[Frame], events: list[Event], digest: str) -> None:
        """One finished second. Its line in seconds.txt comes last: what that names is whole. Errors: InputError, disk full."""
        texts = second_texts(self.buses, self.second + 1, frames, events, digest)
        try:
            for name, file in self.files.items():
                file.write(texts[name])
                file.flush()
        except OSError as error:
            words = f"the record ends after second {self.second}: {error.strerror}. What was kept until then is whole"
            raise refused(self.folder, words) from error
        self.second += 1

    def done(self, entry: dict[str, Any]) -> None:
        """Something was done in a rehearsal. Errors: InputError, disk full."""
        try:
            with (self.folder / DONE).open("a", encoding="utf-8", newline="\n") as file:
                file.write(json.dumps(entry, separators=(",", ":")) + "\n")
        except OSError as error:
            raise refused(self.folder / DONE, f"what was done can't be kept: {error.strerror}") from error

    def close(self) -> None:
        """Everything kept is on its way to the disk already: what a full disk still holds back here belongs to no whole second."""
        for file in self.files.values():
            with contextlib.suppress(OSError):
                file.close()


def second_texts(buses: list[str], second: int, frames: list[Frame], events: list[Event], digest: str) -> dict[str, str]:
    """File of the record -> what it holds of one second; seconds.txt last."""
    return {
        FRAMES: "".join([candump_line(buses[bus], at_ns, can_id, data) for at_ns, bus, can_id, data, _ in frames]),
        EVENTS: "".join([json.dumps(event_object(event), separators=(",", ":")) + "\n" for event in events]),
        SECONDS: f"{second} {len(frames)} {digest}\n",
    }


def candump_line(bus: str, at_ns: int, can_id: int, data: bytes) -> str:
    """One frame as candump writes it, time cut to microseconds."""
    microseconds = at_ns // 1000
    seconds = SECOND // 1000
    return f"({microseconds // seconds:010d}.{microseconds % seconds:06d}) {bus} {can_id:03X}#{data.hex().upper()}\n"


def event_object(event: Event) -> dict[str, Any]:
    """An event with its fields named."""
    at_ns, position, kind, *fields = event
    return {"at_ns": at_ns, "position": position, "kind": kind, **dict(zip(BY_KIND[kind].fields, fields, strict=True))}
