"""The process in which a bench session runs, alone with the device: no screen, no verdicts, nothing that could hold it up.

Whoever shows and judges is at the other end of a pipe. If that end dies, or does no longer read, the session ends as it always
does: neutral and idle, commanded and awaited.
"""

import os
import queue
import socket
import sys
import threading
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing.connection import Connection
from typing import Any, Final

from busim import bench_labels as labels
from busim.bench.interrupts import Interrupts
from busim.bench.link import Firmware, Link, LinkError, OverAdapter
from busim.bench.order import INTERRUPTED, SCREEN_GONE, Order
from busim.bench.pacing import clock_ns, hold_still
from busim.bench.session import Session
from busim.bench.stage import Ask, Result
from busim.signals import let_through
from busim.simulator.kinds import load_kinds
from busim.units import SECOND

SAY: Final = "say"
ASK: Final = "ask"
RESULTS: Final = "results"
BLOCK: Final = "block"
ENDED: Final = "ended"
HANGS_NS: Final = 3 * SECOND
"""Nothing of what waits was taken for so long: whoever shows and judges hangs, and nobody sees what the device does."""
LAST_WORDS_S: Final = 5.0


@dataclass(frozen=True)
class Job:
    """`way`: ("simulated",), ("firmware", program, ...) or ("adapter", interface, channel, bit rate)."""

    order: Order
    kinds: dict[str, str]
    way: tuple[Any, ...]


class PipeTalk:
    """Sends from a thread of its own: a pipe that is full must not hold up the session."""

    def __init__(self, connection: Connection, asked_to_end: Callable[[], bool]) -> None:
        self.connection = connection
        self.asked_to_end = asked_to_end
        self.gone = False
        self.waiting: queue.SimpleQueue[tuple[str, Any] | None] = queue.SimpleQueue()
        self.taken_ns = clock_ns()
        """When the pipe last took a message, or nothing waited."""
        self.thread = threading.Thread(target=self._send, daemon=True)
        self.thread.start()

    def _send(self) -> None:
        while (message := self.waiting.get()) is not None:
            try:
                self.connection.send(message)
            except OSError:
                self.gone = True
                return
            self.taken_ns = clock_ns()

    def _put(self, kind: str, what: Any) -> None:
        if not self.gone:
            if self.waiting.empty():
                self.taken_ns = clock_ns()
            self.waiting.put((kind, what))

    def say(self, words: str) -> None:
        self._put(SAY, words)

    def ask(self, ask: Ask) -> None:
        self._put(ASK, ask.words)

    def results(self, results: list[Result]) -> None:
        self._put(RESULTS, results)

    def block(self, frames: list[Any], events: list[Any], digest: str) -> None:
        self._put(BLOCK, (frames, events, digest))

    def answer(self) -> str | None:
        try:
            return self.connection.recv() if self.connection.poll() else None
        except (EOFError, OSError):
            self.gone = True
            return None

    def ended(self) -> str:
        if self.asked_to_end():
            return INTERRUPTED
        if not self.waiting.empty() and clock_ns() - self.taken_ns > HANGS_NS:
            self.gone = True
        if not self.gone:
            try:
                # An answer that waits is left for `answer`; that the other end is closed shows the same way.
                if self.connection.poll() and self.peer_closed():
                    self.gone = True
            except (EOFError, OSError):
                self.gone = True
        return SCREEN_GONE if self.gone else ""

    def peer_closed(self) -> bool:
        with socket.socket(fileno=os.dup(self.connection.fileno())) as peer:
            try:
                return peer.recv(1, socket.MSG_PEEK | socket.MSG_DONTWAIT) == b""
            except BlockingIOError:
                return False

    def close(self, ending: Any) -> bool:
        """The last words. False where nobody heard them."""
        self._put(ENDED, ending)
        self.waiting.put(None)
        self.thread.join(LAST_WORDS_S)
        return not self.gone and not self.thread.is_alive()


def open_way(way: tuple[Any, ...], bit_rate: int) -> Callable[[], Link] | None:
    """How the link to the device is opened; None for one that is simulated."""
    if way[0] == "firmware":
        return lambda: Firmware(list(way[1:]), bit_rate)
    if way[0] == "adapter":
        return lambda: _over_adapter(*way[1:])
    return None


def _over_adapter(interface: str, channel: str, bit_rate: int) -> Link:
    from busim.bench.adapter import AdapterError, Wanted, open_adapter

    try:
        return OverAdapter(open_adapter(Wanted(interface, channel, bit_rate)), AdapterError)
    except AdapterError as error:
        raise LinkError(str(error)) from error


def work(connection: Connection, job: Job) -> None:
    """What the process does."""
    with Interrupts() as interrupts:
        let_through()
        talk = PipeTalk(connection, lambda: interrupts.asked)
        bit_rate = job.order.boat.buses[job.order.bus].bit_rate
        session = Session(job.order, load_kinds(job.kinds), talk, open_way(job.way, bit_rate))
        hold_still()
        ending = session.run()
        heard = talk.close(ending)
        if not heard:
            # Nobody else is left to say it.
            for line in labels.CUT_POWER if ending.neutral is False else (labels.ENDED_ALONE,):
                print(line, file=sys.stderr, flush=True)
