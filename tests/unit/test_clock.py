"""Clocks beyond what the bit timing allows, and clocks that change under way."""

import pytest
from can import BitTiming
from hypothesis import given, settings
from hypothesis import strategies as st

from busim.boat.load import load_boat
from busim.bus.noise import SenderNoise
from busim.bus.segment import Segment
from busim.bus.tolerance import error_rate, tolerance_ppm
from busim.faults.clock_off import ClockPlace
from busim.host.host import ONE
from busim.simulator.build import build_world
from busim.simulator.kinds import load_kinds
from busim.units import MS, SECOND
from tests.unit.small_bus import SmallBus

from .boat_under_way import ENGINE_ROOM, UNDER_WAY_NS, WHEELHOUSE, Boat, boat_under_way
from .conftest import Edited


@pytest.fixture
def under_way() -> Boat:
    return boat_under_way()


def test_the_tolerance_of_the_reference_values() -> None:
    """16 quanta, sample point 87.5 %, jump width 2: clocks may differ by 0.485 %, so a 1 % RC clock fails."""
    assert tolerance_ppm(16, 875, 2) == pytest.approx(4854, abs=1)
    assert error_rate(10_000, tolerance_ppm(16, 875, 2)) > 0.02
    assert error_rate(4854, tolerance_ppm(16, 875, 2)) == 0
    assert error_rate(-4800, tolerance_ppm(16, 875, 2)) == 0


TIMINGS = [
    (quanta, after, jump)
    for quanta in (8, 10, 16)
    for after in (1, 2, 3, 4)
    for jump in range(1, after + 1)
    if after * 1000 % quanta == 0
]
"""Quanta of a bit, those behind the sample point, jump width; such that the sample point is a whole permille."""


@pytest.mark.parametrize(("quanta", "after", "jump"), TIMINGS)
def test_tolerance_against_python_can(quanta: int, after: int, jump: int) -> None:
    """Its `oscillator_tolerance` takes the same two conditions (in percent); here without any propagation to make room for."""
    timing = BitTiming(f_clock=quanta * 500_000, brp=1, tseg1=quanta - 1 - after, tseg2=after, sjw=jump, strict=False)
    expected = timing.oscillator_tolerance(node_loop_delay_ns=0.0, bus_length_m=0.0) * 10_000
    assert tolerance_ppm(quanta, 1000 - after * 1000 // quanta, jump) == pytest.approx(expected, rel=1e-3)


@settings(max_examples=200, deadline=None)
@given(
    rates=st.lists(st.integers(-100_000, 100_000), min_size=2, max_size=6),
    steps=st.lists(st.integers(0, 10**10), min_size=6, max_size=6),
)
def test_a_clock_that_changes_under_way_never_runs_backwards(rates: list[int], steps: list[int]) -> None:
    host = SmallBus(1).hosts["a"]
    now_ns = shown_ns = 0
    for ppm, step_ns in zip(rates, steps, strict=False):
        host.set_rate(now_ns, ONE + ppm * ONE // 1_000_000)
        assert 0 <= host.own_ns(now_ns) - shown_ns <= 1
        now_ns += step_ns
        shown_ns = host.own_ns(now_ns)
        assert abs(host.true_ns(shown_ns) - now_ns) <= 1


def test_a_fast_clock_beats_early_and_its_frames_suffer(under_way: Boat) -> None:
    """5 % fast: 20 ms of the station's own are 19.05 ms, 105 levers in 2 s. 9.3 times beyond the tolerance: 19 % of its bits."""
    under_way.with_fault("clock_off", ClockPlace(node="wheelhouse", ppm=4000), for_ns=2 * SECOND).run(9 * SECOND)
    assert under_way.told("gear", "engine", 0) == [], "0.4 % is within the tolerance of 0.485 %"
    other = boat_under_way()
    other.with_fault("clock_off", ClockPlace(node="wheelhouse", ppm=50_000), for_ns=2 * SECOND).run(12 * SECOND)
    assert other.sent_by(WHEELHOUSE, UNDER_WAY_NS + 20 * MS, UNDER_WAY_NS + 2 * SECOND) == []
    assert other.told("gear", "engine", 0)
    assert other.sent_by(ENGINE_ROOM, UNDER_WAY_NS + 20 * MS, UNDER_WAY_NS + 2 * SECOND), "the others' frames are sound"
    assert other.sent_by(WHEELHOUSE, 10 * SECOND, 12 * SECOND)


def test_a_board_with_a_bad_clock_has_it_from_the_start(edited: Edited) -> None:
    boat = load_boat(edited(("clock_ppm: 100 ", "clock_ppm: 50000 ")).path)
    world = build_world(boat.boat, boat.plan, load_kinds(), 1)
    noisy = {noise.sender for noise in world.loop.buses[0].disturbances if isinstance(noise, SenderNoise)}
    allowed = tolerance_ppm(16, 875, 2) * ONE / 1_000_000
    bad = {host.controllers[0].place for host in world.hosts.values() if abs(host.rate - ONE) > allowed}
    assert noisy == bad != set()
    assert type(world.loop.segments[0]) is not Segment
