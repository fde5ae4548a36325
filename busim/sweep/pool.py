"""Runs on several processes: each has a pipe of its own, and says every run as soon as it is done.

A process that dies takes nothing along but the run it was at: what it had not said yet goes to another. Whoever stops this, by
Ctrl-C or for good, leaves no process behind: one whose pipe is gone ends at its next run.
"""

import contextlib
import signal
from collections import deque
from collections.abc import Iterator, Sequence
from multiprocessing import get_context
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from typing import Any, Final

from busim.signals import held_back
from busim.sweep.grid import Job
from busim.sweep.outcome import SweptRun
from busim.sweep.work import Setup, Worker

_DONE: Final = "done"
_FAILED: Final = "failed"
_RUN: Final = "run"
MOST_DEATHS: Final = 3
"""A run at which so many processes have died is not tried again."""


class RunKilledError(Exception):
    """Processes die at this run, again and again; the message says which."""


class RunError(Exception):
    """busim itself went wrong in a run; the message says how."""


def serve(pipe: "Connection[Any, Any]", setup: Setup) -> None:
    """What a process does: chunks in, runs out, until the pipe closes."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    worker = Worker(setup)
    with contextlib.suppress(EOFError, BrokenPipeError, ConnectionResetError):
        while True:
            jobs = pipe.recv()
            try:
                for run in worker.runs(jobs):
                    pipe.send((_RUN, run))
                pipe.send((_DONE, None))
            except (BrokenPipeError, ConnectionResetError):
                raise
            except Exception as error:
                pipe.send((_FAILED, f"{type(error).__name__}: {error}"))


class _Hand:
    """A process, its pipe, and the runs of its chunk that it has not said yet."""

    def __init__(self, setup: Setup) -> None:
        context = get_context("spawn")
        self.pipe, theirs = context.Pipe()
        self.process: BaseProcess = context.Process(target=serve, args=(theirs, setup), daemon=True)
        with held_back():  # the one who started it says when to stop
            self.process.start()
        theirs.close()
        self.jobs: deque[Job] = deque()

    def give(self, jobs: Sequence[Job]) -> None:
        self.jobs = deque(jobs)
        self.pipe.send(list(jobs))

    def stop(self) -> None:
        self.pipe.close()
        self.process.terminate()
        self.process.join()


class Pool:
    def __init__(self, setup: Setup, workers: int) -> None:
        self.setup = setup
        self.workers = workers
        self.deaths: dict[str, int] = {}
        self.hands: list[_Hand] = []

    def runs(self, chunks: Sequence[Sequence[Job]], go_on: Any) -> Iterator[SweptRun]:
        """Every run of the chunks, in the order they are done. `go_on()` false: no more chunks are begun.

        Errors: RunKilledError, RunError.
        """
        waiting = deque(list(chunk) for chunk in chunks)
        try:
            while True:
                self._give(waiting, go_on)
                busy = {hand.pipe: hand for hand in self.hands if hand.jobs}
                if not busy:
                    return
                for pipe in wait(list(busy), timeout=1.0):
                    yield from self._hear(busy[pipe], waiting)  # type: ignore[index]
        finally:
            for hand in self.hands:
                hand.stop()
            self.hands = []

    def _give(self, waiting: deque[list[Job]], go_on: Any) -> None:
        busy = sum(bool(hand.jobs) for hand in self.hands)
        while waiting and go_on() and len(self.hands) < min(self.workers, len(waiting) + busy):
            self.hands.append(_Hand(self.setup))
        for hand in self.hands:
            if not hand.jobs and waiting and go_on():
                with contextlib.suppress(BrokenPipeError, ConnectionResetError):  # it died idle: heard of when its pipe is read
                    hand.give(waiting.popleft())

    def _hear(self, hand: _Hand, waiting: deque[list[Job]]) -> Iterator[SweptRun]:
        try:
            what, said = hand.pipe.recv()
        except (EOFError, ConnectionResetError):
            self._bury(hand, waiting)
            return
        if what == _RUN:
            hand.jobs.popleft()
            yield said
        if what == _FAILED:
            raise RunError(f"{hand.jobs[0].key if hand.jobs else ''}: {said}")

    def _bury(self, hand: _Hand, waiting: deque[list[Job]]) -> None:
        """It is dead: what it had not said is done again, the run it was at by itself, so that it can only take itself along."""
        self.hands.remove(hand)
        hand.stop()
        if not hand.jobs:
            return
        first, *others = hand.jobs
        self.deaths[first.key] = self.deaths.get(first.key, 0) + 1
        if self.deaths[first.key] >= MOST_DEATHS:
            raise RunKilledError(first.key)
        if others:
            waiting.appendleft(others)
        waiting.appendleft([first])
