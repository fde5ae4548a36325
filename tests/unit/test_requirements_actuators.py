"""Judges of actuators that do not do as they were told, and of throttles that open by themselves; events made by hand."""

from collections.abc import Callable

import pytest

from busim.requirements.drive_actuator_fault_found import REPORT_MS, ActuatorFaultFound
from busim.requirements.drive_loss_to_idle import LossToIdle
from busim.requirements.drive_loss_to_neutral import LossToNeutral
from busim.requirements.drive_no_thrust_rise import NoThrustRise
from busim.requirements.requirement import Requirement
from busim.requirements.verdict import FAIL, INCONCLUSIVE, NOT_EXERCISED, PASS
from busim.units import MS

from . import hand_made_frames as hand
from .judge_rig import NEUTRAL_LIMIT_MS, JudgeRig
from .small_boat import BRIDGE, CUTOUT, CUTOUT_MS, PORT, SHIFT_MS, THROTTLE_MS

DRIVE = "node_2"
SHIFT_ALLOWED_MS = SHIFT_MS * 3 // 2 + 200
THROTTLE_ALLOWED_MS = THROTTLE_MS * 3 // 2 + 200
END_MS = NEUTRAL_LIMIT_MS + CUTOUT_MS
RUN_DOWN_MS = 2000


def under_way(kind: type[Requirement], throttle: int = 500) -> JudgeRig:
    """Port ahead with its throttle open, the wheelhouse in control."""
    rig = JudgeRig(kind)
    rig.event("start", DRIVE, 0)
    rig.take(1)
    rig.event("output", DRIVE, "shift", 1)
    rig.event("gear", "port", 1, 0, 800)
    rig.lever(1, throttle)
    rig.lever(1, throttle)
    rig.event("output", DRIVE, "throttle", throttle)
    rig.event("throttle_stop", "port", 0)
    return rig


def says_fault(rig: JudgeRig, fault: int = 1, *, spoil: bool = False) -> None:
    """Port's drive_state: ahead asked and sensed, and what is wrong in the last four bits."""
    counter = rig.counter(hand.STATE, PORT)
    data = hand.safe(hand.id_of(hand.STATE, PORT), counter, 1 << 46 | 1 << 44 | 1 << 42 | fault)
    rig.frame(hand.STATE, PORT, hand.spoiled(data) if spoil else data)


def says_fired(rig: JudgeRig) -> None:
    data = hand.safe(hand.id_of(hand.CUTOUT_STATE, CUTOUT), rig.counter(hand.CUTOUT_STATE, CUTOUT), 1 << 46 | 1 << 32)
    rig.frame(hand.CUTOUT_STATE, CUTOUT, data)


def told_neutral(rig: JudgeRig) -> None:
    rig.event("output", DRIVE, "shift", 0)


def told_idle(rig: JudgeRig) -> None:
    rig.event("output", DRIVE, "throttle", 0)


def linkage_off(rig: JudgeRig) -> None:
    """The gear comes out with nobody having asked for it."""
    rig.event("gear", "port", 0, 0, 800)


TOLD = {
    "gear": (told_neutral, SHIFT_ALLOWED_MS),
    "throttle": (told_idle, THROTTLE_ALLOWED_MS),
    "linkage": (linkage_off, SHIFT_ALLOWED_MS),
}
EVERY = pytest.mark.parametrize(("what", "allowed_ms"), TOLD.values(), ids=TOLD.keys())


# ------------------------------------------------------------------------------------------------ drive.actuator_fault_found


@EVERY
@pytest.mark.parametrize(("late_ms", "says"), [(REPORT_MS, PASS), (REPORT_MS + 1, FAIL)])
def test_what_did_not_arrive_is_reported_within_its_time_and_a_report(
    what: Callable[[JudgeRig], None], allowed_ms: int, late_ms: int, says: str
) -> None:
    rig = under_way(ActuatorFaultFound)
    what(rig)
    rig.after(allowed_ms + late_ms)
    says_fault(rig)
    rig.event("engine", "port", 0)
    assert rig.says() == says


@EVERY
def test_a_report_before_its_time_is_over_counts(what: Callable[[JudgeRig], None], allowed_ms: int) -> None:
    rig = under_way(ActuatorFaultFound)
    what(rig)
    rig.after(500)
    says_fault(rig, 3)
    says_fault(rig, 0)
    rig.after(allowed_ms)
    rig.event("engine", "port", 0)
    assert rig.says() == PASS


@EVERY
def test_nobody_reports(what: Callable[[JudgeRig], None], allowed_ms: int) -> None:
    rig = under_way(ActuatorFaultFound)
    what(rig)
    says_fault(rig, 0)
    says_fault(rig, 3, spoil=True)
    rig.after(allowed_ms + REPORT_MS + 1)
    assert rig.says() == FAIL


def test_a_cutout_that_has_fired_is_a_report() -> None:
    rig = under_way(ActuatorFaultFound)
    told_neutral(rig)
    rig.after(SHIFT_ALLOWED_MS)
    says_fired(rig)
    rig.event("engine", "port", 0)
    assert rig.says() == PASS


DONE: dict[str, Callable[[JudgeRig], None]] = {
    "gear": lambda rig: rig.event("gear", "port", 0, 0, 800),
    "throttle": lambda rig: rig.event("throttle_stop", "port", 1),
}


@pytest.mark.parametrize("name", DONE)
def test_what_arrives_in_its_time_is_no_fault(name: str) -> None:
    rig = under_way(ActuatorFaultFound)
    what, allowed_ms = TOLD[name]
    what(rig)
    rig.after(allowed_ms - 1)
    DONE[name](rig)
    rig.after(10_000)
    assert rig.says() == NOT_EXERCISED


def test_a_new_order_has_its_own_time() -> None:
    rig = under_way(ActuatorFaultFound)
    told_neutral(rig)
    rig.after(SHIFT_ALLOWED_MS - 1)
    rig.event("output", DRIVE, "shift", 2)
    rig.after(SHIFT_ALLOWED_MS - 1)
    assert rig.says() == NOT_EXERCISED


@pytest.mark.parametrize("kind", ["power", "start"])
def test_orders_of_a_program_that_is_gone_count_no_more(kind: str) -> None:
    rig = under_way(ActuatorFaultFound)
    told_neutral(rig)
    rig.event(kind, DRIVE, 0)
    rig.after(10_000)
    assert rig.says() == NOT_EXERCISED


def jammed_and_reported() -> JudgeRig:
    rig = under_way(ActuatorFaultFound)
    told_neutral(rig)
    says_fault(rig)
    rig.after(SHIFT_ALLOWED_MS)
    return rig


@pytest.mark.parametrize(("after_ms", "says"), [(END_MS, PASS), (END_MS + 1, FAIL)])
def test_the_gear_is_out_in_the_end(after_ms: int, says: str) -> None:
    rig = jammed_and_reported()
    says_fault(rig)
    rig.after(after_ms)
    rig.event("gear", "port", 0, 0, 800)
    assert rig.says() == says


@pytest.mark.parametrize(("after_ms", "says"), [(END_MS + RUN_DOWN_MS, PASS), (END_MS + RUN_DOWN_MS + 1, FAIL)])
def test_or_the_engine_is_stopped_with_time_to_run_down(after_ms: int, says: str) -> None:
    rig = jammed_and_reported()
    says_fault(rig)
    rig.after(after_ms)
    rig.event("engine", "port", 0)
    assert rig.says() == says


def test_or_neither_and_the_run_ends() -> None:
    rig = jammed_and_reported()
    says_fault(rig)
    rig.after(END_MS)
    assert rig.says() == INCONCLUSIVE
    rig.event("output", DRIVE, "engine_stop", 1)
    rig.after(RUN_DOWN_MS)
    assert rig.says() == INCONCLUSIVE
    rig.after(1)
    assert rig.says() == FAIL


# ------------------------------------------------------------------------------------------------ drive.no_thrust_rise


def lose(rig: JudgeRig) -> None:
    rig.after(300)
    rig.obeys(0, 1, cause=2)


def lose_unsaid(rig: JudgeRig) -> None:
    """A drive that goes on obeying whoever it no longer hears."""
    rig.lose_by_gap()


def lose_power(rig: JudgeRig) -> None:
    rig.event("power", DRIVE, 0)


def start_again(rig: JudgeRig) -> None:
    rig.event("start", DRIVE, 2)


def hand_over(rig: JudgeRig) -> None:
    rig.obeys(BRIDGE, 2)


HOLDS = {"lost": lose, "lost, and not said": lose_unsaid, "starts again": start_again, "handed over": hand_over}


@pytest.mark.parametrize("what", HOLDS.values(), ids=HOLDS.keys())
@pytest.mark.parametrize(("throttle", "says"), [(500, PASS), (499, PASS), (501, FAIL), (0, PASS)])
def test_the_throttle_is_told_to_open_no_further(what: Callable[[JudgeRig], None], throttle: int, says: str) -> None:
    """46 CFR 184.620(c): loss of control power must not raise shaft speed."""
    rig = under_way(NoThrustRise)
    what(rig)
    rig.event("output", DRIVE, "throttle", throttle)
    assert (rig.says(), rig.verdict().measured) == (says, max(throttle - 500, 0))


@pytest.mark.parametrize("what", HOLDS.values(), ids=HOLDS.keys())
def test_nor_back_again_once_it_was_told_to_close(what: Callable[[JudgeRig], None]) -> None:
    rig = under_way(NoThrustRise)
    what(rig)
    rig.event("output", DRIVE, "throttle", 100)
    rig.event("output", DRIVE, "throttle", 101)
    assert rig.says() == FAIL


@pytest.mark.parametrize("what", [lose, lose_power, start_again])
def test_the_throttle_that_came_to_its_stop_does_not_leave_it(what: Callable[[JudgeRig], None]) -> None:
    rig = under_way(NoThrustRise)
    what(rig)
    rig.event("throttle_stop", "port", 0)
    rig.event("throttle_stop", "port", 1)
    assert rig.says() == PASS, "what happens at that very moment was on its way already"
    rig.after(1)
    rig.event("throttle_stop", "port", 0)
    assert rig.says() == FAIL


@pytest.mark.parametrize(("ppm", "says"), [(500_000, PASS), (520_999, PASS), (521_000, FAIL)])
def test_without_power_it_is_where_it_was_when_the_gear_comes_out(ppm: int, says: str) -> None:
    """Within 2 % of the stroke."""
    rig = under_way(NoThrustRise)
    lose_power(rig)
    rig.event("gear", "port", 0, ppm, 800)
    assert rig.says() == says


TWO_AT_ONE = pytest.mark.parametrize(
    ("place", "judged"), [(f"node_6 as {DRIVE}", False), (f"{DRIVE} as node_6", False), ("node_3 as node_1", True)]
)
"""A drive under the address of another node, or another node under the drive's; or two others under one."""


@TWO_AT_ONE
@pytest.mark.parametrize(("what", "by_reports"), [(lose, True), (hand_over, True), (lose_power, False), (start_again, False)])
def test_what_two_report_under_one_address_is_no_loss(
    what: Callable[[JudgeRig], None], by_reports: bool, place: str, judged: bool
) -> None:
    rig = under_way(NoThrustRise)
    rig.event("fault", "duplicate_address", place, 1)
    what(rig)
    rig.obeys(0, 9)
    rig.event("output", DRIVE, "throttle", 900)
    assert rig.says() == (FAIL if judged or not by_reports else NOT_EXERCISED)


def test_taken_anew_it_may_open_once_two_lever_frames_have_come() -> None:
    rig = under_way(NoThrustRise)
    lose(rig)
    rig.event("output", DRIVE, "throttle", 0)
    rig.take(2, BRIDGE)
    rig.lever(1, 700)
    rig.lever(1, 700)
    rig.event("output", DRIVE, "throttle", 700)
    assert rig.says() == PASS


def test_taken_anew_it_may_not_before() -> None:
    rig = under_way(NoThrustRise)
    lose(rig)
    rig.event("output", DRIVE, "throttle", 0)
    rig.obeys(BRIDGE, 2)
    rig.event("output", DRIVE, "throttle", 700)
    assert rig.says() == FAIL


def test_a_hand_over_in_gear_that_opens_nothing_is_one() -> None:
    rig = under_way(NoThrustRise)
    rig.take(2, BRIDGE, drives=(PORT,))
    rig.lever(1, 500)  # of a new sender the first frame does not count
    rig.obeys(BRIDGE, 2)
    assert rig.says() == PASS
    rig.event("output", DRIVE, "throttle", 900)
    assert rig.says() == PASS, "by now the taker's levers are followed"


def test_whoever_follows_its_lever_is_not_judged() -> None:
    rig = under_way(NoThrustRise)
    rig.event("output", DRIVE, "throttle", 900)
    rig.event("throttle_stop", "port", 1)
    rig.event("throttle_stop", "port", 0)
    rig.event("gear", "port", 0, 10**6, 3000)
    rig.event("output", "node_1", "shows", 2)
    assert rig.says() == NOT_EXERCISED
    assert rig.now_ns % MS == 0


# ------------------------------------------------------------------------------------------------ what is not a loss's


STUCK: dict[type[Requirement], tuple[str, Callable[[JudgeRig], None], int]] = {
    LossToIdle: ("throttle", DONE["throttle"], THROTTLE_ALLOWED_MS),
    LossToNeutral: ("shift", DONE["gear"], SHIFT_ALLOWED_MS),
}


@pytest.mark.parametrize("kind", STUCK)
@pytest.mark.parametrize("arrives", [False, True])
def test_an_actuator_that_was_told_in_time_and_takes_too_long_is_not_the_losss(kind: type[Requirement], arrives: bool) -> None:
    """drive.actuator_fault_found judges it."""
    output, done, allowed_ms = STUCK[kind]
    rig = under_way(kind)
    lose(rig)
    rig.event("output", DRIVE, output, 0)
    rig.after(allowed_ms + 1000)
    if arrives:
        done(rig)
    assert rig.says() == NOT_EXERCISED


@pytest.mark.parametrize("kind", STUCK)
@pytest.mark.parametrize("arrives", [False, True])
def test_one_that_was_told_too_late_is(kind: type[Requirement], arrives: bool) -> None:
    output, done, allowed_ms = STUCK[kind]
    rig = under_way(kind)
    lose(rig)
    rig.after(NEUTRAL_LIMIT_MS)
    rig.event("output", DRIVE, output, 0)
    rig.after(allowed_ms + 1000)
    if arrives:
        done(rig)
    assert rig.says() == FAIL


@pytest.mark.parametrize(("after_ms", "says"), [(1399, PASS), (1400, FAIL)])
def test_a_throttle_on_its_way_down_when_power_goes_has_not_opened(after_ms: int, says: str) -> None:
    """A full stroke takes the small boat's actuators 1,400 ms; without power it stays where it was on its way."""
    rig = under_way(NoThrustRise)
    rig.event("output", DRIVE, "throttle", 0)
    rig.after(after_ms)
    lose_power(rig)
    rig.after(400)
    rig.event("gear", "port", 0, 300_000, 1500)
    assert rig.says() == says
