"""drive.loss_to_idle, drive.loss_to_neutral and drive.rearm, fed by hand: at the limit, one beyond, and all that is no pass.

The limits of 1,700 and 2,592 ms are the design's for 4 m at 3 kn and the first boat's actuators; here they are only numbers.
"""

from collections.abc import Callable

import pytest

from busim.requirements.drive_loss_to_idle import LossToIdle
from busim.requirements.drive_loss_to_neutral import LossToNeutral
from busim.requirements.drive_rearm import Rearm
from busim.requirements.requirement import Requirement
from busim.requirements.verdict import FAIL, INCONCLUSIVE, NOT_EXERCISED, PASS
from busim.units import MS

from . import hand_made_frames as hand
from .hand_made_frames import AHEAD, ASTERN, NEUTRAL
from .judge_rig import IDLE_LIMIT_MS, NEUTRAL_LIMIT_MS, JudgeRig
from .small_boat import BRIDGE, PORT, STARBOARD, WHEELHOUSE, small_boat

# ------------------------------------------------------------------------------------------------ to idle, to neutral

Begins = Callable[[JudgeRig], None]


def throttle_opens(rig: JudgeRig) -> None:
    rig.event("throttle_stop", "port", 0)


def throttle_closes(rig: JudgeRig) -> None:
    rig.event("throttle_stop", "port", 1)


def gear_goes_in(rig: JudgeRig) -> None:
    rig.event("gear", "port", AHEAD, 0, 800)


def gear_comes_out(rig: JudgeRig) -> None:
    rig.event("gear", "port", NEUTRAL, 0, 900)


LOSSES = pytest.mark.parametrize(
    ("kind", "begins", "ends", "limit_ms"),
    [
        (LossToIdle, throttle_opens, throttle_closes, IDLE_LIMIT_MS),
        (LossToNeutral, gear_goes_in, gear_comes_out, NEUTRAL_LIMIT_MS),
    ],
)


def under_way(kind: type[Requirement], begins: Begins) -> JudgeRig:
    rig = JudgeRig(kind)
    rig.take(7)
    begins(rig)
    for _ in range(2):
        rig.after(20)
        rig.lever(AHEAD, 500)
    return rig


@LOSSES
@pytest.mark.parametrize("by_report", [False, True])
@pytest.mark.parametrize(("beyond_ns", "verdict", "measured"), [(-1, PASS, 0), (0, PASS, 0), (1, FAIL, 1)])
def test_at_the_limit_and_a_nanosecond_beyond(
    kind: type[Requirement],
    begins: Begins,
    ends: Begins,
    limit_ms: int,
    by_report: bool,
    beyond_ns: int,
    verdict: str,
    measured: int,
) -> None:
    """From the last valid lever frame the drive received, whichever way the loss became known."""
    rig = under_way(kind, begins)
    base_ns = rig.lose_by_gap()
    if by_report:
        rig.obeys(0, 7)
    rig.now_ns = base_ns + limit_ms * MS + beyond_ns
    ends(rig)
    found = rig.verdict()
    assert (found.verdict, found.limit, found.measured, found.unit) == (verdict, limit_ms, limit_ms + measured, "ms")
    assert (found.at_ns, found.source) == (rig.now_ns, "plant")
    assert found.evidence.startswith("port: ")


@LOSSES
def test_a_loss_known_by_report_alone(kind: type[Requirement], begins: Begins, ends: Begins, limit_ms: int) -> None:
    """Neutral now, a withdrawn take, a lever fault: lever frames go on coming, and do not count any more."""
    rig = under_way(kind, begins)
    base_ns = rig.now_ns
    rig.after(10)
    rig.obeys(0, 7)
    rig.after(500)
    rig.lever(AHEAD, 500)
    ends(rig)
    assert (rig.says(), rig.verdict().measured) == (PASS, (rig.now_ns - base_ns) // MS)


@LOSSES
@pytest.mark.parametrize(("beyond_ns", "verdict"), [(0, INCONCLUSIVE), (1, FAIL)])
def test_not_done_when_the_run_ends(
    kind: type[Requirement], begins: Begins, ends: Begins, limit_ms: int, beyond_ns: int, verdict: str
) -> None:
    rig = under_way(kind, begins)
    base_ns = rig.lose_by_gap()
    rig.now_ns = base_ns + limit_ms * MS + beyond_ns
    assert rig.says() == verdict


@LOSSES
def test_without_a_loss_it_is_not_exercised(kind: type[Requirement], begins: Begins, ends: Begins, limit_ms: int) -> None:
    rig = under_way(kind, begins)
    ends(rig)
    begins(rig)
    rig.after(200)
    assert rig.says() == NOT_EXERCISED


@LOSSES
def test_a_loss_at_rest_is_not_exercised(kind: type[Requirement], begins: Begins, ends: Begins, limit_ms: int) -> None:
    rig = under_way(kind, begins)
    ends(rig)
    rig.lose_by_gap()
    rig.after(10_000)
    assert rig.says() == NOT_EXERCISED


@LOSSES
def test_a_drive_whose_machinery_nobody_sees_is_not_exercised(
    kind: type[Requirement], begins: Begins, ends: Begins, limit_ms: int
) -> None:
    rig = JudgeRig(kind)
    rig.take(7)
    rig.lose_by_gap()
    rig.after(10_000)
    assert rig.says() == NOT_EXERCISED


@LOSSES
def test_each_loss_is_measured_once_and_the_worst_is_told(
    kind: type[Requirement], begins: Begins, ends: Begins, limit_ms: int
) -> None:
    """What happens later in the same loss is for drive.rearm; after a new take it is a new loss."""
    rig = under_way(kind, begins)
    for number, took_ms in ((8, 900), (9, 1200), (10, 700)):
        base_ns = rig.lose_by_gap()
        rig.now_ns = base_ns + took_ms * MS
        ends(rig)
        begins(rig)
        rig.after(30_000)
        ends(rig)
        rig.take(number)
        begins(rig)
        rig.after(20)
    assert (rig.says(), rig.verdict().measured) == (PASS, 1200)


@LOSSES
def test_one_late_loss_fails_though_others_were_in_time(
    kind: type[Requirement], begins: Begins, ends: Begins, limit_ms: int
) -> None:
    rig = under_way(kind, begins)
    for number, took_ms in ((8, 900), (9, limit_ms + 5), (10, 700)):
        base_ns = rig.lose_by_gap()
        rig.now_ns = base_ns + took_ms * MS
        ends(rig)
        rig.take(number)
        begins(rig)
        rig.after(20)
    assert (rig.says(), rig.verdict().measured) == (FAIL, limit_ms + 5)


TAKE_ENDS = {
    "a take": lambda rig: rig.take(8),
    "a start of its program": lambda rig: rig.event("start", "node_2", 3),
    "its supply": lambda rig: rig.event("power", "node_2", 0),
    "a hang": lambda rig: rig.event("fault", "hang", "node_2", 1),
}


@LOSSES
@pytest.mark.parametrize("ended", TAKE_ENDS)
@pytest.mark.parametrize(("beyond_ns", "verdict"), [(0, NOT_EXERCISED), (1, FAIL)])
def test_what_ends_a_loss_unanswered_makes_up_for_no_time_that_was_over(
    kind: type[Requirement], begins: Begins, ends: Begins, limit_ms: int, ended: str, beyond_ns: int, verdict: str
) -> None:
    """Gear in and throttle open all the time, and then somebody takes control anew, or the program is gone."""
    rig = under_way(kind, begins)
    base_ns = rig.lose_by_gap()
    rig.obeys(0, 7)
    rig.now_ns = base_ns + limit_ms * MS + beyond_ns
    TAKE_ENDS[ended](rig)
    rig.after(20)
    if ended == "a take":
        rig.lever(AHEAD, 500)
    assert rig.says() == verdict


def test_a_policy_of_staying_engaged_asks_for_idle_alone() -> None:
    plan = small_boat(on_loss="idle")
    for kind, verdict in ((LossToNeutral, NOT_EXERCISED), (LossToIdle, FAIL)):
        rig = JudgeRig(kind, plan)
        rig.take(7)
        throttle_opens(rig)
        gear_goes_in(rig)
        rig.lose_by_gap()
        rig.after(10_000)
        assert rig.says() == verdict
        if kind is LossToNeutral:
            assert "policy" in rig.verdict().evidence
            gear_comes_out(rig)
            assert rig.says() == NOT_EXERCISED


# ------------------------------------------------------------------------------------------------ rearm


def lost_at_rest() -> JudgeRig:
    """Control lost with gear and throttle in, both back at rest, the loss reported."""
    rig = JudgeRig(Rearm)
    rig.take(7)
    gear_goes_in(rig)
    throttle_opens(rig)
    rig.lose_by_gap()
    rig.obeys(0, 7)
    throttle_closes(rig)
    gear_comes_out(rig)
    rig.after(1000)
    return rig


def test_a_lever_off_neutral_that_moves_nothing_is_a_pass() -> None:
    rig = lost_at_rest()
    assert rig.says() == NOT_EXERCISED
    rig.lever(NEUTRAL)
    rig.lever(AHEAD, 500, spoil=True)
    rig.lever(AHEAD, 500, mask=rig.all_but(PORT, STARBOARD))
    assert rig.says() == NOT_EXERCISED, "none of these tempts it"
    rig.lever(AHEAD, 500)
    found = rig.verdict()
    assert (found.verdict, found.limit, found.measured) == (PASS, 0, 0)


@pytest.mark.parametrize("move", [gear_goes_in, throttle_opens])
@pytest.mark.parametrize("tempted", [False, True])
def test_anything_that_moves_is_a_fail(move: Begins, tempted: bool) -> None:
    rig = lost_at_rest()
    if tempted:
        rig.lever(AHEAD, 500)
    move(rig)
    assert (rig.says(), rig.verdict().measured, rig.verdict().at_ns) == (FAIL, 1, rig.now_ns)


@pytest.mark.parametrize("move", [gear_goes_in, throttle_opens])
def test_a_move_is_a_fail_though_nothing_was_heard_since_the_loss(move: Begins) -> None:
    """At rest, cut off, and then by itself: the very first thing that happens after the loss."""
    rig = JudgeRig(Rearm)
    rig.take(7)
    gear_goes_in(rig)
    throttle_opens(rig)
    throttle_closes(rig)
    gear_comes_out(rig)
    rig.obeys(WHEELHOUSE, 7)
    rig.lose_by_gap()
    move(rig)
    assert rig.says() == FAIL


@pytest.mark.parametrize(
    ("place", "verdict"),
    [(f"node_6 as node_{PORT}", NOT_EXERCISED), (f"node_{PORT} as node_6", NOT_EXERCISED), ("node_3 as node_1", FAIL)],
)
@pytest.mark.parametrize("move", [gear_goes_in, throttle_opens])
def test_of_two_under_one_address_nobody_knows_which_lost_control(move: Begins, place: str, verdict: str) -> None:
    rig = lost_at_rest()
    rig.event("fault", "duplicate_address", place, 1)
    move(rig)
    assert rig.says() == verdict


def test_coming_to_rest_is_no_move() -> None:
    rig = JudgeRig(Rearm)
    rig.take(7)
    gear_goes_in(rig)
    throttle_opens(rig)
    rig.obeys(WHEELHOUSE, 7)
    rig.lose_by_gap()
    throttle_closes(rig)
    gear_comes_out(rig)
    assert rig.says() == NOT_EXERCISED
    gear_goes_in(rig)
    assert rig.says() == FAIL


def test_within_control_moves_are_none_of_its_business() -> None:
    rig = JudgeRig(Rearm)
    gear_goes_in(rig)
    gear_comes_out(rig)
    rig.take(7)
    for _ in range(3):
        gear_goes_in(rig)
        throttle_opens(rig)
        throttle_closes(rig)
        gear_comes_out(rig)
    assert rig.says() == NOT_EXERCISED


def test_a_take_ends_it() -> None:
    rig = lost_at_rest()
    rig.lever(AHEAD, 500)
    rig.take(8)
    gear_goes_in(rig)
    throttle_opens(rig)
    assert rig.says() == PASS


def test_a_take_that_came_to_nothing_before_the_loss_ends_nothing() -> None:
    """The bridge claimed, no drive followed, and it let go; the wheelhouse stayed in control and was lost later."""
    rig = JudgeRig(Rearm)
    rig.take(7)
    gear_goes_in(rig)
    throttle_opens(rig)
    rig.claim(8, station=BRIDGE)
    rig.claim(8, station=BRIDGE)
    rig.claim(8, station=BRIDGE, withdrawn=1)
    rig.obeys(WHEELHOUSE, 7)
    rig.lose_by_gap()
    rig.obeys(0, 7)
    throttle_closes(rig)
    gear_comes_out(rig)
    gear_goes_in(rig)
    assert rig.says() == FAIL


@pytest.mark.parametrize(("before", "after", "verdict"), [(1, 0, FAIL), (1, 1, NOT_EXERCISED), (3, 0, FAIL), (3, 1, NOT_EXERCISED)])
def test_the_last_claim_before_the_loss_may_be_the_first_of_two(before: int, after: int, verdict: str) -> None:
    rig = JudgeRig(Rearm)
    rig.take(7)
    for _ in range(before):
        rig.claim(8, station=BRIDGE)
    rig.obeys(WHEELHOUSE, 7)
    rig.lose_by_gap()
    rig.obeys(0, 7)
    gear_comes_out(rig)
    for _ in range(after):
        rig.claim(8, station=BRIDGE)
    gear_goes_in(rig)
    assert rig.says() == verdict


NO_TAKE: dict[str, list[dict[str, int]]] = {
    "one claim": [{"number": 8}],
    "the same claim twice": [{"number": 8}, {"number": 8, "ahead": 0}],
    "the number that was lost": [{"number": 7}, {"number": 7}],
    "an older number": [{"number": 6}, {"number": 6}],
    "half the circle ahead": [{"number": 7 + 32768}, {"number": 7 + 32768}],
    "two numbers": [{"number": 8}, {"number": 9}],
    "lever in gear": [{"number": 8, "gear": AHEAD}, {"number": 8, "gear": AHEAD}],
    "withdrawn": [{"number": 8, "withdrawn": 1}, {"number": 8, "withdrawn": 1}],
    "corrupt": [{"number": 8, "spoil": 1}, {"number": 8, "spoil": 1}],
    "not for this drive": [{"number": 8, "wanted": 2}, {"number": 8, "wanted": 2}],
    "not received": [{"number": 8, "mask": 0}, {"number": 8, "mask": 0}],
}


@pytest.mark.parametrize("what", NO_TAKE)
def test_what_is_no_take(what: str) -> None:
    rig = lost_at_rest()
    for claim in NO_TAKE[what]:
        rig.claim(**claim)  # type: ignore[arg-type]
    gear_goes_in(rig)
    assert rig.says() == FAIL


@pytest.mark.parametrize(
    ("held", "taken", "ends"), [(65535, 1, True), (65535, 32766, True), (65535, 32767, False), (1, 32768, True)]
)
def test_numbers_go_round(held: int, taken: int, ends: bool) -> None:
    rig = JudgeRig(Rearm)
    rig.take(held)
    rig.lose_by_gap()
    rig.obeys(0, held)
    rig.claim(taken, station=BRIDGE)
    rig.claim(taken, station=BRIDGE)
    rig.event("gear", "port", ASTERN, 0, 800)
    assert rig.says() == (NOT_EXERCISED if ends else FAIL)


def test_a_drive_that_never_says_it_let_go_is_watched_all_the_same() -> None:
    rig = JudgeRig(Rearm)
    rig.take(7)
    gear_goes_in(rig)
    for _ in range(20):
        rig.obeys(WHEELHOUSE, 7)
        rig.after(40)
    gear_comes_out(rig)
    rig.lever(AHEAD, 500)
    assert rig.says() == PASS
    gear_goes_in(rig)
    assert rig.says() == FAIL


def test_the_other_drive_is_judged_for_itself() -> None:
    rig = JudgeRig(Rearm)
    rig.take(7)
    rig.lose_by_gap()
    for drive in (PORT, STARBOARD):
        rig.obeys(0, 7, drive=drive)
    rig.claim(8, wanted=1)
    rig.claim(8, wanted=1)
    rig.event("gear", "port", AHEAD, 0, 800)
    assert rig.says() == NOT_EXERCISED
    rig.event("gear", "starboard", AHEAD, 0, 800)
    assert rig.says() == FAIL
    assert rig.verdict().evidence.startswith("starboard")


def test_no_loss_without_control_before() -> None:
    rig = JudgeRig(Rearm)
    rig.obeys(0, 0)
    rig.lever(AHEAD, 500)
    gear_goes_in(rig)
    rig.frame(hand.OBEYS, PORT, hand.spoiled(hand.obeys(PORT, 9, 0, 7)))
    assert rig.says() == NOT_EXERCISED


@pytest.mark.parametrize("move", [gear_goes_in, throttle_opens])
def test_a_drive_at_rest_when_control_was_lost_stays_so(move: Begins) -> None:
    """The loss was heard of, and nothing had to come to rest after it."""
    rig = JudgeRig(Rearm)
    rig.take(7)
    for begins in (gear_goes_in, throttle_opens, throttle_closes, gear_comes_out):
        begins(rig)
    rig.obeys(0, 7)
    move(rig)
    assert rig.says() == FAIL


@LOSSES
@pytest.mark.parametrize(("fault", "judged"), [("hang", False), ("application_dead", False), ("cut", True)])
def test_a_drive_whose_program_stands_still_is_for_another_requirement(
    kind: type[Requirement], begins: Begins, ends: Begins, limit_ms: int, fault: str, judged: bool
) -> None:
    """drive.self_loss counts it as well off with its engine stopped, and by a limit of its own."""
    rig = under_way(kind, begins)
    rig.event("fault", fault, rig.port.node, 1)
    base_ns = rig.lose_by_gap()
    rig.now_ns = base_ns + limit_ms * MS + 1
    assert rig.says() == (FAIL if judged else NOT_EXERCISED)
