"""What the situation knows of the rudder: its reports, its orders, and where it was at any moment."""

import pytest

from busim.events.journal import Journal
from busim.events.rudder_view import KNOTS_KEPT, RudderView
from busim.events.situation import Situation
from busim.units import MS, SECOND

from . import hand_made_frames as hand
from .small_boat import BRIDGE, RUDDER, small_boat

NODE = f"node_{RUDDER}"


def watched() -> tuple[Journal, RudderView]:
    journal, situation = Journal(), Situation(small_boat(rudder={}))
    situation.attach(journal)
    assert situation.rudder is not None
    return journal, situation.rudder


def test_a_boat_without_a_rudder_has_no_view_of_one() -> None:
    assert Situation(small_boat()).rudder is None


def test_a_report_is_read() -> None:
    journal, view = watched()
    data = hand.rudder_state(RUDDER, 1, BRIDGE, 700, asked=-700, sensed=699, fault=3)
    journal.frame(5, 0, hand.id_of(hand.RUDDER_STATE, RUDDER), hand.spoiled(data), -1)
    assert view.heard_ns is None
    journal.frame(7, 0, hand.id_of(hand.RUDDER_STATE, RUDDER), data, -1)
    assert (view.heard_ns, view.station, view.number, view.fault) == (7, BRIDGE, 700, 3)
    assert (view.asked_cdeg, view.sensed_cdeg) == (-3500, 3495), "in steps of 5 hundredths"


@pytest.mark.parametrize("event", [("power", NODE, 0), ("start", NODE, 2)])
def test_what_a_node_forgets_is_forgotten(event: tuple[str, str, int]) -> None:
    journal, view = watched()
    data = hand.rudder_state(RUDDER, 1, BRIDGE, 700)
    journal.frame(7, 0, hand.id_of(hand.RUDDER_STATE, RUDDER), data, -1)
    journal.event(8, "output", NODE, "rudder", 300)
    journal.event(9, *event)
    assert (view.heard_ns, view.station, view.number, view.ordered_cdeg) == (None, 0, 0, None)


def test_only_its_own_outputs_are_its_orders() -> None:
    journal, view = watched()
    journal.event(8, "output", NODE, "rudder", 300)
    journal.event(8, "output", "node_2", "rudder", 900)
    journal.event(8, "output", NODE, "rudder_power", 0)
    journal.event(8, "output", "node_2", "rudder_power", 1)
    assert (view.ordered_cdeg, view.power) == (300, False)


def test_where_it_was_at_any_moment() -> None:
    """On a straight way between what was said; after that at its own 7 degrees a second, and no further than it went."""
    journal, view = watched()
    for at_ms, angle, goal in ((1000, 0, 2000), (1500, 300, -1000), (2500, -400, -1000)):
        journal.event(at_ms * MS, "rudder", angle, goal)
    moments = (0, 999, 1000, 1250, 1500, 2000, 2500, 3000, 3357, 9000)
    assert [view.true_cdeg(at_ms * MS) for at_ms in moments] == [0, 0, 0, 150, 300, -50, -400, -750, -999, -1000]


def test_two_turns_in_one_moment_are_one_place() -> None:
    journal, view = watched()
    journal.event(SECOND, "rudder", 100, 2000)
    journal.event(SECOND, "rudder", 100, -2000)
    assert view.true_cdeg(SECOND) == 100


def test_what_is_long_ago_is_let_go() -> None:
    journal, view = watched()
    for step in range(3 * KNOTS_KEPT):
        journal.event(step * MS, "rudder", step % 100, 100)
    assert len(view.knots) <= KNOTS_KEPT
    assert view.true_cdeg((3 * KNOTS_KEPT - 1) * MS) == (3 * KNOTS_KEPT - 1) % 100
