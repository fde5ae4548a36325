"""rudder.follows, fed by hand: what the node orders against what the wheel in control asked for, at the limits and one beyond."""

import pytest

from busim.requirements.rudder_follows import Follows
from busim.requirements.verdict import FAIL, NOT_EXERCISED, PASS

from .judge_rig import JudgeRig
from .small_boat import BRIDGE, WHEELHOUSE, small_boat
from .test_requirements_rudder import NODE, RudderJudge

HELM = f"node_{WHEELHOUSE}"


def met(angle: int = 0) -> RudderJudge:
    """The wheelhouse steers; its wheel and the rudder are at the same place, and have been for longer than an order may take."""
    rig = RudderJudge(Follows)
    rig.steered(angle)
    turn(rig, angle, 240)
    assert rig.says() == NOT_EXERCISED
    return rig


def turn(rig: RudderJudge, angle: int, for_ms: int, **more: int) -> None:
    """The wheel asks for that in every frame."""
    for _ in range(for_ms // 40):
        rig.after(40)
        rig.wheel(angle, **more)


@pytest.mark.parametrize(("order", "verdict"), [(800, PASS), (799, FAIL), (1200, PASS), (1201, FAIL), (0, FAIL)])
def test_the_order_is_within_two_degrees_of_what_the_wheel_asks(order: int, verdict: str) -> None:
    rig = met()
    rig.order(order)
    turn(rig, 1000, 280)
    assert rig.says() == verdict
    assert (rig.verdict().limit, rig.verdict().unit) == (200, "cdeg")
    assert rig.verdict().measured == abs(1000 - order)


@pytest.mark.parametrize(("late_ms", "verdict"), [(240, PASS), (280, FAIL)])
def test_an_order_may_come_as_late_as_six_frames(late_ms: int, verdict: str) -> None:
    rig = met()
    turn(rig, 1000, late_ms)
    rig.order(1000)
    turn(rig, 1000, 400)
    assert rig.says() == verdict


def test_a_wheel_that_turns_is_followed_at_a_distance() -> None:
    """Three frames behind, there and back."""
    rig = met()
    path = [*range(0, 3500, 100), *range(3500, -3500, -100)]
    for step, angle in enumerate(path):
        rig.after(40)
        rig.order(path[max(step - 3, 0)])
        rig.wheel(angle)
    assert (rig.says(), rig.verdict().measured) == (PASS, 0)


@pytest.mark.parametrize(("for_ms", "verdict"), [(200, NOT_EXERCISED), (240, FAIL)])
def test_as_they_meet_the_order_may_still_be_of_before(for_ms: int, verdict: str) -> None:
    rig = RudderJudge(Follows)
    rig.steered()
    rig.order(-900)
    turn(rig, 300, for_ms)
    assert rig.says() == verdict


@pytest.mark.parametrize(("angle", "order", "verdict"), [(6000, 3500, PASS), (-6000, -3500, PASS), (6000, 3299, FAIL)])
def test_beyond_hard_over_is_hard_over(angle: int, order: int, verdict: str) -> None:
    rig = met()
    rig.order(order)
    turn(rig, angle, 400)
    assert rig.says() == verdict


@pytest.mark.parametrize(("turned", "exercised"), [(200, False), (201, True), (-201, True)])
@pytest.mark.parametrize("begin", [0, 1000, -1000])
def test_a_wheel_that_is_not_turned_shows_nothing(begin: int, turned: int, exercised: bool) -> None:
    rig = met(begin)
    rig.order(begin + turned)
    turn(rig, begin + turned, 400)
    assert rig.says() == (PASS if exercised else NOT_EXERCISED)


@pytest.mark.parametrize(("wheel", "verdict"), [(1100, FAIL), (1101, NOT_EXERCISED), (899, NOT_EXERCISED)])
def test_until_they_have_met_nothing_is_asked(wheel: int, verdict: str) -> None:
    """A take with the wheel elsewhere: rudder.hold has the rudder stay where it is."""
    rig = RudderJudge(Follows)
    rig.steered(1000)
    rig.report(BRIDGE, 2)
    turn(rig, wheel, 400)
    turn(rig, 3000, 400)
    assert rig.says() == verdict


@pytest.mark.parametrize("what", ["rate", "not steering", "sensor broken", "old number", "another's", "unheard", "spoilt"])
def test_what_asks_for_no_angle_is_not_followed(what: str) -> None:
    rig = met()
    more: dict[str, dict[str, int]] = {
        "rate": {"kind": 1}, "not steering": {"kind": 2}, "sensor broken": {"fault": 1}, "old number": {"number": 7},
        "another's": {"station": BRIDGE}, "unheard": {"mask": 0},
    }  # fmt: skip
    if what == "spoilt":
        rig.event("fault", "frozen_data", HELM, 1)
    turn(rig, 1500, 800, **more.get(what, {}))
    assert rig.says() == NOT_EXERCISED


@pytest.mark.parametrize(("gap_ms", "verdict"), [(210, FAIL), (211, NOT_EXERCISED)])
def test_a_wheel_unheard_for_the_control_timeout_has_to_meet_the_rudder_anew(gap_ms: int, verdict: str) -> None:
    """250 ms, of which the next frame comes 40 after this gap."""
    rig = met()
    rig.after(gap_ms)
    turn(rig, 1500, 400)
    assert rig.says() == verdict


@pytest.mark.parametrize(
    ("fault", "place", "judged"),
    [
        ("rudder_jammed", "rudder", False), ("sensor_slipped", f"{NODE}, rudder_angle", False), ("hang", f"{NODE}, 400 ms", False),
        ("replayed", NODE, False), ("delayed", HELM, False), ("sensor_slipped", "node_2, shift_position", True),
        ("hang", "node_2", True), ("cut", "main at 3 m", True), ("delayed", f"node_{BRIDGE}", True),
    ],
)  # fmt: skip
def test_what_is_broken_is_not_judged(fault: str, place: str, judged: bool) -> None:
    rig = met()
    rig.event("fault", fault, place, 1)
    turn(rig, 0, 280)
    turn(rig, 1500, 600)
    assert rig.says() == (FAIL if judged else NOT_EXERCISED)


def test_a_reset_ends_a_hang() -> None:
    rig = met()
    rig.event("fault", "hang", NODE, 1)
    rig.event("start", NODE, 3)
    rig.order(0)
    rig.report()
    turn(rig, 0, 280)
    turn(rig, 1500, 600)
    assert rig.says() == FAIL


@pytest.mark.parametrize(("spoil", "verdict"), [(True, FAIL), (False, NOT_EXERCISED)])
def test_a_spoilt_report_names_nobody(spoil: bool, verdict: str) -> None:
    rig = met()
    rig.report(BRIDGE, 2, spoil=spoil)
    turn(rig, 1500, 600, station=WHEELHOUSE, number=1)
    assert rig.says() == verdict


@pytest.mark.parametrize(("fault", "place"), [("rudder_jammed", "rudder"), ("hang", NODE), ("delayed", HELM)])
def test_mended_they_have_to_meet_and_are_judged_again(fault: str, place: str) -> None:
    rig = met()
    rig.event("fault", fault, place, 1)
    turn(rig, 1500, 600)
    rig.event("fault", fault, place, 0)
    turn(rig, 1500, 600)
    assert rig.says() == NOT_EXERCISED, "the rudder is not where the wheel is"
    turn(rig, 0, 280)
    turn(rig, 1500, 600)
    assert rig.says() == FAIL


@pytest.mark.parametrize("what", ["reports a fault", "another takes", "loses power", "starts"])
def test_it_follows_nobody_any_more(what: str) -> None:
    rig = met()
    if what == "reports a fault":
        rig.report(fault=2)
    elif what == "another takes":
        rig.report(BRIDGE, 2)
    elif what == "loses power":
        rig.event("power", NODE, 0)
    else:
        rig.event("start", NODE, 3)
    turn(rig, 0, 280, station=WHEELHOUSE, number=1)
    turn(rig, 1500, 800, station=WHEELHOUSE, number=1)
    assert rig.says() == NOT_EXERCISED


@pytest.mark.parametrize(("known", "reports", "verdict"), [(True, False, FAIL), (False, True, FAIL), (False, False, NOT_EXERCISED)])
def test_in_a_log_a_rudder_that_fell_silent_orders_nobody_knows_what(known: bool, reports: bool, verdict: str) -> None:
    rig = met()
    rig.situation.reception_known = known
    for _ in range(15):
        if reports:
            rig.report()
        rig.after(40)
        rig.wheel(1500)
    assert rig.says() == verdict


@pytest.mark.parametrize(("before", "verdict"), [((0, 0), FAIL), ((0,), NOT_EXERCISED), ((), NOT_EXERCISED)])
def test_of_a_new_take_the_first_wheel_frame_is_not_heard(before: tuple[int, ...], verdict: str) -> None:
    """A wheel that turns at once was never where the rudder is, as far as the rudder can know."""
    rig = met()
    rig.report(WHEELHOUSE, 2)
    for angle in before:
        rig.wheel(angle)
        rig.after(40)
    turn(rig, 1500, 800)
    assert rig.says() == verdict


def test_whoever_takes_anew_with_the_wheel_where_it_is_goes_on() -> None:
    rig = met()
    rig.report(WHEELHOUSE, 2)
    turn(rig, 0, 280)
    turn(rig, 1500, 400)
    assert rig.says() == FAIL


def test_a_boat_without_a_rudder() -> None:
    rig = JudgeRig(Follows, small_boat())
    assert (rig.says(), rig.verdict().evidence) == (NOT_EXERCISED, "the boat has no rudder on her bus")
