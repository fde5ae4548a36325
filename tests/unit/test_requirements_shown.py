"""station.nobody_shown, fed by hand: at its limit, one beyond, and by each station's own reception."""

import pytest

from busim.requirements.station_nobody_shown import NobodyShown
from busim.requirements.verdict import FAIL, INCONCLUSIVE, NOT_EXERCISED, PASS
from busim.units import MS

from .judge_rig import JudgeRig
from .small_boat import BRIDGE, PORT, STARBOARD, WHEELHOUSE

NOBODY, HERE, ANOTHER, NOTHING_HEARD, ASKING, DIVIDED, LOST = range(1, 8)
LIMIT_MS = 500
"""350 ms after which a node counts as missing, and 150."""

# ------------------------------------------------------------------------------------------------ who is in control is shown


def shows(rig: JudgeRig, value: int) -> None:
    rig.event("output", "node_1", "shows", value)


def on_station() -> JudgeRig:
    """The wheelhouse runs and has said that it hears nothing; the bridge is dead."""
    rig = JudgeRig(NobodyShown)
    rig.event("start", "node_1", 0)
    shows(rig, NOTHING_HEARD)
    return rig


def in_control() -> JudgeRig:
    rig = on_station()
    rig.obeys(WHEELHOUSE, 7)
    rig.obeys(WHEELHOUSE, 7, drive=STARBOARD)
    shows(rig, HERE)
    return rig


def test_a_station_that_never_ran_is_not_judged() -> None:
    rig = JudgeRig(NobodyShown)
    rig.obeys(0, 0)
    shows(rig, HERE)
    rig.after(5000)
    assert rig.says() == NOT_EXERCISED


def test_another_nodes_output_is_no_display() -> None:
    rig = JudgeRig(NobodyShown)
    rig.event("start", "node_1", 0)
    rig.event("output", "node_2", "shows", NOTHING_HEARD)
    rig.event("output", "node_1", "alarm", NOTHING_HEARD)
    assert rig.says() == NOT_EXERCISED
    rig.after(LIMIT_MS + 1)
    assert rig.says() == FAIL


@pytest.mark.parametrize(("late_ns", "verdict", "measured"), [(0, PASS, LIMIT_MS), (1, FAIL, LIMIT_MS + 1)])
@pytest.mark.parametrize("value", [NOBODY, NOTHING_HEARD, ASKING])
def test_nobody_is_shown_in_time(value: int, late_ns: int, verdict: str, measured: int) -> None:
    """Both drives say that they obey nobody: from the report on that makes it all of them."""
    rig = in_control()
    rig.obeys(0, 7)
    rig.after(300)
    rig.obeys(0, 7, drive=STARBOARD)
    rig.after(LIMIT_MS)
    rig.now_ns += late_ns
    shows(rig, value)
    assert (rig.says(), rig.verdict().measured, rig.verdict().limit) == (verdict, measured, LIMIT_MS)


@pytest.mark.parametrize("value", [0, HERE, ANOTHER, DIVIDED, LOST])
def test_anything_else_is_not_shown(value: int) -> None:
    rig = in_control()
    for drive in (PORT, STARBOARD):
        rig.obeys(0, 7, drive=drive)
    rig.after(100)
    shows(rig, value)
    rig.after(LIMIT_MS - 100)
    assert rig.says() == INCONCLUSIVE
    rig.now_ns += 1
    assert rig.says() == FAIL


def test_silence_counts_from_the_last_report_received() -> None:
    for late_ns, verdict in ((0, PASS), (1, FAIL)):
        rig = in_control()
        heard_ns = rig.now_ns
        rig.after(100)
        rig.obeys(WHEELHOUSE, 7, mask=rig.all_but(WHEELHOUSE))
        rig.now_ns = heard_ns + LIMIT_MS * MS + late_ns
        shows(rig, NOTHING_HEARD)
        assert rig.says() == verdict


def test_a_corrupt_report_breaks_no_silence() -> None:
    rig = in_control()
    heard_ns = rig.now_ns
    for _ in range(10):
        rig.after(100)
        rig.obeys(WHEELHOUSE, 7, spoil=True)
    shows(rig, NOTHING_HEARD)
    assert (rig.says(), rig.verdict().measured) == (FAIL, (rig.now_ns - heard_ns) // MS)


def test_from_its_start_a_station_must_say_that_it_hears_nothing() -> None:
    for after_ms, verdict in ((LIMIT_MS, PASS), (LIMIT_MS + 1, FAIL)):
        rig = JudgeRig(NobodyShown)
        rig.event("start", "node_1", 0)
        rig.after(after_ms)
        shows(rig, NOTHING_HEARD)
        assert rig.says() == verdict


def test_silence_not_shown_is_a_fail_though_reports_come_again() -> None:
    """Deaf for two seconds with its display unchanged, and then as if nothing had been."""
    rig = in_control()
    rig.after(2000)
    rig.obeys(WHEELHOUSE, 7)
    assert (rig.says(), rig.verdict().measured) == (FAIL, 2000)


@pytest.mark.parametrize("value", [HERE, ASKING])
def test_nobody_not_shown_is_a_fail_though_control_is_taken_again(value: int) -> None:
    rig = in_control()
    for drive in (PORT, STARBOARD):
        rig.obeys(0, 7, drive=drive)
    for _ in range(20):
        rig.after(40)
        rig.obeys(0, 7)
    shows(rig, value)
    for drive in (PORT, STARBOARD):
        rig.obeys(WHEELHOUSE, 8, drive=drive)
    rig.after(100)
    assert rig.says() == FAIL


def test_a_short_time_without_anybody_need_not_be_shown() -> None:
    rig = in_control()
    for drive in (PORT, STARBOARD):
        rig.obeys(0, 7, drive=drive)
    rig.after(LIMIT_MS)
    rig.obeys(WHEELHOUSE, 8)
    rig.after(100)
    assert rig.says() == PASS


def test_who_shows_it_already_need_not_say_it_again() -> None:
    rig = on_station()
    for _ in range(5):
        rig.obeys(0, 0)
        rig.after(40)
    shows(rig, NOBODY)
    rig.after(3000)
    shows(rig, NOTHING_HEARD)
    assert rig.says() == PASS


def nobody_for_400_ms() -> JudgeRig:
    rig = in_control()
    for drive in (PORT, STARBOARD):
        rig.obeys(0, 7, drive=drive)
    rig.after(400)
    return rig


def test_a_station_without_power_owes_nothing() -> None:
    rig = nobody_for_400_ms()
    rig.event("power", "node_1", 0)
    rig.after(5000)
    assert rig.says() == PASS


def test_a_station_that_starts_again_has_its_time_from_then_on() -> None:
    rig = nobody_for_400_ms()
    rig.event("start", "node_1", 2)
    rig.after(350)
    assert rig.says() == PASS, "nothing counts as missing yet"
    rig.now_ns += 1
    assert rig.says() == INCONCLUSIVE
    rig.after(LIMIT_MS - 350)
    assert rig.says() == FAIL


def test_each_station_is_judged_by_what_it_received() -> None:
    rig = in_control()
    rig.event("start", "node_3", 0)
    rig.event("output", "node_3", "shows", NOTHING_HEARD)
    for drive in (PORT, STARBOARD):
        rig.obeys(WHEELHOUSE, 7, drive=drive, mask=rig.bit(BRIDGE))
    rig.event("output", "node_3", "shows", ANOTHER)
    for _ in range(30):
        rig.after(40)
        rig.obeys(WHEELHOUSE, 7, mask=rig.bit(WHEELHOUSE))
    assert rig.says() == FAIL
    assert rig.verdict().evidence.startswith("node_3")


@pytest.mark.parametrize("value", [NOBODY, ASKING])
def test_a_long_silence_is_not_made_good_by_showing_something_else(value: int) -> None:
    rig = in_control()
    rig.after(2000)
    shows(rig, value)
    assert (rig.says(), rig.verdict().measured) == (FAIL, 2000)


def test_power_that_comes_changes_nothing() -> None:
    rig = in_control()
    rig.event("power", "node_1", 1)
    rig.after(2000)
    assert rig.says() == FAIL
