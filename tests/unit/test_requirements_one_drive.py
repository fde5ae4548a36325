"""The judges of takes and of thrust where one of two drives is dead or refuses: made by hand, no simulator."""

from collections.abc import Callable
from typing import Any

import pytest

from busim.requirements.boat_availability import Availability
from busim.requirements.requirement import Requirement
from busim.requirements.station_one_in_control import OneInControl
from busim.requirements.station_transfer import Transfer
from busim.requirements.verdict import FAIL, INCONCLUSIVE, NOT_EXERCISED, PASS, SELF_REPORTED

from .judge_rig import NEUTRAL_LIMIT_MS, JudgeRig
from .small_boat import BRIDGE, PORT, STARBOARD, WHEELHOUSE, small_boat

MISSING_MS, TRANSFER_MS = 350, 500
BOTH, PORT_ALONE = 3, 1
DEAD = ("power_lost", f"node_{STARBOARD}")


class OneDrive(JudgeRig):
    """The bridge's key is pressed; port and starboard have both been heard there."""

    def __init__(self, kind: type[Requirement], **boat: Any) -> None:
        super().__init__(kind, small_boat(**boat))
        self.event("start", f"node_{BRIDGE}", 0)
        self.report(0, 0)
        self.report(0, 0)

    def report(self, station: int, number: int, *drives: int) -> None:
        for drive in drives or (PORT, STARBOARD):
            self.obeys(station, number, drive=drive)

    def press(self, node: int = BRIDGE) -> None:
        self.event("key", f"node_{node}", "take", 1)

    def port_alone(self, ms: int, station: int = 0, number: int = 0) -> None:
        """Only port is heard."""
        for _ in range(ms // 50):
            self.after(50)
            self.report(station, number, PORT)


# ------------------------------------------------------------------------------------------------ station.transfer

AFTERWARDS_MS = NEUTRAL_LIMIT_MS + MISSING_MS
"""Whatever something sets off has happened by then: a loss noticed by silence, and its neutral."""
UPSETS: dict[str, tuple[str | int, ...]] = {
    "a fault strikes": ("fault", "reset", f"node_{STARBOARD}", 2),
    "a fault ends": ("fault", "cut", "main", 0),
    "a supply comes": ("power", f"node_{STARBOARD}", 1),
    "a program starts": ("start", f"node_{STARBOARD}", 0),
    "another key": ("key", f"node_{WHEELHOUSE}", "neutral_now", 1),
    "a lever": ("lever", "wheelhouse", "port", 0, 0),
}


def comes_to_nothing(rig: OneDrive) -> str:
    """Nobody obeys it, and its time is over."""
    rig.after(2 * TRANSFER_MS + 1)
    rig.report(0, 0)
    return rig.says()


@pytest.mark.parametrize("upset", UPSETS)
@pytest.mark.parametrize(("since_ms", "says"), [(AFTERWARDS_MS, SELF_REPORTED), (AFTERWARDS_MS + 1, FAIL)])
def test_with_nothing_broken_a_take_does_not_come_to_nothing(upset: str, since_ms: int, says: str) -> None:
    rig = OneDrive(Transfer)
    if upset == "a fault ends":
        rig.event("fault", "cut", "main", 1)
    rig.after(2000)
    rig.event(*UPSETS[upset])  # type: ignore[arg-type]
    rig.after(since_ms)
    rig.press()
    assert comes_to_nothing(rig) == says


@pytest.mark.parametrize("upset", UPSETS)
def test_what_happens_during_a_take_may_be_why_it_comes_to_nothing(upset: str) -> None:
    rig = OneDrive(Transfer)
    if upset != "a fault ends":
        rig.after(5000)
    rig.press()
    rig.after(100)
    if upset == "a fault ends":
        rig.event("fault", "cut", "main", 1)
    rig.event(*UPSETS[upset])  # type: ignore[arg-type]
    assert comes_to_nothing(rig) == SELF_REPORTED


def test_a_fault_that_is_on_may_be_why_a_take_comes_to_nothing() -> None:
    rig = OneDrive(Transfer)
    rig.event("fault", "cut", "main", 1)
    rig.after(60_000)
    rig.press()
    assert comes_to_nothing(rig) == SELF_REPORTED


def left_out(rig: OneDrive, number: int = 1) -> None:
    """It claims port alone, and port follows."""
    rig.press()
    rig.claim(number, station=BRIDGE, wanted=PORT_ALONE)
    rig.report(BRIDGE, number, PORT)


def test_a_take_without_a_drive_that_is_silent_is_complete() -> None:
    rig = OneDrive(Transfer)
    rig.port_alone(400)
    left_out(rig)
    assert (rig.says(), rig.verdict().evidence) == (SELF_REPORTED, "bridge: obeyed by port it wants, starboard left out")


@pytest.mark.parametrize(("ms", "says"), [(344, FAIL), (345, SELF_REPORTED)])
def test_a_drive_is_silent_after_its_time_less_what_clocks_make_of_it(ms: int, says: str) -> None:
    """350 ms (heartbeat_missing_ms), 5 ms of slack."""
    rig = OneDrive(Transfer)
    rig.after(ms)
    left_out(rig)
    assert rig.says() == says
    if says == FAIL:
        assert rig.verdict().evidence == "bridge: its claim leaves out starboard, which it hears and which refused nothing"


def test_a_drive_that_only_others_hear_is_silent_here() -> None:
    rig = OneDrive(Transfer)
    for _ in range(20):
        rig.after(20)
        rig.report(0, 0, PORT)
        rig.obeys(0, 0, drive=STARBOARD, mask=rig.all_but(BRIDGE))
    left_out(rig)
    assert rig.says() == SELF_REPORTED


def test_a_station_that_began_anew_has_heard_nobody() -> None:
    rig = OneDrive(Transfer)
    rig.event("start", f"node_{BRIDGE}", 0)
    left_out(rig)
    assert rig.says() == SELF_REPORTED


def test_all_or_none_leaves_out_no_drive() -> None:
    rig = OneDrive(Transfer, on_other_lost="neutral")
    rig.port_alone(400)
    left_out(rig)
    assert rig.verdict().evidence == "bridge: its claim leaves out starboard, and this boat's control is of all or none"
    assert rig.says() == FAIL


def refused(rig: OneDrive, number: int = 1) -> None:
    """Both are wanted, port follows and starboard does not: withdrawn."""
    rig.press()
    rig.claim(number, station=BRIDGE, wanted=BOTH)
    rig.report(BRIDGE, number, PORT)
    rig.after(TRANSFER_MS)
    rig.report(0, 0, STARBOARD)
    rig.after(60)
    rig.report(0, number, PORT)


def meanwhile(rig: OneDrive, ms: int) -> None:
    for _ in range(ms // 50):
        rig.after(50)
        rig.report(0, 1)


@pytest.mark.parametrize(("ms", "says"), [(100, SELF_REPORTED), (9900, SELF_REPORTED), (10_000, FAIL)])
def test_a_drive_that_refused_may_be_left_out_for_ten_seconds(ms: int, says: str) -> None:
    rig = OneDrive(Transfer)
    refused(rig)
    meanwhile(rig, ms)
    left_out(rig, 2)
    assert rig.says() == says


def test_of_the_take_after_that_it_is_again() -> None:
    rig = OneDrive(Transfer)
    refused(rig)
    meanwhile(rig, 500)
    left_out(rig, 2)
    assert rig.says() == SELF_REPORTED
    meanwhile(rig, 500)
    left_out(rig, 3)
    assert rig.says() == FAIL


@pytest.mark.parametrize(("matched", "says"), [(True, SELF_REPORTED), (False, FAIL)])
def test_a_matched_take_that_failed_counts_for_the_next_one(matched: bool, says: str) -> None:
    """It is no take of a station that may not take with its levers matched."""
    rig = OneDrive(Transfer, station={"matched_take": matched})
    rig.event("lever", "bridge", "port", 500, 0)
    refused(rig)
    rig.event("lever", "bridge", "port", 0, 0)
    left_out(rig, 2)
    assert rig.says() == says


def nobody_followed(rig: OneDrive) -> None:
    rig.press()
    rig.claim(1, station=BRIDGE, wanted=BOTH)


def outbid(rig: OneDrive) -> None:
    nobody_followed(rig)
    rig.report(BRIDGE, 1, PORT)
    rig.report(WHEELHOUSE, 2, STARBOARD)


@pytest.mark.parametrize("failed", [nobody_followed, outbid])
def test_who_kept_no_take_from_being_complete_is_not_left_out(failed: Callable[[OneDrive], None]) -> None:
    rig = OneDrive(Transfer)
    failed(rig)
    meanwhile(rig, 1200)
    left_out(rig, 3)
    assert rig.says() == FAIL


def test_a_take_of_one_drive_that_comes_to_nothing_is_withdrawn_too() -> None:
    rig = OneDrive(Transfer)
    rig.port_alone(400)
    rig.press()
    rig.claim(1, station=BRIDGE, wanted=PORT_ALONE)
    rig.after(TRANSFER_MS + 21)
    rig.report(BRIDGE, 1, PORT)
    rig.after(TRANSFER_MS)
    assert (rig.says(), rig.verdict().evidence) == (FAIL, "bridge: its take was left half done (port)")


@pytest.mark.parametrize("node", [BRIDGE, STARBOARD])
def test_what_is_spoilt_on_its_way_out_is_no_ground(node: int) -> None:
    rig = OneDrive(Transfer)
    rig.event("fault", "corrupted", f"node_{node}", 1)
    left_out(rig)
    assert rig.says() != FAIL


# ------------------------------------------------------------------------------------------------ station.one_in_control


def parted(rig: OneDrive) -> None:
    """Both obeyed the wheelhouse; port has gone over to the bridge, and starboard never says so."""
    rig.report(WHEELHOUSE, 1)
    rig.report(BRIDGE, 2, PORT)


def test_what_a_drive_said_before_it_fell_silent_is_nothing_against_the_other() -> None:
    """A log shows no power that is gone."""
    rig = OneDrive(OneInControl)
    rig.report(WHEELHOUSE, 1)
    rig.port_alone(400, WHEELHOUSE, 1)
    rig.port_alone(2000, BRIDGE, 2)
    assert rig.says() == SELF_REPORTED


@pytest.mark.parametrize(("ms", "says"), [(600, SELF_REPORTED), (650, FAIL)])
def test_how_long_they_were_apart_is_counted_up_to_the_last_word_of_both(ms: int, says: str) -> None:
    rig = OneDrive(OneInControl)
    parted(rig)
    for _ in range(ms // 50):
        rig.after(50)
        rig.report(WHEELHOUSE, 1, STARBOARD)
        rig.report(BRIDGE, 2, PORT)
    rig.port_alone(2000, BRIDGE, 2)
    assert (rig.says(), rig.verdict().measured) == (says, ms)


def test_drives_that_both_fall_silent_were_apart_to_the_end() -> None:
    rig = OneDrive(OneInControl)
    parted(rig)
    rig.after(601)
    assert rig.says() == FAIL


# ------------------------------------------------------------------------------------------------ boat.availability


def one_dead(rig: OneDrive, *fault: str, silent: bool) -> None:
    rig.event("fault", *(fault or DEAD), 1)
    rig.event("lever", "bridge", "port", 0, 0)
    for _ in range(10):
        rig.after(50)
        rig.report(0, 0, *((PORT,) if silent else (PORT, STARBOARD)))


def asked(rig: OneDrive) -> None:
    """The key, and its lever ahead."""
    rig.press()
    rig.event("lever", "bridge", "port", 500, 0)


@pytest.mark.parametrize(("ms", "says"), [(10_000, INCONCLUSIVE), (10_001, FAIL)])
def test_with_one_drive_dead_a_take_has_to_bring_thrust_of_the_other(ms: int, says: str) -> None:
    rig = OneDrive(Availability)
    one_dead(rig, silent=True)
    asked(rig)
    rig.after(ms)
    assert rig.says() == says


def test_thrust_that_came_is_told_with_what_is_at_fault() -> None:
    rig = OneDrive(Availability)
    one_dead(rig, silent=True)
    asked(rig)
    rig.after(10_000)
    rig.event("gear", "port", 1, 0, 800)
    assert (rig.says(), rig.verdict().measured) == (PASS, 10_000)
    assert rig.verdict().evidence == "port: gear in again with starboard at fault, control taken at node_3"


def test_a_take_that_is_withdrawn_is_no_answer() -> None:
    """Port changed over, was told that the take is withdrawn, and went neutral."""
    rig = OneDrive(Availability)
    rig.event("gear", "port", 1, 0, 800)
    one_dead(rig, silent=True)
    asked(rig)
    rig.report(BRIDGE, 1, PORT)
    rig.after(550)
    rig.obeys(0, 1, drive=PORT, cause=6)
    rig.event("gear", "port", 0, 0, 800)
    rig.after(10_000)
    assert rig.says() == FAIL


def test_taken_over_in_gear_is_thrust() -> None:
    rig = OneDrive(Availability)
    rig.event("gear", "port", 1, 0, 800)
    one_dead(rig, silent=True)
    asked(rig)
    rig.after(20_000)
    assert rig.says() == NOT_EXERCISED


def twice(rig: OneDrive, after_ms: int, node: int = BRIDGE) -> None:
    one_dead(rig, "sensor_open", f"node_{STARBOARD}, shift_position", silent=False)
    rig.press(node)
    rig.after(after_ms)
    rig.report(0, 1)
    asked(rig)
    rig.after(10_001)


@pytest.mark.parametrize(
    ("after_ms", "says"),
    [(0, NOT_EXERCISED), (499, NOT_EXERCISED), (999, NOT_EXERCISED), (1000, FAIL), (10_499, FAIL), (10_500, NOT_EXERCISED)],
)
def test_a_drive_that_is_heard_may_spoil_the_first_take_and_not_the_second(after_ms: int, says: str) -> None:
    """The first one is over after 1 s, withdrawal and all; and what it left out counts for 10 s from when it failed."""
    rig = OneDrive(Availability)
    twice(rig, after_ms)
    assert rig.says() == says


def test_each_station_has_its_own_first_take() -> None:
    rig = OneDrive(Availability)
    rig.event("start", f"node_{WHEELHOUSE}", 0)
    twice(rig, 1000, WHEELHOUSE)
    assert rig.says() == NOT_EXERCISED


def test_the_third_take_is_a_first_one_again() -> None:
    rig = OneDrive(Availability)
    one_dead(rig, "sensor_open", f"node_{STARBOARD}, shift_position", silent=False)
    for _ in range(3):
        rig.press()
        rig.after(1000)
        rig.report(0, 1)
    rig.event("lever", "bridge", "port", 500, 0)
    rig.after(10_001)
    assert rig.says() == NOT_EXERCISED


def too_soon(rig: OneDrive) -> None:
    rig.event("fault", *DEAD, 1)
    rig.event("lever", "bridge", "port", 0, 0)
    rig.after(430)
    asked(rig)


def of_the_bus(rig: OneDrive) -> None:
    one_dead(rig, "babbling", f"node_{STARBOARD}", silent=True)
    asked(rig)


def two_faults(rig: OneDrive) -> None:
    one_dead(rig, silent=True)
    rig.event("fault", "cut", "bus_0 at 3 m", 1)
    rig.after(500)
    asked(rig)


def of_both(rig: OneDrive) -> None:
    one_dead(rig, silent=True)
    rig.event("fault", "power_lost", f"node_{PORT}", 1)
    rig.after(500)
    asked(rig)


@pytest.mark.parametrize("what", [too_soon, of_the_bus, two_faults, of_both])
def test_thrust_is_not_asked_for_where_more_is_wrong(what: Callable[[OneDrive], None]) -> None:
    rig = OneDrive(Availability)
    what(rig)
    rig.after(60_000)
    assert rig.says() == NOT_EXERCISED


def test_a_boat_of_all_or_none_has_no_thrust_then() -> None:
    rig = OneDrive(Availability, on_other_lost="neutral")
    one_dead(rig, silent=True)
    asked(rig)
    rig.after(60_000)
    assert rig.says() == NOT_EXERCISED


def test_a_fault_of_the_machinery_is_named_by_its_drive() -> None:
    rig = OneDrive(Availability)
    one_dead(rig, "actuator_jammed", "starboard shift", silent=True)
    asked(rig)
    rig.after(10_001)
    assert rig.says() == FAIL
