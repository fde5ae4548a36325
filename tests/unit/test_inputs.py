"""What a host measures and what it puts out: sampling on a grid, switches at their instant, delay, order at equal times."""

from collections.abc import Mapping
from typing import Any, ClassVar

from hypothesis import given, settings
from hypothesis import strategies as st

from busim.host.inputs import Constant, Input
from busim.plant.ramp import Ramp
from busim.seam import NOTHING, OUTPUT, SEND, Actions
from busim.units import MS, NEVER, SECOND
from tests.unit.small_bus import BIT, Confirmed, Listener, SmallBus


class Lever:
    """A ramp that can be measured, in whole units."""

    def __init__(self, ramp: Ramp) -> None:
        self.ramp = ramp

    def read(self, now_ns: int) -> int:
        return self.ramp.read(now_ns)

    def still(self, now_ns: int) -> bool:
        return self.ramp.still(now_ns)


def with_input(period_ns: int, source: Any, kind: Any = Listener, boot_ns: int = 0) -> SmallBus:
    small = SmallBus(1, kind=kind, off="a")
    small.hosts["a"].add_input("lever", period_ns, source)
    small.hosts["a"].boot_ns = boot_ns
    small.power(0, "a", True)
    return small


def told(small: SmallBus) -> list[tuple[int, int]]:
    return [(call[1], call[2]) for call in small.node("a").calls if call[0] == "lever"]


def test_every_input_is_told_at_the_start_even_where_it_is_zero() -> None:
    small = with_input(0, Constant(0))
    assert told(small.run(SECOND)) == [(0, 0)]


def test_a_switch_is_heard_at_its_instant_and_only_on_a_change() -> None:
    small = with_input(0, Constant(0))
    for at_ns, value in [(1_234_567, 1), (1_234_568, 1), (2_000_001, 0)]:
        small.run(at_ns)
        small.hosts["a"].set_switch(at_ns, "lever", value)
    assert told(small) == [(0, 0), (1_234_567, 1), (2_000_001, 0)]


def test_an_analogue_input_is_heard_on_the_grid_of_its_program() -> None:
    ramp = Ramp(0, 1000)
    small = with_input(5 * MS, Lever(ramp), boot_ns=1_500_000)
    small.run(7 * MS)
    ramp.go(7 * MS, 10)  # 10 units at 1,000 a second: 10 ms
    small.hosts["a"].wake(7 * MS, "lever")
    small.run(SECOND)
    # The grid is 1.5 ms + 5 ms x n; its own clock began at 1.5 ms. It moves from 7 to 17 ms of true time.
    assert told(small) == [(0, 0), (10 * MS, 4), (15 * MS, 9), (20 * MS, 10)]


def test_a_lever_that_moves_when_the_program_starts_is_followed() -> None:
    ramp = Ramp(0, 1000)
    ramp.go(0, 100)
    small = with_input(20 * MS, Lever(ramp), boot_ns=10 * MS)
    small.run(SECOND)
    assert told(small) == [(0, 10), (20 * MS, 30), (40 * MS, 50), (60 * MS, 70), (80 * MS, 90), (100 * MS, 100)]


def test_a_lever_that_moved_when_power_was_lost_is_followed_again_after_the_next_start() -> None:
    ramp = Ramp(0, 1000)
    ramp.go(0, 200)
    small = with_input(20 * MS, Lever(ramp))
    small.power(50 * MS, "a", False)
    small.power(110 * MS, "a", True)
    small.run(SECOND)
    assert told(small) == [(0, 110), (20 * MS, 130), (40 * MS, 150), (60 * MS, 170), (80 * MS, 190), (100 * MS, 200)]


@settings(max_examples=80, deadline=None)
@given(
    period_ms=st.integers(1, 20),
    phase_ns=st.integers(0, 20 * MS),
    moves=st.lists(st.tuples(st.integers(0, 300), st.integers(0, 100), st.integers(1, 3000)), max_size=5),
)
def test_sampling_only_while_it_moves_hears_the_same_as_taking_every_sample(
    period_ms: int, phase_ns: int, moves: list[tuple[int, int, int]]
) -> None:
    ramp, every = Ramp(0, 1), Ramp(0, 1)
    small = with_input(period_ms * MS, Lever(ramp), boot_ns=phase_ns)
    moves = sorted({move[0]: move for move in moves}.values())
    expected: list[tuple[int, int]] = []
    pending = list(moves)
    for count in range(500 // period_ms + 1):
        at_ns = phase_ns + count * period_ms * MS
        while pending and pending[0][0] * MS + 1 <= at_ns:
            moment, target, speed = pending.pop(0)
            every.go(moment * MS + 1, target, speed)
        value = every.read(at_ns)
        if not expected or value != expected[-1][1]:
            expected.append((count * period_ms * MS, value))
    for moment, target, speed in moves:
        small.run(moment * MS + 1)
        ramp.go(moment * MS + 1, target, speed)
        small.hosts["a"].wake(moment * MS + 1, "lever")
    small.run(phase_ns + 500 // period_ms * period_ms * MS)
    assert told(small) == expected


def test_a_fault_in_front_of_a_source_is_what_is_measured() -> None:
    entry = Input("lever", 0, Constant(3))
    entry.replaced = Constant(9)
    assert (entry.read(0), entry.still(0)) == (9, True)
    entry.replaced = None
    assert entry.read(0) == 3


# ------------------------------------------------------------------------------------------------ delay and order


class Echoing(Confirmed):
    """Puts out what it reads, and says so on the bus."""

    __slots__ = ()

    def on_input(self, now_ns: int, channel: str, value: int) -> Actions:
        super().on_input(now_ns, channel, value)
        return (OUTPUT, "first", value), (SEND, 0, 0x123, bytes([value & 0xFF]), SECOND), (OUTPUT, "second", value)


def test_processing_delay_comes_between_an_input_and_what_it_causes() -> None:
    small = SmallBus(2, kind=Echoing, off="a", delay_ns=200_000)
    small.hosts["a"].add_input("lever", 0, Constant(0))
    small.power(0, "a", True)
    small.run(MS)
    small.hosts["a"].set_switch(MS, "lever", 7)
    small.run(2 * MS)
    later = [(event[0], event[4], event[5]) for event in small.events("output") if event[0] > 900_000]
    assert later == [(1_200_000, "first", 7), (1_200_000, "second", 7)]
    assert small.frames[-1][0] > 1_200_000


def test_what_was_put_off_to_one_moment_is_done_in_the_order_it_was_asked_for() -> None:
    small = SmallBus(1, delay_ns=MS)
    host = small.hosts["a"]
    for value in (3, 1, 2):
        host.act(0, ((OUTPUT, "one", value), (OUTPUT, "other", -value)))
    small.run(500_000)
    host.act(500_000, ((OUTPUT, "one", 9),))
    small.run(5 * MS)
    assert [(event[0], event[5]) for event in small.events("output")] == [
        *[(MS, value) for value in (3, -3, 1, -1, 2, -2)],
        (1_500_000, 9),
    ]


def test_an_output_that_does_not_change_is_not_written_down() -> None:
    small = SmallBus(1)
    for value in (1, 1, 2, 2, 1):
        small.hosts["a"].act(0, ((OUTPUT, "lamp", value),))
    assert [event[5] for event in small.events("output")] == [1, 2, 1]


def test_power_off_forgets_what_was_put_off() -> None:
    small = SmallBus(1, delay_ns=MS)
    small.hosts["a"].act(0, ((OUTPUT, "lamp", 1),))
    small.power(500_000, "a", False)
    small.power(600_000, "a", True)
    small.hosts["a"].act(600_000, ((OUTPUT, "lamp", 2),))
    small.run(5 * MS)
    assert [(event[0], event[5]) for event in small.events("output")] == [(1_600_000, 2)]


class Pump(Listener):
    """An input moves an output, whose machinery moves another input: at the start too, and while its samples are taken."""

    __slots__ = ()

    inputs: ClassVar[Mapping[str, int]] = {"lever": 5 * MS, "flow": 3 * MS}

    def on_input(self, now_ns: int, channel: str, value: int) -> Actions:
        super().on_input(now_ns, channel, value)
        return ((OUTPUT, "pump", value),) if channel == "lever" else NOTHING


def test_inputs_that_move_each_other_through_the_machinery_are_all_sampled_on_their_grids() -> None:
    for order in (["lever", "flow"], ["flow", "lever"]):
        lever, flow = Ramp(0, 2000), Ramp(0, 1000)
        small = SmallBus(1, kind=Pump, off="a")
        host = small.hosts["a"]

        def sink(now_ns: int, value: int, flow: Ramp = flow, host: Any = host) -> None:
            flow.go(now_ns, value)
            host.wake(now_ns, "flow")

        host.sinks["pump"] = sink
        for channel in order:
            host.add_input(channel, Pump.inputs[channel], Lever(lever if channel == "lever" else flow))
        for life in range(2):
            start_ns = life * SECOND
            small.power(start_ns, "a", False)
            lever.go(start_ns, 0, 10**9)
            small.run(start_ns + 10 * MS)
            small.power(start_ns + 10 * MS, "a", True)
            small.run(start_ns + 20 * MS)
            lever.go(start_ns + 20 * MS, 10, 2000)
            host.wake(start_ns + 20 * MS, "lever")
            small.run(start_ns + 900 * MS)
            levers = [call[1:] for call in small.node("a").calls if call[0] == "lever"]
            flows = [call[1:] for call in small.node("a").calls if call[0] == "flow"]
            assert levers == [(0, 0), (15 * MS, 10)], "moving from 10 to 15 ms of its clock"
            assert flows[-1][1] == 10
            assert all(now_ns % (3 * MS) == 0 for now_ns, _ in flows)
        assert host.sampling.armed_ns == NEVER, "nothing moves, so nothing is sampled"


def test_the_notice_of_a_sent_frame_comes_one_bit_after_its_acceptance_in_the_own_clock() -> None:
    small = SmallBus(2)
    small.send(0, "a", 0x7FF)
    small.run(MS)
    assert small.node("a").sent == [(47 * BIT, 0x7FF)]
