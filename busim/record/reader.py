"""Reads a record's head and seconds, to rerun it. Nothing in a results folder is trusted: it is read as text and checked."""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from busim.boat.model import BoatFile
from busim.events.journal import DIGEST_VERSION
from busim.reading.problem import refused
from busim.record.writer import HEAD, RECORD_VERSION, SECONDS
from busim.scenario.model import ScenarioFile

LARGEST_HEAD = 2_000_000


@dataclass(frozen=True)
class Record:
    """`digests` is the run code after each whole second that was kept."""

    folder: Path
    boat: BoatFile
    scenario: ScenarioFile
    seed: int
    kinds: dict[str, str]
    digests: tuple[str, ...]


def read_record(folder: Path) -> Record:
    """Errors: InputError where it is no record, of another version, or damaged."""
    head = _head(folder)
    if head.get("record") != RECORD_VERSION or head.get("digest") != DIGEST_VERSION:
        raise refused(folder / HEAD, "was written by another version of busim, and can't be compared with this one")
    kinds = head.get("kinds")
    seed = head.get("seed")
    if not isinstance(seed, int) or not isinstance(kinds, dict) or not all(isinstance(place, str) for place in kinds.values()):
        raise refused(folder / HEAD, "is damaged: its seed or its kinds are not what busim writes")
    try:
        boat = BoatFile.model_validate_json(json.dumps(head.get("boat")))
        scenario = ScenarioFile.model_validate_json(json.dumps(head.get("scenario")))
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        raise refused(folder / HEAD, f"is damaged at {'.'.join(map(str, first['loc']))}: {first['msg']}") from None
    return Record(folder, boat, scenario, seed, kinds, _digests(folder))


def _head(folder: Path) -> dict[str, Any]:
    path = folder / HEAD
    try:
        if not path.is_file():
            raise refused(folder, f"is no record: it has no {HEAD}")
        if path.stat().st_size > LARGEST_HEAD:
            raise refused(path, "is larger than any head busim writes")
        head = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise refused(path, f"can't be read: {error.strerror}") from error
    except (ValueError, RecursionError):
        raise refused(path, "is damaged: it is not JSON") from None
    if not isinstance(head, dict):
        raise refused(path, "is damaged: it is not a record's head")
    return head


def _digests(folder: Path) -> tuple[str, ...]:
    path = folder / SECONDS
    try:
        lines = path.read_text(encoding="ascii").split("\n")
    except OSError as error:
        raise refused(path, f"can't be read: {error.strerror}") from error
    except ValueError:
        raise refused(path, "is damaged: it is not text") from None
    digests = []
    for number, line in enumerate(lines[:-1], start=1):  # what follows the last line feed was being written when it ended
        parts = line.split(" ")
        if len(parts) != 3 or parts[0] != str(number) or not parts[1].isdecimal() or len(parts[2]) != 32:
            raise refused(path, "is damaged: a second is missing or not as busim writes it", number, 1)
        digests.append(parts[2])
    return tuple(digests)
