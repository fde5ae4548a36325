"""How short a fault must force nothing, against the control timeout: found on paper where it can't be kept."""

from pathlib import Path

import pytest

from busim.boat.findings import findings
from busim.boat.load import load_boat
from tests.cli.command_line import ROOT

TEXT = (ROOT / "configs" / "first_boat" / "boat.yaml").read_text()
"""Her control timeout is 250 ms, and a lever frame goes out every 20."""


@pytest.mark.parametrize(("ride_through_ms", "found"), [(0, 0), (200, 0), (210, 0), (211, 1), (1000, 1)])
def test_with_a_lever_frame_on_either_side_it_has_to_fit_into_the_control_timeout(
    tmp_path: Path, ride_through_ms: int, found: int
) -> None:
    (tmp_path / "boat.yaml").write_text(TEXT.replace("boat:\n", f"boat:\n  ride_through_ms: {ride_through_ms}\n", 1))
    words = [problem.words for problem in findings(load_boat(tmp_path).document)]
    assert len(words) == found
    assert all(each.startswith("ride_through_ms: with two lever frames") for each in words)


def test_a_boat_without_drives_has_nothing_to_ride_through(tmp_path: Path) -> None:
    (tmp_path / "boat.yaml").write_text(TEXT.replace("boat:\n", "boat:\n  ride_through_ms: 200\n", 1))
    boat = load_boat(tmp_path)
    assert (boat.boat.boat.ride_through_ms, boat.boat.boat.rearm_max_s) == (200, 10)
