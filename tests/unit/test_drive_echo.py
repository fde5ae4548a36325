"""Which drives a take is of, and which one is left out of the next: the rules of `nodes.drive_echo` by themselves."""

import pytest

from busim.protocol.counter import CounterWatch
from busim.protocol.values import PRESSED_AGAIN_MS
from busim.units import MS, SECOND
from nodes.drive_echo import DriveEcho, leave_out, to_want

from .small_boat import small_boat

MINE, ANOTHER = (1, 7), (3, 6)
MISSING_NS = 350 * MS
NOW_NS = 10 * SECOND


def echoes(*pairs: tuple[int, int], heard_ns: int = NOW_NS) -> list[DriveEcho]:
    """Of drive 1 and drive 2, heard then, obeying these."""
    found = [DriveEcho(CounterWatch(3), drive) for drive in small_boat().drives]
    for echo, (station, number) in zip(found, pairs, strict=True):
        echo.station, echo.number, echo.heard_ns = station, number, heard_ns
    return found


def wants(found: list[DriveEcho], at_ns: int = NOW_NS, *, carries_on: bool = True, anew: bool = False) -> int:
    for echo in found:
        echo.heard_ns = at_ns
    return to_want(found, at_ns, MISSING_NS, carries_on, anew)


@pytest.mark.parametrize(
    ("pairs", "wanted"), [((MINE, ANOTHER), 1), ((ANOTHER, MINE), 2), ((ANOTHER, ANOTHER), 3), ((MINE, MINE), 3)]
)
def test_who_kept_a_take_from_being_complete_is_left_out_of_the_next(
    pairs: tuple[tuple[int, int], tuple[int, int]], wanted: int
) -> None:
    """Where no drive followed nobody kept the others from it."""
    found = echoes(*pairs)
    leave_out(found, NOW_NS, MISSING_NS, 3, MINE)
    assert wants(found) == wanted
    assert wants(found) == 3, "of the next one only"


@pytest.mark.parametrize(("wanted", "pairs"), [(1, (MINE, ANOTHER)), (2, (ANOTHER, MINE)), (1, (ANOTHER, MINE))])
def test_a_drive_that_was_not_asked_kept_nobody_from_anything(wanted: int, pairs: tuple[tuple[int, int], tuple[int, int]]) -> None:
    found = echoes(*pairs)
    leave_out(found, NOW_NS, MISSING_NS, wanted, MINE)
    assert wants(found) == 3


@pytest.mark.parametrize(("after_ms", "wanted"), [(PRESSED_AGAIN_MS - 1, 1), (PRESSED_AGAIN_MS, 3)])
def test_who_presses_again_means_that_failure_for_ten_seconds(after_ms: int, wanted: int) -> None:
    found = echoes(MINE, ANOTHER)
    leave_out(found, NOW_NS, MISSING_NS, 3, MINE)
    assert wants(found, NOW_NS + after_ms * MS) == wanted


@pytest.mark.parametrize(("unheard_ms", "wanted"), [(349, 1), (350, 3)])
def test_one_that_is_silent_needs_no_word(unheard_ms: int, wanted: int) -> None:
    """If it is heard by the next take, that is another case."""
    found = echoes(MINE, ANOTHER)
    found[1].heard_ns = NOW_NS - unheard_ms * MS
    leave_out(found, NOW_NS, MISSING_NS, 3, MINE)
    assert wants(found) == wanted


@pytest.mark.parametrize(("carries_on", "anew", "wanted"), [(True, False, 1), (True, True, 3), (False, False, 3)])
def test_all_or_nothing_and_a_take_anew_ask_all_that_are_heard(carries_on: bool, anew: bool, wanted: int) -> None:
    found = echoes(MINE, ANOTHER)
    leave_out(found, NOW_NS, MISSING_NS, 3, MINE)
    assert wants(found, carries_on=carries_on, anew=anew) == wanted


@pytest.mark.parametrize(("heard", "carries_on", "wanted"), [((0,), True, 1), ((1,), True, 2), ((), True, 3), ((0,), False, 3)])
def test_a_take_is_of_the_drives_that_are_heard(heard: tuple[int, ...], carries_on: bool, wanted: int) -> None:
    found = echoes(ANOTHER, ANOTHER, heard_ns=NOW_NS - 350 * MS)
    for index in heard:
        found[index].heard_ns = NOW_NS - 349 * MS
    assert to_want(found, NOW_NS, MISSING_NS, carries_on, False) == wanted
