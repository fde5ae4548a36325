"""The machinery: actuators' times in closed form, clutch, switch and stop, engine speed, lamps; and that looking changes nothing.

Strokes: shift 70 mm astern to ahead (SAE J960), throttle 70 mm (SAE J961), speeds of 35 to 50 mm/s (reference values).
"""

import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busim.events.journal import Journal
from busim.plant.engine import ENGINE_STOP
from busim.plant.hull import HullValues
from busim.plant.machinery import AHEAD, ASTERN, NEUTRAL, STROKE, ActuatorValues, DriveValues, Machinery
from busim.plant.plant import EngineSpeed, Plant
from busim.simulator.kernel import Loop
from busim.units import MS, SECOND, US

SHIFT_PER_SECOND = round(STROKE * 40 / 35)
"""40 mm/s over a half stroke of 35 mm, in millionths a second."""
THROTTLE_PER_SECOND = round(STROKE * 50 / 70)
HALF_SHIFT_NS = 875 * MS
FULL_THROTTLE_NS = 1400 * MS


class Bench:
    """The machinery of one or two engines with nothing round it."""

    def __init__(self, drives: int = 1, *, springs: bool = False) -> None:
        throttle = ActuatorValues(THROTTLE_PER_SECOND, springs, THROTTLE_PER_SECOND // 2)
        shift = ActuatorValues(SHIFT_PER_SECOND, springs, SHIFT_PER_SECOND // 2)
        self.loop, self.journal = Loop(), Journal()
        values = [DriveValues(f"engine{number}", throttle, shift, 800, 3200) for number in range(drives)]
        self.plant = Plant(self.loop, self.journal, values, HullValues(7800, 3.9, 0.6, 9.0, 31.5, given=True))
        self.loop.add(self.plant.crossing)
        self.loop.add(self.plant.motion)
        self.loop.arm(self.plant.motion, 0)
        self.throttle = [self.plant.throttle_sink(number) for number in range(drives)]
        self.shift = [self.plant.shift_sink(number) for number in range(drives)]

    def at(self, at_ns: int, sink: Any, value: int) -> None:
        self.loop.run(at_ns)
        sink(at_ns, value)

    def events(self, *kinds: str) -> list[tuple[Any, ...]]:
        """(moment, kind, drive, value)."""
        return [(event[0], *event[2:5]) for event in self.journal.events if event[2] in kinds]


def near(moment_ns: int, expected_ns: float) -> bool:
    """Within 2 us: speeds are whole millionths of a stroke a second, and a mark is left one millionth (1.4 us) beyond it."""
    return abs(moment_ns - expected_ns) <= 2 * US


def test_half_a_shift_stroke_takes_875_ms_and_the_clutch_takes_at_three_quarters_of_it() -> None:
    bench = Bench()
    bench.at(SECOND, bench.shift[0], AHEAD)
    bench.loop.run(3 * SECOND)
    moved, taken = bench.events("gear", "shift_rest")
    assert moved[1:] == ("shift_rest", "engine0", 0)
    assert near(moved[0], SECOND + HALF_SHIFT_NS * 0.1)
    assert taken[1:] == ("gear", "engine0", AHEAD)
    assert near(taken[0], SECOND + HALF_SHIFT_NS * 0.75)
    assert near(bench.plant.drives[0].shift.ramp.reaches_ns(STROKE), SECOND + HALF_SHIFT_NS)

    bench.at(3 * SECOND, bench.shift[0], NEUTRAL)
    bench.loop.run(5 * SECOND)
    let_go, at_rest = bench.events("gear", "shift_rest")[2:]
    assert let_go[1:] == ("gear", "engine0", NEUTRAL)
    assert near(let_go[0], 3 * SECOND + HALF_SHIFT_NS * 0.5)
    assert at_rest[1:] == ("shift_rest", "engine0", 1)
    assert near(at_rest[0], 3 * SECOND + HALF_SHIFT_NS * 0.9)
    assert near(bench.plant.drives[0].shift.ramp.reaches_ns(0), 3 * SECOND + HALF_SHIFT_NS)


def test_a_full_throttle_stroke_takes_1400_ms_and_the_stop_is_the_last_hundredth() -> None:
    bench = Bench()
    bench.at(0, bench.throttle[0], 1000)
    assert near(bench.plant.drives[0].throttle.ramp.reaches_ns(STROKE), FULL_THROTTLE_NS)
    bench.at(2 * SECOND, bench.throttle[0], 0)
    bench.loop.run(5 * SECOND)
    left, back = bench.events("throttle_stop")
    assert left[1:] == ("throttle_stop", "engine0", 0)
    assert near(left[0], FULL_THROTTLE_NS * 0.01)
    assert back[1:] == ("throttle_stop", "engine0", 1)
    assert near(back[0], 2 * SECOND + FULL_THROTTLE_NS * 0.99)


def test_from_ahead_to_astern_the_clutch_lets_go_rests_and_takes_the_other_way() -> None:
    bench = Bench()
    bench.at(0, bench.shift[0], AHEAD)
    bench.at(2 * SECOND, bench.shift[0], ASTERN)
    bench.loop.run(5 * SECOND)
    events = bench.events("gear", "shift_rest")[2:]
    found = [(kind, value, round((moment - 2 * SECOND) / HALF_SHIFT_NS, 3)) for moment, kind, _, value in events]
    assert found == [("gear", NEUTRAL, 0.5), ("shift_rest", 1, 0.9), ("shift_rest", 0, 1.1), ("gear", ASTERN, 1.75)]


def test_between_letting_go_and_taking_the_clutch_stays_as_it_was() -> None:
    bench = Bench()
    bench.at(0, bench.shift[0], AHEAD)
    bench.at(int(HALF_SHIFT_NS * 0.7), bench.shift[0], NEUTRAL)
    bench.loop.run(2 * SECOND)
    assert bench.events("gear") == []
    bench.at(2 * SECOND, bench.shift[0], AHEAD)
    bench.at(4 * SECOND, bench.shift[0], NEUTRAL)
    bench.at(4 * SECOND + int(HALF_SHIFT_NS * 0.4), bench.shift[0], AHEAD)
    bench.loop.run(6 * SECOND)
    assert [event[3] for event in bench.events("gear")] == [AHEAD]


@pytest.mark.parametrize("drives", [1, 2])
@pytest.mark.parametrize("back", [NEUTRAL, ASTERN])
def test_a_new_order_at_the_very_moment_of_a_crossing_does_not_hide_it(back: int, drives: int) -> None:
    bench = Bench(drives)
    for number in range(drives):
        bench.at(0, bench.shift[number], AHEAD)
    taken_ns = bench.plant.drives[0].shift.ramp.reaches_ns(750_000)
    # As from a frame that ends at that moment, which comes before the machinery's own timer.
    bench.loop.run(taken_ns - 1)
    bench.shift[0](taken_ns, back)
    bench.loop.run(10 * SECOND)
    gears = bench.events("gear")
    assert sorted(gears[:drives]) == [(taken_ns, "gear", f"engine{number}", AHEAD) for number in range(drives)]
    assert gears[drives][2:] == ("engine0", NEUTRAL)


def test_without_power_an_actuator_stays_or_springs_at_the_springs_speed() -> None:
    for springs in (False, True):
        bench = Bench(springs=springs)
        bench.at(0, bench.shift[0], AHEAD)
        bench.at(0, bench.throttle[0], 1000)
        bench.at(3 * SECOND, bench.shift[0], -1)
        bench.at(3 * SECOND, bench.throttle[0], -1)
        bench.loop.run(20 * SECOND)
        drive = bench.plant.drives[0]
        if springs:
            assert (drive.gear, drive.at_stop, drive.switch_closed) == (NEUTRAL, True, True)
            assert near(bench.events("gear")[-1][0], 3 * SECOND + 2 * HALF_SHIFT_NS * 0.5)
        else:
            assert (drive.gear, drive.at_stop, drive.switch_closed) == (AHEAD, False, False)
            assert drive.throttle.read(20 * SECOND) == STROKE


def test_an_order_beyond_the_end_stops_at_the_end_and_an_unknown_gear_is_refused() -> None:
    bench = Bench()
    bench.at(0, bench.throttle[0], 5000)
    bench.loop.run(5 * SECOND)
    assert bench.plant.drives[0].throttle.read(5 * SECOND) == STROKE
    with pytest.raises(ValueError, match="there is no gear 3: it takes 0 neutral, 1 ahead, 2 astern"):
        bench.shift[0](5 * SECOND, 3)


def test_engine_speed_follows_the_throttle_with_its_lag() -> None:
    """First order: after a step the rest falls as exp(-t/0.4 s); 20 ms Euler steps come within 3 % of that."""
    bench = Bench()
    drive = bench.plant.drives[0]
    bench.loop.run(SECOND)
    drive.throttle.ramp.go(SECOND, STROKE, 10**12)
    for after_ms in (100, 400, 1000, 2000):
        bench.plant.advance(SECOND + after_ms * MS)
        expected = 800 + 2400 * (1 - math.exp(-after_ms / 400))
        assert abs(drive.rpm - expected) < 0.03 * 2400


def test_without_fuel_the_engine_stops_says_so_and_stays_stopped() -> None:
    bench = Bench()
    stop = bench.plant.fuel_sink(0, ENGINE_STOP)
    bench.at(SECOND + 7, stop, 0)
    bench.loop.run(2 * SECOND)
    assert bench.events("engine") == []
    bench.at(2 * SECOND + 7, stop, 1)
    bench.at(10 * SECOND, stop, -1)
    bench.loop.run(20 * SECOND)
    assert [event[1:] for event in bench.events("engine")] == [("engine", "engine0", 0)]
    # 800 rpm fall as exp(-t/0.4 s) to 100 after 0.83 s; said on the next 100 ms.
    assert bench.events("engine")[0][0] in (2900 * MS, 3000 * MS)
    assert bench.plant.drives[0].rpm < 1


def test_lamps_are_written_down_on_a_change_between_dark_and_full() -> None:
    bench = Bench()
    lamp = bench.plant.lamp_sink("cabin", 0, 1)
    for at_ns, duty in enumerate((0, 65_535, 65_535, 90_000, 4_093, -1, 0)):
        lamp(at_ns, duty)
    assert [(event[0], event[4]) for event in bench.journal.events] == [(1, 1000), (4, 300), (5, 0)]


def test_engine_speed_is_measured_in_steps_of_8() -> None:
    bench = Bench()
    bench.plant.drives[0].engine.rpm = 1003.9
    assert EngineSpeed(bench.plant, 0).read(0) == 1000
    assert not EngineSpeed(bench.plant, 0).still(0)


orders = st.lists(
    st.tuples(st.integers(0, 6 * SECOND), st.sampled_from(["throttle", "shift", "stop"]), st.integers(0, 1), st.integers(-1, 1000)),
    max_size=10,
)


@settings(max_examples=40, deadline=None)
@given(orders=orders, every_ms=st.integers(3, 45))
def test_what_happens_does_not_depend_on_who_looks_or_when(orders: list[tuple[int, str, int, int]], every_ms: int) -> None:
    looks = range(0, 8 * SECOND, every_ms * MS)
    runs = []
    for looked in (False, True):
        bench = Bench(2)
        steps: list[tuple[int, int, Any]] = [(order[0], number, order) for number, order in enumerate(orders)]
        if looked:
            steps += [(at_ns, -1, None) for at_ns in looks]
        for at_ns, _, order in sorted(steps, key=lambda step: step[:2]):
            bench.loop.run(at_ns)
            if order is None:
                for number in range(2):
                    EngineSpeed(bench.plant, number).read(at_ns)
                    bench.plant.drives[number].shift.read(at_ns)
            elif order[1] == "throttle":
                bench.throttle[order[2]](at_ns, order[3])
            elif order[1] == "shift":
                bench.shift[order[2]](at_ns, order[3] % 4 - 1)
            else:
                bench.plant.fuel_sink(order[2], ENGINE_STOP)(at_ns, order[3] % 2)
        bench.loop.run(10 * SECOND)
        runs.append((bench.journal.events, bench.plant.hull.run_m, bench.plant.hull.speed_m_s, [d.rpm for d in bench.plant.drives]))
    assert runs[0] == runs[1]


@settings(max_examples=40, deadline=None)
@given(orders=st.lists(st.tuples(st.integers(0, 3000), st.integers(0, 2)), min_size=1, max_size=6))
def test_every_change_is_said_at_the_moment_a_scan_of_every_millisecond_sees_it(orders: list[tuple[int, int]]) -> None:
    bench = Bench()
    by_hand = Machinery(bench.plant.drives[0].values)
    pending = sorted(orders, key=lambda order: order[0])
    seen = []
    for at_ms in range(6000):
        while pending and pending[0][0] == at_ms:
            _, gear = pending.pop(0)
            by_hand.command_shift(at_ms * MS, gear)
            bench.at(at_ms * MS, bench.shift[0], gear)
        if any(by_hand.settle(at_ms * MS)):
            seen.append((at_ms, by_hand.gear, by_hand.switch_closed))
    bench.loop.run(6 * SECOND)
    gear, switch, said = NEUTRAL, True, []
    for moment, kind, _, value in bench.events("gear", "shift_rest"):
        gear, switch = (value, switch) if kind == "gear" else (gear, bool(value))
        said.append((-(-moment // MS), gear, switch))
    assert {entry[0]: entry[1:] for entry in said} == {entry[0]: entry[1:] for entry in seen}
