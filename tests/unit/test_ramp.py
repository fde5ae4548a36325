"""Motion at constant speed, in closed form, against a scan of every nanosecond and against the same sum done in fractions."""

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busim.plant.ramp import Ramp
from busim.units import MS, SECOND

positions = st.integers(-1_000_000, 1_000_000)
speeds = st.integers(1, 60_000_000)


def plain_position(start: int, start_ns: int, target: int, per_second: int, now_ns: int) -> int:
    """Distance in whole units, cut, towards the target and never beyond it."""
    distance = int(Fraction(now_ns - start_ns, SECOND) * per_second)
    return min(start + distance, target) if target >= start else max(start - distance, target)


@settings(max_examples=300, deadline=None)
@given(start=positions, target=positions, speed=speeds, start_ns=st.integers(0, 10**12), after_ns=st.integers(0, 10**11))
def test_where_it_is(start: int, target: int, speed: int, start_ns: int, after_ns: int) -> None:
    ramp = Ramp(start, 1)
    ramp.go(start_ns, target, speed)
    assert ramp.read(start_ns + after_ns) == plain_position(start, start_ns, target, speed, start_ns + after_ns)


@settings(max_examples=300, deadline=None)
@given(start=positions, target=positions, speed=speeds, start_ns=st.integers(0, 10**12))
def test_it_reaches_its_target_at_a_moment_and_not_a_nanosecond_before(start: int, target: int, speed: int, start_ns: int) -> None:
    ramp = Ramp(start, 1)
    ramp.go(start_ns, target, speed)
    there_ns = ramp.reaches_ns(target)
    assert ramp.read(there_ns) == target
    assert ramp.still(there_ns)
    if start != target:
        assert ramp.read(there_ns - 1) != target
        assert not ramp.still(there_ns - 1)


@settings(max_examples=200, deadline=None)
@given(
    start=st.integers(-40, 40),
    target=st.integers(-40, 40),
    speed=st.integers(SECOND // 40, SECOND // 3),  # 3 to 40 ns for each unit, so that every nanosecond can be looked at
    start_ns=st.integers(0, 50),
    marks=st.sets(st.integers(-45, 45), min_size=1, max_size=6),
)
def test_the_next_crossing_is_the_first_that_a_scan_of_every_nanosecond_finds(
    start: int, target: int, speed: int, start_ns: int, marks: set[int]
) -> None:
    ramp = Ramp(start, 1)
    ramp.go(start_ns, target, speed)
    rising = tuple(sorted(marks))
    last_ns = start_ns + 80 * 40 + 2
    arrivals = []
    before = ramp.read(start_ns)
    for now_ns in range(start_ns + 1, last_ns):
        position = ramp.read(now_ns)
        passed = range(before + 1, position + 1) if position > before else range(position, before)
        if any(mark in marks for mark in passed):
            arrivals.append(now_ns)
        before = position
    now_ns = start_ns
    found = []
    while (moment := ramp.next_crossing_ns(now_ns, rising)) is not None:
        found.append(moment)
        now_ns = moment
    assert found == arrivals


def test_turned_round_on_the_way_it_starts_from_where_it_was() -> None:
    ramp = Ramp(0, 1000)
    ramp.go(0, 1000)
    ramp.go(300 * MS, -1000, 2000)
    assert ramp.read(300 * MS) == 300
    assert ramp.read(450 * MS) == 0
    assert ramp.read(900 * MS) == -900
    assert ramp.read(10 * SECOND) == -1000


def test_stopped_it_stays() -> None:
    ramp = Ramp(0, 1000)
    ramp.go(0, 1000)
    ramp.stop(250 * MS)
    assert ramp.read(SECOND) == 250
    assert ramp.still(250 * MS)
    assert ramp.next_crossing_ns(250 * MS, (0, 250, 500)) is None


def test_sent_where_it_is_it_is_still() -> None:
    ramp = Ramp(7, 1000)
    ramp.go(5, 7)
    assert ramp.still(5)
    assert ramp.next_crossing_ns(5, (7,)) is None


@pytest.mark.parametrize("per_second", [1, 10**9, 10**12])
def test_the_slowest_and_the_fastest(per_second: int) -> None:
    ramp = Ramp(0, per_second)
    ramp.go(0, 1000)
    assert ramp.reaches_ns(1000) == max(1000 * SECOND // per_second, 1)
