"""Nobody in control, keys that stay pressed, keys that were locked out: as a listener sees them."""

import pytest

from busim.protocol.alarms import BY_NAME
from busim.units import MS, SECOND
from nodes.helm_watch import HelmWatch

from .small_boat import BRIDGE, PORT, SALOON, STARBOARD, WHEELHOUSE, small_boat

NOBODY, STUCK, LOCKED = (BY_NAME[name].number for name in ("nobody_in_control", "neutral_key_stuck", "key_locked_out"))
NEUTRAL_NOW, LEVER_LOST = 5, 2
START_NS = SECOND


def watch() -> HelmWatch:
    found = HelmWatch(small_boat(), SALOON)
    found.start(START_NS)
    return found


def report(helm: HelmWatch, now_ns: int, station: int, *, cause: int = 0, drives: tuple[int, ...] = (PORT, STARBOARD)) -> None:
    for drive in drives:
        helm.obeys(now_ns, drive, station, 1, cause)


# ------------------------------------------------------------------------------------------------ nobody in control


def test_after_a_start_there_is_time_to_take_control() -> None:
    helm = watch()
    for at_ns in (START_NS, START_NS + 3 * SECOND - 1):
        report(helm, at_ns, 0)
        assert helm.causes(at_ns) == []
    report(helm, START_NS + 3 * SECOND, 0)
    assert helm.causes(START_NS + 3 * SECOND) == [(NOBODY, 0)]


def test_power_back_and_nobody_in_control_is_told() -> None:
    """An accident report (NTSB, 2013): power came back, no station was in command, and nothing said so. Here the listeners lived
    through it, so it is told at once."""
    helm = watch()
    report(helm, 2 * SECOND, WHEELHOUSE)
    assert helm.causes(2 * SECOND) == []
    assert helm.causes(4 * SECOND) == [], "no drive is heard: that is another alarm"
    report(helm, 5 * SECOND, 0)
    assert helm.causes(5 * SECOND) == [(NOBODY, 0)]


@pytest.mark.parametrize("cause", [0, LEVER_LOST, 3, 4, 6, 7, 8, 9, 10, 11, 12])
def test_after_a_loss_it_is_told_at_once(cause: int) -> None:
    helm = watch()
    report(helm, 2 * SECOND, WHEELHOUSE)
    helm.causes(2 * SECOND)
    report(helm, 2 * SECOND + 1, 0, cause=cause)
    assert helm.causes(2 * SECOND + 1) == [(NOBODY, 0)]


def test_neutral_that_somebody_wanted_waits_as_after_a_start() -> None:
    helm = watch()
    report(helm, 2 * SECOND, WHEELHOUSE)
    helm.causes(2 * SECOND)
    for at_ns in (3 * SECOND, 6 * SECOND - 1):
        report(helm, at_ns, 0, cause=NEUTRAL_NOW)
        assert helm.causes(at_ns) == []
    report(helm, 6 * SECOND, 0, cause=NEUTRAL_NOW)
    assert helm.causes(6 * SECOND) == [(NOBODY, 0)]


def test_one_drive_that_obeys_somebody_is_enough() -> None:
    helm = watch()
    for at_ns in range(START_NS, 9 * SECOND, 100 * MS):
        report(helm, at_ns, 0, drives=(PORT,))
        report(helm, at_ns, BRIDGE, drives=(STARBOARD,))
        assert helm.causes(at_ns) == []


def test_a_drive_that_is_not_heard_has_no_say() -> None:
    helm = watch()
    report(helm, 2 * SECOND, WHEELHOUSE)
    helm.causes(2 * SECOND)
    report(helm, 2 * SECOND + 349 * MS, 0, drives=(PORT,))
    assert helm.causes(2 * SECOND + 350 * MS - 1) == []
    assert helm.causes(2 * SECOND + 350 * MS) == [(NOBODY, 0)]


def test_whom_a_drive_obeyed_last_is_remembered() -> None:
    helm = watch()
    report(helm, 2 * SECOND, WHEELHOUSE)
    report(helm, 3 * SECOND, 0)
    assert helm.masters == {PORT: WHEELHOUSE, STARBOARD: WHEELHOUSE}


# ------------------------------------------------------------------------------------------------ keys


def hold(helm: HelmWatch, from_ns: int, to_ns: int, station: int = BRIDGE) -> None:
    for at_ns in range(from_ns, to_ns + 1, 20 * MS):
        helm.key(at_ns, station, 1, 0)


def test_a_key_pressed_for_10_s_is_stuck() -> None:
    helm = watch()
    hold(helm, 2 * SECOND, 12 * SECOND)
    assert helm.stuck(12 * SECOND - 1) == ()
    assert helm.stuck(12 * SECOND) == (BRIDGE,)
    assert (STUCK, BRIDGE) in helm.causes(12 * SECOND)


def test_a_key_that_was_let_go_begins_anew() -> None:
    helm = watch()
    hold(helm, 2 * SECOND, 11 * SECOND)
    helm.key(11 * SECOND + MS, BRIDGE, 0, 0)
    hold(helm, 11 * SECOND + 20 * MS, 13 * SECOND)
    assert helm.stuck(13 * SECOND) == ()


def test_a_key_that_is_not_heard_for_a_second_is_not_pressed() -> None:
    helm = watch()
    hold(helm, 2 * SECOND, 13 * SECOND)
    assert helm.stuck(14 * SECOND - 1) == (BRIDGE,)
    assert helm.stuck(14 * SECOND) == ()


def test_a_key_that_was_locked_out_is_told_as_that_and_no_more_as_stuck() -> None:
    helm = watch()
    hold(helm, 2 * SECOND, 13 * SECOND)
    helm.key(13 * SECOND, WHEELHOUSE, 0, 1 << BRIDGE)
    keys = [cause for cause in helm.causes(13 * SECOND) if cause[0] in (STUCK, LOCKED)]
    assert keys == [(LOCKED, BRIDGE)]


def test_a_lock_is_shown_until_it_is_not_repeated() -> None:
    helm = watch()
    helm.key(2 * SECOND, WHEELHOUSE, 0, 1 << BRIDGE)
    assert helm.locked_out(2 * SECOND + 3500 * MS - 1) == 1 << BRIDGE
    assert helm.locked_out(2 * SECOND + 3500 * MS) == 0


def test_nobody_locks_out_a_key_of_his_own() -> None:
    helm = watch()
    helm.key(2 * SECOND, BRIDGE, 1, 1 << BRIDGE)
    assert helm.locked_out(2 * SECOND) == 0


def test_keys_of_nodes_that_are_no_station_are_none() -> None:
    helm = watch()
    helm.key(2 * SECOND, PORT, 1, 0xFFFF)
    assert helm.locked_out(2 * SECOND) == 0
