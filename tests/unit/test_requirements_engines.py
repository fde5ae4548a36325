"""Judges of engines and of the boat as a whole, on events made by hand: each limit at its edge, and what does not count."""

from collections.abc import Callable

import pytest

from busim.requirements.boat_availability import Availability
from busim.requirements.drive_self_loss import RUN_DOWN_MS, SelfLoss
from busim.requirements.drive_start_in_neutral import StartInNeutral
from busim.requirements.requirement import Requirement
from busim.requirements.verdict import FAIL, INCONCLUSIVE, NOT_EXERCISED, PASS
from busim.units import MS, SECOND

from .judge_rig import NEUTRAL_LIMIT_MS, JudgeRig
from .small_boat import BRIDGE, CUTOUT_MS, DWELL_MS, SHIFT_MS, THROTTLE_MS, WHEELHOUSE

DRIVE, CUTOUT_NODE = "node_2", "node_6"
OTHER_DRIVE = "node_4"
WITH_CUTOUT_MS = NEUTRAL_LIMIT_MS + CUTOUT_MS


def in_gear(kind: type[Requirement]) -> JudgeRig:
    """Both drives ahead, the wheelhouse in control."""
    rig = JudgeRig(kind)
    for node in ("node_1", "node_2", "node_3", "node_4", "node_6"):
        rig.event("start", node, 0)
    rig.take(1)
    for drive in ("port", "starboard"):
        rig.event("shift_rest", drive, 0)
        rig.event("gear", drive, 1, 0, 800)
    return rig


def gear_out(rig: JudgeRig, drive: str = "port") -> None:
    rig.event("gear", drive, 0, 0, 800)
    rig.event("shift_rest", drive, 1)


# ------------------------------------------------------------------------------------------------ drive.self_loss


def hang(rig: JudgeRig) -> None:
    rig.event("fault", "hang", DRIVE, 1)


def lose_power(rig: JudgeRig) -> None:
    rig.event("power", DRIVE, 0)


@pytest.mark.parametrize("lose", [hang, lose_power])
@pytest.mark.parametrize(("after_ms", "says"), [(WITH_CUTOUT_MS, PASS), (WITH_CUTOUT_MS + 1, FAIL)])
def test_self_loss_gear_out_within_limit_and_cutout_time(lose: Callable[[JudgeRig], None], after_ms: int, says: str) -> None:
    rig = in_gear(SelfLoss)
    lose(rig)
    rig.after(after_ms)
    gear_out(rig)
    assert (rig.says(), rig.verdict().measured, rig.verdict().limit) == (says, after_ms, WITH_CUTOUT_MS)


def test_self_loss_without_a_cutout_the_limit_is_the_drives_own() -> None:
    rig = in_gear(SelfLoss)
    rig.event("power", OTHER_DRIVE, 0)
    rig.after(NEUTRAL_LIMIT_MS + 1)
    gear_out(rig, "starboard")
    assert (rig.says(), rig.verdict().limit) == (FAIL, NEUTRAL_LIMIT_MS)


@pytest.mark.parametrize(("after_ms", "says"), [(WITH_CUTOUT_MS + RUN_DOWN_MS, PASS), (WITH_CUTOUT_MS + RUN_DOWN_MS + 1, FAIL)])
def test_self_loss_an_engine_that_is_stopped_has_its_time_to_run_down(after_ms: int, says: str) -> None:
    rig = in_gear(SelfLoss)
    hang(rig)
    rig.after(after_ms)
    rig.event("engine", "port", 0)
    assert rig.says() == says


def test_self_loss_nothing_has_happened_when_the_run_ends() -> None:
    rig = in_gear(SelfLoss)
    hang(rig)
    rig.after(WITH_CUTOUT_MS)
    assert rig.says() == INCONCLUSIVE
    rig.after(1)
    assert rig.says() == FAIL


def test_self_loss_with_the_fuel_cut_the_engine_may_still_turn_when_the_run_ends() -> None:
    rig = in_gear(SelfLoss)
    hang(rig)
    rig.event("output", CUTOUT_NODE, "fuel_cut", 1)
    rig.after(WITH_CUTOUT_MS + RUN_DOWN_MS)
    assert rig.says() == INCONCLUSIVE
    rig.after(1)
    assert rig.says() == FAIL


def out_then_hang(rig: JudgeRig) -> None:
    gear_out(rig)
    hang(rig)


def stopped_then_hang(rig: JudgeRig) -> None:
    rig.event("engine", "port", 0)
    hang(rig)


NO_LOSS: dict[str, Callable[[JudgeRig], None]] = {
    "another fault of the node": lambda rig: rig.event("fault", "reset", DRIVE, 1),
    "a hang of another node": lambda rig: rig.event("fault", "hang", "node_1", 1),
    "power of another node": lambda rig: rig.event("power", "node_1", 0),
    "gear out already": out_then_hang,
    "engine stopped already": stopped_then_hang,
}


@pytest.mark.parametrize("what", NO_LOSS.values(), ids=NO_LOSS.keys())
def test_self_loss_is_not_exercised_by(what: Callable[[JudgeRig], None]) -> None:
    rig = in_gear(SelfLoss)
    what(rig)
    rig.after(10_000)
    assert rig.says() == NOT_EXERCISED


def lost_as_it_shifts(lose: Callable[[JudgeRig], None]) -> JudgeRig:
    """The node holds its output, or the shift has the way on it: the clutch takes half a second later."""
    rig = in_gear(SelfLoss)
    gear_out(rig)
    rig.after(2000)
    lose(rig)
    rig.after(500)
    return rig


@pytest.mark.parametrize("lose", [hang, lose_power])
@pytest.mark.parametrize(("after_ms", "says"), [(WITH_CUTOUT_MS, PASS), (WITH_CUTOUT_MS + 1, FAIL)])
def test_self_loss_a_gear_on_its_way_in_counts_from_the_loss(lose: Callable[[JudgeRig], None], after_ms: int, says: str) -> None:
    rig = lost_as_it_shifts(lose)
    rig.event("gear", "port", 1, 0, 800)
    rig.after(after_ms - 500)
    gear_out(rig)
    assert (rig.says(), rig.verdict().measured) == (says, after_ms)


@pytest.mark.parametrize("lose", [hang, lose_power])
def test_self_loss_a_gear_that_goes_in_once_its_program_runs_again_is_for_another_requirement(
    lose: Callable[[JudgeRig], None],
) -> None:
    rig = lost_as_it_shifts(lose)
    rig.event("start", DRIVE, 3)
    rig.event("gear", "port", 1, 0, 800)
    rig.after(9000)
    assert rig.says() == NOT_EXERCISED


def test_self_loss_a_hang_that_is_over_loses_nothing() -> None:
    rig = lost_as_it_shifts(hang)
    rig.event("fault", "hang", DRIVE, 0)
    rig.event("gear", "port", 1, 0, 800)
    rig.after(9000)
    assert rig.says() == NOT_EXERCISED


@pytest.mark.parametrize(("after_ms", "says"), [(WITH_CUTOUT_MS, NOT_EXERCISED), (WITH_CUTOUT_MS + 1, FAIL)])
def test_self_loss_a_program_that_goes_on_in_time_was_not_lost(after_ms: int, says: str) -> None:
    rig = in_gear(SelfLoss)
    hang(rig)
    rig.after(after_ms)
    rig.event("fault", "hang", DRIVE, 0)
    rig.after(1)
    assert rig.says() == says


# ------------------------------------------------------------------------------------------------ drive.start_in_neutral


def test_start_with_the_gear_out() -> None:
    rig = JudgeRig(StartInNeutral)
    rig.event("engine", "port", 0)
    assert rig.says() == NOT_EXERCISED
    rig.event("starter", "port", 1)
    rig.event("engine", "port", 1)
    assert rig.says() == PASS


@pytest.mark.parametrize("clutch_took", [False, True])
@pytest.mark.parametrize("what", [("starter", "port", 1), ("engine", "port", 1)])
def test_start_with_the_gear_in_or_on_its_way(clutch_took: bool, what: tuple[str, str, int]) -> None:
    rig = JudgeRig(StartInNeutral)
    rig.event("shift_rest", "port", 0)
    if clutch_took:
        rig.event("gear", "port", 1, 0, 0)
    rig.event(*what)
    assert rig.says() == FAIL


def test_start_refused_with_the_gear_in_counts_and_with_it_out_does_not() -> None:
    rig = JudgeRig(StartInNeutral)
    rig.event("starter", "port", 2)
    assert rig.says() == NOT_EXERCISED
    rig.event("shift_rest", "port", 0)
    rig.event("starter", "port", 2)
    assert rig.says() == PASS


def test_start_after_the_shift_came_back_to_its_rest() -> None:
    rig = JudgeRig(StartInNeutral)
    rig.event("shift_rest", "port", 0)
    rig.event("shift_rest", "port", 1)
    rig.event("engine", "port", 1)
    assert rig.says() == PASS


def test_the_other_engines_gear_does_not_matter() -> None:
    rig = JudgeRig(StartInNeutral)
    rig.event("shift_rest", "starboard", 0)
    rig.event("gear", "starboard", 1, 0, 800)
    rig.event("starter", "port", 1)
    rig.event("engine", "port", 1)
    assert rig.says() == PASS


# ------------------------------------------------------------------------------------------------ boat.availability

CUT = ("cut", "bus_0 at 3 m")


def brief(rig: JudgeRig, for_ms: float) -> None:
    rig.event("fault", *CUT, 1)
    rig.after(for_ms)
    rig.event("fault", *CUT, 0)


@pytest.mark.parametrize(("for_ms", "says"), [(200, PASS), (201, NOT_EXERCISED), (1, PASS)])
def test_a_short_fault_after_which_every_gear_is_still_in(for_ms: int, says: str) -> None:
    rig = in_gear(Availability)
    brief(rig, for_ms)
    rig.after(NEUTRAL_LIMIT_MS - 1)
    assert rig.says() == NOT_EXERCISED, "too early to say"
    rig.after(1)
    assert rig.says() == says


def forced_out(rig: JudgeRig) -> None:
    rig.obeys(0, 1, cause=2)
    gear_out(rig)


@pytest.mark.parametrize(("for_ms", "says"), [(200, FAIL), (201, NOT_EXERCISED)])
def test_a_short_fault_that_forces_a_gear_out(for_ms: int, says: str) -> None:
    rig = in_gear(Availability)
    brief(rig, for_ms)
    rig.after(500)
    forced_out(rig)
    rig.after(NEUTRAL_LIMIT_MS)
    assert rig.says() == says


def test_a_gear_that_is_out_before_the_short_fault_is_over() -> None:
    rig = in_gear(Availability)
    rig.event("fault", *CUT, 1)
    rig.after(50)
    forced_out(rig)
    rig.after(50)
    rig.event("fault", *CUT, 0)
    rig.after(NEUTRAL_LIMIT_MS)
    assert rig.says() == FAIL


MEANWHILE: dict[str, Callable[[JudgeRig], None]] = {
    "a lever is moved": lambda rig: rig.event("lever", "wheelhouse", "port", 0, 300),
    "a key is pressed": lambda rig: rig.event("key", "node_1", "neutral_now", 1),
    "another fault begins": lambda rig: rig.event("fault", "reset", "node_4", 1),
}


@pytest.mark.parametrize("what", MEANWHILE.values(), ids=MEANWHILE.keys())
def test_it_shows_nothing_where_meanwhile(what: Callable[[JudgeRig], None]) -> None:
    rig = in_gear(Availability)
    brief(rig, 100)
    rig.after(100)
    what(rig)
    forced_out(rig)
    rig.after(NEUTRAL_LIMIT_MS)
    assert rig.says() == NOT_EXERCISED


def test_a_gear_that_whoever_is_in_control_takes_out_is_not_forced() -> None:
    rig = in_gear(Availability)
    brief(rig, 100)
    rig.lever()
    gear_out(rig)
    rig.after(NEUTRAL_LIMIT_MS)
    assert rig.says() == PASS


def lost_and_taken(rig: JudgeRig) -> None:
    forced_out(rig)
    rig.after(3000)
    rig.event("lever", "bridge", "port", 0, 0)
    rig.event("key", f"node_{BRIDGE}", "take", 1)
    rig.take(2, BRIDGE)


@pytest.mark.parametrize(("after_ms", "says"), [(10_000, PASS), (10_001, FAIL)])
def test_thrust_is_back_in_time_counted_from_the_lever_where_that_came_last(after_ms: int, says: str) -> None:
    rig = in_gear(Availability)
    lost_and_taken(rig)
    rig.after(4000)
    rig.event("lever", "bridge", "port", 500, 0)
    rig.after(after_ms)
    rig.event("gear", "port", 1, 0, 800)
    assert (rig.says(), rig.verdict().measured) == (says, after_ms)


def test_thrust_that_does_not_come_back() -> None:
    rig = in_gear(Availability)
    lost_and_taken(rig)
    rig.event("lever", "bridge", "port", 500, 0)
    rig.after(10_000)
    assert rig.says() == INCONCLUSIVE
    rig.after(1)
    assert rig.says() == FAIL


def struck(rig: JudgeRig) -> None:
    rig.event("fault", "reset", DRIVE, 2)


def test_thrust_that_does_not_come_back_after_a_fault_that_was_over_at_once() -> None:
    rig = in_gear(Availability)
    struck(rig)
    lost_and_taken(rig)
    put_ahead(rig)
    rig.after(10_001)
    assert rig.says() == FAIL


def test_a_fault_that_was_over_at_once_is_not_ridden_through_but_spoils_what_others_show_only_for_a_while() -> None:
    rig = in_gear(Availability)
    struck(rig)
    brief(rig, 100)
    rig.after(NEUTRAL_LIMIT_MS)
    assert rig.says() == NOT_EXERCISED
    brief(rig, 100)
    rig.after(NEUTRAL_LIMIT_MS)
    assert rig.says() == PASS


def put_ahead(rig: JudgeRig, station: str = "bridge") -> None:
    rig.event("lever", station, "port", 500, 0)


def nobody_takes(rig: JudgeRig) -> None:
    forced_out(rig)
    put_ahead(rig)


def taken_off_neutral(rig: JudgeRig) -> None:
    forced_out(rig)
    put_ahead(rig)
    rig.event("key", f"node_{BRIDGE}", "take", 1)


def fault_still_on(rig: JudgeRig) -> None:
    rig.event("fault", *CUT, 1)
    lost_and_taken(rig)
    put_ahead(rig)


def taker_is_dead(rig: JudgeRig) -> None:
    forced_out(rig)
    rig.event("power", f"node_{WHEELHOUSE}", 0)
    rig.event("key", f"node_{WHEELHOUSE}", "take", 1)
    put_ahead(rig, "wheelhouse")


NOT_ASKED_FOR: dict[str, Callable[[JudgeRig], None]] = {
    "the lever stays in neutral": lost_and_taken,
    "nobody takes control": nobody_takes,
    "the taker's lever is off neutral": taken_off_neutral,
    "the fault is still on": fault_still_on,
    "the taker does not run": taker_is_dead,
}


@pytest.mark.parametrize("what", NOT_ASKED_FOR.values(), ids=NOT_ASKED_FOR.keys())
def test_thrust_is_not_asked_for_where(what: Callable[[JudgeRig], None]) -> None:
    rig = in_gear(Availability)
    what(rig)
    rig.after(60_000)
    assert rig.says() == NOT_EXERCISED


AFTERWARDS_MS = WITH_CUTOUT_MS + RUN_DOWN_MS + 350
"""Whatever something sets off has happened by then: a loss noticed by silence, its neutral, a cutout, an engine that runs down."""
UPSETS: dict[str, Callable[[JudgeRig], None]] = {
    "a fault ends": lambda rig: rig.event("fault", *CUT, 0),
    "a fault strikes": struck,
    "a supply goes": lambda rig: rig.event("power", "node_3", 0),
    "a program starts": lambda rig: rig.event("start", "node_3", 3),
}


def stops(rig: JudgeRig) -> None:
    rig.event("engine", "port", 0)


def lets_go(rig: JudgeRig) -> None:
    rig.obeys(0, 1, cause=2)
    gear_out(rig)


@pytest.mark.parametrize("upset", UPSETS.values(), ids=UPSETS.keys())
@pytest.mark.parametrize("loses", [stops, lets_go])
@pytest.mark.parametrize(("since_ms", "says"), [(AFTERWARDS_MS, NOT_EXERCISED), (AFTERWARDS_MS + 1, FAIL)])
def test_with_nothing_broken_no_thrust_is_lost(
    upset: Callable[[JudgeRig], None], loses: Callable[[JudgeRig], None], since_ms: int, says: str
) -> None:
    rig = in_gear(Availability)
    upset(rig)
    rig.after(since_ms)
    loses(rig)
    assert rig.says() == says


@pytest.mark.parametrize("cause", [1, 4, 5, 6, 7])
def test_what_somebody_wanted_or_a_drive_found_is_no_loss_by_itself(cause: int) -> None:
    rig = in_gear(Availability)
    rig.after(60_000)
    rig.obeys(0, 1, cause=cause)
    gear_out(rig)
    assert rig.says() == NOT_EXERCISED


@pytest.mark.parametrize("loses", [stops, lets_go])
def test_a_fault_that_is_on_may_take_the_thrust(loses: Callable[[JudgeRig], None]) -> None:
    rig = in_gear(Availability)
    rig.event("fault", *CUT, 1)
    rig.after(60_000)
    loses(rig)
    assert rig.says() == NOT_EXERCISED


THRUST_MS = DWELL_MS + 2 * (SHIFT_MS * 3 // 2 + 200) + THROTTLE_MS * 3 // 2 + 200
"""To idle, out of one gear, a dwell, into the other: each actuator may take half as long again, and 200 ms."""


def ahead_and_idle(rig: JudgeRig, permille: int = 500, throttle: int = 0, *, gear: int = 0) -> None:
    """Nothing was ever broken; port obeys the wheelhouse, whose lever is put there, and this is what comes of it."""
    rig.take(1)
    rig.event("lever", "wheelhouse", "port", permille, 0)
    rig.event("gear", "port", gear, 0, 800)
    rig.event("output", DRIVE, "throttle", throttle)
    rig.obeys(WHEELHOUSE, 1)


@pytest.mark.parametrize(("after_ms", "says"), [(THRUST_MS, NOT_EXERCISED), (THRUST_MS + 1, FAIL)])
@pytest.mark.parametrize("gear", [0, 1])
def test_no_thrust_with_nothing_broken_is_no_better_than_after_a_loss(gear: int, after_ms: int, says: str) -> None:
    rig = JudgeRig(Availability)
    ahead_and_idle(rig, gear=gear)
    rig.after(after_ms)
    assert rig.says() == says


@pytest.mark.parametrize("permille", [301, -301])
def test_no_thrust_is_told_before_the_run_ends(permille: int) -> None:
    rig = JudgeRig(Availability)
    ahead_and_idle(rig, permille)
    rig.after(THRUST_MS + 1)
    rig.obeys(WHEELHOUSE, 1)
    rig.event("gear", "port", 1, 0, 800)
    rig.event("output", DRIVE, "throttle", 300)
    assert rig.says() == FAIL


def obeys_another(rig: JudgeRig) -> None:
    ahead_and_idle(rig)
    rig.obeys(BRIDGE, 2)


def broken_meanwhile(rig: JudgeRig) -> None:
    ahead_and_idle(rig)
    rig.after(5000)
    rig.event("fault", *CUT, 1)
    rig.obeys(WHEELHOUSE, 1)
    rig.event("fault", *CUT, 0)
    rig.obeys(WHEELHOUSE, 1)


NO_THRUST_ASKED: dict[str, Callable[[JudgeRig], None]] = {
    "it gives thrust": lambda rig: ahead_and_idle(rig, throttle=1, gear=1),
    "a lever not far enough off neutral": lambda rig: ahead_and_idle(rig, 300),
    "a drive that obeys another station": obeys_another,
    "a fault that was on meanwhile": broken_meanwhile,
}


@pytest.mark.parametrize("what", NO_THRUST_ASKED.values(), ids=NO_THRUST_ASKED.keys())
def test_it_gives_the_thrust_it_is_asked_for_or_need_not(what: Callable[[JudgeRig], None]) -> None:
    rig = JudgeRig(Availability)
    what(rig)
    rig.after(THRUST_MS)
    assert rig.says() == NOT_EXERCISED
    rig.after(1)
    assert rig.says() == (FAIL if what is broken_meanwhile else NOT_EXERCISED)


def test_limits_are_the_boats() -> None:
    rig = in_gear(Availability)
    requirement = rig.requirement
    assert isinstance(requirement, Availability)
    assert (requirement.ride_through_ms * MS, requirement.rearm_ms * MS) == (200 * MS, 10 * SECOND)


def test_a_broken_neutral_now_contact_is_a_press_that_nobody_need_ride_through() -> None:
    for place, says in (("wheelhouse, neutral_now", NOT_EXERCISED), ("wheelhouse, take", FAIL)):
        rig = in_gear(Availability)
        rig.event("fault", "sensor_short", place, 1)
        rig.after(100)
        rig.event("fault", "sensor_short", place, 0)
        forced_out(rig)
        rig.after(NEUTRAL_LIMIT_MS)
        assert rig.says() == says
