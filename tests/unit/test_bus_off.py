"""Bus-off and back: what is counted on the wire, what the board waits, what the node is told.

Source: Bosch, CAN Specification 2.0, 1991, part A, s. 8, rule 12: error active again, counts at zero, after 128 runs of 11
recessive bits, that is 1,408 bits on a quiet bus: 5.632 ms at 250 kbit/s (reference values). A frame ends in 11 recessive bits
(ACK delimiter, EOF, intermission; s. 3.1.1), so does an error (delimiter, intermission; s. 3.1.2). Pauses are the design's.
"""

import pytest

from busim.host.rejoin import Rejoin
from busim.seam import BUS_OFF, ERROR_ACTIVE
from busim.units import MS, SECOND
from tests.unit.small_bus import BIT, SmallBus

QUIET_NS = 128 * 11 * BIT


def off(places: int = 3, *, rejoins: bool = False) -> SmallBus:
    """`a` is bus-off at zero."""
    small = SmallBus(places)
    if rejoins:
        for host in small.hosts.values():
            host.rejoin = Rejoin()
    small.bus.force_off(0, small.controller("a"))
    return small


def states(small: SmallBus) -> list[tuple[int, str, int]]:
    return [(event[0], event[3], event[5]) for event in small.events("controller")]


def test_a_quiet_bus_lets_it_back_after_5632_us() -> None:
    small = off()
    small.bus.recover(MS, small.controller("a"))
    small.run(MS + QUIET_NS - 1)
    assert small.controller("a").state == BUS_OFF
    small.run(SECOND)
    assert QUIET_NS == 5_632_000
    assert states(small) == [(0, "a", BUS_OFF), (MS + QUIET_NS, "a", ERROR_ACTIVE)]
    assert small.node("a").states == [BUS_OFF, ERROR_ACTIVE]
    assert (small.controller("a").tec, small.controller("a").rec, small.controller("a").listening) == (0, 0, True)
    small.send(SECOND, "a", 0x7FF)
    small.run(2 * SECOND)
    assert [frame[4] for frame in small.frames] == [0b110]


def test_a_saturated_bus_gives_one_run_a_frame() -> None:
    """7FF without data is 50 bits (golden): the 128th run is over with the 128th frame's intermission."""
    small = off()
    small.bus.recover(0, small.controller("a"))
    for _ in range(140):
        small.send(0, "b", 0x7FF, queued=True, drop_ns=SECOND)
    small.run(SECOND)
    assert states(small)[1:] == [(128 * 50 * BIT, "a", ERROR_ACTIVE)]
    first_heard = next(number for number, frame in enumerate(small.frames) if frame[4] & 1)
    assert first_heard == 128, "it acknowledges from the next frame on"


def test_a_bus_saturated_with_long_frames_takes_57_to_68_ms() -> None:
    """As the reference values say for 250 kbit/s. 000 with 8 zero bytes is 127 bits (golden)."""
    small = off()
    small.bus.recover(0, small.controller("a"))
    for _ in range(130):
        small.send(0, "b", 0x000, bytes(8), queued=True, drop_ns=SECOND)
    small.run(SECOND)
    back_ns = states(small)[1][0]
    assert back_ns == 128 * 127 * BIT
    assert 57 * MS <= back_ns <= 68 * MS


def test_gaps_between_frames_count_whole_runs_only() -> None:
    """A frame every 100 bits: 50 of frame, of which the last 11 recessive, and 50 of quiet: 61 bits, five whole runs."""
    small = off()
    small.bus.recover(0, small.controller("a"))
    for count in range(40):
        small.send(count * 100 * BIT, "b", 0x7FF)
    small.run(SECOND)
    # The first start cuts off nothing; each frame after it adds 5 runs. 25 periods give 125, the 26th the rest.
    begins = 25 * 100 + 50 - 11
    assert states(small)[1][0] == (begins + 3 * 11) * BIT


def test_asked_in_mid_frame_it_counts_from_that_frames_end() -> None:
    small = off()
    small.send(0, "b", 0x7FF)
    small.run(20 * BIT)
    small.bus.recover(20 * BIT, small.controller("a"))
    small.run(SECOND)
    assert states(small)[1][0] == (50 - 11) * BIT + QUIET_NS


def test_an_error_frame_ends_in_a_run_too() -> None:
    """Two that collide for ever: 44 bits each time (see `test_error_confinement`), suspended 8 once passive, then quiet."""
    small = off(4)
    small.bus.recover(0, small.controller("a"))
    small.send(0, "b", 0x555, b"\x00", drop_ns=SECOND)
    small.send(0, "c", 0x555, b"\x80", drop_ns=SECOND)
    small.run(SECOND)
    # 32 errors: 31 of them end in a run before the next start (with suspend, 19 bits: one run still), then it is quiet.
    last_error_ns = (16 * 44 + 16 * (44 + 8)) * BIT
    assert states(small)[-1] == (last_error_ns + (128 - 31) * 11 * BIT - 11 * BIT, "a", ERROR_ACTIVE)


def test_what_is_not_asked_for_never_comes() -> None:
    small = off()
    small.run(20 * SECOND)
    assert small.controller("a").state == BUS_OFF


def test_a_reset_ends_it_at_once() -> None:
    small = off()
    small.bus.recover(0, small.controller("a"))
    small.hosts["a"].reset(MS, 1)
    small.run(SECOND)
    assert (small.controller("a").state, small.controller("a").recessive_left) == (ERROR_ACTIVE, 0)
    assert states(small) == [(0, "a", BUS_OFF)]


def test_a_cut_in_the_middle_of_it_loses_no_run() -> None:
    small = off(4)
    small.bus.recover(0, small.controller("a"))
    small.cut(1000 * BIT, 1.5)
    small.run(SECOND)
    # 90 whole runs in 1,000 bits; the 91st is begun anew on the new stretch.
    assert states(small)[1][0] == (1000 + (128 - 90) * 11) * BIT


# ------------------------------------------------------------------------------------------------ what the board does


def test_it_rejoins_after_20_ms_and_its_queue_is_empty() -> None:
    small = SmallBus(3)
    small.hosts["a"].rejoin = Rejoin()
    small.send(0, "a", 0x100, drop_ns=SECOND)
    small.send(0, "a", 0x200, drop_ns=SECOND)
    small.bus.force_off(0, small.controller("a"))
    small.run(SECOND)
    assert states(small) == [(0, "a", BUS_OFF), (20 * MS + QUIET_NS, "a", ERROR_ACTIVE)]
    assert small.frames == []


def test_forced_off_in_mid_frame_the_others_see_six_equal_bits() -> None:
    small = SmallBus(3)
    small.send(0, "a", 0x7FF)
    small.run(20 * BIT)
    small.bus.force_off(20 * BIT, small.controller("a"))
    small.send(20 * BIT, "b", 0x7FF)
    small.run(MS)
    assert small.accepted == [((20 + 6 + 6 + 8 + 3 + 46) * BIT, 0x7FF)]


def test_ten_short_pauses_then_they_double_up_to_10_s_and_start_over_after_10_s_without() -> None:
    rejoin = Rejoin()
    now_ns, pauses = 0, []
    for _ in range(19):
        pause_ns = rejoin.pause_ns(now_ns, 0)
        pauses.append(pause_ns // MS)
        now_ns += pause_ns + 20 * MS
    assert pauses == [20] * 10 + [100, 200, 400, 800, 1600, 3200, 6400, 10_000, 10_000]
    assert rejoin.pause_ns(now_ns + 9 * SECOND, 0) == 10 * SECOND
    assert rejoin.pause_ns(now_ns + 9 * SECOND, 1) == 20 * MS, "each bus by itself"
    assert rejoin.pause_ns(now_ns + 29 * SECOND, 0) == 20 * MS


def test_a_controller_that_is_never_back_for_good_waits_10_s_for_ever() -> None:
    rejoin = Rejoin()
    assert [rejoin.pause_ns(0, 0) for _ in range(5000)][-1] == 10 * SECOND


def test_while_it_hangs_nobody_asks_and_when_it_goes_on_it_does() -> None:
    small = off(rejoins=True)
    small.run(10 * MS)
    small.hosts["a"].hang(10 * MS)
    small.run(300 * MS)
    assert small.controller("a").state == BUS_OFF
    small.hosts["a"].go_on(300 * MS)
    small.run(SECOND)
    assert states(small)[1][0] == 300 * MS + QUIET_NS


# ------------------------------------------------------------------------------------------------ a bus that is shorted


@pytest.mark.parametrize("wires", ["high_to_low", "to_ground"])
def test_shorted_so_that_it_reads_recessive_who_sends_goes_off_and_comes_back_in_vain(wires: str) -> None:
    """SOF reads back recessive: a bit error (s. 7) each time; the pauses between grow. *Model assumption*: what it reads."""
    small = SmallBus(3)
    small.hosts["a"].rejoin = Rejoin()
    small.bus.wiring.shorts.append(wires)
    small.bus.look_again(0)
    for at_ms in range(0, 1000, 10):
        small.send(at_ms * MS, "a", 0x100)
    small.run(SECOND)
    assert small.frames == []
    offs = [at_ns for at_ns, _, state in states(small) if state == BUS_OFF]
    assert len(offs) == 13, "at once, after 20 ms ten times, after 100 and 200 ms"
    assert small.controller("b").rec == 0
    small.bus.wiring.shorts.remove(wires)
    small.bus.look_again(SECOND)
    small.send(SECOND, "b", 0x200)
    small.run(SECOND + MS)
    assert [frame[2] for frame in small.frames] == [0x200]
