"""`busim sweep` as a person uses it: a tiny sweep of the first boat, workers, a sudden end and going on, wrong input."""

import re
import shutil
from pathlib import Path

import pytest

from busim.sweep.outcome import HEAD, RUNS, STREAMED

from .command_line import FIRST_LINE, ROOT, Ended, call_busim, run_busim

TINY = ("--only", "cut/shift", "--only", "other_boat_file/idle")
"""Ten runs."""
FEW = ("--only", "cut/shift", "--only", "reset/shift", "--only", "hang/idle", "--only", "deaf/moored")
"""Runs from some ten settled states."""


@pytest.fixture
def first_boat(tmp_path: Path) -> Path:
    return Path(shutil.copytree(ROOT / "configs" / "first_boat", tmp_path / "own"))


def kept(folder: Path, number: int = 1) -> bytes:
    return (folder / "results" / f"sweep-{number:04d}" / RUNS).read_bytes()


@pytest.mark.slow
def test_a_tiny_sweep_says_what_it_does_and_keeps_it(first_boat: Path) -> None:
    done = call_busim("sweep", "own", *TINY, "--workers", "1", folder=first_boat.parent)
    assert (done.status, done.err) == (0, "")
    assert re.fullmatch(FIRST_LINE, done.lines[0])
    for words in (
        "10 runs; seed 1", "not modelled: two takes in one instant", "mode left out: transfer, she has one place to drive her from",
        "empty: ", "thinned: durations", "kept in own/results/sweep-0001", "state table drive: ", "10 runs, ", "0 runs failed",
        "nothing failed but what was accepted",
    ):  # fmt: skip
        assert words in done.out, words
    assert re.search(r"cut +main at .* m .* +pass", done.out)
    assert kept(first_boat).count(b"\n") == 10
    assert not (first_boat / "results" / "sweep-0001" / STREAMED).exists()
    again = call_busim("sweep", "own", *TINY, "--workers", "1", folder=first_boat.parent)
    assert again.status == 0
    assert kept(first_boat, 2) == kept(first_boat), "the same again is the same"


@pytest.mark.slow
def test_one_run_is_played_again_and_written_as_a_scenario(first_boat: Path) -> None:
    key = "cut: main at 7.5 m/shift/permanent/0"
    done = call_busim("sweep", "own", "--again", key, "--write", "cut.yaml", folder=first_boat.parent)
    assert done.status == 0
    assert f"run: {key}; the fault begins " in done.out
    assert "FAULT cut: main at 7.5 m" in done.out
    line = done.lines[-1].removeprefix("again: ")
    played = run_busim(*line.split()[1:], folder=first_boat.parent)
    codes = [re.search(r"run code: \w+", each.out) for each in (done, played)]
    assert codes[0] is not None
    assert codes[1] is not None
    assert codes[0][0] == codes[1][0]
    assert "is there already" in call_busim("sweep", "own", "--again", key, "--write", "cut.yaml", folder=first_boat.parent).err


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--only", "cuts"), "did you mean cut?"),
        (("--only", "cut: main at 3 m"), "did you mean cut: main at"),
        (("--only", "cut/ahead_ful"), "did you mean ahead_full?"),
        (("--only", "cut/transfer"), "nothing of what was asked for can be swept"),
        (("--resume", "nowhere"), "nowhere/head.json: can't be read"),
        (("--budget", "0"), "a whole number from 1 to"),
        (("--workers", "65"), "a whole number from 1 to 64"),
        (("--again", "cut"), "there is no run"),
        (("--again", "cut", "--full"), "--again plays one run"),
        (("--write", "x.yaml"), "--write goes with --again"),
    ],
)
def test_wrong_input_is_one_clear_line(words: tuple[str, ...], says: str, first_boat: Path) -> None:
    done = call_busim("sweep", "own", *words, folder=first_boat.parent)
    assert done.status == 2
    assert says in " ".join(done.err.split())
    assert not list((first_boat / "results").glob("sweep-*")), "and no folder is left"


def test_where_nothing_can_be_written_no_work_begins(first_boat: Path) -> None:
    (first_boat / "results").write_text("", encoding="utf-8")
    done = call_busim("sweep", "own", *TINY, folder=first_boat.parent)
    assert done.status == 2
    assert done.err == "own/results: results can't be written here: this is a file, or part of its path is, and not a folder\n"


@pytest.mark.slow
def test_only_its_own_sweep_is_gone_on_with(first_boat: Path) -> None:
    call_busim("sweep", "own", *TINY, "--workers", "1", folder=first_boat.parent)
    other = call_busim("sweep", "own", "--only", "cut/shift", "--resume", "own/results/sweep-0001", folder=first_boat.parent)
    assert (other.status, "other runs (--only)" in other.err) == (2, True)
    whole = kept(first_boat)
    done = call_busim("sweep", "own", *TINY, "--resume", "own/results/sweep-0001", folder=first_boat.parent)
    assert done.status == 0
    assert kept(first_boat) == whole


@pytest.mark.slow
def test_a_boat_that_fails_with_nothing_broken_is_not_swept(first_boat: Path) -> None:
    twin = ("--kind", "drive=tests.twins.drives:ReversesAtOnce")
    done = run_busim("sweep", "own", "--only", "cut/reversal", *twin, folder=first_boat.parent)
    assert done.status == 1
    assert "the boat is not swept: she fails with nothing broken" in done.out
    assert "reversal: drive.reversal_dwell: " in done.out
    assert not list((first_boat / "results").glob("sweep-*"))


AFTER_FIVE = """
import multiprocessing, os, signal
signal.signal(signal.SIGINT, signal.default_int_handler)  # a run in the background of a shell inherits that Ctrl-C is ignored
from busim.sweep.store import Store
keep = Store.keep
def keep_and(self, run):
    keep(self, run)
    if len(self.done) == 5:
        {what}
Store.keep = keep_and
"""
"""What is done to a sweep, from within, once five runs are kept."""
KILL_A_WORKER = "children = multiprocessing.active_children(); children[0].kill(); children[0].join()"
KILL = "os.kill(os.getpid(), signal.SIGKILL)"
STOP = "os.kill(os.getpid(), signal.SIGINT)"


@pytest.mark.slow
def test_workers_sudden_ends_and_ctrl_c_change_no_byte(first_boat: Path) -> None:
    """One worker; four, with other hashes, one of which dies; a sweep killed, and one stopped, each gone on with."""
    folder = first_boat.parent

    def sweep(*words: str, what: str = "pass", hashes: str = "0") -> Ended:
        before = AFTER_FIVE.format(what=what)
        return run_busim("sweep", "own", *FEW, *words, folder=folder, changed={"PYTHONHASHSEED": hashes}, before=before)

    assert sweep("--workers", "1").status in (0, 1)
    whole = kept(first_boat)
    assert whole.count(b"\n") == 26
    assert sweep("--workers", "4", what=KILL_A_WORKER, hashes="7").status in (0, 1)
    assert kept(first_boat, 2) == whole
    assert sweep("--workers", "2", what=KILL).status == -9
    stopped = sweep("--workers", "2", what=STOP)
    assert stopped.status == 130
    line = "5 of 26 runs are kept; to go on: busim sweep own/boat.yaml --seed 1 --only cut/shift --only reset/shift"
    assert line in stopped.err
    assert stopped.err.endswith("--resume own/results/sweep-0004\nstopped\n")
    for number in (3, 4):
        of_one = first_boat / "results" / f"sweep-{number:04d}"
        assert (of_one / STREAMED).read_bytes().count(b"\n") == 5
        assert sweep("--workers", "2", "--resume", f"own/results/{of_one.name}").status in (0, 1)
        assert kept(first_boat, number) == whole
        assert (of_one / HEAD).read_bytes() == (first_boat / "results" / "sweep-0001" / HEAD).read_bytes()
