"""Who hears whom on a cable with cuts, open drops, dead receivers and dead transmitters, and which stretches that makes.

The stretches are compared with the closure of "hears", taken step by step in this file.
"""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busim.bus.wiring import Wiring


def wiring(*at_m: float, cuts: tuple[float, ...] = ()) -> Wiring:
    cable = Wiring()
    for metre in at_m:
        cable.add(metre)
    cable.cuts_m.extend(cuts)
    return cable


def test_a_whole_cable_is_one_stretch() -> None:
    cable = wiring(0.5, 11.0, 4.0, 2.5)
    assert cable.segments() == [[0, 1, 2, 3]]
    assert all(cable.hears(listener, sender) for listener in range(4) for sender in range(4))


def test_a_cut_parts_what_is_below_it_from_what_is_above_wherever_places_were_added() -> None:
    assert wiring(0.5, 11.0, 4.0, 2.5, cuts=(8.0,)).segments() == [[0, 2, 3], [1]]


def test_two_cuts_make_three_stretches_and_two_in_the_same_gap_make_two() -> None:
    assert wiring(1.0, 5.0, 9.0, cuts=(3.0, 7.0)).segments() == [[0], [1], [2]]
    assert wiring(1.0, 5.0, 9.0, cuts=(6.0, 7.0)).segments() == [[0, 1], [2]]


def test_a_cut_beyond_the_last_place_parts_nobody() -> None:
    assert wiring(1.0, 5.0, cuts=(7.0,)).segments() == [[0, 1]]


def test_a_place_at_the_very_metre_of_a_cut_is_beyond_it() -> None:
    assert wiring(1.0, 4.0, 5.0, cuts=(4.0,)).segments() == [[0], [1, 2]]


def test_an_open_drop_leaves_its_place_alone() -> None:
    cable = wiring(1.0, 2.0, 3.0)
    cable.loose.add(1)
    assert cable.segments() == [[0, 2], [1]]
    assert cable.hears(1, 1)


@pytest.mark.parametrize(("dead", "can_hear", "is_heard"), [("deaf", False, True), ("dumb", True, False)])
def test_a_dead_receiver_and_a_dead_transmitter_work_one_way(dead: str, can_hear: bool, is_heard: bool) -> None:
    cable = wiring(1.0, 2.0)
    getattr(cable, dead).add(1)
    assert cable.hears(1, 0) is can_hear
    assert cable.hears(0, 1) is is_heard
    assert cable.segments() == [[0, 1]], "one direction is enough to have to share the bus"


places = st.lists(st.floats(min_value=0, max_value=20, allow_nan=False), min_size=1, max_size=7)
some = st.sets(st.integers(min_value=0, max_value=6))


@settings(max_examples=150, deadline=None)
@given(at_m=places, cuts=st.lists(st.floats(min_value=0, max_value=20), max_size=3), loose=some, deaf=some, dumb=some)
def test_stretches_are_the_closure_of_hearing(
    at_m: list[float], cuts: list[float], loose: set[int], deaf: set[int], dumb: set[int]
) -> None:
    cable = wiring(*at_m, cuts=tuple(cuts))
    cable.loose, cable.deaf, cable.dumb = loose, deaf, dumb
    count = len(at_m)
    together = [{place} for place in range(count)]
    for _ in range(count):
        for one in range(count):
            for other in range(count):
                if cable.hears(one, other) or cable.hears(other, one):
                    together[one] |= together[other]
                    together[other] |= together[one]
    stretches = cable.segments()
    assert sorted(place for stretch in stretches for place in stretch) == list(range(count))
    for stretch in stretches:
        assert stretch == sorted(stretch)
        assert all(together[place] == set(stretch) for place in stretch)
