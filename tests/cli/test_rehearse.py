"""`busim rehearse` as a user meets it: on a terminal, without one, led, with a wrong word, and what is left on the disk."""

import contextlib
import os
import pty
import select
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from .command_line import ENTRY, ROOT, call_busim, environment, run_busim

FIRST_BOAT = ROOT / "configs" / "first_boat" / "boat.yaml"


class Terminal:
    """A process on a terminal of its own; `until` reads what it draws until some words are there."""

    def __init__(self, *words: str, folder: Path, **changed: str) -> None:
        self.ours, theirs = pty.openpty()
        self.process = subprocess.Popen(
            [sys.executable, "-c", ENTRY, *words],
            cwd=folder,
            env=environment(**{"TERM": "xterm-256color", "COLUMNS": "100", "LINES": "30", **changed}),
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


def begun(folder: Path, *words: str, boat: Path = FIRST_BOAT) -> Terminal:
    """A recorded rehearsal in which control was taken and two seconds were kept."""
    (folder / "boat.yaml").write_bytes(boat.read_bytes())
    terminal = Terminal("rehearse", "--record", *words, folder=folder)
    terminal.until("NOBODY IN CONTROL")
    terminal.until_kept(folder, 1)  # the nodes have started
    terminal.type("t")
    terminal.until("in control: wheelhouse")
    terminal.until_kept(folder, 2)
    return terminal


def assert_whole(folder: Path) -> None:
    """Its record runs again to the same digest, with what was done in it."""
    again = call_busim("run", "--from", "results/rehearsal-0001", folder=folder)
    assert again.status in (0, 3), again.out + again.err
    assert "the rerun is the same as the record" in again.out
    assert "wheelhouse: take control pressed" in again.out


@pytest.mark.slow
@pytest.mark.parametrize(("last", "status"), [("q", 0), ("\x03", 130)], ids=["q", "Ctrl-C"])
def test_on_a_terminal_recorded_and_run_again(tmp_path: Path, last: str, status: int) -> None:
    """The boat file breaks meanwhile, which is no matter: the boat is the one that was read."""
    terminal = begun(tmp_path)
    (tmp_path / "boat.yaml").write_text("boat: [", encoding="utf-8")
    terminal.until_kept(tmp_path, 3)
    terminal.type(last)
    assert terminal.end() == status
    assert_whole(tmp_path)


@pytest.mark.slow
def test_a_terminal_that_is_gone_without_a_word_ends_it_and_leaves_a_whole_record(tmp_path: Path) -> None:
    """No signal comes where the terminal is not the one the process belongs to."""
    terminal = begun(tmp_path)
    os.close(terminal.ours)
    assert terminal.process.wait(timeout=60) == 0
    assert_whole(tmp_path)


@pytest.mark.slow
@pytest.mark.parametrize("how", [signal.SIGHUP, signal.SIGKILL], ids=lambda how: how.name)
def test_a_terminal_that_is_closed_leaves_a_whole_record(tmp_path: Path, how: signal.Signals) -> None:
    """SIGHUP is what a process gets whose terminal is closed."""
    terminal = begun(tmp_path)
    terminal.process.send_signal(how)
    assert terminal.end() == (0 if how is not signal.SIGKILL else -signal.SIGKILL)
    assert_whole(tmp_path)


@pytest.mark.slow
def test_a_terminal_that_takes_nothing_does_not_hold_the_boat_up(tmp_path: Path) -> None:
    """Nobody reads what is drawn, on the view that draws most; seconds are kept all the same."""
    terminal = begun(tmp_path)
    terminal.type("3")
    kept = tmp_path / "results" / "rehearsal-0001" / "seconds.txt"
    wanted = kept.read_text().count("\n") + 5
    # A terminal holds some kilobytes, the writer thirty pictures: a boat that waits for them stands by then.
    for _ in range(100):
        if kept.read_text().count("\n") >= wanted:
            break
        with contextlib.suppress(subprocess.TimeoutExpired):
            terminal.process.wait(timeout=0.2)
    assert kept.read_text().count("\n") >= wanted
    terminal.type("q")
    assert terminal.end() == 0
    assert_whole(tmp_path)


@pytest.mark.slow
@pytest.mark.parametrize("changed", [{"NO_COLOR": "1"}, {"TERM": "xterm-16color"}, {"TERM": "vt100"}], ids=str)
def test_without_colours_it_says_the_same(tmp_path: Path, changed: dict[str, str]) -> None:
    (tmp_path / "boat.yaml").write_bytes(FIRST_BOAT.read_bytes())
    terminal = Terminal("rehearse", folder=tmp_path, **changed)
    terminal.until("NOBODY IN CONTROL")
    terminal.until("[t take control]")
    terminal.type("q")
    assert terminal.end() == 0


@pytest.mark.slow
def test_without_a_terminal_the_boat_is_played_and_it_ends_by_itself(tmp_path: Path) -> None:
    done = run_busim("rehearse", folder=tmp_path)
    assert done.status == 0, done.err
    assert done.lines[0].startswith("no terminal to draw on")
    assert "everything required here passed" in done.out
    assert not list(tmp_path.iterdir())
    done = call_busim("rehearse", str(FIRST_BOAT), "--guide", "first_light", folder=tmp_path)
    assert done.status == 2
    assert "a guided rehearsal needs a terminal" in done.err


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
