"""The README keeps its word: the ten steps run in their order, the pictures are the program's own."""

import os
import re
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.unit.c_driver import compiler

from .command_line import ENTRY, ROOT, call_busim, environment

README = (ROOT / "README.md").read_text(encoding="utf-8")
PICTURES = ROOT / "docs" / "pictures"
ANSWERS = "the shaft coupling\\nshown\\n"
"""What a person types before a bench moves anything."""


def steps() -> list[str]:
    part = README.partition("## Your boat in ten steps")[2].partition("\n## ")[0]
    return [line.partition("#")[0].strip() for line in part.split("\n") if line.startswith("    busim ")]


@pytest.mark.slow
def test_the_ten_steps_run_one_after_the_other(tmp_path: Path) -> None:
    words = steps()
    assert len(words) == 10
    for step in words:
        done = call_busim(*step.split()[1:], folder=tmp_path)
        assert done.status == 0, (step, done.out[-500:], done.err)
    assert (tmp_path / "my_boat" / "pictures" / "cut.svg").is_file()


@pytest.mark.slow
@pytest.mark.xdist_group("real time")
def test_from_export_c_to_a_bench_run_that_passes_and_one_that_fails_in_five_minutes(tmp_path: Path) -> None:
    compiler()
    part = README.partition("## Firmware on the bench")[2].partition("\n## ")[0]
    lines = [line.strip() for line in part.split("\n") if line.startswith("    ")]
    assert [line.split()[0] for line in lines] == ["busim"] * 2 + ["F=$(python", "S=$(echo", "gcc", "busim", "gcc", "busim"]
    programs = tmp_path / "bin"
    programs.mkdir()
    for name, words in (("busim", f"-c '{ENTRY}' "), ("python", "")):
        (programs / name).write_text(f'#!/bin/sh\nexec {sys.executable} {words}"$@"\n')
        (programs / name).chmod(0o755)
    *most, last = [line.replace("busim bench", f"printf '{ANSWERS}' | busim bench") for line in lines]
    script = "\n".join([*(f"{line} || exit 9" for line in most), last])
    began = time.monotonic()
    done = subprocess.run(
        ["bash", "-c", script], cwd=tmp_path, env={**environment(), "PATH": f"{programs}:{os.environ['PATH']}"},
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
    )  # fmt: skip
    sound, _, broken = done.stdout.decode().partition("bench-0001")
    assert done.returncode == 1, sound + broken
    assert "the gear went in and came out" in sound
    assert "BROKEN ON PURPOSE" in broken
    assert "its gear is still in" in broken
    assert time.monotonic() - began < 300


@pytest.mark.slow
def test_the_pictures_are_the_programs_own_and_the_same_each_time(tmp_path: Path) -> None:
    """Compared by what can be read in them: how a style is called in SVG is a library's business."""
    from busim.dashboard.pictures import words_of

    once = call_busim("export", "pictures", str(ROOT / "configs" / "marsh_tern"), "--to", "here", folder=tmp_path)
    assert once.status == 0, once.err
    made = sorted((tmp_path / "here").iterdir())
    assert [path.name for path in made] == sorted(path.name for path in PICTURES.iterdir())
    assert [f"docs/pictures/{path.name}" in README for path in made] == [True] * len(made)
    for path in made:
        kept = (PICTURES / path.name).read_text(encoding="utf-8")
        assert words_of(path.read_text(encoding="utf-8")) == words_of(kept), f"{path.name}: make it anew, and look at it"
        assert "http" not in re.sub(r'xmlns="[^"]*"|Rich https://\S+', "", kept), "nothing is fetched from elsewhere"
        assert len(kept) < 50_000
    again = call_busim("export", "pictures", str(ROOT / "configs" / "first_boat"), "--to", "here", folder=tmp_path)
    assert again.status == 0, "its own pictures are written over"


def test_what_is_no_picture_is_not_written_over(tmp_path: Path) -> None:
    (tmp_path / "helm.svg").write_text("mine", encoding="utf-8")
    done = call_busim("export", "pictures", str(ROOT / "configs" / "first_boat"), "--to", ".", folder=tmp_path)
    assert done.status == 2
    assert "helm.svg: is there already" in done.err
    assert (tmp_path / "helm.svg").read_text(encoding="utf-8") == "mine"


def test_a_folder_goes_with_pictures_only(tmp_path: Path) -> None:
    done = call_busim("export", "protocol", str(ROOT / "configs" / "first_boat"), "--to", "x", folder=tmp_path)
    assert done.status == 2
    assert "protocol is printed, and --to goes with" in done.err
    (tmp_path / "file").write_text("", encoding="utf-8")
    done = call_busim("export", "pictures", str(ROOT / "configs" / "first_boat"), "--to", "file", folder=tmp_path)
    assert done.status == 2
    assert "can't be written here" in done.err
