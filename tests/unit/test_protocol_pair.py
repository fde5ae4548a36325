"""One sender heard on two buses: the first valid new frame counts, and nothing old comes back by the slower one."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busim.events.bits import CounterRule, SeveralBusesRule
from busim.protocol.counter import ACCEPTED, DUPLICATE, LEFT_OVER, REFUSED, CounterWatch, PairWatch, counter_watch

from .small_boat import PORT, WHEELHOUSE, small_boat

D, A, R = DUPLICATE, ACCEPTED, REFUSED

RUNS = [
    ("both in step", [(0, 1), (1, 1), (0, 2), (1, 2), (0, 3), (1, 3)], [R, R, A, D, A, D]),
    ("the second bus brings it first", [(0, 1), (1, 1), (1, 2), (0, 2), (1, 3), (0, 3)], [R, R, A, D, A, D]),
    ("lost on one bus, heard by the other", [(0, 1), (1, 1), (0, 2), (1, 2), (1, 3), (0, 4), (1, 4)], [R, R, A, D, A, A, D]),
    ("a bus that joins in late", [(0, 1), (0, 2), (0, 3), (1, 3), (1, 4), (0, 4)], [R, A, A, R, A, D]),
    ("old frames held back on one bus", [(0, 1), (1, 1), (0, 2), (1, 2), (0, 3), (0, 4), (0, 5), (1, 3), (1, 4), (0, 6)],
     [R, R, A, D, A, A, A, D, D, A]),
    ("the sender counts anew, heard on both", [(0, 100), (1, 100), (0, 101), (1, 101), (0, 90), (1, 90), (0, 91), (1, 91), (0, 92)],
     [R, R, A, D, R, R, D, A, A]),
    ("the second frame ever is 255", [(0, 254), (1, 254), (0, 255), (1, 255), (0, 0)], [R, R, A, D, A]),
    ("a gap above max_gap on both", [(0, 1), (1, 1), (0, 2), (1, 2), (0, 9), (1, 9), (0, 10), (1, 10)], [R, R, A, D, R, R, A, D]),
]  # fmt: skip


@pytest.mark.parametrize(("what", "heard", "verdicts"), RUNS, ids=[run[0] for run in RUNS])
def test_pair(what: str, heard: list[tuple[int, int]], verdicts: list[int]) -> None:
    watch, rule = PairWatch(3, (0, 1)), SeveralBusesRule(3)
    assert [watch.judge(counter, bus) for bus, counter in heard] == verdicts
    assert [rule.counts(counter, bus) for bus, counter in heard] == [verdict == A for verdict in verdicts]


@settings(deadline=None)
@given(
    first=st.integers(0, 255),
    lost=st.sets(st.tuples(st.integers(0, 1), st.integers(0, 60)), max_size=20),
    held=st.integers(0, 25),
    at=st.integers(5, 60),
)
def test_nothing_old_comes_back_while_the_other_bus_goes_on(first: int, lost: set[tuple[int, int]], held: int, at: int) -> None:
    """Frames lost here and there; from `at` on, bus 1 holds back `held` frames and brings them in one go."""
    watch, rule = PairWatch(3, (0, 1)), SeveralBusesRule(3)
    acted: list[int] = []
    queue: list[int] = []
    for step in range(61):
        arrived = [(0, step)] if (0, step) not in lost else []
        queue += [step] if (1, step) not in lost else []
        if not at <= step < at + held:
            arrived += [(1, each) for each in queue]
            queue = []
        for bus, each in arrived:
            counter = (first + each) % 256
            counted = watch.judge(counter, bus) == ACCEPTED
            assert rule.counts(counter, bus) == counted
            if counted:
                acted.append(each)
    assert acted == sorted(set(acted)), "each at most once, and in order"


@pytest.mark.parametrize("behind", [1, 20, 127])
def test_the_bus_that_is_left_over_is_believed_in_time(behind: int) -> None:
    """The sender began anew while one bus was dead: the dead bus's last word holds the other back so long and no longer."""
    watch, rule = PairWatch(3, (0, 1)), SeveralBusesRule(3)
    for bus, counter in ((0, 199), (0, 200)):
        watch.judge(counter, bus)
        rule.counts(counter, bus)
    heard = [200 - behind + step for step in range(LEFT_OVER + 2)]
    verdicts = [watch.judge(counter, 1) for counter in heard]
    assert [rule.counts(counter, 1) for counter in heard] == [verdict == A for verdict in verdicts]
    wanted = min(LEFT_OVER, behind + 1)
    assert verdicts.index(A) == wanted
    assert set(verdicts[wanted:]) == {A}


def test_forget() -> None:
    watch = PairWatch(3, (0, 1))
    assert [watch.judge(counter, 0) for counter in (7, 8)] == [R, A]
    watch.forget()
    assert [watch.judge(counter, 1) for counter in (1, 2)] == [R, A]


def test_one_bus_has_the_plain_rule() -> None:
    assert type(counter_watch(small_boat(), PORT, WHEELHOUSE)) is CounterWatch


@settings(deadline=None)
@given(max_gap=st.integers(1, 100), counters=st.lists(st.integers(0, 255), max_size=60))
def test_heard_on_one_bus_only_it_is_the_plain_rule_for_what_goes_forward(max_gap: int, counters: list[int]) -> None:
    pair, plain, judge = PairWatch(max_gap, (0, 1)), CounterWatch(max_gap), CounterRule(max_gap)
    for counter in counters:
        verdict = pair.judge(counter, 0)
        assert (verdict == ACCEPTED) == (plain.judge(counter) == ACCEPTED) == judge.counts(counter)


def test_what_comes_by_a_bus_the_sender_is_not_on_is_refused_and_spoils_nothing() -> None:
    pair = PairWatch(3, (0, 1))
    assert [pair.judge(counter, bus) for counter in (1, 2) for bus in (0, 1)][-2:] == [ACCEPTED, DUPLICATE]
    assert [pair.judge(counter, 2) for counter in (3, 4, 5)] == [REFUSED] * 3
    assert pair.judge(3, 0) == ACCEPTED
