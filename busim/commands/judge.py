"""`busim judge RECORD [BOAT]`: what happened in a log, judged and explained."""

import itertools
import json
import shlex
from collections import deque
from pathlib import Path
from typing import Any

from busim import labels
from busim.boat.derive import wire_plan
from busim.boat.model import BoatFile
from busim.commands import ending
from busim.commands.boats import boat_line, find_boat, shown_path, typed_path
from busim.commands.judge_output import MOST_LINES, JudgedLines, json_object, text_lines
from busim.commands.rerun import refuse_misfits
from busim.commands.run import fingerprints
from busim.logs.channels import Channels, told_channels
from busim.logs.clock import SILENCE_NS
from busim.logs.frame import LogFrame
from busim.logs.judge import Judge, Judgement
from busim.logs.source import LogSource
from busim.protocol.plan import WirePlan
from busim.reading.problem import printable, refused
from busim.record.reader import read_record
from busim.record.writer import FRAMES, HEAD

FIRST_FRAMES = 5000
"""So many, or two seconds of them, show who sends on which channel."""


def judge(record: Path, boat_path: Path | None, *, buses: list[str], as_json: bool) -> int:
    log, boat, plan, named, head = _what(record, boat_path)
    reproduce = shlex.join(
        ["busim", "judge", typed_path(record), *([typed_path(boat_path)] if boat_path else []),
         *itertools.chain.from_iterable(("--bus", each) for each in buses)]
    )  # fmt: skip
    channels = Channels(plan, told_channels(buses, plan))
    with LogSource(log) as source:
        if not as_json:
            print(head)
            print(labels.LOG_LINE.format(path=shown_path(log)))
            print(flush=True)
        lines = JudgedLines(kept=MOST_LINES if as_json else 0)
        judgement = read_through(source, Judge(boat, plan, channels, lines.take))
        notes = [*source.notes, *judgement.notes]
    status = status_of(judgement)
    if as_json:
        print(json.dumps(json_object(judgement, named, notes, lines, status, reproduce), indent=1))
        return status
    for line in text_lines(judgement, notes, bool(boat.accepted_weaknesses)):
        print(line)
    if log != record and (record / HEAD).is_file():
        rerun = shlex.join(["busim", "run", "--from", typed_path(record)])
        print(labels.LOG_TRUTH_KEPT.format(line=printable(rerun)))
    print(labels.REPRODUCE_LINE.format(line=printable(reproduce)))
    return status


def _what(record: Path, boat_path: Path | None) -> tuple[Path, BoatFile, WirePlan, dict[str, Any], str]:
    """The log's file, the boat, its plan, what JSON names, and the first line. Errors: InputError."""
    log, of_record = record, False
    try:
        if record.is_dir():
            of_record = (record / HEAD).exists() or not (record / FRAMES).exists()
            log = record / FRAMES
    except (OSError, ValueError):
        pass  # reading it will say what is wrong with it
    if boat_path is None and of_record:
        kept = read_record(record)
        refuse_misfits(kept)
        plan = wire_plan(kept.boat)
        name, path = printable(kept.boat.boat.name), shown_path(record)
        head = labels.BOAT_LINE.format(name=name, path=path, helm=plan.helm_fingerprint, lighting=plan.lighting_fingerprint)
        return log, kept.boat, plan, _named(kept.boat, str(record), plan, log), head
    if boat_path is None and not Path("boat.yaml").exists():
        raise refused(record, labels.LOG_WITHOUT_BOAT)
    boat = find_boat(boat_path)
    return log, boat.boat, boat.plan, _named(boat.boat, str(boat.path), boat.plan, log), boat_line(boat)


def _named(boat: BoatFile, path: str, plan: WirePlan, log: Path) -> dict[str, Any]:
    return {
        "boat": {"name": boat.boat.name, "file": path},
        "fingerprints": fingerprints(plan.helm_fingerprint, plan.lighting_fingerprint),
        "log": str(log),
    }


def read_through(source: LogSource, judge: Judge) -> Judgement:
    """Errors: InputError where there is no frame in it."""
    frames = source.frames()
    first: deque[LogFrame] = deque()
    for frame in itertools.islice(frames, FIRST_FRAMES):
        first.append(frame)
        if frame[0] - first[0][0] > SILENCE_NS:
            break
    if not first:
        for note in source.notes:
            ending.say_error(f"{printable(str(source.path))}: {note}")
        raise refused(source.path, labels.LOG_NO_FRAMES)
    judge.channels.learn(first)
    judge.feed(first)
    first.clear()
    judge.feed(frames)
    return judge.finish()


def status_of(judgement: Judgement) -> int:
    """Nothing is required of a log but that what it shows is as it must be."""
    if judgement.failed or judgement.findings:
        return ending.FAILED
    return ending.NOT_SHOWN if judgement.open or not judgement.judged else ending.PASSED
