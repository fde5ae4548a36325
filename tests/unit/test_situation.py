"""The one reading of events and frames: who each drive obeys, when control was lost, what is true. Frames are made by hand."""

import pytest

from busim.events.situation import LOSS_SLACK_NS, MOTIONS_KEPT
from busim.units import MS, SECOND

from . import hand_made_frames as hand
from .hand_made_frames import AHEAD
from .judge_rig import JudgeRig
from .small_boat import BRIDGE, PORT, STARBOARD, WHEELHOUSE

LOST_NS = 250 * MS + LOSS_SLACK_NS


def held() -> JudgeRig:
    rig = JudgeRig()
    rig.take(7)
    return rig


def lost(rig: JudgeRig) -> int | None:
    return rig.situation.loss_base_ns(rig.port, rig.now_ns)


# ------------------------------------------------------------------------------------------------ taking control


def test_a_take_as_the_drive_reports_it() -> None:
    rig = JudgeRig()
    assert (rig.port.station, rig.port.heard_ns, lost(rig)) == (0, None, None)
    rig.obeys(WHEELHOUSE, 7, row=3, state=2, cause=5)
    port = rig.port
    assert (port.station, port.number, port.row, port.state, port.cause) == (WHEELHOUSE, 7, 3, 2, 5)
    assert (port.heard_ns, port.control_ns) == (rig.now_ns, rig.now_ns)
    assert rig.situation.drives["starboard"].station == 0


def test_a_corrupt_report_says_nothing() -> None:
    rig = JudgeRig()
    rig.obeys(WHEELHOUSE, 7, spoil=True)
    assert (rig.port.station, rig.port.heard_ns) == (0, None)
    rig.frame(hand.STATE, PORT, hand.spoiled(hand.drive_state(PORT, 1, AHEAD, AHEAD)))
    assert rig.port.asked_gear is None


def test_asked_and_sensed_gear() -> None:
    rig = JudgeRig()
    rig.frame(hand.STATE, STARBOARD, hand.drive_state(STARBOARD, 1, AHEAD, hand.BETWEEN, instance=2))
    starboard = rig.situation.drives["starboard"]
    assert (starboard.asked_gear, starboard.sensed_gear) == (AHEAD, hand.BETWEEN)


# ------------------------------------------------------------------------------------------------ lever frames


def counted(rig: JudgeRig) -> bool:
    return rig.port.control_ns == rig.now_ns


def test_valid_lever_frames_count_and_are_remembered() -> None:
    rig = held()
    rig.after(20)
    rig.lever(AHEAD, 300)
    assert counted(rig)
    assert rig.port.recent[-1] == (3, AHEAD, 300)
    for throttle in range(301, 310):
        rig.lever(AHEAD, throttle)
    assert [throttle for _, _, throttle in rig.port.recent] == [306, 307, 308, 309]


@pytest.mark.parametrize(
    "frame",
    [
        {"spoil": True},
        {"ahead": 0},
        {"ahead": 4},
        {"ahead": -1},
        {"number": 6},
        {"number": 8},
        {"station": BRIDGE},
        {"gear": 3},
        {"throttle": 1001},
    ],
    ids=str,
)
def test_lever_frames_that_do_not_count(frame: dict[str, int]) -> None:
    rig = held()
    rig.after(20)
    rig.lever(**{"gear": AHEAD, "throttle": 300, **frame})  # type: ignore[arg-type]
    assert not counted(rig)


def test_what_a_drive_did_not_receive_does_not_count_for_it() -> None:
    rig = held()
    rig.after(20)
    rig.lever(AHEAD, 300, mask=rig.all_but(PORT))
    assert not counted(rig)
    assert rig.situation.drives["starboard"].control_ns == rig.now_ns


@pytest.mark.parametrize(("ahead", "counts"), [(1, True), (3, True), (4, False)])
def test_gaps_of_the_counter(ahead: int, counts: bool) -> None:
    rig = held()
    rig.after(20)
    rig.lever(ahead=ahead)
    assert counted(rig) == counts
    rig.after(20)
    rig.lever()
    assert counted(rig)


# ------------------------------------------------------------------------------------------------ loss


def test_a_loss_by_a_gap_at_exactly_its_time() -> None:
    """Control timeout and 5 ms: by then it is certain, whatever clocks and processing do."""
    rig = held()
    base_ns = rig.now_ns
    rig.now_ns = base_ns + LOST_NS - 1
    assert lost(rig) is None
    rig.now_ns = base_ns + LOST_NS
    assert lost(rig) == base_ns


@pytest.mark.parametrize(("gap_ns", "is_lost"), [(LOST_NS - 1, False), (LOST_NS, True)])
def test_frames_after_a_gap_do_not_undo_the_loss(gap_ns: int, is_lost: bool) -> None:
    rig = held()
    base_ns = rig.now_ns
    rig.now_ns += gap_ns
    rig.lever(AHEAD, 500)
    assert lost(rig) == (base_ns if is_lost else None)
    rig.after(20)
    rig.lever(AHEAD, 500)
    assert lost(rig) == (base_ns if is_lost else None)


def test_a_loss_by_report_counts_from_the_last_valid_lever_frame() -> None:
    rig = held()
    base_ns = rig.now_ns
    rig.after(37)
    rig.obeys(0, 7, cause=5)
    assert lost(rig) == base_ns
    assert rig.port.cause == 5
    rig.lever(AHEAD, 500)
    assert lost(rig) == base_ns


def test_a_take_ends_the_loss() -> None:
    rig = held()
    rig.lose_by_gap()
    rig.take(8, BRIDGE)
    assert lost(rig) is None
    assert (rig.port.station, rig.port.number) == (BRIDGE, 8)


def test_a_cut_with_nothing_heard_any_more() -> None:
    rig = held()
    base_ns = rig.now_ns
    for _ in range(100):
        rig.after(20)
        rig.lever(AHEAD, 500, mask=rig.all_but(PORT))
    assert lost(rig) == base_ns
    assert rig.situation.loss_base_ns(rig.situation.drives["starboard"], rig.now_ns) is None


def test_who_obeys_nobody_has_nothing_to_lose() -> None:
    rig = JudgeRig()
    rig.obeys(0, 0)
    rig.after(10_000)
    assert lost(rig) is None


@pytest.mark.parametrize("event", [("power", "node_2", 0), ("start", "node_2", 1)])
def test_a_drive_that_lost_its_memory_obeys_nobody(event: tuple[str, str, int]) -> None:
    rig = held()
    rig.claim(8)
    rig.event(*event)
    rig.after(1000)
    port = rig.port
    assert (port.station, port.number, port.control_ns, port.heard_ns, port.recent, port.claims) == (0, 0, None, None, (), {})
    assert lost(rig) is None
    assert rig.situation.drives["starboard"].station == WHEELHOUSE


def test_power_that_comes_takes_no_memory() -> None:
    rig = held()
    rig.event("power", "node_2", 1)
    assert rig.port.station == WHEELHOUSE


# ------------------------------------------------------------------------------------------------ claims


@pytest.mark.parametrize(
    ("claim", "counts"),
    [
        ({}, True),
        ({"wanted": 1}, True),
        ({"gear_2": AHEAD}, True),
        ({"wanted": 2}, False),
        ({"gear": AHEAD}, False),
        ({"withdrawn": 1}, False),
        ({"spoil": True}, False),
        ({"mask": 0}, False),
        ({"ahead": 0}, False),  # the very same frame again
    ],
    ids=str,
)
def test_claims_that_count(claim: dict[str, int], counts: bool) -> None:
    rig = JudgeRig()
    rig.claim(8)
    rig.claim(8, **claim)  # type: ignore[arg-type]
    assert rig.port.claims == {8: 1 + counts}


# ------------------------------------------------------------------------------------------------ the rest


def test_what_is_true_displays_lamps_and_who_runs() -> None:
    rig = JudgeRig()
    assert (rig.port.true_gear, rig.port.true_at_stop, rig.situation.running) == (None, None, set())
    rig.event("gear", "port", 2, 0, 800)
    rig.event("throttle_stop", "port", 0)
    rig.event("lamp", "cabin", 400)
    rig.event("start", "node_1", 0)
    rig.event("output", "node_1", "shows", 5)
    rig.event("output", "node_1", "alarm", 1)
    assert (rig.port.true_gear, rig.port.true_at_stop) == (2, False)
    assert rig.situation.lamps == {"cabin": 400, "galley": 0, "foredeck": 0}
    assert rig.situation.shows == {"node_1": 5}
    assert rig.situation.running == {"node_1"}
    rig.event("power", "node_1", 0)
    assert rig.situation.shows == {"node_1": 0}
    assert rig.situation.running == set()


def test_distance_run_between_what_was_said() -> None:
    rig = JudgeRig()
    rig.now_ns = 2 * SECOND
    rig.event("motion", 1000, 500)
    rig.now_ns = 4 * SECOND
    rig.event("motion", 2000, -100)
    assert (rig.situation.run_mm, rig.situation.speed_mm_s) == (2000, -100)
    at = rig.situation.run_mm_at
    assert [at(moment) for moment in (0, 2 * SECOND - 1, 2 * SECOND, 3 * SECOND, 4 * SECOND, 5 * SECOND)] == [
        0,
        0,
        1000,
        1500,
        2000,
        1900,
    ]


def test_motions_are_kept_for_long_and_not_for_ever() -> None:
    rig = JudgeRig()
    for index in range(MOTIONS_KEPT + 1):
        rig.now_ns = index * 100 * MS
        rig.event("motion", index, 10)
    assert MOTIONS_KEPT // 2 <= len(rig.situation.motions) <= MOTIONS_KEPT
    assert rig.situation.run_mm_at(rig.now_ns - 300 * SECOND) == MOTIONS_KEPT - 3000
