"""One sender heard on two buses: the first valid new frame counts, and nothing old comes back by the slower one."""

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busim.events.bits import CounterRule, SeveralBusesRule
from busim.protocol.catalogue import ALARM, ALARM_ANSWER, CLAIM, CONDITION, DRIVE_OBEYS, HEARTBEAT, LEVER, RUDDER_STATE, WHEEL
from busim.protocol.counter import ACCEPTED, DUPLICATE, REFUSED, CounterWatch, PairWatch, counter_watch, limit_ms
from busim.units import MS

from .c_driver import CDriver
from .small_boat import PORT, WHEELHOUSE, small_boat

D, A, R = DUPLICATE, ACCEPTED, REFUSED
WORDS = {A: "counts", D: "duplicate", R: "refused"}
LIMIT_MS = 250
"""Of a lever: the control timeout."""
HALF_MS = LIMIT_MS // 2
PERIOD_MS = 20

Heard = list[tuple[int, int, int]]
"""(ms, bus, counter)."""

RUNS = [
    ("both in step", [(0, 1), (1, 1), (0, 2), (1, 2), (0, 3), (1, 3)], [R, R, A, D, A, D]),
    ("the second bus brings it first", [(0, 1), (1, 1), (1, 2), (0, 2), (1, 3), (0, 3)], [R, R, A, D, A, D]),
    ("lost on one bus, heard by the other", [(0, 1), (1, 1), (0, 2), (1, 2), (1, 3), (0, 4), (1, 4)], [R, R, A, D, A, A, D]),
    ("a bus that joins in late", [(0, 1), (0, 2), (0, 3), (1, 3), (1, 4), (0, 4)], [R, A, A, R, A, D]),
    ("old frames held back on one bus", [(0, 1), (1, 1), (0, 2), (1, 2), (0, 3), (0, 4), (0, 5), (1, 3), (1, 4), (0, 6)],
     [R, R, A, D, A, A, A, D, D, A]),
    # The bus that was off when the other one was believed leads no more until it has kept up for a while.
    ("the sender counts anew, heard on both",
     [(0, 100), (1, 100), (0, 101), (1, 101), (0, 90), (1, 90), (0, 91), (1, 91), (0, 92), (1, 92)],
     [R, R, A, D, R, R, D, A, D, A]),
    ("the second frame ever is 255", [(0, 254), (1, 254), (0, 255), (1, 255), (0, 0)], [R, R, A, D, A]),
    ("a gap above max_gap on both", [(0, 1), (1, 1), (0, 2), (1, 2), (0, 9), (1, 9), (0, 10), (1, 10)], [R, R, A, D, R, R, A, D]),
]  # fmt: skip
"""Played within a few ms."""


def verdicts_of(heard: Heard, max_gap: int = 3, limit: int = LIMIT_MS) -> list[int]:
    """What a pair makes of it; and the judges' rule agrees."""
    watch, rule = PairWatch(max_gap, (0, 1), limit), SeveralBusesRule(max_gap, limit * MS)
    verdicts = [watch.judge(counter % 256, bus, at_ms * MS) for at_ms, bus, counter in heard]
    assert [rule.counts(counter % 256, bus, at_ms * MS) for at_ms, bus, counter in heard] == [each == A for each in verdicts]
    return verdicts


def acted_on(heard: Heard) -> Heard:
    return [frame for frame, verdict in zip(heard, verdicts_of(heard), strict=True) if verdict == A]


def every_20_ms(bus: int, first: int, end: int, from_ms: int = 0) -> Heard:
    return [(from_ms + PERIOD_MS * place, bus, counter) for place, counter in enumerate(range(first, end))]


def in_time(*parts: Heard) -> Heard:
    return sorted((frame for part in parts for frame in part), key=lambda frame: frame[0])


def held_back(held: int, first: int = 0) -> Heard:
    """Bus 1 holds so many frames back and lets them go, two in a ms, while bus 0 goes on for a second."""
    begins, ends = first + 5, first + 5 + held
    released_ms = PERIOD_MS * (ends - first) - 7
    released = [(released_ms + place // 2, 1, begins + place) for place in range(held)]
    # What it is sent meanwhile waits behind these: as late as the last of them until that is over.
    later = every_20_ms(1, first, ends + 50)[ends - first :]
    after = [(max(at_ms, released[-1][0]), bus, counter) for at_ms, bus, counter in later]
    return in_time(every_20_ms(0, first, ends + 50), every_20_ms(1, first, begins), released, after)


@pytest.mark.parametrize(("what", "heard", "verdicts"), RUNS, ids=[run[0] for run in RUNS])
def test_pair(what: str, heard: list[tuple[int, int]], verdicts: list[int]) -> None:
    assert verdicts_of([(place, bus, counter) for place, (bus, counter) in enumerate(heard)]) == verdicts


# ------------------------------------------------------------------------------------------------ held back on one bus


@pytest.mark.parametrize("first", [0, 200])
@pytest.mark.parametrize("held", [1, 3, 4, 12, 13, 31, 32, 33, 94, 127, 128, 129, 150, 250, 252, 253, 255, 256, 257, 300, 520])
def test_a_queue_let_go_brings_nothing_old_back(held: int, first: int) -> None:
    """Also where the counter has gone round meanwhile, and what is old looks just ahead."""
    acted = acted_on(held_back(held, first))
    assert [counter for _, _, counter in acted] == list(range(first + 1, first + 5 + held + 50)), "each once, in order"


def test_a_queue_let_go_costs_the_bus_its_place_only_for_a_while() -> None:
    held = 94
    heard = held_back(held)
    back_ms = next(at_ms for at_ms, bus, counter in heard if bus == 1 and counter >= held + 2)
    lost_later = [frame for frame in heard if frame[1] == 1 or frame[0] < back_ms + HALF_MS + PERIOD_MS or frame[0] // 20 % 2]
    acted = acted_on(lost_later)
    assert {counter for _, _, counter in acted} == set(range(1, held + 55))


def test_a_bus_that_falls_behind_slowly_brings_nothing_old_back() -> None:
    """It is never silent, and at last so late that what it brings looks ahead: 22 ms a frame for 20."""
    slow = [(22 * counter, 1, counter) for counter in range(2500)]
    acted = acted_on(in_time(every_20_ms(0, 0, 2500), slow))
    assert [counter for _, bus, counter in acted if bus == 0] == list(range(1, 2500))


@settings(deadline=None)
@given(
    first=st.integers(0, 255),
    lost=st.sets(st.tuples(st.integers(0, 1), st.integers(0, 60)), max_size=20),
    held=st.integers(0, 25),
    at=st.integers(5, 60),
)
def test_nothing_old_comes_back_while_the_other_bus_goes_on(first: int, lost: set[tuple[int, int]], held: int, at: int) -> None:
    """Frames lost here and there; from `at` on, bus 1 holds back `held` frames and brings them in one go."""
    queue: list[int] = []
    heard: Heard = []
    for step in range(61):
        heard += [(step * PERIOD_MS, 0, first + step)] if (0, step) not in lost else []
        queue += [first + step] if (1, step) not in lost else []
        if not at <= step < at + held:
            heard += [(step * PERIOD_MS, 1, each) for each in queue]
            queue = []
    acted = [counter for _, _, counter in acted_on(heard)]
    assert acted == sorted(set(acted)), "each at most once, and in order"


@settings(deadline=None)
@given(
    first=st.integers(0, 255),
    lost=st.dictionaries(st.integers(0, 420), st.integers(1, 3), max_size=30),
    lost_late=st.sets(st.integers(0, 420), max_size=30),
    held=st.integers(1, 330),
)
def test_nothing_old_comes_back_however_long_it_was_held(
    first: int, lost: dict[int, int], lost_late: set[int], held: int
) -> None:
    """`lost`: on the sound bus, so many from there on. It is never silent for so long that it is dead."""
    gone = {each for at, many in lost.items() if not lost.keys() & set(range(at - 6, at)) for each in range(at, at + many)}
    heard = [frame for frame in held_back(held, first) if frame[2] - first not in (lost_late if frame[1] else gone)]
    acted = [counter for _, _, counter in acted_on(heard)]
    assert acted == sorted(set(acted)), "each at most once, and in order"


# ------------------------------------------------------------------------------------------------ one bus left over


@pytest.mark.parametrize("behind", [1, 20, 127, 200])
@pytest.mark.parametrize("silent_ms", [1, 1000])
def test_the_bus_that_is_left_over_is_believed_in_time(behind: int, silent_ms: int) -> None:
    """The sender began anew while bus 0 was dead: the dead bus's last word holds the other back for half the limit, no longer."""
    begins_ms = 40 + silent_ms
    both = in_time(every_20_ms(0, 198, 201), every_20_ms(1, 198, 201, from_ms=1))
    anew = [(begins_ms + 5 * step, 1, 200 - behind + step) for step in range(40)]
    verdicts = verdicts_of([*both, *anew])[len(both) :]
    believed = next(at_ms for (at_ms, _, _), verdict in zip(anew, verdicts, strict=True) if verdict == A)
    alone_ms = begins_ms + 5 if silent_ms >= LIMIT_MS else 41
    by_time_ms = next(at_ms for at_ms, _, _ in anew[1:] if at_ms - alone_ms >= HALF_MS)
    # Ahead, by a bus that was never off: what is 200 behind is 56 ahead for whoever has only the counter.
    at_once_ms = {1: begins_ms + 10, 200: begins_ms + 5}
    assert believed == at_once_ms.get(behind, by_time_ms)
    after = [verdict for (at_ms, _, _), verdict in zip(anew, verdicts, strict=True) if at_ms >= believed]
    assert set(after) == {A}


@pytest.mark.parametrize(("alone_ms", "verdict"), [(HALF_MS - 1, D), (HALF_MS, A)])
def test_a_bus_is_dead_at_half_the_limit(alone_ms: int, verdict: int) -> None:
    """Bus 1 was astray, and is all there is from 2000 ms on."""
    back = 5 + 90
    heard = in_time(every_20_ms(0, 0, 101), every_20_ms(1, 0, 5), [(2000, 1, back), (2000, 1, back + 1)])
    assert verdicts_of([*heard, (2000 + alone_ms, 1, back + 2)])[-1] == verdict


def test_a_frame_by_the_other_bus_shows_that_it_lives() -> None:
    heard = in_time(every_20_ms(0, 0, 101), every_20_ms(1, 0, 5), [(2000, 1, 95), (2000, 1, 96), (2100, 0, 101)])
    assert verdicts_of([*heard, (2125, 1, 97)])[-2:] == [A, D]


@pytest.mark.parametrize(("near_ms", "verdict"), [(HALF_MS - 1, D), (HALF_MS, A)])
def test_a_bus_has_found_back_after_half_the_limit(near_ms: int, verdict: int) -> None:
    since_ms = 2001
    back = [(since_ms - 1, 1, 99), (since_ms, 1, 100)]
    heard = in_time(every_20_ms(0, 0, 107), every_20_ms(1, 0, 5), back)
    ahead = 106 + (since_ms + near_ms - 2120) // PERIOD_MS
    heard = [frame for frame in heard if frame[0] <= since_ms + near_ms]
    newest = max(counter for _, bus, counter in heard if bus == 0)
    assert ahead == newest
    between = [(at_ms + 1, 1, counter) for at_ms, bus, counter in heard if bus == 0 and since_ms < at_ms + 1 < since_ms + near_ms]
    assert verdicts_of([*in_time(heard, between), (since_ms + near_ms, 1, newest + 1)])[-1] == verdict


@pytest.mark.parametrize(("silent_ms", "verdict"), [(LIMIT_MS - 1, A), (LIMIT_MS, D)])
def test_a_bus_goes_astray_at_the_limit(silent_ms: int, verdict: int) -> None:
    """Bus 1 is first with a counter that only the sender's newest can have, or what it held for 256 frames."""
    heard = [(0, 0, 1), (0, 1, 1), (10, 0, 2), (10, 1, 2)]
    heard += [(10 + silent_ms * place // 10, 0, 2 + place) for place in range(1, 11)]
    assert verdicts_of([*heard, (11 + silent_ms, 1, 12), (12 + silent_ms, 1, 13)])[-1] == verdict


def test_silence_on_both_costs_no_bus_its_place() -> None:
    """Noise that both ride through: whoever comes first counts at once."""
    heard = in_time(every_20_ms(0, 0, 5), every_20_ms(1, 0, 5), [(80 + LIMIT_MS - 1, 1, 7)])
    assert verdicts_of(heard)[-1] == A
    heard = in_time(every_20_ms(0, 0, 5), every_20_ms(1, 0, 5), [(80 + 5 * LIMIT_MS, 1, 6)])
    assert verdicts_of(heard)[-1] == A


@pytest.mark.parametrize("cut_ms", range(2000, 2200, 7))
@pytest.mark.parametrize("held", [1, 5, 13, 90])
def test_no_lever_is_lost_by_the_rule_where_a_bus_dies(cut_ms: int, held: int) -> None:
    """Bus 1 has lost frames, or comes back late with them, about when bus 0 is cut: never a gap of the control timeout."""
    heard = in_time(every_20_ms(0, 0, 200), every_20_ms(1, 0, 95 - held), every_20_ms(1, 95, 200, from_ms=1901))
    acted = acted_on([frame for frame in heard if frame[1] == 1 or frame[0] < cut_ms])
    gaps = [after[0] - before[0] for before, after in pairwise(acted)]
    assert max(gaps) <= HALF_MS + 2 * PERIOD_MS < LIMIT_MS
    assert acted[-1][2] == 199


@pytest.mark.parametrize("phase_ms", range(0, 100, 9))
def test_no_heartbeat_is_lost_by_the_rule_where_a_bus_dies(phase_ms: int) -> None:
    """Every 100 ms, missing after 350: bus 1 was gone for long, and came back just before bus 0 is cut."""
    beats = [(100 * counter + bus * phase_ms, bus, counter) for counter in range(100) for bus in (0, 1)]
    heard = [(at_ms, bus, n) for at_ms, bus, n in sorted(beats) if (at_ms < 5000 if bus == 0 else not 1000 < at_ms < 4800)]
    watch = PairWatch(3, (0, 1), 350)
    acted = [at_ms for at_ms, bus, counter in heard if watch.judge(counter, bus, at_ms * MS) == A]
    assert max(after - before for before, after in pairwise(acted)) < 350
    assert acted[-1] == 9900 + phase_ms


# ------------------------------------------------------------------------------------------------ the rest


def test_the_limit_is_what_silence_means() -> None:
    timing = small_boat().timing
    wanted = {LEVER: 250, WHEEL: 250, DRIVE_OBEYS: 300, RUDDER_STATE: 350, HEARTBEAT: 350, CLAIM: 500, ALARM_ANSWER: 1000}
    wanted |= {ALARM: 3500, CONDITION: 3500}
    assert {message: limit_ms(timing, message) for message in wanted} == wanted


def test_forget() -> None:
    watch, new = PairWatch(3, (0, 1), LIMIT_MS), PairWatch(3, (0, 1), LIMIT_MS)
    for at_ms, bus, counter in held_back(94):
        watch.judge(counter, bus, at_ms * MS)
    watch.forget()
    heard = [(9000, 1, 1), (9001, 1, 2), (9002, 0, 50), (9003, 0, 51), (9004, 0, 52)]
    assert [watch.judge(counter, bus, at * MS) for at, bus, counter in heard] == [
        new.judge(counter, bus, at * MS) for at, bus, counter in heard
    ]


def test_one_bus_has_the_plain_rule() -> None:
    assert type(counter_watch(small_boat(), PORT, WHEELHOUSE, LEVER)) is CounterWatch


@settings(deadline=None)
@given(max_gap=st.integers(1, 100), counters=st.lists(st.tuples(st.integers(0, 255), st.integers(0, 300)), max_size=60))
def test_heard_on_one_bus_only_it_is_the_plain_rule_for_what_goes_forward(
    max_gap: int, counters: list[tuple[int, int]]
) -> None:
    pair, plain, judge = PairWatch(max_gap, (0, 1), LIMIT_MS), CounterWatch(max_gap), CounterRule(max_gap)
    now_ns = 0
    for counter, passed_ms in counters:
        now_ns += passed_ms * MS
        verdict = pair.judge(counter, 0, now_ns)
        assert (verdict == ACCEPTED) == (plain.judge(counter) == ACCEPTED) == judge.counts(counter)


def test_what_comes_by_a_bus_the_sender_is_not_on_is_refused_and_spoils_nothing() -> None:
    pair = PairWatch(3, (0, 1), LIMIT_MS)
    assert [pair.judge(counter, bus) for counter in (1, 2) for bus in (0, 1)][-2:] == [ACCEPTED, DUPLICATE]
    assert [pair.judge(counter, 2) for counter in (3, 4, 5)] == [REFUSED] * 3
    assert pair.judge(3, 0) == ACCEPTED


def test_the_exported_c_says_the_same(c_driver: CDriver) -> None:
    """Of what is played above: queues held back, and the bus that is left over."""
    plays = [[(place, bus, counter) for place, (bus, counter) in enumerate(run[1])] for run in RUNS]
    plays += [held_back(held, first) for held in (31, 32, 33, 94, 150, 250, 253, 300) for first in (0, 200)]
    plays += [
        in_time(every_20_ms(0, 198, 201), [(60 + 5 * step, 1, 200 - behind + step) for step in range(40)]) for behind in (20, 127)
    ]
    for heard in plays:
        lines = [f"pair start 3 3 {LIMIT_MS}", *(f"pair {at_ms} {bus} {counter % 256}" for at_ms, bus, counter in heard)]
        assert c_driver.ask(lines)[1:] == [WORDS[verdict] for verdict in verdicts_of(heard)]
