"""`busim run --shrink FILE`: what a broken drive fails, in a few lines that fail it again; and what is refused."""

from pathlib import Path

import pytest

from .command_line import ROOT, call_busim

BOAT = str(ROOT / "configs" / "first_boat")
BROKEN = ("--kind", "drive=tests.twins.drives:IgnoresNumber")


@pytest.mark.slow
def test_what_a_run_failed_is_written_short_and_fails_again(tmp_path: Path) -> None:
    ended = call_busim("run", BOAT, "--scenario", "cut_healed", "--shrink", "short.yaml", *BROKEN, folder=tmp_path)
    assert ended.status == 1
    assert ended.lines[-2].startswith("drive.rearm still fails with 3 things done and broken, and with none of them less (")
    text = (tmp_path / "short.yaml").read_text()
    assert len(text.splitlines()) <= 14
    again = call_busim("run", BOAT, "--scenario", "short.yaml", "--seed", "1", *BROKEN, folder=tmp_path)
    assert again.status == 1
    assert "FAILED: drive.rearm" in again.out
    sound = call_busim("run", BOAT, "--scenario", "short.yaml", "--seed", "1", folder=tmp_path)
    assert "FAILED" not in sound.out


def test_nothing_is_written_where_nothing_failed(tmp_path: Path) -> None:
    ended = call_busim("run", BOAT, "--shrink", "short.yaml", folder=tmp_path)
    assert (ended.status, ended.lines[-1]) == (0, "no requirement failed: there is nothing to make shorter")
    assert not (tmp_path / "short.yaml").exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--shrink", "here.yaml"), "here.yaml: is there already: name a file that is not"),
        (("--shrink", "nowhere/short.yaml"), "nowhere: is not a folder that is there"),
        (("--shrink", "short.yaml", "--presses", "10"), "--shrink goes with a scenario, not with --presses or --from"),
        (("--shrink", "short.yaml", "--from", "results/run-0001"), "--shrink goes with a scenario, not with --presses or --from"),
    ],
)
def test_what_can_not_be_is_said_before_anything_runs(words: tuple[str, ...], said: str, tmp_path: Path) -> None:
    (tmp_path / "here.yaml").write_text("mine\n")
    ended = call_busim("run", *words, folder=tmp_path)
    assert (ended.status, ended.out) == (2, "")
    assert said in ended.err
    assert (tmp_path / "here.yaml").read_text() == "mine\n"
