"""The kernel's queue and loop: order at one moment, re-arming, stale entries, and running in pieces."""

from functools import partial

from hypothesis import given, settings
from hypothesis import strategies as st

from busim.host.host import Timer
from busim.seam import OUTPUT, RECHECK, Actions
from busim.simulator.kernel import KEY_BITS, Loop
from busim.units import MS, NEVER, SECOND
from tests.unit.small_bus import BIT, Listener, SmallBus


def noting(loop: Loop, fired: list[tuple[str, int]], name: str, again: dict[int, int] | None = None) -> Timer:
    """A timer that writes down when it fires; `again` says when it wants to be called next."""
    later = again or {}

    def fire(now_ns: int) -> int:
        assert loop.now_ns == now_ns
        fired.append((name, now_ns))
        return later.get(now_ns, NEVER)

    timer = Timer(fire)
    loop.add(timer)
    return timer


def test_timers_of_one_moment_fire_in_the_order_they_were_added() -> None:
    loop, fired = Loop(), []  # type: ignore[var-annotated]
    timers = [noting(loop, fired, name) for name in "abc"]
    for timer in reversed(timers):
        loop.arm(timer, 5)
    loop.run(5)
    assert fired == [("a", 5), ("b", 5), ("c", 5)]


def test_a_timer_armed_anew_fires_only_at_the_last_moment_it_was_given() -> None:
    for moments in ((5, 9), (9, 5), (5, 9, 5), (9, 5, 9), (5, 5, 5)):
        loop, fired = Loop(), []  # type: ignore[var-annotated]
        timer = noting(loop, fired, "a")
        for moment in moments:
            loop.arm(timer, moment)
        loop.run(20)
        assert fired == [("a", moments[-1])]
        assert loop.heap == [NEVER << KEY_BITS]


def test_a_timer_that_arms_itself_while_it_fires_gets_the_earlier_of_that_and_what_it_returns() -> None:
    for armed, returned, expected in ((7, 9, 7), (9, 7, 7), (NEVER, 8, 8), (8, NEVER, 8)):
        for another in (False, True):
            assert fired_when_armed_meanwhile(armed, returned, another=another) == [5, expected]


def fired_when_armed_meanwhile(armed_ns: int, returned_ns: int, *, another: bool) -> list[int]:
    """When one timer fires that at 5 ns arms itself for `armed_ns` and returns `returned_ns`; with `another`, one that goes
    before it is armed for that very moment too."""
    loop = Loop()
    fired: list[int] = []
    other = noting(loop, [], "other")

    def fire(now_ns: int) -> int:
        fired.append(now_ns)
        if now_ns > 5:
            return NEVER
        if another:
            loop.arm(other, 5)
        if armed_ns != NEVER:
            loop.arm(timer, armed_ns)
        return returned_ns

    timer = Timer(fire)
    loop.add(timer)
    loop.arm(timer, 5)
    loop.run(20)
    return fired


def test_the_end_is_part_of_a_run_and_its_arbitration_is_not() -> None:
    small = SmallBus()
    fired: list[tuple[str, int]] = []
    small.loop.arm(noting(small.loop, fired, "a"), 46 * BIT)
    small.send(0, "a", 0x7FF)  # golden: 50 bits, accepted 4 before the next may start
    small.send(1, "a", 0x7FF, queued=True)
    small.run(46 * BIT)
    assert fired == [("a", 46 * BIT)]
    assert len(small.frames) == 1
    small.run(50 * BIT)
    assert not small.bus.segments[0].busy
    small.run(50 * BIT + 1)
    assert small.bus.segments[0].busy


class Ordered(Listener):
    """At one moment: a frame, a timer of its own, and what it then sends still takes part in the next arbitration."""

    __slots__ = ()

    def hear(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        self.calls.append(("frame", now_ns))
        return ()

    def on_deadline(self, now_ns: int) -> Actions:
        self.calls.append(("deadline", now_ns))
        self.deadline_ns = NEVER
        return ((0, 0, 0x001, b"", SECOND), (OUTPUT, "lamp", 1))


def test_at_one_moment_frames_end_then_timers_fire_then_frames_start() -> None:
    small = SmallBus(kind=Ordered)
    small.send(0, "a", 0x7FF)
    small.send(1, "c", 0x100)
    small.node("b").deadline_ns = 50 * BIT  # the very moment at which the next frame starts
    small.hosts["b"].act(1, RECHECK)
    small.run(MS)
    assert [can_id for _, can_id in small.accepted] == [0x7FF, 0x001, 0x100]


@settings(max_examples=60, deadline=None)
@given(
    cuts=st.lists(st.integers(0, 3000 * BIT), max_size=12),
    sends=st.lists(
        st.tuples(st.integers(0, 2500 * BIT), st.sampled_from("ab"), st.integers(0, 0x7F0), st.binary(max_size=8)), max_size=8
    ),
)
def test_many_pieces_are_the_same_as_one(cuts: list[int], sends: list[tuple[int, str, int, bytes]]) -> None:
    runs = []
    for pieces in ([], sorted(cuts)):
        small = SmallBus(3)
        for number, (at_ns, name, can_id, data) in enumerate(sends):
            timer = Timer(partial(hand_over, small, name, can_id, data))
            small.loop.add(timer)
            small.loop.arm(timer, at_ns + number)
        for moment in pieces:
            small.run(moment)
        small.run(SECOND)
        runs.append((small.frames, small.journal.events, [small.node(name).heard for name in "abc"]))
    assert runs[0] == runs[1]


def hand_over(small: SmallBus, name: str, can_id: int, data: bytes, now_ns: int) -> int:
    small.hosts[name].act(now_ns, ((0, 0, can_id & ~1 | (name == "b"), data, SECOND),))
    return NEVER


@settings(max_examples=100, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 4), st.integers(0, 30), st.booleans()), max_size=40))
def test_against_a_plain_list_of_what_is_due(steps: list[tuple[int, int, bool]]) -> None:
    """Arming and running at random: what fires is what a list of (moment, key), one for each timer, says."""
    loop, fired = Loop(), []  # type: ignore[var-annotated]
    timers = [noting(loop, fired, str(key)) for key in range(5)]
    due: dict[int, int] = {}
    expected: list[tuple[str, int]] = []
    now_ns = 0
    for key, ahead_ns, run in steps:
        loop.arm(timers[key], now_ns + ahead_ns)
        due[key] = now_ns + ahead_ns
        if run:
            now_ns += ahead_ns // 2
            loop.run(now_ns)
            ready = sorted((moment, key) for key, moment in due.items() if moment <= now_ns)
            expected += [(str(key), moment) for moment, key in ready]
            due = {key: moment for key, moment in due.items() if moment > now_ns}
    assert fired == expected
