"""On a redundant pair every node hands each safety frame's bus and moment on to the watch that follows its sender."""

from typing import Any

import pytest

from busim.protocol.catalogue import BY_CODE
from busim.protocol.counter import PairWatch
from busim.protocol.ids import address_of
from busim.protocol.plan import WirePlan
from busim.units import MS
from nodes import KINDS

from . import hand_made_frames as hand
from .contract import Specimen, Watched, specimen

FIRST, SECOND_ONE = 7, 8
"""Two counters in a row: from the second on a sender is believed."""
NOT_COUNTED = (("neutral_now", ""), ("claim", "station"))
"""Of a neutral-now key one frame suffices, and a late copy asks for no more than a gear out; a station takes of claims no more
than the highest number heard."""
ONLY_WHOM_IT_OBEYS = ("lever", "wheel")
"""Counted once a take made its sender the one to follow: see the tests of drive and rudder."""


def pairs_in(thing: Any, seen: dict[int, PairWatch]) -> dict[int, PairWatch]:
    """Every watch over a pair that a node holds, wherever it keeps it."""
    if isinstance(thing, PairWatch):
        seen[id(thing)] = thing
    elif isinstance(thing, dict):
        for each in thing.values():
            pairs_in(each, seen)
    elif isinstance(thing, tuple | list):
        for each in thing:
            pairs_in(each, seen)
    elif not isinstance(thing, int | str | bytes | None | WirePlan):
        for base in type(thing).__mro__:
            for name in getattr(base, "__slots__", ()):
                pairs_in(getattr(thing, name), seen)
    return seen


def last_by_bus(watched: Watched) -> dict[int, tuple[int, int, int]]:
    """Of each pair: the last counter by either bus, and since when the one that brings anything is alone."""
    pairs = pairs_in(watched.node, {})
    return {key: (pair.buses[0].last, pair.buses[1].last, pair.alone_ns) for key, pair in pairs.items()}


def heard(kind: Specimen) -> list[int]:
    """Ids of the safety frames this kind listens to, on a pair, but its own heartbeat: that is nobody's who counts on."""
    ids = {can_id for _, can_id in kind.make().receives() if address_of(can_id) != kind.address}
    skipped = [*ONLY_WHOM_IT_OBEYS, *(name for name, of_kind in NOT_COUNTED if of_kind in ("", kind.kind))]
    return sorted(each for each in ids if BY_CODE[each // 64].is_safety and BY_CODE[each // 64].name not in skipped)


@pytest.mark.parametrize("bus", [0, 1])
@pytest.mark.parametrize("name", sorted(KINDS))
def test_the_bus_a_frame_came_by_is_noted_with_the_moment_and_no_other(name: str, bus: int) -> None:
    kind = specimen(name, buses=2, rudder={}, navigation=True)
    for can_id in heard(kind):
        watched = Watched(kind)
        watched.start()
        watched.run_to(10 * MS)
        before = last_by_bus(watched)
        for counter in (FIRST, SECOND_ONE):
            content = kind.plan.helm_fingerprint << 24 if BY_CODE[can_id // 64].name == "heartbeat" else 0
            watched.node.receives()[bus, can_id](watched.now_ns, bus, can_id, hand.safe(can_id, counter, content))
        after = last_by_bus(watched)
        changed = [after[key] for key in after if after[key] != before[key]]
        message = BY_CODE[can_id // 64].name
        wanted = (SECOND_ONE, -1, 10 * MS) if bus == 0 else (-1, SECOND_ONE, 10 * MS)
        assert changed, f"nothing of a {name} follows {message}"
        assert set(changed) == {wanted}, f"{name}: {message} by bus {bus}"
