"""How simulated time follows a clock."""

import pytest

from busim.rehearsal.pace import PATIENCE_S, RATES, SLICE_NS, Pace
from busim.units import MS, SECOND


def test_time_follows_the_clock_at_the_rate_that_holds_and_stands_while_paused() -> None:
    pace = Pace(100.0, 5 * SECOND)
    assert pace.due_ns(100.25, 5 * SECOND) == 5 * SECOND + 250 * MS
    pace.change(1, 100.25, 5 * SECOND + 250 * MS)
    assert pace.due_ns(100.35, 5 * SECOND + 250 * MS) == 5 * SECOND + 450 * MS
    pace.pause(100.35, 5 * SECOND + 450 * MS)
    assert pace.due_ns(200.0, 5 * SECOND + 450 * MS) == 5 * SECOND + 450 * MS
    pace.pause(300.0, 5 * SECOND + 450 * MS)
    assert pace.due_ns(300.1, 5 * SECOND + 450 * MS) == 5 * SECOND + 650 * MS


def test_rates_go_from_a_tenth_to_ten_and_no_further() -> None:
    assert RATES[0] == 0.1
    assert RATES[-1] == 10
    pace = Pace(0.0, 0)
    for _ in range(20):
        pace.change(1, 0.0, 0)
    assert pace.times == 10
    for _ in range(20):
        pace.change(-1, 0.0, 0)
    assert pace.times == 0.1


def test_many_small_slices_come_to_the_same_as_few_large_ones() -> None:
    pace, now_ns = Pace(0.0, 0), 0
    for step in range(1, 10_001):
        now_ns = pace.due_ns(step / 1000, now_ns)
    assert now_ns == 10 * SECOND, "nothing is lost to rounding"


def test_a_short_hold_up_is_caught_up_and_a_long_one_is_let_go_and_said() -> None:
    pace = Pace(0.0, 0)
    first_ns = pace.due_ns(0.7, 0)
    assert first_ns == SLICE_NS, "not all at once: keys have to be answered in between"
    assert not pace.behind
    assert pace.due_ns(0.7, first_ns) == 700 * MS
    late_ns = pace.due_ns(60.0, 700 * MS)
    assert late_ns == 700 * MS + SLICE_NS
    assert pace.behind
    assert pace.due_ns(60.1, late_ns) == late_ns + 100 * MS, "what was let go does not come back"
    assert not pace.due_ns(61.5, late_ns) < late_ns
    assert PATIENCE_S < 1


def test_lateness_is_that_of_a_slices_first_moment() -> None:
    pace = Pace(0.0, 0)
    pace.played(0.004, 0.005)
    pace.played(0.012, 0.013)
    assert list(pace.late_s) == pytest.approx([0.005, 0.009]), "due from 0.000 and from 0.004 on"
