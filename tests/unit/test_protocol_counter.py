"""The counter rule at its edges, and the serial comparison of numbers of takes.

RFC 1982, Serial Number Arithmetic, ss. 3.2 and 5.2, is from memory; its definition is written out here once more.
"""

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from busim.events.bits import CounterRule
from busim.protocol.counter import ACCEPTED, DUPLICATE, REFUSED, CounterWatch, newer

D, A, R = DUPLICATE, ACCEPTED, REFUSED

RUNS = [
    # what, max_gap, counters heard, verdicts
    ("the first frame ever is refused, the next in order counts", 3, [7, 8, 9], [R, A, A]),
    ("the first frame twice, then the next", 3, [7, 7, 8], [R, R, A]),
    ("the first frame, then not the next", 3, [7, 9, 10], [R, R, A]),
    ("start at the wrap", 3, [255, 0, 1], [R, A, A]),
    ("a duplicate", 3, [7, 8, 8, 8, 9], [R, A, D, D, A]),
    ("gaps of 1, 2 and 3 at max_gap 3", 3, [0, 1, 2, 4, 7], [R, A, A, A, A]),
    ("a gap of 4 at max_gap 3, then in order", 3, [0, 1, 5, 6, 7], [R, A, R, A, A]),
    ("max_gap 1: a gap of 1", 1, [0, 1, 2, 3], [R, A, A, A]),
    ("max_gap 1: a gap of 2, then in order", 1, [0, 1, 3, 4], [R, A, R, A]),
    ("max_gap 100: gaps of 100 and 101", 100, [0, 1, 101, 202, 203], [R, A, A, R, A]),
    ("the wrap in order", 3, [253, 254, 255, 0, 1], [R, A, A, A, A]),
    ("the wrap with the largest gap", 3, [253, 254, 1], [R, A, A]),
    ("the wrap with one more", 3, [253, 254, 2, 3], [R, A, R, A]),
    ("one behind", 3, [9, 10, 9, 10, 11], [R, A, R, D, A]),
    ("far away, then back in order: the stray is forgotten", 3, [9, 10, 50, 11, 51], [R, A, R, A, R]),
    ("far away, a duplicate between, then the next of the stray", 3, [9, 10, 50, 10, 51, 52], [R, A, R, D, A, A]),
    ("far away, repeated, then its next", 3, [9, 10, 50, 50, 51], [R, A, R, R, A]),
    ("far away, two steps on: not in a row", 3, [9, 10, 50, 52, 53], [R, A, R, R, A]),
    ("steady steps of 4 at max_gap 3 never count", 3, [0, 1, 5, 9, 13, 17], [R, A, R, R, R, R]),
    ("a frozen counter only ever repeats", 3, [9, 10, 10, 10, 10], [R, A, D, D, D]),
    ("half way round", 3, [0, 1, 129, 130], [R, A, R, A]),
    ("the stray's next equals the last: still a duplicate", 3, [9, 10, 9, 10], [R, A, R, D]),
]


@pytest.mark.parametrize(("what", "max_gap", "counters", "verdicts"), RUNS, ids=[run[0] for run in RUNS])
def test_counter(what: str, max_gap: int, counters: list[int], verdicts: list[int]) -> None:
    watch, rule = CounterWatch(max_gap), CounterRule(max_gap)
    assert [watch.judge(counter) for counter in counters] == verdicts
    assert [rule.counts(counter) for counter in counters] == [verdict == A for verdict in verdicts]


@pytest.mark.parametrize("max_gap", [1, 2, 3, 7, 100])
def test_every_step_from_every_counter(max_gap: int) -> None:
    for last in range(256):
        for step in range(256):
            watch, rule = CounterWatch(max_gap), CounterRule(max_gap)
            assert (watch.judge((last - 1) % 256), watch.judge(last)) == (R, A)
            assert (rule.counts((last - 1) % 256), rule.counts(last)) == (False, True)
            assert watch.judge((last + step) % 256) == (D if step == 0 else A if step <= max_gap else R)
            assert rule.counts((last + step) % 256) == (1 <= step <= max_gap)


def test_forget() -> None:
    watch = CounterWatch(3)
    assert [watch.judge(counter) for counter in (1, 2, 3)] == [R, A, A]
    watch.forget()
    assert [watch.judge(counter) for counter in (4, 5)] == [R, A]
    watch.judge(9)
    watch.forget()
    assert watch.judge(10) == R, "a stray before is forgotten too"


@settings(deadline=None)
@given(data=st.data(), max_gap=st.integers(1, 100), counter=st.integers(0, 255))
def test_judges_and_nodes_agree(data: st.DataObject, max_gap: int, counter: int) -> None:
    """The rule stands twice, written apart: once for nodes, once for whoever judges them."""
    steps = st.sampled_from([0, 1, 1, 1, 2, max_gap, max_gap + 1, 255]) | st.integers(0, 255)
    watch, rule = CounterWatch(max_gap), CounterRule(max_gap)
    for move in data.draw(st.lists(steps, max_size=60)):
        counter = (counter + move) % 256
        assert (watch.judge(counter) == ACCEPTED) == rule.counts(counter)


@settings(deadline=None)
@given(max_gap=st.integers(1, 100), counters=st.lists(st.integers(0, 255), max_size=60))
def test_judges_and_nodes_agree_on_any_counters(max_gap: int, counters: list[int]) -> None:
    watch, rule = CounterWatch(max_gap), CounterRule(max_gap)
    for counter in counters:
        assert (watch.judge(counter) == ACCEPTED) == rule.counts(counter)


@settings(deadline=None)
@given(max_gap=st.integers(1, 100), counters=st.lists(st.integers(0, 255), min_size=1, max_size=60))
def test_a_counter_that_counts_follows_another_closely(max_gap: int, counters: list[int]) -> None:
    """Whatever comes: what counts is 1 to max_gap ahead of the last that counted, or 1 ahead of a frame heard before."""
    watch = CounterWatch(max_gap)
    last, heard = None, set[int]()
    for counter in counters:
        if watch.judge(counter) == ACCEPTED:
            close = last is not None and 1 <= (counter - last) % 256 <= max_gap
            assert close or (counter - 1) % 256 in heard
            last = counter
        heard.add(counter)


# ------------------------------------------------------------------------------------------------ numbers of takes

numbers = st.integers(1, 0xFFFF)


def greater(one: int, other: int) -> bool:
    """RFC 1982, s. 3.2, for 16 bits, as it is written there."""
    return (one < other and other - one > 2**15) or (one > other and one - other < 2**15)


@settings(deadline=None)
@given(one=numbers, other=numbers)
@example(one=1, other=0x8001)
@example(one=0x8001, other=1)
@example(one=0xFFFF, other=1)
@example(one=1, other=0xFFFF)
def test_newer_is_serial_comparison(one: int, other: int) -> None:
    assert newer(one, other) == greater(one, other)


@pytest.mark.parametrize(
    ("one", "other"), [(1, 0), (44, 0), (100, 0), (100, 44), (200, 100), (255, 200), (0, 255), (100, 255), (0, 200), (44, 200)]
)
def test_examples_of_the_rfc(one: int, other: int) -> None:
    """S. 5.2 has 8 bits: times 256 they are 16, and 1 further on, which changes nothing, none of them is our 0."""
    assert newer(one * 256 + 1, other * 256 + 1)
    assert not newer(other * 256 + 1, one * 256 + 1)


@settings(deadline=None)
@given(number=numbers)
def test_numbers_exactly_half_way_round_are_neither_newer(number: int) -> None:
    other = (number + 0x8000) & 0xFFFF
    if other:
        assert not newer(number, other)
        assert not newer(other, number)


@settings(deadline=None)
@given(number=numbers)
def test_nothing_is_older_than_no_number(number: int) -> None:
    """A node that starts anew can follow any number, and does not outbid with its 0."""
    assert newer(number, 0)
    assert not newer(0, number)
    assert not newer(0, 0)


@settings(deadline=None)
@given(number=numbers, ahead=st.integers(1, 0x7FFF))
def test_any_number_ahead_by_less_than_half_is_newer(number: int, ahead: int) -> None:
    other = (number + ahead) & 0xFFFF
    if other:
        assert newer(other, number)
        assert not newer(number, other)
