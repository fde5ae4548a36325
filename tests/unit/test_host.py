"""The host round a node: its clock, start and power, deadlines, inputs, outputs, and a node that breaks the rules of the seam."""

from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from busim.host.host import ONE, Host, NodeError
from busim.host.inputs import Constant
from busim.seam import NOTHING, OUTPUT, QUEUE, RECHECK, ROW, SEND, Actions, Node
from busim.units import MS, NEVER, SECOND
from tests.unit.small_bus import BIT, Listener, SmallBus

PPM = ONE // 1_000_000


def clocked(rate: int, on_ns: int = 0) -> Host:
    host = SmallBus(1).hosts["a"]
    host.rate, host.on_ns = rate, on_ns
    return host


# ------------------------------------------------------------------------------------------------ clock

rates = st.integers(min_value=ONE - 50_000 * PPM, max_value=ONE + 50_000 * PPM)
"""The boat file allows clocks up to 50,000 ppm wrong."""


@settings(max_examples=300, deadline=None)
@given(rate=rates, on_ns=st.integers(0, 10**13), own_ns=st.integers(0, 10**14))
@example(rate=ONE, on_ns=5, own_ns=7)
def test_true_time_of_a_deadline_is_the_first_moment_the_own_clock_shows_it(rate: int, on_ns: int, own_ns: int) -> None:
    host = clocked(rate, on_ns)
    due_ns = host.true_ns(own_ns)
    assert host.own_ns(due_ns) >= own_ns
    assert host.own_ns(due_ns - 1) < own_ns


@settings(max_examples=300, deadline=None)
@given(rate=rates, now_ns=st.integers(0, 10**13), later_ns=st.integers(0, 10**6))
def test_the_own_clock_never_runs_backwards(rate: int, now_ns: int, later_ns: int) -> None:
    host = clocked(rate)
    assert host.own_ns(now_ns) <= host.own_ns(now_ns + later_ns)


@pytest.mark.parametrize(("ppm", "after_an_hour_ns"), [(100, 360 * MS), (-100, -360 * MS), (0, 0)])
def test_100_ppm_are_360_ms_in_an_hour(ppm: int, after_an_hour_ns: int) -> None:
    hour_ns = 3600 * SECOND
    host = clocked(ONE + ppm * ONE // 1_000_000)
    assert abs(host.own_ns(hour_ns) - hour_ns - after_an_hour_ns) < 1000


class Beating(Listener):
    """Sends every 20 ms of its own clock."""

    __slots__ = ()

    def on_start(self, now_ns: int, reset_cause: int) -> Actions:
        self.deadline_ns = 20 * MS
        return super().on_start(now_ns, reset_cause)

    def on_deadline(self, now_ns: int) -> Actions:
        self.calls.append(("deadline", now_ns))
        self.deadline_ns += 20 * MS
        return ((SEND, 0, 0x123, b"", MS),)


def test_a_fast_clock_beats_early_and_a_deadline_is_met_at_exactly_the_deadline() -> None:
    small = SmallBus(2, kind=Beating, off="b")
    small.hosts["a"].rate = ONE + 10_000 * PPM  # 1 % fast
    small.hosts["a"].reset(0, 1)
    small.run(SECOND)
    beats = [call[1] for call in small.node("a").calls if call[0] == "deadline"]
    assert len(beats) == 50, "20 ms of its own are 19.802 ms: the 50th comes at 990.1 ms"
    assert all(0 <= now_ns - (count + 1) * 20 * MS <= 1 for count, now_ns in enumerate(beats))


# ------------------------------------------------------------------------------------------------ power, reset, hang


def test_a_program_starts_when_its_board_is_ready_and_its_clock_starts_at_zero() -> None:
    small = SmallBus(1, off="a")
    host = small.hosts["a"]
    host.boot_ns = 300 * MS
    small.power(100 * MS, "a", True)
    small.run(400 * MS - 1)
    assert not host.running
    assert small.node("a").calls == []
    small.run(400 * MS)
    assert host.running
    assert small.node("a").calls == [("start", 0, 0)]
    assert small.events("power") == [(100 * MS, 0, "power", "a", 1)]
    assert small.events("start") == [(400 * MS, 0, "start", "a", 0)]


def test_a_reset_while_booting_starts_the_boot_again() -> None:
    small = SmallBus(1, off="a")
    small.hosts["a"].boot_ns = 300 * MS
    small.power(0, "a", True)
    small.run(200 * MS)
    small.hosts["a"].reset(200 * MS, 2)
    small.run(SECOND)
    assert small.events("start") == [(500 * MS, 0, "start", "a", 2)]
    assert small.node("a").calls == [("start", 0, 2)]


def test_power_cycles_leave_no_deadline_of_an_earlier_life_behind() -> None:
    small = SmallBus(2, kind=Beating)
    for cycle in range(5):
        small.power(cycle * 50 * MS + 33 * MS, "a", False)
        small.power(cycle * 50 * MS + 37 * MS, "a", True)
    small.run(400 * MS)
    life = [call for call in small.node("a").calls if call[0] == "deadline"]
    assert life == [("deadline", (count + 1) * 20 * MS) for count in range(len(life))]
    assert len(life) == 8
    assert len([1 for moment, _ in small.accepted if moment > 237 * MS]) == 8 + 8, "a's at 257 ms and on, b's at 240 ms and on"


def test_without_power_nothing_is_heard_sent_or_put_out_and_twice_off_is_off() -> None:
    small = SmallBus(2)
    moved: list[tuple[int, int]] = []
    small.hosts["a"].sinks["pump"] = lambda now_ns, value: moved.append((now_ns, value))
    small.hosts["a"].act(0, ((OUTPUT, "pump", 1), (OUTPUT, "screen", 3)))
    small.power(MS, "a", False)
    small.power(MS, "a", False)
    small.hosts["a"].reset(MS, 1)
    small.send(MS, "b", 0x123, drop_ns=MS)
    small.run(20 * MS)
    assert moved == [(0, 1), (MS, -1)], "-1 tells the machinery that the output has no power"
    assert small.hosts["a"].outputs == {}
    assert small.frames == []
    assert [event[4] for event in small.events("power")][2:] == [0]


def test_a_hung_program_acknowledges_and_does_nothing_and_then_goes_on_late() -> None:
    small = SmallBus(2, kind=Beating)
    small.run(50 * MS)
    small.hosts["a"].hang(50 * MS)
    small.run(115 * MS)
    beats = [call[1] for call in small.node("a").calls if call[0] == "deadline"]
    assert beats == [20 * MS, 40 * MS]
    assert all(frame[4] == 0b01 for frame in small.frames if frame[0] > 60 * MS), "b's frames are still acknowledged by a"
    heard = len(small.node("a").heard)
    small.hosts["a"].go_on(115 * MS)
    with pytest.raises(NodeError, match="deadline"):
        small.run(115 * MS)  # Beating adds 20 ms to a deadline 55 ms ago: that is its own fault, and said so
    assert len(small.node("a").heard) == heard


# ------------------------------------------------------------------------------------------------ deadlines


class Moving(Listener):
    """Moves its deadline as it is told by the value of `move` (ms of its own clock)."""

    __slots__ = ()

    def on_input(self, now_ns: int, channel: str, value: int) -> Actions:
        self.deadline_ns = value * MS if value else NEVER
        return RECHECK

    def hear(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        self.calls.append(("frame", now_ns))
        return NOTHING

    def on_deadline(self, now_ns: int) -> Actions:
        self.calls.append(("deadline", now_ns))
        self.deadline_ns = NEVER
        return NOTHING


def moving() -> SmallBus:
    small = SmallBus(1, kind=Moving, off="a")
    small.hosts["a"].add_input("move", 0, Constant())
    small.power(0, "a", True)
    return small.run(0)


@pytest.mark.parametrize(
    ("moves", "fires"),
    [
        ([(1, 10)], [10]),
        ([(1, 10), (2, 30)], [30]),
        ([(1, 30), (2, 10)], [10]),
        ([(1, 30), (2, 10), (3, 30), (4, 0), (5, 30)], [30]),
        ([(1, 10), (2, 0)], []),
        ([(1, 10), (5, 3)], [5]),
        ([(1, 10), (11, 20), (21, 30)], [10, 20, 30]),
    ],
)
def test_a_deadline_may_be_moved_either_way_and_taken_back(moves: list[tuple[int, int]], fires: list[int]) -> None:
    small = moving()
    for at_ms, value in moves:
        small.run(at_ms * MS)
        small.hosts["a"].set_switch(at_ms * MS, "move", value)
    small.run(100 * MS)
    assert [call[1] for call in small.node("a").calls if call[0] == "deadline"] == [at_ms * MS for at_ms in fires]


def test_a_frame_comes_before_a_deadline_at_the_same_moment() -> None:
    small = SmallBus(2, kind=Moving)
    accepted_ns = 46 * BIT  # 7FF without data: 50 bits (golden), accepted 4 before the next may start
    small.node("b").deadline_ns = accepted_ns
    small.hosts["b"].act(0, RECHECK)
    small.send(0, "a", 0x7FF)
    small.run(MS)
    assert small.node("b").calls[1:] == [("frame", accepted_ns), ("deadline", accepted_ns)]


# ------------------------------------------------------------------------------------------------ a node that breaks the rules

GARBAGE: list[tuple[Any, str]] = [
    (7, "returned 7, not a tuple"),
    ("send", "returned 'send', not a tuple"),
    ((SEND,), "none of SEND"),
    ([SEND], "none of SEND"),
    (((SEND, 0, 0x100, b""),), "none of SEND"),
    (((SEND, 3, 0x100, b"", 0),), "not on a bus with the number 3"),
    (((SEND, 0, 0x800, b"", 0),), "0x800 is outside 0 to 0x7ff"),
    (((QUEUE, 0, -1, b"", 0),), "outside"),
    (((SEND, 0, 1.0, b"", 0),), "whole numbers"),
    (((SEND, 0, 0x100, bytes(9), 0),), "9 data bytes"),
    (((SEND, 0, 0x100, [1, 2], 0),), "data are bytes"),
    (((SEND, 0, 0x100, None, 0),), "data are bytes"),
    (((SEND, 0, 0x100, b"", None),), "whole numbers"),
    (((OUTPUT, "pump", 0.5),), "an output's value is a whole number"),
    (((OUTPUT, "pump", True),), "an output's value is a whole number"),
    (((OUTPUT, "pump"),), "none of SEND"),
    (((ROW, "drive", 1),), "none of SEND"),
    (((9, 1, 2),), "none of SEND"),
    (((-1, 0, 0x100, b"", 0),), "none of SEND"),
    ((("SEND", 0, 0x100, b"", 0),), "none of SEND"),
    (({},), "none of SEND"),
]


@pytest.mark.parametrize(("actions", "words"), GARBAGE, ids=[repr(actions) for actions, _ in GARBAGE])
def test_what_is_no_action_is_said_so_with_the_node_and_its_class(actions: Any, words: str) -> None:
    small = SmallBus(2)
    with pytest.raises(NodeError) as caught:
        small.hosts["a"].act(0, actions)
    assert str(caught.value).startswith("a (Confirmed): a handler returned ")
    assert words in str(caught.value)


def test_a_deadline_that_hardly_moves_is_said_so() -> None:
    class Creeps(Node):
        __slots__ = ()

        def on_start(self, now_ns: int, reset_cause: int) -> Actions:
            self.deadline_ns = 0
            return NOTHING

        def on_deadline(self, now_ns: int) -> Actions:
            self.deadline_ns = now_ns + 1
            return NOTHING

    with pytest.raises(NodeError, match=r"a \(Creeps\): on_deadline puts its deadline off by less than 1 us again and again"):
        SmallBus(1, kind=Creeps).run(SECOND)


def test_a_deadline_left_in_the_past_is_said_so() -> None:
    class Stuck(Node):
        __slots__ = ()

        def on_start(self, now_ns: int, reset_cause: int) -> Actions:
            self.deadline_ns = -5
            return NOTHING

        def on_deadline(self, now_ns: int) -> Actions:
            assert now_ns == 0, "time does not run backwards"
            return NOTHING

    with pytest.raises(NodeError, match=r"a \(Stuck\): on_deadline left its deadline at a moment that has passed"):
        SmallBus(1, kind=Stuck)


def test_an_output_the_machinery_can_not_take_is_said_so() -> None:
    small = SmallBus(1)

    def sink(now_ns: int, value: int) -> None:
        raise ValueError("there is no gear 7")

    small.hosts["a"].sinks["shift"] = sink
    with pytest.raises(NodeError, match=r"a \(Confirmed\): output shift: there is no gear 7"):
        small.hosts["a"].act(0, ((OUTPUT, "shift", 7),))
