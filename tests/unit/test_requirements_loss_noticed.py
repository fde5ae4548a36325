"""drive.loss_noticed, fed by hand: at its limit and one beyond, whatever the throttle was told, and whose losses are not judged."""

from collections.abc import Callable

import pytest

from busim.requirements.drive_loss_noticed import LossNoticed
from busim.requirements.verdict import FAIL, NOT_EXERCISED, PASS
from busim.units import MS

from . import hand_made_frames as hand
from .judge_rig import JudgeRig
from .small_boat import PORT, STARBOARD

DRIVE = f"node_{PORT}"
LIMIT_MS = 270
"""250 ms of control timeout and one period of a lever."""


def throttle(rig: JudgeRig, permille: int, node: str = DRIVE) -> None:
    rig.event("output", node, "throttle", permille)


def driving() -> JudgeRig:
    """Port ahead at 500 permille; its last valid lever frame is now."""
    rig = JudgeRig(LossNoticed)
    rig.take(1)
    rig.lever(1, 500)
    rig.lever(1, 500)
    throttle(rig, 500)
    return rig


def beat(rig: JudgeRig) -> None:
    rig.frame(hand.HEARTBEAT, PORT, hand.heartbeat(PORT, rig.counter(hand.HEARTBEAT, PORT), 1))


@pytest.mark.parametrize(("after_ms", "verdict"), [(245, PASS), (250, PASS), (LIMIT_MS, PASS), (LIMIT_MS + 1, FAIL)])
def test_told_in_time_counted_from_the_last_valid_lever_frame(after_ms: int, verdict: str) -> None:
    rig = driving()
    rig.after(after_ms)
    throttle(rig, 0)
    assert (rig.says(), rig.verdict().measured) == (verdict, after_ms)
    assert rig.verdict().limit == LIMIT_MS


def test_the_measure_is_in_whole_milliseconds_upwards() -> None:
    rig = driving()
    rig.now_ns += LIMIT_MS * MS + 1
    throttle(rig, 0)
    assert rig.says() == FAIL


def test_a_drive_that_says_at_once_that_it_obeys_nobody_is_still_counted_from_the_lever() -> None:
    rig = driving()
    rig.after(251)
    rig.obeys(0, 1, cause=2)
    rig.after(19)
    throttle(rig, 0)
    assert (rig.says(), rig.verdict().measured) == (PASS, 270)


@pytest.mark.parametrize("permille", [0, 300])
def test_a_lever_that_is_heard_is_no_loss(permille: int) -> None:
    rig = driving()
    rig.after(244)
    throttle(rig, permille)
    rig.lever(1, 0)
    throttle(rig, 0)
    rig.after(5000)
    assert rig.says() == NOT_EXERCISED


@pytest.mark.parametrize(("after_ms", "verdict"), [(LIMIT_MS, NOT_EXERCISED), (LIMIT_MS + 1, FAIL)])
@pytest.mark.parametrize("beats", [True, False])
def test_a_throttle_that_is_never_told(after_ms: int, verdict: str, beats: bool) -> None:
    """Caught by the next heartbeat, or at the end of the run."""
    rig = driving()
    rig.after(after_ms)
    if beats:
        beat(rig)
    assert rig.says() == verdict


def test_less_throttle_is_not_idle() -> None:
    rig = driving()
    rig.after(250)
    throttle(rig, 1)
    rig.after(100)
    assert rig.says() == FAIL


def test_a_corrupt_or_foreign_lever_frame_is_none() -> None:
    rig = driving()
    rig.after(200)
    rig.lever(1, 500, spoil=True)
    rig.lever(1, 500, mask=rig.all_but(PORT))
    rig.after(71)
    throttle(rig, 0)
    assert rig.says() == FAIL


LOST: dict[str, Callable[[JudgeRig], None]] = {
    "its node hangs": lambda rig: rig.event("fault", "hang", DRIVE, 1),
    "its reports are spoilt": lambda rig: rig.event("fault", "corrupted", f"{DRIVE}, byte 5", 1),
    "its node loses power": lambda rig: rig.event("power", DRIVE, 0),
    "its node starts anew": lambda rig: rig.event("start", DRIVE, 2),
}


@pytest.mark.parametrize("lost", LOST.values(), ids=LOST.keys())
def test_a_node_that_is_lost_itself_is_not_judged(lost: Callable[[JudgeRig], None]) -> None:
    rig = driving()
    rig.after(100)
    lost(rig)
    rig.after(5000)
    throttle(rig, 0)
    beat(rig)
    assert rig.says() == NOT_EXERCISED


def test_the_next_loss_of_a_node_that_came_back_is_judged() -> None:
    rig = driving()
    rig.event("fault", "hang", DRIVE, 1)
    rig.event("fault", "hang", DRIVE, 0)
    rig.after(100)
    rig.lever(1, 500)
    throttle(rig, 500)
    rig.after(LIMIT_MS + 1)
    throttle(rig, 0)
    assert rig.says() == FAIL


def test_what_the_throttle_does_after_the_loss_was_answered_is_for_others() -> None:
    rig = driving()
    rig.after(250)
    throttle(rig, 0)
    rig.after(40)
    throttle(rig, 800)
    beat(rig)
    rig.after(5000)
    throttle(rig, 0)
    assert (rig.says(), rig.verdict().measured) == (PASS, 250)


def test_other_nodes_and_other_outputs_are_not_its_throttle() -> None:
    rig = driving()
    throttle(rig, 0)
    throttle(rig, 700, "node_9")
    rig.event("output", DRIVE, "shift", 1)
    rig.after(5000)
    assert rig.says() == NOT_EXERCISED


def test_each_drive_by_itself() -> None:
    rig = driving()
    throttle(rig, 500, f"node_{STARBOARD}")
    rig.after(250)
    throttle(rig, 0)
    rig.after(50)
    throttle(rig, 0, f"node_{STARBOARD}")
    assert rig.says() == FAIL
    assert "starboard" in rig.verdict().evidence
