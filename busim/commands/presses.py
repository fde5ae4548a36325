"""`busim run --presses N`: what becomes of many presses."""

import json
import os
import shlex
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from busim import VERSION, labels
from busim.boat.load import LoadedBoat
from busim.commands import ending
from busim.commands.boats import boat_line, find_boat, typed_path
from busim.commands.kinds import classes_for, kind_options, kinds_text, replaced_kinds
from busim.commands.run import fingerprints
from busim.commands.run_output import JSON_VERSION
from busim.commands.tables import table
from busim.lighting.presses import TROUBLES, Tally, added, carry_out_run, fields_of, runs_of
from busim.reading.problem import InputError, Problem, printable

INSTANT_US = 100_000
FEW = 1_000
"""So few presses are done in one process: starting another takes longer."""


def press_many(boat_path: Path | None, total: int, seed: int, *, as_json: bool, kinds: list[str]) -> int:
    boat = find_boat(boat_path)
    replaced = replaced_kinds(kinds, boat.boat)
    classes = classes_for(replaced, boat.boat, boat.plan)
    if not fields_of(boat.plan):
        raise InputError([Problem(boat.path, None, None, labels.NO_FIELDS)])
    reproduce = shlex.join(
        ["busim", "run", typed_path(boat.path), "--presses", str(total), "--seed", str(seed), *kind_options(replaced)]
    )
    if not as_json:
        print(boat_line(boat))
        if replaced:
            print(labels.REPLACED_LINE.format(kinds=kinds_text(replaced)))
        print(labels.PRESSES_LINE.format(total=total, seed=seed), flush=True)
    jobs = [(boat.boat, boat.plan, classes, trouble.name, seed + number, count) for trouble, number, count in runs_of(total)]
    tallies = _carry_out(jobs, total)
    played = [[tally for tally in tallies if tally.trouble == trouble.name] for trouble in TROUBLES]
    rows = [added(of_one) for of_one in played if of_one]
    whole = replace(added(rows), trouble=labels.PRESSES_TOGETHER)
    quiet = next((row for row in rows if row.trouble == TROUBLES[0].name), None)
    slow = quiet is not None and (quiet.wait_us(990) or 0) >= INSTANT_US
    status = ending.FAILED if whole.lost or slow else ending.PASSED
    if as_json:
        print(json.dumps(_json(boat, rows, whole, seed, status, reproduce), indent=1))
        return status
    print()
    for line in table(labels.PRESSES_HEAD, [_row(row) for row in [*rows, whole]]):
        print(line)
    print()
    if whole.lost:
        print(labels.PRESSES_LOST.format(lost=whole.lost))
    elif slow:
        print(labels.PRESSES_SLOW)
    else:
        print(labels.PRESSES_GOOD)
    print(labels.REPRODUCE_LINE.format(line=printable(reproduce)))
    return status


def _carry_out(jobs: list[tuple[Any, ...]], total: int) -> list[Tally]:
    workers = min(os.cpu_count() or 1, len(jobs))
    if total <= FEW or workers < 2:
        return [carry_out_run(job) for job in jobs]
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        return list(pool.map(carry_out_run, jobs))


def _ms(value_us: int | None) -> str:
    return labels.NOT_YET if value_us is None else f"{value_us / 1000:.1f} ms"


def _row(tally: Tally) -> tuple[str, ...]:
    counts = (tally.pressed, tally.registered, tally.acted_on, tally.reported, tally.lost)
    waits = (tally.wait_us(500), tally.wait_us(990), tally.wait_us(1000))
    return tally.trouble, *(f"{count:,}" for count in counts), *(_ms(wait) for wait in waits)


def _json(boat: LoadedBoat, rows: list[Tally], whole: Tally, seed: int, status: int, reproduce: str) -> dict[str, Any]:
    return {
        "busim": VERSION,
        "json": JSON_VERSION,
        "boat": {"name": boat.boat.boat.name, "file": str(boat.path)},
        "fingerprints": fingerprints(boat.plan.helm_fingerprint, boat.plan.lighting_fingerprint),
        "seed": seed,
        "presses": [
            {
                "trouble": row.trouble,
                "pressed": row.pressed,
                "registered": row.registered,
                "acted_on": row.acted_on,
                "reported": row.reported,
                "lost": row.lost,
                "median_us": row.wait_us(500),
                "p99_us": row.wait_us(990),
                "worst_us": row.wait_us(1000),
            }
            for row in [*rows, whole]
        ],
        "status": status,
        "reproduce": reproduce,
    }
