"""Whom a listener hears, and what their silence means. Nodes of the small boat along its trunk: 1, 2, 3, 4, 6, 9 (this one)."""

import pytest

from busim.protocol.alarms import BY_NAME
from busim.units import MS, SECOND
from nodes.roll_call import RollCall

from . import hand_made_frames as hand
from .small_boat import MASTHEAD, SALOON, small_boat

MISSING_NS = 350 * MS
SETTLE_NS = 200 * MS
HEARS_NOTHING, BEYOND, LOST, OTHER_BOAT, ONE_BUS = (
    BY_NAME[name].number for name in ("hears_nothing", "bus_lost_beyond", "node_lost", "other_boat_file", "one_bus_lost")
)
OTHERS = (1, 2, 3, 4, 6)


class RollRig:
    """Its clock stands where a test puts it. `beat` is what somebody sends; `step` lets everybody named beat every 100 ms."""

    def __init__(self, buses: int = 1, address: int = SALOON, *, navigation: bool = False) -> None:
        self.plan = small_boat(buses=buses, navigation=navigation)
        self.roll = RollCall(self.plan, address)
        self.counters: dict[int, int] = {}
        self.now_ns = SECOND
        self.buses = tuple(range(buses))
        self.roll.start(self.now_ns)

    def beat(self, *addresses: int, buses: tuple[int, ...] | None = None, fingerprint: int | None = None) -> None:
        for address in addresses:
            counter = self.counters[address] = self.counters.get(address, 0) + 1
            data = hand.heartbeat(address, counter, self.plan.helm_fingerprint if fingerprint is None else fingerprint)
            for bus in self.buses if buses is None else buses:
                self.roll.hear(self.now_ns, bus, hand.id_of(hand.HEARTBEAT, address), data)
        self.look()

    def look(self) -> None:
        if self.now_ns >= self.roll.due_ns:
            self.roll.look(self.now_ns)

    def step(self, for_ms: int, *addresses: int, buses: tuple[int, ...] | None = None) -> None:
        """Time passes in steps of 50 ms, met exactly; who is named beats at every second of them."""
        for index in range(for_ms // 50):
            self.now_ns += 50 * MS
            if index % 2:
                self.beat(*addresses, buses=buses)
            self.look()

    def to(self, now_ns: int) -> None:
        self.now_ns = now_ns
        self.look()

    @property
    def causes(self) -> set[tuple[int, int]]:
        return set(self.roll.causes)


def all_there(buses: int = 1, address: int = SALOON, *, navigation: bool = False) -> RollRig:
    rig = RollRig(buses, address, navigation=navigation)
    others = {1, 2, 3, 4, 6, 9, *([MASTHEAD] if navigation else [])} - {address}
    rig.step(1000, *others)
    assert rig.causes == set()
    return rig


# ------------------------------------------------------------------------------------------------ one node


def test_whom_it_calls() -> None:
    """Helm nodes on its buses, and nodes that feed navigation lights; itself and other lights left out."""
    assert tuple(RollRig().roll.members) == OTHERS
    assert tuple(RollRig(navigation=True).roll.members) == (*OTHERS, MASTHEAD)


def test_a_node_that_falls_silent_is_lost_at_exactly_its_time() -> None:
    rig = all_there()
    heard_ns = rig.now_ns
    rig.step(300, 1, 2, 4, 6)
    rig.to(heard_ns + MISSING_NS - 1)
    assert rig.causes == set()
    rig.to(heard_ns + MISSING_NS)
    assert rig.causes == {(LOST, 3)}
    assert rig.roll.is_gone(3)
    assert not rig.roll.is_gone(4)


def test_a_node_never_heard_is_lost_as_long_after_the_start() -> None:
    rig = RollRig()
    rig.step(300, 1, 2, 4, 6)
    rig.to(SECOND + MISSING_NS - 1)
    assert rig.causes == set()
    rig.to(SECOND + MISSING_NS)
    assert rig.causes == {(LOST, 3)}


def test_a_node_that_is_heard_again_is_back_with_its_second_frame() -> None:
    rig = all_there()
    rig.step(1000, 1, 2, 4, 6)
    assert rig.causes == {(LOST, 3)}
    rig.counters[3] += 50
    rig.beat(3)
    assert rig.causes == {(LOST, 3)}, "the first after a gap in its counter does not count"
    rig.beat(3)
    assert rig.causes == set()
    assert rig.roll.back_since_ns(3) == rig.now_ns


def test_corrupt_frames_and_repeated_ones_keep_nobody_alive() -> None:
    rig = all_there()
    can_id = hand.id_of(hand.HEARTBEAT, 3)
    same = hand.heartbeat(3, rig.counters[3], rig.plan.helm_fingerprint)
    for _ in range(10):
        rig.step(100, 1, 2, 4, 6)
        rig.roll.hear(rig.now_ns, 0, can_id, same)
        rig.roll.hear(rig.now_ns, 0, can_id, hand.spoiled(same))
        rig.roll.hear(rig.now_ns, 0, can_id, b"")
    assert rig.causes == {(LOST, 3)}


def test_a_node_of_another_boat_file() -> None:
    rig = all_there()
    rig.beat(4, fingerprint=rig.plan.helm_fingerprint ^ 1)
    assert rig.causes == {(OTHER_BOAT, 4)}
    rig.beat(4)
    assert rig.causes == set()


def test_nobody_at_all() -> None:
    rig = all_there()
    heard_ns = rig.now_ns
    rig.to(heard_ns + MISSING_NS - 1)
    assert rig.causes == set()
    rig.to(heard_ns + MISSING_NS)
    assert (HEARS_NOTHING, SALOON) in rig.causes
    assert rig.roll.parents == {(LOST, other): (HEARS_NOTHING, SALOON) for other in OTHERS}
    rig.step(600)
    assert not [cause for cause in rig.causes if cause[0] == BEYOND]


# ------------------------------------------------------------------------------------------------ a navigation node


def test_a_navigation_node_that_falls_silent_is_lost_like_one_of_the_helm() -> None:
    """Nobody else would tell that the lights are dark (IMO MSC.253(83): failure of the supply is alarmed; from memory)."""
    rig = all_there(navigation=True)
    heard_ns = rig.now_ns
    rig.step(300, *OTHERS)
    rig.to(heard_ns + MISSING_NS - 1)
    assert rig.causes == set()
    rig.to(heard_ns + MISSING_NS)
    assert rig.causes == {(LOST, MASTHEAD)}
    rig.step(200, *OTHERS, MASTHEAD)
    assert rig.causes == set()


def test_nobody_of_the_helm_is_nobody_though_a_navigation_node_is_heard() -> None:
    rig = all_there(navigation=True)
    rig.step(600, MASTHEAD)
    assert rig.causes == {(HEARS_NOTHING, SALOON), *((LOST, other) for other in OTHERS)}
    assert rig.roll.parents == {(LOST, other): (HEARS_NOTHING, SALOON) for other in OTHERS}


def test_a_lost_navigation_node_stands_under_hearing_nothing() -> None:
    rig = all_there(navigation=True)
    rig.step(600)
    assert rig.roll.parents == {(LOST, other): (HEARS_NOTHING, SALOON) for other in (*OTHERS, MASTHEAD)}


def test_a_navigation_node_beyond_a_cut_is_part_of_it() -> None:
    rig = all_there(address=3, navigation=True)
    rig.step(1000, 1, 2, 4, 6)
    assert rig.causes == {(BEYOND, SALOON), (LOST, SALOON), (LOST, MASTHEAD)}
    assert set(rig.roll.parents.values()) == {(BEYOND, SALOON)}


def test_the_helm_of_another_boat_is_none_of_a_navigation_nodes_business() -> None:
    rig = all_there(navigation=True)
    rig.beat(MASTHEAD, fingerprint=rig.plan.helm_fingerprint ^ 1)
    assert rig.causes == set()


# ------------------------------------------------------------------------------------------------ everybody beyond a place


@pytest.mark.parametrize("first", [2, 3, 4, 6])
def test_everybody_beyond_a_place(first: int) -> None:
    """Named by the nearest of them, once it is certain that nobody else follows; each of them is listed under it."""
    rig = all_there()
    lost = [other for other in OTHERS if other <= first]
    heard_ns = rig.now_ns
    rig.step(350, *(other for other in OTHERS if other > first))
    rig.to(heard_ns + MISSING_NS + SETTLE_NS - 1)
    assert not [cause for cause in rig.causes if cause[0] == BEYOND]
    rig.to(heard_ns + MISSING_NS + SETTLE_NS)
    if first == 6:
        assert (HEARS_NOTHING, SALOON) in rig.causes
    else:
        assert rig.causes == {(BEYOND, first), *((LOST, other) for other in lost)}
        assert rig.roll.parents == {(LOST, other): (BEYOND, first) for other in lost}


def test_the_last_node_alone_is_a_lost_node() -> None:
    """Whether the wire to it broke or the node did can't be told."""
    rig = all_there()
    rig.step(1000, 2, 3, 4, 6)
    assert rig.causes == {(LOST, 1)}


def test_nodes_with_others_between_them_are_no_end_of_a_bus() -> None:
    rig = all_there()
    rig.step(1000, 1, 3, 6)
    assert rig.causes == {(LOST, 2), (LOST, 4)}


def test_an_end_and_another_node_at_the_same_time_is_no_cut() -> None:
    """Beyond 2 everybody is silent, and 4 too: that is a supply, or two faults."""
    rig = all_there()
    rig.step(1000, 3, 6)
    assert rig.causes == {(LOST, 1), (LOST, 2), (LOST, 4)}


@pytest.mark.parametrize(("apart_ms", "grouped"), [(0, True), (400, True), (500, True), (600, False)])
def test_together_is_within_half_a_second(apart_ms: int, grouped: bool) -> None:
    """Silence begins with the last heartbeat heard."""
    rig = all_there()
    rig.step(apart_ms, 2, 3, 4, 6)
    rig.step(1000, 3, 4, 6)
    assert ((BEYOND, 2) in rig.causes) == grouped


def test_one_that_died_long_before_is_not_part_of_it() -> None:
    rig = all_there()
    rig.step(2000, 1, 2, 4, 6)
    rig.step(1000, 4, 6)
    assert rig.causes == {(BEYOND, 2), (LOST, 1), (LOST, 2), (LOST, 3)}
    assert (LOST, 3) not in rig.roll.parents


def test_seen_from_the_middle_both_ends_count() -> None:
    rig = all_there(address=3)
    rig.step(1000, 1, 2, 4)
    assert rig.causes == {(BEYOND, 6), (LOST, 6), (LOST, 9)}
    other = all_there(address=3)
    other.step(1000, 4, 6, 9)
    assert other.causes == {(BEYOND, 2), (LOST, 1), (LOST, 2)}


def test_a_cut_that_heals_is_over_once_everybody_is_back() -> None:
    """One that comes back before the others does not leave a smaller cut behind."""
    rig = all_there()
    rig.step(1000, 4, 6)
    assert (BEYOND, 3) in rig.causes
    rig.beat(3)
    rig.beat(3)
    assert (BEYOND, 3) in rig.causes, "until it is known what became of it"
    rig.beat(1, 2)
    rig.beat(1, 2)
    assert rig.causes == {(BEYOND, 3)}
    rig.step(300, *OTHERS)
    assert rig.causes == set()


# ------------------------------------------------------------------------------------------------ pairs of buses


def test_a_node_heard_on_one_bus_of_a_pair() -> None:
    rig = all_there(buses=2)
    for _ in range(10):
        rig.step(100, 1, 2, 4, 6)
        rig.beat(3, buses=(1,))
    assert rig.causes == {(ONE_BUS, 3)}
    rig.step(400, *OTHERS)
    assert rig.causes == set()


def test_a_bus_of_a_pair_that_is_lost_beyond_a_place() -> None:
    rig = all_there(buses=2)
    for _ in range(10):
        rig.step(100, 4, 6)
        rig.beat(1, 2, 3, buses=(0,))
    assert rig.causes == {(BEYOND, 3), (ONE_BUS, 1), (ONE_BUS, 2), (ONE_BUS, 3)}
    assert set(rig.roll.parents.values()) == {(BEYOND, 3)}


def test_a_whole_bus_of_a_pair_that_is_lost_here() -> None:
    """Its own tap, or the bus: it says so of itself, and the others stand under it."""
    rig = all_there(buses=2)
    rig.step(1000, *OTHERS, buses=(1,))
    assert (ONE_BUS, SALOON) in rig.causes
    assert set(rig.roll.parents.values()) == {(ONE_BUS, SALOON)}


def test_the_copy_of_the_other_bus_is_a_sign_of_life_of_that_bus_alone() -> None:
    rig = all_there(buses=2)
    before = rig.counters[3]
    for _ in range(10):
        rig.step(100, 1, 2, 4, 6)
        can_id = hand.id_of(hand.HEARTBEAT, 3)
        rig.roll.hear(rig.now_ns, 1, can_id, hand.heartbeat(3, before, rig.plan.helm_fingerprint))
    rig.look()
    assert rig.causes == {(LOST, 3)}, "the same again and again is nobody's life"
