"""`busim rehearse` as a user meets it: on a terminal, without one, led, with a wrong word, and what is left on the disk."""

import os
import pty
import select
import subprocess
import sys
from pathlib import Path

import pytest

from .command_line import ENTRY, ROOT, call_busim, environment

FIRST_BOAT = ROOT / "configs" / "first_boat" / "boat.yaml"


class Terminal:
    """A process on a terminal of its own; `until` reads what it draws until some words are there."""

    def __init__(self, *words: str, folder: Path) -> None:
        self.ours, theirs = pty.openpty()
        self.process = subprocess.Popen(
            [sys.executable, "-c", ENTRY, *words],
            cwd=folder,
            env=environment(TERM="xterm-256color", COLUMNS="100", LINES="30"),
            stdin=theirs,
            stdout=theirs,
            stderr=theirs,
            close_fds=True,
        )
        os.close(theirs)
        self.seen = b""

    def until(self, words: str) -> None:
        while words.encode() not in self.seen:
            self.seen += self.read()

    def read(self) -> bytes:
        """What it draws next. AssertionError where it draws nothing for a minute, or has ended."""
        ready, _, _ = select.select([self.ours], [], [], 60)
        assert ready, f"nothing for a minute after {self.seen[-200:]!r}"
        try:
            return os.read(self.ours, 65_536)
        except OSError:
            raise AssertionError("it ended") from None

    def until_kept(self, folder: Path, seconds: int) -> None:
        """Read on until so many seconds are in its record."""
        while (folder / "results" / "rehearsal-0001" / "seconds.txt").read_text().count("\n") < seconds:
            self.read()

    def type(self, keys: str) -> None:
        self.seen = b""
        os.write(self.ours, keys.encode())

    def end(self) -> int:
        while True:
            try:
                if not os.read(self.ours, 65_536):
                    break
            except OSError:
                break
        os.close(self.ours)
        return self.process.wait(timeout=60)


@pytest.mark.slow
@pytest.mark.parametrize("last", ["q", "\x03"], ids=["q", "Ctrl-C"])
def test_on_a_terminal_recorded_and_run_again(tmp_path: Path, last: str) -> None:
    (tmp_path / "boat.yaml").write_bytes(FIRST_BOAT.read_bytes())
    terminal = Terminal("rehearse", "--record", folder=tmp_path)
    terminal.until("NOBODY IN CONTROL")
    terminal.until_kept(tmp_path, 1)  # the nodes have started
    terminal.type("t")
    terminal.until("in control: wheelhouse")
    terminal.until_kept(tmp_path, 3)
    terminal.type(last)
    assert terminal.end() == 0
    again = call_busim("run", "--from", "results/rehearsal-0001", folder=tmp_path)
    assert again.status in (0, 3), again.out + again.err
    assert "the rerun is the same as the record" in again.out
    assert "wheelhouse: take control pressed" in again.out


@pytest.mark.slow
def test_a_terminal_that_is_closed_leaves_a_whole_record(tmp_path: Path) -> None:
    (tmp_path / "boat.yaml").write_bytes(FIRST_BOAT.read_bytes())
    terminal = Terminal("rehearse", "--record", folder=tmp_path)
    terminal.until("NOBODY IN CONTROL")
    terminal.until_kept(tmp_path, 2)
    terminal.process.kill()
    terminal.end()
    again = call_busim("run", "--from", "results/rehearsal-0001", folder=tmp_path)
    assert "the rerun is the same" in again.out


def test_without_a_terminal_it_says_so(tmp_path: Path) -> None:
    done = call_busim("rehearse", str(FIRST_BOAT), folder=tmp_path)
    assert done.status == 2
    assert "a rehearsal needs a terminal" in done.err
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--guide", "cut"), 'there is no guide "cut"'),
        (("--guide", "hand_ovr"), "did you mean hand_over?"),
        (("--guide", "hand_over"), "has not what the guide hand_over needs"),
        (("--kind", "drive"), "is not written as KIND=MODULE:CLASS"),
        (("--seed", "x"), "a whole number"),
    ],
)
def test_a_wrong_word_is_a_line(tmp_path: Path, words: tuple[str, ...], said: str) -> None:
    done = call_busim("rehearse", str(FIRST_BOAT), *words, folder=tmp_path)
    assert done.status == 2
    assert said in done.err
