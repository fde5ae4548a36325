"""Ctrl-C while a process is started: it reaches the new one too, which would come to an end in the middle of its imports."""

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from multiprocessing import resource_tracker


@contextmanager
def held_back() -> Iterator[None]:
    """A process that is started within hears no Ctrl-C, and keeps it in mind until `let_through`. This one, if it
    has one thread, hears it afterwards."""
    if not hasattr(signal, "pthread_sigmask"):  # Windows
        yield
        return
    resource_tracker.ensure_running()  # or the first process starts it, and it lets Ctrl-C through again
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def let_through() -> None:
    """Hear Ctrl-C from now on, and one that came before."""
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})
