"""The cutout node: when it stops an engine, when it must not, and how it lets go. Design, s. 6; values are the small boat's."""

from collections.abc import Callable

import pytest

from busim.protocol import values as v
from busim.protocol.tables import CUTOUT_TABLE
from busim.units import MS

from . import hand_made_frames as hand
from .cutout_rig import DUE_NS, MISSING_NS, CutoutRig
from .small_boat import BRIDGE, small_boat

STANDS_NS = 100 * MS
CUTOUT_NS = 500 * MS


def driven_again(rig: CutoutRig) -> None:
    rig.driven()
    rig.run_for(1000)
    rig.drive_for(80)


def taken_anew(rig: CutoutRig) -> None:
    rig.fired()
    rig.gear(False)
    rig.run_for(100)
    rig.drive_for(80, number=2)


SEQUENCES: dict[int, Callable[[CutoutRig], None]] = {
    1: lambda rig: rig.run_to(rig.driven() + MISSING_NS),
    2: driven_again,
    3: CutoutRig.fired,
    4: taken_anew,
}


def test_there_is_a_sequence_for_every_row() -> None:
    assert set(SEQUENCES) == {row.number for row in CUTOUT_TABLE.rows}


@pytest.mark.parametrize("number", SEQUENCES)
def test_every_row_is_taken(number: int) -> None:
    rig = CutoutRig()
    SEQUENCES[number](rig)
    assert rig.rows[-1] == number
    state = "watching"
    for taken in rig.rows:
        assert CUTOUT_TABLE.by_number[taken].state == state
        state = CUTOUT_TABLE.by_number[taken].next_state
    assert rig.state_name() == state


# ------------------------------------------------------------------------------------------------ when it fires


def test_it_waits_after_exactly_what_makes_a_heartbeat_missing() -> None:
    rig = CutoutRig()
    base_ns = rig.driven()
    rig.run_to(base_ns + MISSING_NS - 1)
    assert rig.rows == []
    rig.run_to(base_ns + MISSING_NS)
    assert rig.rows == [1]


def test_it_fires_limit_and_cutout_after_it_was_driven_last_and_not_a_nanosecond_before() -> None:
    rig = CutoutRig()
    base_ns = rig.driven()
    rig.run_to(base_ns + DUE_NS - 1)
    assert rig.fuel_cut == 0
    rig.run_to(base_ns + DUE_NS)
    assert (rig.rows, rig.fuel_cut) == ([1, 3], 1)


def test_a_gear_that_comes_out_in_time_saves_the_engine() -> None:
    rig = CutoutRig()
    base_ns = rig.driven()
    rig.run_to(base_ns + DUE_NS - STANDS_NS)
    rig.gear(False)
    rig.run_to(base_ns + 3 * DUE_NS)
    assert (rig.rows, rig.fuel_cut) == ([1], 0)


def test_a_gear_that_comes_out_too_late_to_be_believed_does_not() -> None:
    rig = CutoutRig()
    base_ns = rig.driven()
    rig.run_to(base_ns + DUE_NS - STANDS_NS + 1)
    rig.gear(False)
    rig.run_to(base_ns + DUE_NS)
    assert rig.fuel_cut == 1


@pytest.mark.parametrize(("speed", "cut"), [(1000, 0), (1001, 1), (3000, 1)])
def test_speed_above_five_quarters_of_idle_counts_with_the_gear_out(speed: int, cut: int) -> None:
    rig = CutoutRig()
    base_ns = rig.driven(gear_in=False)
    rig.input("speed", speed)
    rig.run_to(base_ns + DUE_NS - 1)
    assert rig.fuel_cut == 0
    rig.run_to(base_ns + DUE_NS)
    assert rig.fuel_cut == cut


def test_a_gear_that_goes_in_while_it_waits_is_stopped_after_cutout_ms() -> None:
    """An engagement nobody asked for."""
    rig = CutoutRig()
    rig.driven(gear_in=False)
    rig.run_for(20_000)
    rig.gear(True)
    in_ns = rig.now_ns
    rig.run_to(in_ns + CUTOUT_NS - 1)
    assert rig.fuel_cut == 0
    rig.run_to(in_ns + CUTOUT_NS)
    assert (rig.rows[-1], rig.fuel_cut) == (3, 1)


def test_an_engine_that_runs_away_while_it_waits_is_stopped_after_cutout_ms() -> None:
    rig = CutoutRig()
    rig.driven(gear_in=False)
    rig.run_for(20_000)
    rig.input("speed", 1600)
    fast_ns = rig.now_ns
    rig.run_to(fast_ns + CUTOUT_NS - 1)
    assert rig.fuel_cut == 0
    rig.run_to(fast_ns + CUTOUT_NS)
    assert rig.fuel_cut == 1


def test_a_glitch_of_the_switch_stops_no_engine() -> None:
    """Shorter than it takes to be believed, however often."""
    rig = CutoutRig()
    rig.driven(gear_in=False)
    rig.run_for(20_000)
    for _ in range(20):
        rig.gear(True)
        rig.run_to(rig.now_ns + STANDS_NS - 1)
        rig.gear(False)
        rig.run_for(150)
    assert rig.fuel_cut == 0


def test_a_glitch_of_the_switch_saves_none_either() -> None:
    """With the gear in, a contact that bounces closed does not put the cut off."""
    rig = CutoutRig()
    base_ns = rig.driven()
    while rig.now_ns < base_ns + DUE_NS - 40 * MS:
        rig.gear(False)
        rig.run_for(20)
        rig.gear(True)
        rig.run_for(20)
    rig.gear(False)
    rig.run_to(base_ns + DUE_NS - 1)
    assert rig.fuel_cut == 0
    rig.run_to(base_ns + DUE_NS)
    assert rig.fuel_cut == 1


def test_a_short_cutout_time_still_waits_until_the_switch_is_believed() -> None:
    plan = small_boat()
    rig = CutoutRig(small_boat(cutout={"cutout_ms": 50}))
    assert plan.cutouts[0].cutout_ms == 500
    rig.driven(gear_in=False)
    rig.run_for(20_000)
    rig.gear(True)
    in_ns = rig.now_ns
    rig.run_to(in_ns + STANDS_NS - 1)
    assert rig.fuel_cut == 0
    rig.run_to(in_ns + STANDS_NS)
    assert rig.fuel_cut == 1


def test_a_drive_never_heard_counts_from_the_cutouts_own_start() -> None:
    rig = CutoutRig()
    rig.started(gear_in=True)
    rig.run_to(DUE_NS - 1)
    assert rig.fuel_cut == 0
    rig.run_to(DUE_NS)
    assert rig.fuel_cut == 1


def test_a_gear_switch_never_read_counts_as_open_and_a_speed_never_read_as_nothing() -> None:
    rig = CutoutRig()
    rig.start()
    rig.run_to(DUE_NS)
    assert rig.fuel_cut == 1
    assert rig.last(hand.CUTOUT_STATE, 44, 2) == v.SWITCH_FAULTY
    other = CutoutRig()
    other.start()
    other.gear(False)
    other.run_to(10 * DUE_NS)
    assert other.fuel_cut == 0


# ------------------------------------------------------------------------------------------------ what drives


KEEPS_DRIVING = {"acts on a new frame": {}, "acts on the next frame": {"acted": 1}, "counter wraps": {"acted": 250}}


@pytest.mark.parametrize("more", KEEPS_DRIVING.values(), ids=KEEPS_DRIVING.keys())
def test_reports_of_a_drive_that_is_driven_keep_it_from_waiting(more: dict[str, int]) -> None:
    rig = CutoutRig()
    rig.driven()
    rig.drive_for(20_000, **more)
    assert rig.rows == []


DOES_NOT_DRIVE = {
    "acts on nothing new": {"acted": 0},
    "obeys nobody": {"station": 0},
    "wrong CRC": {"spoil": True},
    "counter stands": {"ahead": 0},
    "counter jumps": {"ahead": 100},
}


@pytest.mark.parametrize("more", DOES_NOT_DRIVE.values(), ids=DOES_NOT_DRIVE.keys())
def test_reports_that_do_not_count_put_nothing_off(more: dict[str, int]) -> None:
    rig = CutoutRig()
    base_ns = rig.driven()
    rig.drive_for(3080, **more)
    rig.run_to(base_ns + DUE_NS)
    assert rig.rows == [1, 3]


def test_the_first_report_under_another_number_does_not_drive_yet() -> None:
    """It may be of a frame acted on long ago; the next one that acts on more does."""
    rig = CutoutRig()
    base_ns = rig.driven()
    rig.run_for(300)
    rig.report(number=2)
    rig.run_to(base_ns + MISSING_NS)
    assert rig.rows == [1]
    rig.report(number=2)
    assert rig.rows == [1, 2]


def test_two_buses_drive_as_one() -> None:
    rig = CutoutRig(small_boat(buses=2))
    rig.started(gear_in=True)
    for _ in range(200):
        rig.run_for(40)
        rig.report(bus=1)
    assert rig.rows == []
    assert {action[1] for _, action in rig.did if action[0] == 0} == {0, 1}


# ------------------------------------------------------------------------------------------------ fired, and after


def test_fired_it_stays_fired_whatever_the_sensors_say() -> None:
    """46 CFR 62.25-15: after a trip a manual reset is required."""
    rig = CutoutRig()
    rig.fired()
    rig.gear(False)
    rig.input("speed", 0)
    rig.run_for(60_000)
    assert rig.fuel_cut == 1
    assert rig.last(hand.CUTOUT_STATE, 32, 1) == 1


NOT_TAKEN_ANEW = {
    "who drove it when it fired goes on": ({}, False),
    "taken anew with the gear in": ({"number": 2}, True),
    "obeys nobody": ({"station": 0}, False),
}


@pytest.mark.parametrize(("more", "gear_in"), NOT_TAKEN_ANEW.values(), ids=NOT_TAKEN_ANEW.keys())
def test_what_is_no_deliberate_take_leaves_it_fired(more: dict[str, int], gear_in: bool) -> None:
    rig = CutoutRig()
    rig.fired()
    rig.gear(gear_in)
    rig.run_for(100)
    rig.drive_for(2000, **more)
    assert (rig.rows[-1], rig.fuel_cut) == (3, 1)


TAKEN_ANEW = {
    "another number": [{"number": 2}],
    "another station": [{"station": BRIDGE}],
    "the same again after it let go": [{"station": 0}, {}],
}


@pytest.mark.parametrize("steps", TAKEN_ANEW.values(), ids=TAKEN_ANEW.keys())
def test_control_taken_anew_with_the_gear_out_gives_the_fuel_back(steps: list[dict[str, int]]) -> None:
    rig = CutoutRig()
    rig.fired()
    rig.gear(False)
    rig.run_for(100)
    for step in steps:
        rig.drive_for(80, **step)
    assert (rig.rows[-1], rig.fuel_cut) == (4, 0)
    assert rig.state_name() == "watching"


def test_the_gear_must_have_been_out_for_as_long_as_it_takes_to_be_believed() -> None:
    rig = CutoutRig()
    rig.fired()
    rig.report(number=2)
    rig.gear(False)
    rig.run_to(rig.now_ns + STANDS_NS - 1)
    rig.report(number=2)
    assert rig.fuel_cut == 1
    rig.run_for(1)
    rig.report(number=2)
    assert rig.fuel_cut == 0


def test_it_can_fire_again() -> None:
    rig = CutoutRig()
    taken_anew(rig)
    base_ns = rig.now_ns
    rig.gear(True)
    rig.run_to(base_ns + DUE_NS)
    assert rig.rows == [1, 3, 4, 1, 3]
