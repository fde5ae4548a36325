"""How a command ends when the world does not play along: Ctrl-C, a reader that goes away, full disks, poor terminals."""

import errno
import os
import pty
import re
import signal
import subprocess
from pathlib import Path
from typing import Any

import pytest

from busim.record import writer

from .command_line import ONE_SECOND, call_busim, command, environment, run_busim

pytestmark = pytest.mark.slow

# A test run in the background of a shell inherits that Ctrl-C is ignored.
HEARS_CTRL_C = "import signal; signal.signal(signal.SIGINT, signal.default_int_handler)"


def write_long(folder: Path) -> None:
    (folder / "scenarios" / "long.yaml").write_text("scenario: a whole day\nlasts_s: 86400\n")


# ---------------------------------------------------------------------------------------------------- Ctrl-C


def test_ctrl_c_in_a_long_run_ends_with_130(own_boat: Path) -> None:
    write_long(own_boat)
    with subprocess.Popen(
        command("run", "--scenario", "long", before=HEARS_CTRL_C),
        cwd=own_boat, env=environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    ) as process:  # fmt: skip
        assert process.stdout is not None
        assert process.stderr is not None
        assert process.stdout.readline().startswith("boat: "), "it is under way, and the first line is not held back"
        process.send_signal(signal.SIGINT)
        assert process.wait() == 130
        assert process.stderr.read() == "stopped\n"


def test_ctrl_c_leaves_a_record_that_is_whole_and_says_where(own_boat: Path) -> None:
    write_long(own_boat)
    before = f"""{HEARS_CTRL_C}
import os
from busim.record.writer import RecordWriter
keep = RecordWriter.keep
def keep_and_stop(self, *block):
    keep(self, *block)
    if self.second == 3:
        os.kill(os.getpid(), signal.SIGINT)
RecordWriter.keep = keep_and_stop
"""
    ended = run_busim("run", "--scenario", "long", "--record", folder=own_boat, before=before)
    assert ended.status == 130
    assert ended.err == "record: results/run-0001, up to and with second 3\nstopped\n"
    assert len((own_boat / "results" / "run-0001" / "seconds.txt").read_text().splitlines()) == 3


# ---------------------------------------------------------------------------------------------------- output


@pytest.mark.parametrize("words", [("run",), ("run", "--json"), ("export", "protocol"), ("run", "--help")])
def test_a_reader_that_goes_away_is_no_error(own_boat: Path, words: tuple[str, ...]) -> None:
    """`busim ... | head -0`: the reader has gone before the first line is written."""
    reader, sink = os.pipe()
    os.close(reader)
    try:
        done = subprocess.run(command(*words), cwd=own_boat, env=environment(), stdout=sink, stderr=subprocess.PIPE, text=True)
    finally:
        os.close(sink)
    assert done.stderr == ""
    assert done.returncode == 0 or "--help" in words, "pages of help are the option parser's, which says 1"


def test_a_reader_that_goes_away_after_the_first_line(own_boat: Path) -> None:
    """`busim run | head -1`."""
    with subprocess.Popen(
        command("run"), cwd=own_boat, env=environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        assert process.stdout.readline().startswith("boat: ")
        process.stdout.close()
        assert process.stderr.read() == ""
        assert process.wait() == 0


@pytest.mark.slow
@pytest.mark.parametrize(
    ("closed", "words", "status"),
    [(">&-", "run --scenario one_second", 0), (">&-", "check", 0), (">&- 2>&-", "check nowhere", 2), ("2>&-", "check nowhere", 2),
     ("<&-", "check", 0), (">&-", "--help", 0), (">&- 2>&-", "", 2), (">&-", "run --scenario one_second --record", 0)],
)  # fmt: skip
def test_streams_that_are_closed_from_the_start(own_boat: Path, closed: str, words: str, status: int) -> None:
    """The exit status still tells, and nothing of the output ends up in a file of the record."""
    line = ["sh", "-c", f'exec "$@" {closed}', "sh", *command(*words.split())]
    done = subprocess.run(line, cwd=own_boat, env=environment(), capture_output=True, text=True)
    assert "Traceback" not in done.stdout + done.stderr
    assert done.returncode == status
    for path in own_boat.glob("results/*/*"):
        assert "boat: " not in path.read_text()


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="a device that is always full is Linux's")
@pytest.mark.parametrize("words", [("run",), ("check",), ("check", "--help")])
def test_output_to_a_full_disk_is_one_line_and_2(own_boat: Path, words: tuple[str, ...]) -> None:
    with open("/dev/full", "wb") as full:
        done = subprocess.run(command(*words), cwd=own_boat, env=environment(), stdout=full, stderr=subprocess.PIPE, text=True)
    assert done.stderr == f"output: {os.strerror(errno.ENOSPC)}\n"
    assert done.returncode == 2


# ---------------------------------------------------------------------------------------------------- terminals


@pytest.mark.slow
@pytest.mark.parametrize("changed", [{"LANG": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}, {"PYTHONIOENCODING": "ascii"},
                                     {"LC_ALL": "POSIX", "PYTHONIOENCODING": "latin-1"}])  # fmt: skip
def test_a_terminal_that_knows_few_characters(own_boat: Path, changed: dict[str, str]) -> None:
    boat, scenario = own_boat / "boat.yaml", own_boat / "scenarios" / "one_second.yaml"
    boat.write_text(boat.read_text(encoding="utf-8").replace("Reed Bunting", "Möwe 海"), encoding="utf-8")
    scenario.write_text("scenario: Füße ⚓\nlasts_s: 1\n", encoding="utf-8")
    ended = run_busim("run", "--scenario", "one_second", "--record", folder=own_boat, changed=changed)
    assert (ended.status, ended.err) == (0, "")
    assert r"\u6d77" in ended.lines[0]
    assert r"\u2693" in ended.lines[1]
    assert run_busim("run", "--from", "results/run-0001", folder=own_boat, changed=changed).status == 0
    wrong = run_busim("check", "Möwe-⚓", folder=own_boat, changed={**changed, "PYTHONUTF8": "1"})
    assert wrong.status == 2
    assert "no such file" in wrong.err


@pytest.mark.slow
@pytest.mark.parametrize("changed", [{"NO_COLOR": "1"}, {"FORCE_COLOR": "1"}])
@pytest.mark.parametrize("words", [("check",), ("--help",), ("chek",)])
def test_nothing_is_coloured_on_a_terminal(own_boat: Path, changed: dict[str, str], words: tuple[str, ...]) -> None:
    """On a real terminal. busim says everything in words: it needs no colour, so it asks nobody whether it may."""
    ours, theirs = pty.openpty()
    variables = environment(**{"TERM": "xterm-256color", **changed})
    process = subprocess.Popen(command(*words), cwd=own_boat, env=variables, stdin=theirs, stdout=theirs, stderr=theirs)
    os.close(theirs)
    seen = b""
    try:
        while part := os.read(ours, 4096):
            seen += part
    except OSError as error:
        assert error.errno == errno.EIO, "how a terminal ends on Linux"  # noqa: PT017
    finally:
        os.close(ours)
        process.wait()
    assert b"\x1b" not in seen
    assert len(seen) > 40
    assert b"Traceback" not in seen


def test_without_a_home(tmp_path: Path) -> None:
    (tmp_path / "one.yaml").write_text(ONE_SECOND)
    for without, changed in ((["HOME"], {}), ([], {"HOME": "/nonexistent"})):
        ended = run_busim("run", "--scenario", "one.yaml", folder=tmp_path, without=without, changed=changed)
        assert (ended.status, ended.err) == (0, "")


def test_in_a_folder_that_was_deleted(own_boat: Path, tmp_path: Path) -> None:
    """A terminal left open in it. Whatever is named from the root still works."""
    gone = tmp_path / "gone"
    gone.mkdir()
    before = "import os; os.rmdir(os.getcwd())"
    ended = run_busim("run", str(own_boat), "--scenario", "one_second", folder=gone, before=before)
    assert ended.status == 0
    gone.mkdir()
    assert run_busim("check", "own", folder=gone, before=before).status == 2


# ---------------------------------------------------------------------------------------------------- disks


def test_a_file_where_results_should_go(own_boat: Path) -> None:
    (own_boat / "results").write_text("mine")
    ended = call_busim("run", "--record", folder=own_boat)
    assert ended.status == 2
    assert ended.err == "results: results can't be written here: this is a file, or part of its path is, and not a folder\n"
    assert (own_boat / "results").read_text() == "mine"


def test_a_folder_that_may_not_be_written(own_boat: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(path: Path, *_: Any, **__: Any) -> None:
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(path))

    monkeypatch.setattr(Path, "mkdir", refuse)
    ended = call_busim("run", "--record", folder=own_boat)
    assert ended.status == 2
    assert ended.err == f"results: results can't be written here: {os.strerror(errno.EACCES)}\n"
    begun = call_busim("begin", "new", folder=own_boat)
    assert begun.status == 2
    assert begun.err == "new/boat.yaml: can't be written: the permissions of its folder do not let you\n"


@pytest.mark.parametrize("file", [writer.FRAMES, writer.EVENTS, writer.SECONDS])
def test_a_disk_that_fills_up_in_the_fourth_second(own_boat: Path, monkeypatch: pytest.MonkeyPatch, file: str) -> None:
    """One line and status 2; the three seconds before are whole, and the rerun agrees with them."""
    keep = writer.RecordWriter.keep

    class Full:
        """A file on a disk on which the last bytes are taken: half of a write gets through, and closing fails too."""

        def __init__(self, file: Any) -> None:
            self.file = file

        def write(self, text: str) -> None:
            self.file.write(text[: len(text) // 2])
            self.flush()

        def flush(self) -> None:
            self.file.flush()
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

        def close(self) -> None:
            self.file.close()
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    def keep_until_full(self: writer.RecordWriter, *block: Any) -> None:
        if self.second == 3:
            self.files[file] = Full(self.files[file])  # type: ignore[assignment]
        keep(self, *block)

    monkeypatch.setattr(writer.RecordWriter, "keep", keep_until_full)
    ended = call_busim("run", "--record", folder=own_boat)
    assert ended.status == 2
    assert re.fullmatch(r"results/run-0001: the record ends after second 3: No space left on device.*\n", ended.err)
    monkeypatch.undo()
    again = call_busim("run", "--from", "results/run-0001", folder=own_boat)
    assert again.status == 0
    assert "the record ends after 3 s (it was cut short); the rerun is the same up to there" in again.lines


def test_a_disk_that_is_full_from_the_start(own_boat: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(path: Path, *_: Any, **__: Any) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(path))

    monkeypatch.setattr(Path, "write_text", refuse)
    ended = call_busim("run", "--record", folder=own_boat)
    assert ended.status == 2
    assert ended.err == f"results/run-0001: the record can't be written: {os.strerror(errno.ENOSPC)}\n"


def test_busim_itself_wrong_is_one_line_and_4(own_boat: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What nobody foresaw: a line, with the way to see more; status 4, as no input is to blame."""

    def wrong(*_: Any, **__: Any) -> None:
        raise LookupError("in\x1b[1m here")

    monkeypatch.setattr("busim.commands.run.carry_out", wrong)
    monkeypatch.delenv("BUSIM_TRACEBACK", raising=False)
    ended = call_busim("run", folder=own_boat)
    assert ended.status == 4
    assert ended.err == "busim itself went wrong (LookupError: in\\x1b[1m here): set BUSIM_TRACEBACK=1 to see where\n"
