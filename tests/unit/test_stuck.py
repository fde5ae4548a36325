"""A bus that reads dominant all the time: shorted to battery, or a transmit pin that stays dominant.

Counts after Bosch, CAN Specification 2.0, 1991, part A, s. 8: rule 1 (1 for the error), rule 2 (8 for the dominant bit after the
flag), rule 6 (8 after the 14th dominant bit from the flag's first on, and after each 8 more). The bits are worked out by hand.
"""

import pytest

from busim.seam import BUS_OFF, ERROR_ACTIVE, ERROR_PASSIVE
from busim.units import MS
from tests.unit.small_bus import BIT, SmallBus

STUFF_ERROR_BIT = 6
"""An idle bus becomes dominant: the sixth equal bit is the stuff error, and the flag begins with the next."""


def short(small: SmallBus, at_ns: int) -> None:
    small.run(at_ns)
    small.bus.wiring.shorts.append("to_battery")
    small.bus.look_again(at_ns)


def mend(small: SmallBus, at_ns: int) -> None:
    small.run(at_ns)
    small.bus.wiring.shorts.remove("to_battery")
    small.bus.look_again(at_ns)


def stick(small: SmallBus, at_ns: int, place: int = 0) -> None:
    small.run(at_ns)
    small.bus.wiring.holding.append(place)
    small.bus.look_again(at_ns)


def states(small: SmallBus) -> list[tuple[int, str, int]]:
    return [(event[0], event[3], event[5]) for event in small.events("controller")]


@pytest.mark.parametrize(
    ("bits_after_flag_begins", "rec"), [(-1, 0), (0, 1), (6, 1), (7, 9), (13, 9), (14, 17), (22, 25), (30, 33)]
)
def test_receivers_count_1_then_8_then_8_every_8_bits(bits_after_flag_begins: int, rec: int) -> None:
    small = SmallBus(3)
    short(small, 0)
    small.run((STUFF_ERROR_BIT + bits_after_flag_begins) * BIT)
    assert [small.controller(name).rec for name in "abc"] == [rec] * 3


def test_everybody_is_error_passive_and_nobody_bus_off() -> None:
    """1 + 8 + 15 x 8 = 129: at the 14th dominant bit after the flag's first and fourteen times 8 more."""
    small = SmallBus(3)
    short(small, 0)
    small.run(100 * MS)
    passive_ns = (STUFF_ERROR_BIT + 14 + 14 * 8) * BIT
    assert states(small) == [(passive_ns, name, ERROR_PASSIVE) for name in "abc"]


def test_who_was_sending_counts_as_a_transmitter_and_goes_bus_off() -> None:
    """8 for the bit error (rule 3), 8 each at 14, 22, 30 ... dominant bits (rule 6): 256 with the 31st of those."""
    small = SmallBus(3)
    small.send(0, "a", 0x7FF)
    short(small, 10 * BIT)
    small.run(100 * MS)
    flag_ns = 11 * BIT
    assert [each for each in states(small) if each[1] == "a"] == [
        (flag_ns + (14 + 14 * 8) * BIT, "a", ERROR_PASSIVE),
        (flag_ns + (14 + 30 * 8) * BIT, "a", BUS_OFF),
    ]


def test_what_waits_goes_out_once_it_is_over_after_delimiter_and_intermission() -> None:
    small = SmallBus(3)
    small.send(0, "a", 0x7FF)
    short(small, 10 * BIT)
    small.send(20 * BIT, "b", 0x7FE)
    mend(small, 40 * BIT)
    small.run(10 * MS)
    assert [can_id for _, can_id in small.accepted] == [0x7FE, 0x7FF]
    alone = SmallBus(3)
    alone.send((40 + 8 + 3) * BIT, "b", 0x7FE)
    alone.run(10 * MS)
    assert small.accepted[0] == alone.accepted[0]


def test_a_bus_off_node_does_not_come_back_while_it_lasts() -> None:
    small = SmallBus(3)
    small.bus.force_off(0, small.controller("a"))
    small.bus.recover(0, small.controller("a"))
    short(small, 110 * BIT)
    small.run(500 * MS)
    assert small.controller("a").state == BUS_OFF
    mend(small, 500 * MS)
    small.run(600 * MS)
    back_ns = next(at_ns for at_ns, name, state in states(small) if (name, state) == ("a", ERROR_ACTIVE))
    # Ten runs before; from its end on it is recessive.
    assert back_ns == 500 * MS + 118 * 11 * BIT


def test_a_transmit_pin_stuck_dominant_kills_its_stretch_only_and_only_with_power() -> None:
    small = SmallBus(4)
    small.cut(0, 1.5)
    stick(small, 0)
    small.send(MS, "b", 0x100)
    small.send(MS, "c", 0x200)
    small.run(2 * MS)
    assert [(frame[2], frame[4]) for frame in small.frames] == [(0x200, 0b1000)]
    small.power(2 * MS, "a", False)
    small.power(3 * MS, "d", False)
    small.heal(3 * MS)
    small.run(5 * MS)
    assert (0x100, 0b0100) in [(frame[2], frame[4]) for frame in small.frames]
    small.power(5 * MS, "a", True)
    small.send(6 * MS, "b", 0x101)
    small.run(100 * MS)
    assert 0x101 not in [frame[2] for frame in small.frames]


def test_a_node_that_starts_meanwhile_counts_too_and_one_that_loses_power_is_forgotten() -> None:
    small = SmallBus(3, off="c")
    small.send(0, "a", 0x7FF)
    short(small, 10 * BIT)
    small.power(100 * BIT, "a", False)
    small.power(100 * BIT, "c", True)
    small.run(10 * MS)
    assert small.controller("a").tec == 0
    assert small.controller("b").state == ERROR_PASSIVE
    mend(small, 10 * MS)
    small.send(11 * MS, "b", 0x7FF)
    small.send(11 * MS, "b", 0x7FE)
    small.power(11 * MS + 20 * BIT, "a", True)
    small.run(20 * MS)
    assert [frame[4] for frame in small.frames] == [0b100, 0b101], "the one that had started hears both, the other only the next"
