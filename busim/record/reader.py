"""Reads a record's head and seconds, to rerun it. Nothing in a results folder is trusted: it is read as text and checked."""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from busim.boat.model import BoatFile
from busim.events.journal import DIGEST_VERSION
from busim.reading.problem import printable, refused
from busim.record.writer import DONE, HEAD, RECORD_VERSION, SECONDS
from busim.scenario.model import ScenarioFile

LARGEST_HEAD = 2_000_000
LARGEST_DONE = 50_000_000
LARGEST_SECONDS = 8_000_000
"""A day's seconds, the longest a scenario lasts, are 4 MB."""
LARGEST_SEED = 2**63 - 1

M = TypeVar("M", bound=BaseModel)


@dataclass(frozen=True)
class Record:
    """`version` is of the busim that wrote it, `seconds` how many whole seconds were kept."""

    folder: Path
    version: str
    boat: BoatFile
    scenario: ScenarioFile
    seed: int
    kinds: dict[str, str]
    seconds: int


def read_record(folder: Path) -> Record:
    """Errors: InputError where it is no record, of another version, or damaged."""
    head = _head(folder)
    path = folder / HEAD
    if "record" not in head:
        raise refused(path, "is not the head of a run's record")
    if head.get("record") != RECORD_VERSION or head.get("digest") != DIGEST_VERSION:
        raise refused(path, "was written by another version of busim, and can't be compared with this one")
    version, kinds, seed = head.get("busim"), head.get("kinds"), head.get("seed")
    if type(seed) is not int or not 0 <= seed <= LARGEST_SEED:
        raise refused(path, "is damaged: its seed is not what busim writes")
    if not isinstance(kinds, dict) or not all(isinstance(place, str) for place in kinds.values()):
        raise refused(path, "is damaged: its kinds are not what busim writes")
    if not isinstance(version, str):
        raise refused(path, "is damaged: it does not say which busim wrote it")
    boat = _part(path, head, "boat", BoatFile)
    seconds = _whole_seconds(folder / SECONDS)
    if (folder / DONE).exists():
        _add_what_was_done(folder / DONE, head, seconds)
    scenario = _part(path, head, "scenario", ScenarioFile)
    return Record(folder, version, boat, scenario, seed, kinds, seconds)


def _add_what_was_done(path: Path, head: dict[str, Any], seconds: int) -> None:
    """A rehearsal's scenario is what was done in it, as far as whole seconds were kept."""
    scenario = head.get("scenario")
    if not isinstance(scenario, dict):
        raise refused(path.parent / HEAD, "is damaged: it has no scenario")
    actions: list[Any] = []
    faults: list[Any] = []
    try:
        if path.stat().st_size > LARGEST_DONE:
            raise refused(path, "is larger than any that busim writes")
        for line in path.read_text(encoding="utf-8").split("\n")[:-1]:
            entry = json.loads(line)
            if "action" in entry:
                actions.append(entry["action"])
            elif "fault" in entry:
                faults.append(entry["fault"])
            else:
                faults[entry["mended"]]["for_s"] = entry["for_s"]
        scenario["lasts_s"] = max(seconds, 1)
        scenario["actions"] = [action for action in actions if action["at_s"] <= seconds]
        scenario["faults"] = [fault for fault in faults if fault["at_s"] <= seconds]
    except OSError as error:
        raise refused(path, f"can't be read: {error.strerror}") from error
    except (ValueError, RecursionError, KeyError, TypeError, IndexError):
        raise refused(path, "is damaged: it is not what busim writes") from None


def _head(folder: Path) -> dict[str, Any]:
    path = folder / HEAD
    if not path.is_file():
        raise refused(folder, f"is no record: it has no {HEAD}" if folder.is_dir() else "there is no such record")
    try:
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


def _part(path: Path, head: dict[str, Any], name: str, model: type[M]) -> M:
    try:
        return model.model_validate_json(json.dumps(head.get(name)))
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        place = ".".join(str(step) for step in (name, *first["loc"]))
        raise refused(path, f"is damaged at {printable(place[:200])}: {printable(first['msg'])}") from None
    except RecursionError:
        raise refused(path, f"is damaged at {name}: it is nested too deep") from None


def _whole_seconds(path: Path) -> int:
    if not path.is_file():
        raise refused(path, "is missing, or is no plain file")
    try:
        if path.stat().st_size > LARGEST_SECONDS:
            raise refused(path, "is larger than any that busim writes")
        lines = path.read_text(encoding="ascii").split("\n")
    except OSError as error:
        raise refused(path, f"can't be read: {error.strerror}") from error
    except ValueError:
        raise refused(path, "is damaged: it is not text") from None
    for number, line in enumerate(lines[:-1], start=1):  # what follows the last line feed was being written when it ended
        parts = line.split(" ")
        if len(parts) != 3 or parts[0] != str(number) or not parts[1].isdecimal() or len(parts[2]) != 32:
            raise refused(path, "is damaged: a second is missing or not as busim writes it", number, 1)
    return len(lines) - 1
