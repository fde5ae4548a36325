"""drive.wake, station.neutral_now and station.one_in_control, fed by hand: at their limits, one beyond, and what is none of it."""

import pytest

from busim.requirements.drive_wake import Wake
from busim.requirements.station_neutral_now import NeutralNow
from busim.requirements.station_one_in_control import OneInControl
from busim.requirements.verdict import FAIL, INCONCLUSIVE, NOT_EXERCISED, PASS, SELF_REPORTED
from busim.units import MS

from .hand_made_frames import AHEAD, NEUTRAL
from .judge_rig import NEUTRAL_LIMIT_MS, JudgeRig
from .small_boat import BRIDGE, PORT, STARBOARD, WHEELHOUSE

PORT_NODE, WHEELHOUSE_NODE = f"node_{PORT}", f"node_{WHEELHOUSE}"
OVERLAP_MS = 600


def gear(rig: JudgeRig, which: int, drive: str = "port") -> None:
    rig.event("gear", drive, which, 0, 800)


# ------------------------------------------------------------------------------------------------ drive.wake


def woke(in_gear: bool) -> JudgeRig:
    rig = JudgeRig(Wake)
    if in_gear:
        gear(rig, AHEAD)
    rig.event("start", PORT_NODE, 2)
    return rig


@pytest.mark.parametrize(("after_ms", "verdict"), [(NEUTRAL_LIMIT_MS, PASS), (NEUTRAL_LIMIT_MS + 1, FAIL)])
def test_a_gear_that_was_in_is_out_in_time(after_ms: int, verdict: str) -> None:
    rig = woke(in_gear=True)
    rig.after(after_ms)
    gear(rig, NEUTRAL)
    found = rig.verdict()
    assert (found.verdict, found.measured, found.limit) == (verdict, after_ms, NEUTRAL_LIMIT_MS)


@pytest.mark.parametrize(("after_ms", "verdict"), [(NEUTRAL_LIMIT_MS, INCONCLUSIVE), (NEUTRAL_LIMIT_MS + 1, FAIL)])
def test_a_gear_that_stays_in(after_ms: int, verdict: str) -> None:
    rig = woke(in_gear=True)
    rig.after(after_ms)
    assert rig.says() == verdict


@pytest.mark.parametrize(
    "moves", [("gear", "port", AHEAD, 0, 800), ("throttle_stop", "port", 0)], ids=["a gear goes in", "the throttle opens"]
)
@pytest.mark.parametrize(("claims", "verdict"), [(0, FAIL), (1, FAIL), (2, NOT_EXERCISED)])
def test_nothing_moves_before_control_is_taken(moves: tuple[str | int, ...], claims: int, verdict: str) -> None:
    """Two claims that agree, with the lever in neutral; the first frame heard of a station is none yet."""
    rig = woke(in_gear=False)
    rig.claim(0, wanted=0)
    for _ in range(claims):
        rig.claim(1)
    rig.event(*moves)  # type: ignore[arg-type]
    assert rig.says() == verdict
    if verdict == FAIL:
        assert rig.verdict().evidence.startswith("port: ")


def test_a_throttle_that_comes_to_its_stop_is_what_is_wanted() -> None:
    rig = woke(in_gear=False)
    rig.event("throttle_stop", "port", 1)
    assert rig.says() == NOT_EXERCISED


@pytest.mark.parametrize("node", ["node_1", "node_3"])
def test_the_start_of_another_node_is_no_start_of_this_drive(node: str) -> None:
    rig = JudgeRig(Wake)
    rig.event("start", node, 2)
    gear(rig, AHEAD)
    assert rig.says() == NOT_EXERCISED


def test_powering_up_with_the_run_is_no_waking() -> None:
    rig = JudgeRig(Wake)
    rig.now_ns = 0
    rig.event("start", PORT_NODE, 0)
    rig.after(5000)
    gear(rig, AHEAD)
    assert rig.says() == NOT_EXERCISED


# ------------------------------------------------------------------------------------------------ station.neutral_now


def pressed(*, running: bool = True, key: str = "neutral_now", down: int = 1) -> JudgeRig:
    """Port is ahead, starboard is not in gear."""
    rig = JudgeRig(NeutralNow)
    if running:
        rig.event("start", WHEELHOUSE_NODE, 0)
    gear(rig, AHEAD)
    rig.event("key", WHEELHOUSE_NODE, key, down)
    return rig


@pytest.mark.parametrize(("after_ms", "verdict"), [(NEUTRAL_LIMIT_MS, PASS), (NEUTRAL_LIMIT_MS + 1, FAIL)])
def test_the_key_takes_the_gear_out_in_time(after_ms: int, verdict: str) -> None:
    rig = pressed()
    rig.after(after_ms)
    gear(rig, NEUTRAL)
    found = rig.verdict()
    assert (found.verdict, found.measured, found.limit) == (verdict, after_ms, NEUTRAL_LIMIT_MS)


@pytest.mark.parametrize(("after_ms", "verdict"), [(NEUTRAL_LIMIT_MS, INCONCLUSIVE), (NEUTRAL_LIMIT_MS + 1, FAIL)])
def test_a_gear_that_the_key_does_not_take_out(after_ms: int, verdict: str) -> None:
    rig = pressed()
    rig.after(after_ms)
    assert rig.says() == verdict


def test_a_second_press_gives_no_new_time() -> None:
    rig = pressed()
    rig.after(2000)
    rig.event("key", WHEELHOUSE_NODE, "neutral_now", 1)
    rig.after(2000)
    gear(rig, NEUTRAL)
    assert (rig.says(), rig.verdict().measured) == (FAIL, 4000)


@pytest.mark.parametrize(("out_ms", "verdict"), [(NEUTRAL_LIMIT_MS, PASS), (NEUTRAL_LIMIT_MS + 1, FAIL), (None, FAIL)])
def test_a_gear_on_its_way_in_counts_from_the_key(out_ms: int | None, verdict: str) -> None:
    """The lever was put ahead just before: the clutch takes half a second after the key, and the drive obeys as before."""
    rig = JudgeRig(NeutralNow)
    rig.event("start", WHEELHOUSE_NODE, 0)
    rig.take(7)
    rig.event("key", WHEELHOUSE_NODE, "neutral_now", 1)
    rig.after(500)
    gear(rig, AHEAD)
    if out_ms is not None:
        rig.after(out_ms - 500)
        gear(rig, NEUTRAL)
    else:
        rig.after(9000)
    assert rig.says() == verdict


def test_a_gear_put_in_by_a_take_after_the_key_is_nothing_to_it() -> None:
    rig = JudgeRig(NeutralNow)
    rig.event("start", WHEELHOUSE_NODE, 0)
    rig.take(7)
    rig.event("key", WHEELHOUSE_NODE, "neutral_now", 1)
    rig.obeys(0, 7)
    rig.take(8)
    gear(rig, AHEAD)
    rig.after(9000)
    assert rig.says() == NOT_EXERCISED


@pytest.mark.parametrize("what", [{"running": False}, {"key": "take"}, {"down": 0}])
def test_what_is_no_press_of_it(what: dict[str, bool | str | int]) -> None:
    rig = pressed(**what)  # type: ignore[arg-type]
    rig.after(9000)
    assert rig.says() == NOT_EXERCISED


# ------------------------------------------------------------------------------------------------ station.one_in_control


def apart() -> JudgeRig:
    """Port obeys the bridge, starboard still the wheelhouse."""
    rig = JudgeRig(OneInControl)
    rig.obeys(WHEELHOUSE, 1)
    rig.obeys(WHEELHOUSE, 1, drive=STARBOARD)
    assert (rig.says(), rig.verdict().measured) == (SELF_REPORTED, 0)
    rig.obeys(BRIDGE, 2)
    return rig


@pytest.mark.parametrize("then", [BRIDGE, 0])
@pytest.mark.parametrize(("after_ms", "verdict"), [(OVERLAP_MS, SELF_REPORTED), (OVERLAP_MS + 1, FAIL)])
def test_two_are_obeyed_no_longer_than_a_hand_over_takes(after_ms: int, verdict: str, then: int) -> None:
    rig = apart()
    rig.after(after_ms)
    rig.obeys(then, 2, drive=STARBOARD)
    assert (rig.says(), rig.verdict().measured) == (verdict, after_ms)


@pytest.mark.parametrize(("after_ms", "verdict"), [(OVERLAP_MS, SELF_REPORTED), (OVERLAP_MS + 0.001, FAIL)])
def test_two_are_obeyed_until_the_end(after_ms: float, verdict: str) -> None:
    rig = apart()
    for part_ms in (300, after_ms - 300):
        rig.after(part_ms)
        rig.obeys(BRIDGE, 2)
        rig.obeys(WHEELHOUSE, 1, drive=STARBOARD)
    assert rig.says() == verdict


def test_one_drive_that_obeys_nobody_is_not_apart() -> None:
    rig = JudgeRig(OneInControl)
    rig.obeys(WHEELHOUSE, 1)
    rig.obeys(0, 1, drive=STARBOARD)
    rig.now_ns += 5000 * MS
    rig.obeys(WHEELHOUSE, 1)
    assert rig.says() == NOT_EXERCISED


def test_different_numbers_of_one_station_show_nothing_yet() -> None:
    rig = JudgeRig(OneInControl)
    rig.obeys(WHEELHOUSE, 1)
    rig.obeys(WHEELHOUSE, 2, drive=STARBOARD)
    assert rig.says() == NOT_EXERCISED


@pytest.mark.parametrize(
    ("fault", "node", "verdict"), [("replayed", PORT, SELF_REPORTED), ("replayed", BRIDGE, FAIL), ("hang", PORT, FAIL)]
)
def test_a_drive_whose_reports_are_spoilt_is_not_known_to_obey_anybody(fault: str, node: int, verdict: str) -> None:
    rig = apart()
    rig.after(100)
    rig.event("fault", fault, f"node_{node}, the same 200 ms", 1)
    for _ in range(5):
        rig.obeys(BRIDGE, 2)
        rig.obeys(WHEELHOUSE, 1, drive=STARBOARD)
        rig.after(200)
    assert rig.says() == verdict
