"""Writes a run to a folder of its own under `results/`, second by second, so that a killed process loses at most the last one.

    head.json      everything the run is made from: resolved boat, scenario, seed, kinds, versions; no date
    frames.log     every accepted frame as candump text: (seconds) bus id#data
    events.jsonl   every other event, one JSON object a line
    seconds.txt    after each second: its number, its frames, the run code so far

Folders are numbered and never written to again.
"""

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


def new_folder(results: Path, name: str) -> Path:
    """Make the next numbered folder. Errors: InputError where it can't be made."""
    try:
        results.mkdir(parents=True, exist_ok=True)
        numbers = [path.name.rpartition("-")[2] for path in results.glob(f"{name}-*")]
        last = max((int(number) for number in numbers if number.isdecimal()), default=0)
        folder = results / f"{name}-{last + 1:04d}"
        folder.mkdir()
    except OSError as error:
        raise refused(results, f"results can't be written here: {error.strerror}") from error
    return folder


class RecordWriter:
    """Give `keep` to the run. `close` when it is over; what was kept is whole in any case."""

    def __init__(self, folder: Path, boat: BoatFile, scenario: ScenarioFile, seed: int, kinds: dict[str, str]) -> None:
        self.folder = folder
        self.buses = list(boat.buses)
        self.second = 0
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
            (folder / HEAD).write_text(json.dumps(head, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
            self.files: list[TextIO] = [(folder / name).open("w", encoding="utf-8") for name in (FRAMES, EVENTS, SECONDS)]
        except OSError as error:
            raise refused(folder, f"the record can't be written: {error.strerror}") from error

    def keep(self, frames: list[Frame], events: list[Event], digest: str) -> None:
        """One finished second. Its line in seconds.txt comes last: what that names is whole. Errors: InputError, disk full."""
        self.second += 1
        texts = (
            "".join([candump_line(self.buses[bus], at_ns, can_id, data) for at_ns, bus, can_id, data, _ in frames]),
            "".join([json.dumps(event_object(event), separators=(",", ":")) + "\n" for event in events]),
            f"{self.second} {len(frames)} {digest}\n",
        )
        try:
            for file, text in zip(self.files, texts, strict=True):
                file.write(text)
                file.flush()
        except OSError as error:
            raise refused(self.folder, f"the record ends after second {self.second - 1}: {error.strerror}") from error

    def close(self) -> None:
        for file in self.files:
            file.close()


def candump_line(bus: str, at_ns: int, can_id: int, data: bytes) -> str:
    """One frame as candump writes it, time cut to microseconds."""
    microseconds = at_ns // 1000
    seconds = SECOND // 1000
    return f"({microseconds // seconds:010d}.{microseconds % seconds:06d}) {bus} {can_id:03X}#{data.hex().upper()}\n"


def event_object(event: Event) -> dict[str, Any]:
    """An event with its fields named."""
    at_ns, position, kind, *fields = event
    return {"at_ns": at_ns, "position": position, "kind": kind, **dict(zip(BY_KIND[kind].fields, fields, strict=True))}
