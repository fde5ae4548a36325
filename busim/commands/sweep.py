"""`busim sweep`: every modelled fault, wherever it can be, in every mode, at the moments that matter."""

import contextlib
import json
import os
import shlex
import shutil
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from busim import labels
from busim.boat.load import LoadedBoat
from busim.commands import ending
from busim.commands.boats import boat_line, find_boat, results_folder, shown_path, typed_path
from busim.commands.kinds import classes_for, kind_options, kinds_text, replaced_kinds
from busim.commands.run_output import text_lines
from busim.commands.sweep_output import failing_modes, head_lines, json_object, pair_lines, progress_line, result_lines
from busim.faults.table import BY_NAME as FAULTS_BY_NAME
from busim.reading.problem import InputError, Problem, printable, quoted, refused, suggestion
from busim.record.writer import new_folder
from busim.run.run import carry_out
from busim.scenario.write import plain_scenario, scenario_text
from busim.sweep.grid import Job, chunks_of, spots_of
from busim.sweep.modes import BY_NAME as MODES_BY_NAME
from busim.sweep.modes import Mode
from busim.sweep.outcome import SweptRun
from busim.sweep.page import page
from busim.sweep.pairs import PairsFile, pair_jobs
from busim.sweep.plan import Asked, Plan, plan_sweep
from busim.sweep.pool import Pool, RunError, RunKilledError
from busim.sweep.replay import job_of, play
from busim.sweep.rows import FaultRow, gather
from busim.sweep.settled import SWEPT
from busim.sweep.store import Store
from busim.sweep.summary import Summary, summary_of
from busim.sweep.work import Setup, Worker

SECOND_MINUTES = 60
PAGE = "failure_modes.html"
BYTES_A_RUN = 4000
"""A line of a run is about 3 kB."""
SAY_EVERY_S = 30
"""How often progress is said where there is no terminal to redraw it on."""


@dataclass(frozen=True)
class Wanted:
    """What was asked for on the command line."""

    seed: int
    full: bool
    only: tuple[str, ...]
    budget_min: int | None
    workers: int | None
    resume: Path | None
    as_json: bool = False
    pairs: int = 0


def sweep(path: Path | None, wanted: Wanted, kinds: list[str]) -> int:
    boat, replaced, setup = _prepared(path, kinds, wanted.seed)
    _refuse_unknown(wanted.only, boat)
    if not wanted.as_json:
        print(boat_line(boat))
        if replaced:
            print(labels.REPLACED_LINE.format(kinds=kinds_text(replaced)))
    asked = Asked(wanted.seed, wanted.full, wanted.only)
    folder = wanted.resume if wanted.resume is not None else new_folder(results_folder(boat), "sweep")
    plan = None
    try:
        plan = plan_sweep(setup.ground(), boat.path.name, replaced, asked, _say_mode)
        _hush_progress()
        if plan.failing:
            print("\n".join(failing_modes(plan)))
            return ending.FAILED
        if not plan.jobs:
            raise InputError([Problem(boat.path, None, None, labels.SWEEP_NOTHING)])
        store = _store(folder, plan, resume=wanted.resume is not None)
    finally:
        if wanted.resume is None and (plan is None or plan.failing or not plan.jobs):
            with contextlib.suppress(OSError):
                folder.rmdir()
    for line in () if wanted.as_json else head_lines(plan, shown_path(folder)):
        print(line, flush=True)
    again = shlex.join(["busim", "sweep", typed_path(boat.path), *_options(wanted, replaced), "--resume", typed_path(folder)])
    try:
        summary = _carry_out(plan, store, setup, wanted)
    except (RunError, RunKilledError) as error:
        words = labels.SWEEP_WENT_WRONG.format(words=printable(str(error)), line=printable(again))
        raise ending.ContradictionError(words) from error
    except KeyboardInterrupt:
        _hush_progress()
        ending.say_error(labels.SWEEP_STOPPED.format(done=len(store.done), runs=plan.head.runs, line=printable(again)))
        raise
    finally:
        with contextlib.suppress(InputError):
            store.close()
    if summary.runs == plan.head.runs:
        store.finish()
    rows = gather(store.runs())
    pairs: list[SweptRun] = []
    if wanted.pairs and summary.runs == plan.head.runs:
        try:
            pairs = _pairs(folder, plan, setup, wanted, rows)
        except KeyboardInterrupt:
            _hush_progress()
            ending.say_error(labels.SWEEP_PAIRS_STOPPED.format(line=printable(again)))
            raise
    told = _write_page(folder, page(plan.head, boat.boat, rows, summary.simulated_ns, pairs))
    status = _status(summary, boat)
    if wanted.as_json:
        print(json.dumps(json_object(summary, rows, boat.boat, str(folder), status, pairs), indent=1))
        return status
    for line in result_lines(summary, rows, boat.boat, again):
        print(line)
    for line in pair_lines(pairs) if wanted.pairs else ():
        print(line)
    print(told)
    return status


def _pairs(folder: Path, plan: Plan, setup: Setup, wanted: Wanted, rows: list[FaultRow]) -> list[SweptRun]:
    """Pairs of faults, carried out or read from what was. Errors: InputError, RunError, RunKilledError."""
    modes = [mode.mode for mode in plan.head.modes if mode.state == SWEPT]
    jobs = pair_jobs(setup.boat, modes, rows, wanted.pairs, wanted.seed, wanted.only)
    file = PairsFile(folder)
    try:
        left = [job for job in jobs if job.key not in file.kept]
        for number, run in enumerate(_runs(chunks_of(left), setup, wanted.workers, float("inf")), 1):
            file.keep(run)
            if sys.stderr.isatty():
                _say_progress(labels.SWEEP_PAIRS_PROGRESS.format(done=number, runs=len(left)))
        _hush_progress()
        return list(file.runs(jobs))
    finally:
        file.close()


def _write_page(folder: Path, text: str) -> str:
    """Errors: InputError."""
    path = folder / PAGE
    try:
        path.write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        raise refused(path, f"can't be written: {error.strerror}") from error
    return labels.SWEEP_PAGE.format(path=shown_path(path))


def _prepared(path: Path | None, kinds: list[str], seed: int) -> tuple[LoadedBoat, dict[str, str], Setup]:
    boat = find_boat(path)
    replaced = replaced_kinds(kinds, boat.boat)
    classes = classes_for(replaced, boat.boat, boat.plan)
    again = ("busim", "sweep", typed_path(boat.path), "--seed", str(seed), *kind_options(replaced), "--again")
    return boat, replaced, Setup(boat.boat, boat.plan, classes, again)


def _options(wanted: Wanted, replaced: dict[str, str]) -> list[str]:
    words = ["--seed", str(wanted.seed)] + (["--full"] if wanted.full else [])
    words += [word for each in wanted.only for word in ("--only", each)]
    words += ["--pairs", str(wanted.pairs)] if wanted.pairs else []
    return words + kind_options(replaced)


def _refuse_unknown(only: tuple[str, ...], boat: LoadedBoat) -> None:
    """Errors: InputError for a fault or mode that there is not."""
    problems = []
    places = {spot.name for spot in spots_of(boat.boat)} if only else set()
    for each in only:
        fault, _, mode = each.rpartition("/") if "/" in each else (each, "", "")
        if fault and fault not in FAULTS_BY_NAME and fault not in places:
            known = places if ":" in fault else set(FAULTS_BY_NAME)
            problems.append(labels.SWEEP_NO_FAULT.format(fault=quoted(fault), near=suggestion(fault, sorted(known))))
        if mode and mode not in MODES_BY_NAME:
            problems.append(labels.SWEEP_NO_SUCH_MODE.format(mode=quoted(mode), near=suggestion(mode, MODES_BY_NAME)))
    if problems:
        raise InputError(Problem(Path("--only"), None, None, words) for words in problems)


def _store(folder: Path, plan: Plan, *, resume: bool) -> Store:
    if resume:
        return Store.resumed(folder, plan.head)
    with contextlib.suppress(OSError):
        free = shutil.disk_usage(folder).free
        if free < plan.head.runs * BYTES_A_RUN:
            with contextlib.suppress(OSError):
                folder.rmdir()
            needed = plan.head.runs * BYTES_A_RUN // 1_000_000 + 1
            raise refused(folder, labels.SWEEP_NO_ROOM.format(free=free // 1_000_000, needed=needed))
    return Store.begun(folder, plan.head)


# ------------------------------------------------------------------------------------------------ the work


def _carry_out(plan: Plan, store: Store, setup: Setup, wanted: Wanted) -> Summary:
    """Do what is not done yet; the summary of all that is."""
    began_s = time.monotonic()
    until_s = began_s + (wanted.budget_min * SECOND_MINUTES if wanted.budget_min is not None else float("inf"))
    chunks = chunks_of([job for job in plan.jobs if job.run not in store.done])
    before = len(store.done)
    failed = 0
    said_s = began_s
    for run in _runs(chunks, setup, wanted.workers, until_s):
        store.keep(run)
        failed += bool(run.failed)
        now_s = time.monotonic()
        if now_s - said_s >= (0.5 if sys.stderr.isatty() else SAY_EVERY_S):
            said_s = now_s
            done = len(store.done)
            left_s = (now_s - began_s) / (done - before) * (plan.head.runs - done)
            _say_progress(progress_line(done, plan.head.runs, failed, max(min(left_s, until_s - now_s), 0)))
    _hush_progress()
    return summary_of(plan.head, store.runs(), plan.undisturbed_rows)


def _runs(chunks: list[list[Job]], setup: Setup, workers: int | None, until_s: float) -> Iterator[SweptRun]:
    count = min(workers if workers is not None else _cores(), max(len(chunks), 1))
    if count > 1:
        yield from Pool(setup, count).runs(chunks, lambda: time.monotonic() < until_s)
        return
    worker = Worker(setup)
    for chunk in chunks:
        for run in worker.runs(chunk) if time.monotonic() < until_s else ():
            yield run
            if time.monotonic() >= until_s:
                return


def _cores() -> int:
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _status(summary: Summary, boat: LoadedBoat) -> int:
    if summary.failed_runs:
        return ending.FAILED
    whole = summary.runs == summary.head.runs and not summary.head.only
    if summary.inconclusive or summary.runs < summary.head.runs or (whole and summary.never_exercised(boat.boat)):
        return ending.NOT_SHOWN
    return ending.PASSED


# ------------------------------------------------------------------------------------------------ progress, on standard error


def _say_mode(mode: Mode) -> None:
    if sys.stderr.isatty():
        _say_progress(labels.SWEEP_LOOKS.format(mode=mode.words))


def _say_progress(words: str) -> None:
    if sys.stderr.isatty():
        with contextlib.suppress(OSError):
            print(f"\r\x1b[2K{words}", end="", file=sys.stderr, flush=True)
    else:
        ending.say_error(words)


def _hush_progress() -> None:
    if sys.stderr.isatty():
        with contextlib.suppress(OSError):
            print("\r\x1b[2K", end="", file=sys.stderr, flush=True)


# ------------------------------------------------------------------------------------------------ one run again


def play_again(path: Path | None, key: str, seed: int, write: Path | None, kinds: list[str]) -> int:
    """One run of a sweep, with its timeline; `write`: its scenario goes to a new file."""
    boat, replaced, setup = _prepared(path, kinds, seed)
    job = job_of(setup, key, seed)
    if isinstance(job, str):
        near = labels.SWEEP_NEAR.format(key=printable(job)) if job else labels.SWEEP_LIKE
        raise InputError([Problem(Path("--again"), None, None, labels.SWEEP_NO_RUN.format(key=quoted(key), near=near))])
    print(boat_line(boat))
    run, branch = play(setup, job)
    print(printable(labels.SWEEP_AGAIN.format(key=run.key, moment=run.moment, at_s=run.at_ns / 1e9, seed=run.seed)))
    print()
    scenario = branch.scenario()
    outcome = carry_out(boat.boat, boat.plan, setup.kinds, scenario, run.seed)
    for line in text_lines(outcome):
        print(line)
    if write is not None:
        try:
            with write.open("x", encoding="utf-8", newline="\n") as file:
                file.write(scenario_text(plain_scenario(scenario)))
        except FileExistsError:
            raise refused(write, labels.SWEEP_WRITTEN_BEFORE) from None
        except OSError as error:
            raise refused(write, f"can't be written: {error.strerror}") from error
        words = ["busim", "run", typed_path(boat.path), "--scenario", typed_path(write), "--seed", str(run.seed)]
        print(labels.REPRODUCE_LINE.format(line=printable(shlex.join([*words, *kind_options(replaced)]))))
    return ending.FAILED if run.failed else ending.PASSED
