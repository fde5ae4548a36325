"""A process that is started while Ctrl-C is held back hears none of it in its imports, and hears of it once it can act."""

import signal
import subprocess
import sys

import pytest

from busim.signals import held_back, let_through

CHILD = """
import signal
from busim.signals import let_through
before = signal.SIGINT in signal.pthread_sigmask(signal.SIG_BLOCK, ())
signal.raise_signal(signal.SIGINT)
heard = []
signal.signal(signal.SIGINT, lambda number, frame: heard.append(number))
let_through()
print(before, heard)
"""


def test_it_reaches_who_starts_the_process_afterwards() -> None:
    steps = []

    def start() -> None:
        with held_back():
            signal.raise_signal(signal.SIGINT)  # to this thread: sent to the process, any other thread of the tests may take it
            steps.append("within")
        steps.append("after")

    with pytest.raises(KeyboardInterrupt):
        start()
    assert steps == ["within"]
    assert signal.SIGINT not in signal.pthread_sigmask(signal.SIG_BLOCK, ())


def test_the_new_process_keeps_it_in_mind() -> None:
    with held_back():
        process = subprocess.Popen([sys.executable, "-c", CHILD], stdout=subprocess.PIPE, text=True)
    out, _ = process.communicate(timeout=60)
    assert out.split() == ["True", f"[{int(signal.SIGINT)}]"]
    let_through()
