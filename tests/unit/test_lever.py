"""A lever with one or two sensors: what it means, and when it is not believed."""

from dataclasses import replace

import pytest

from busim.units import MS, NEVER
from nodes.lever import Lever

from .hand_made_frames import AHEAD, ASTERN, NEUTRAL
from .small_boat import BRIDGE, small_boat

APART_NS = 230 * MS
OUT_NS = 230 * MS
ME = replace(small_boat().station_at(BRIDGE), lever_tracks=2)  # 100 to 900 permille, gear from 150 permille of half travel


def lever(first: int, second: int) -> Lever:
    made = Lever(ME, OUT_NS)
    made.tracks = [first, second]
    return made


@pytest.mark.parametrize(
    ("first", "second", "meaning"),
    [
        (500, 500, (NEUTRAL, 0)),
        (900, 100, (AHEAD, 1000)),
        (100, 900, (ASTERN, 1000)),
        (700, 300, (AHEAD, 411)),  # (500 - 150) x 1000 / 850
        (700, 320, (AHEAD, 352)),  # the track that asks for less: (450 - 150) x 1000 / 850
        (680, 300, (AHEAD, 352)),
    ],
)
def test_two_tracks_mean_what_the_one_that_asks_for_less_says(first: int, second: int, meaning: tuple[int, int]) -> None:
    made = lever(first, second)
    assert made.read(0) == meaning
    assert not made.faulty


@pytest.mark.parametrize(("first", "second"), [(700, 600), (500, 300), (300, 300), (700, 700)])
def test_tracks_that_mean_different_gears_are_neutral_at_once(first: int, second: int) -> None:
    assert lever(first, second).read(0) == (NEUTRAL, 0)


@pytest.mark.parametrize(("second", "fault"), [(340, False), (341, True), (260, False), (259, True)])
def test_how_far_apart_is_a_fault(second: int, fault: bool) -> None:
    made = lever(700, second)
    for now_ns in (0, APART_NS):
        made.read(now_ns)
    assert made.faulty == fault


def test_apart_for_exactly_so_long_is_a_fault_and_neutral() -> None:
    made = lever(700, 400)
    made.read(5)
    made.read(5 + APART_NS - 1)
    assert not made.faulty
    assert made.read(5 + APART_NS) == (NEUTRAL, 0)
    assert made.faulty


def test_together_again_for_a_moment_begins_anew() -> None:
    made = lever(700, 400)
    made.read(0)
    made.tracks[1] = 300
    made.read(APART_NS - 1)
    made.tracks[1] = 400
    made.read(APART_NS)
    made.read(2 * APART_NS - 1)
    assert not made.faulty


def test_it_is_believed_again_once_both_agree_in_neutral() -> None:
    made = lever(700, 400)
    for now_ns in (0, APART_NS):
        made.read(now_ns)
    made.tracks = [700, 300]
    assert made.read(2 * APART_NS) == (NEUTRAL, 0)
    assert made.faulty
    made.tracks = [500, 500]
    made.read(3 * APART_NS)
    assert not made.faulty
    made.tracks = [700, 300]
    assert made.read(4 * APART_NS) == (AHEAD, 411)


@pytest.mark.parametrize(("first", "second"), [(69, 500), (500, 931), (931, 100), (100, 69)])
def test_either_track_out_of_range_is_a_fault(first: int, second: int) -> None:
    made = lever(first, second)
    assert made.read(0) == (NEUTRAL, 0)
    assert made.faulty


def test_a_track_never_read_is_a_fault() -> None:
    made = Lever(ME, OUT_NS)
    made.tracks[0] = 500
    assert made.read(0) == (NEUTRAL, 0)
    assert made.faulty


# ------------------------------------------------------------------------------------------------ out of range for a moment

ONE_TRACK = replace(ME, lever_tracks=1)


def believed(value: int = 700, tracks: int = 1) -> Lever:
    made = Lever(ONE_TRACK if tracks == 1 else ME, OUT_NS)
    made.tracks = [value, 1000 - value][:tracks]
    made.read(0)
    return made


@pytest.mark.parametrize("track", [0, 1])
@pytest.mark.parametrize("value", [0, 69, 931, 1000])
def test_out_of_range_for_exactly_so_long_is_a_fault_and_means_what_it_meant_until_then(track: int, value: int) -> None:
    made = believed(tracks=2)
    made.tracks[track] = value
    for now_ns in (5, 5 + 20 * MS, 5 + OUT_NS - 1):
        assert (made.read(now_ns), made.faulty) == ((AHEAD, 411), False)
    assert (made.read(5 + OUT_NS), made.faulty) == ((NEUTRAL, 0), True)
    made.tracks[track] = [700, 300][track]
    assert (made.read(6 + OUT_NS), made.faulty) == ((AHEAD, 411), False)


@pytest.mark.parametrize("broken", [0, 1])
@pytest.mark.parametrize(
    ("hand", "meaning"),
    [
        (700, (AHEAD, 411)),
        (680, (AHEAD, 352)),  # (450 - 150) x 1000 / 850
        (800, (AHEAD, 411)),  # a track alone asks for no more
        (500, (NEUTRAL, 0)),
        (300, (NEUTRAL, 0)),
    ],
)
def test_while_one_track_is_out_of_range_the_other_may_ask_for_less(broken: int, hand: int, meaning: tuple[int, int]) -> None:
    """A hand that pulls the lever back is obeyed at once, also with a wire broken."""
    made = believed(tracks=2)
    made.tracks[broken] = 0
    made.read(5)
    made.tracks[1 - broken] = hand if broken else 1000 - hand
    assert (made.read(5 + 20 * MS), made.faulty) == (meaning, False)
    made.tracks[1 - broken] = 700 if broken else 300
    less = min(meaning, (AHEAD, 411)) if meaning[0] == AHEAD else (NEUTRAL, 0)
    assert made.read(5 + 40 * MS) == less  # what it gave up it has back only with both tracks


def test_in_range_for_a_moment_begins_anew() -> None:
    made = believed()
    for turn in range(5):
        made.tracks[0] = 0
        made.read(turn * OUT_NS + 1)
        made.read((turn + 1) * OUT_NS)
        assert not made.faulty
        made.tracks[0] = 680 - turn
        made.read((turn + 1) * OUT_NS)
    made.tracks[0] = 0
    assert made.read(6 * OUT_NS) == (AHEAD, (int((676 - 500) * 1000 / 400) - 150) * 1000 // 850)


def test_a_lever_that_is_faulty_is_not_believed_by_waiting() -> None:
    made = lever(700, 400)
    for now_ns in (0, APART_NS):
        made.read(now_ns)
    made.tracks[0] = 0
    assert (made.read(APART_NS + 1), made.faulty) == ((NEUTRAL, 0), True)
    made = believed()
    made.tracks[0] = 0
    made.read(0)
    made.read(OUT_NS)
    assert (made.read(OUT_NS + 1), made.faulty, made.out_since_ns) == ((NEUTRAL, 0), True, NEVER)
