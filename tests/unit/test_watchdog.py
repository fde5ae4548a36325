"""A program that hangs: it stands still until it goes on, or until the external watchdog resets it."""

from functools import partial

import pytest

from busim.boat.load import load_boat
from busim.boat.shipped import shipped_folder
from busim.faults.hang import HangPlace
from busim.faults.table import BY_NAME
from busim.seam import WATCHDOG_RESET
from busim.simulator.build import build_world, power_up
from busim.simulator.kinds import load_kinds
from busim.simulator.world import World
from busim.units import MS, NEVER, SECOND

HANG_NS = 2 * SECOND


def world(watchdog_ns: int, for_ns: int, *, watchdog: bool = True) -> tuple[World, list[tuple[object, ...]]]:
    """The first boat; its engine room hangs at 2 s. What starts is collected."""
    boat = load_boat(shipped_folder() / "first_boat")
    made = build_world(boat.boat, boat.plan, load_kinds(), 1)
    made.hosts["engine_room"].watchdog_ns = watchdog_ns
    starts: list[tuple[object, ...]] = []
    made.journal.watch_events("start", lambda event: starts.append((event[0], *event[3:])))
    made.plan_steps(power_up(made))
    made.run(HANG_NS)
    starts.clear()
    place = HangPlace(node="engine_room", watchdog=watchdog)
    BY_NAME["hang"].begin(made, HANG_NS, place)
    made.run(HANG_NS + for_ns)
    BY_NAME["hang"].end(made, HANG_NS + for_ns, place, None)
    made.run(HANG_NS + 3 * SECOND)
    return made, starts


def test_it_is_reset_once_the_watchdog_has_waited() -> None:
    made, starts = world(200 * MS, 2 * SECOND)
    host = made.hosts["engine_room"]
    assert starts == [(HANG_NS + 200 * MS + host.boot_ns, "engine_room", WATCHDOG_RESET)]


@pytest.mark.parametrize("watchdog_ns", [NEVER, 500 * MS])
def test_it_goes_on_where_it_was_where_none_is_fitted_or_it_was_too_short(watchdog_ns: int) -> None:
    made, starts = world(watchdog_ns, 400 * MS)
    assert starts == []
    assert made.hosts["engine_room"].running


def test_a_watchdog_that_has_failed_too_resets_nothing() -> None:
    made, starts = world(200 * MS, 2 * SECOND, watchdog=False)
    assert starts == []
    assert made.hosts["engine_room"].running, "the fault is over, and it goes on"


def test_boards_say_whether_one_is_fitted() -> None:
    boat = load_boat(shipped_folder() / "first_boat")
    build = partial(build_world, boat.boat, boat.plan, load_kinds(), 1)
    assert {host.watchdog_ns for host in build().hosts.values()} == {200 * MS}
