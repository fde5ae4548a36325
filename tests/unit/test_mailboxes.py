"""Boards with few transmit mailboxes, mailboxes that can't be overwritten, and a controller that listens while bus-off.

What few mailboxes do to priorities: R. Davis, N. Navet, Controller area network (CAN) schedulability analysis for messages with
arbitrary deadlines in FIFO and work-conserving queues, 2012 (named in the reference values; from memory): an urgent frame behind
a full set waits for frames of other nodes that are less urgent than it.
"""

import pytest

from busim.boat.load import LoadedBoat, load_boat
from busim.host.rejoin import Rejoin
from busim.simulator.build import build_world
from busim.simulator.kinds import load_kinds
from busim.units import MS, SECOND
from tests.unit.small_bus import BIT, SmallBus

from .conftest import Edited


def few(mailboxes: int) -> SmallBus:
    """`a` has so many; the bus is taken by `c` for the first frame."""
    small = SmallBus(3)
    small.controller("a").mailboxes = mailboxes
    small.send(0, "c", 0x7FF)
    return small


def order(small: SmallBus) -> list[int]:
    small.run(SECOND)
    return [can_id for _, can_id in small.accepted][1:]


def test_an_urgent_frame_behind_a_full_set_waits_for_less_urgent_ones_of_another_node() -> None:
    small = few(2)
    for at_ns, can_id in enumerate((0x600, 0x601, 0x001), start=1):
        small.send(at_ns, "a", can_id)
    small.send(4, "b", 0x500)
    assert order(small) == [0x500, 0x600, 0x001, 0x601], "the inversion: 500 and 600 before 001"
    free = few(3)
    for at_ns, can_id in enumerate((0x600, 0x601, 0x001), start=1):
        free.send(at_ns, "a", can_id)
    free.send(4, "b", 0x500)
    assert order(free) == [0x001, 0x500, 0x600, 0x601], "with room for all of them there is none"


def test_what_waits_in_software_is_first_in_first_out() -> None:
    small = few(1)
    for at_ns, can_id in enumerate((0x600, 0x300, 0x100, 0x200), start=1):
        small.send(at_ns, "a", can_id)
    assert order(small) == [0x600, 0x300, 0x100, 0x200]


@pytest.mark.parametrize(("fixed", "sent"), [(0, [2]), (2, [1, 2]), (1 << 30, [1, 2])])
def test_a_frame_in_a_mailbox_that_can_not_be_aborted_goes_out_old(fixed: int, sent: list[int]) -> None:
    small = few(2)
    small.controller("a").fixed = fixed
    small.send(1, "a", 0x100, b"\x01")
    small.send(2, "a", 0x100, b"\x02")
    small.run(SECOND)
    assert [frame[3][0] for frame in small.frames[1:]] == sent


def test_behind_full_mailboxes_it_is_still_overwritten_in_software() -> None:
    small = few(1)
    small.controller("a").fixed = 1
    small.send(1, "a", 0x100, b"\x01")
    small.send(2, "a", 0x200, b"\x01")
    small.send(3, "a", 0x200, b"\x02")
    small.run(SECOND)
    assert [(frame[2], frame[3][0]) for frame in small.frames[1:]] == [(0x100, 1), (0x200, 2)]


# ------------------------------------------------------------------------------------------------ bus-off and listening


def test_while_it_waits_it_hears_and_does_not_acknowledge_if_its_board_can() -> None:
    small = SmallBus(3)
    for name in "ab":
        small.controller(name).listens_when_off = name == "a"
        small.bus.force_off(0, small.controller(name))
    small.send(0, "c", 0x7FF)
    small.run(MS)
    assert small.frames == [], "nobody is there to acknowledge"
    assert small.controller("c").tec > 0
    small.hosts["b"].reset(MS, 1)
    small.run(10 * MS)
    assert [frame[4] for frame in small.frames] == [0b011]
    assert len(small.node("a").heard) == 1, "it was received, bus-off as it is"


def test_once_it_counts_recessive_runs_it_hears_nothing() -> None:
    small = SmallBus(3)
    small.controller("a").listens_when_off = True
    small.hosts["a"].rejoin = Rejoin()
    small.bus.force_off(0, small.controller("a"))
    for at_ms in (10, 21, 60):
        small.send(at_ms * MS, "b", 0x7FF)
    small.run(SECOND)
    assert [frame[4] for frame in small.frames] == [0b101, 0b100, 0b101]


# ------------------------------------------------------------------------------------------------ from the boat file


def loaded(edited: Edited, line: str) -> LoadedBoat:
    return load_boat(edited(("      queue: priority ", f"      {line}\n      queue: priority ")).path)


@pytest.mark.parametrize(
    ("line", "mailboxes", "fixed", "listens"),
    [
        ("boot_spare: 0", 0, 0, False),
        ("mailboxes: 3", 3, 0, False),
        ("mailboxes: 3\n      abortable: false", 3, 3, False),
        ("abortable: false", 0, 1 << 30, False),
        ("listens_when_off: true", 0, 0, True),
    ],
)
def test_a_board_says_so(edited: Edited, line: str, mailboxes: int, fixed: int, listens: bool) -> None:
    boat = loaded(edited, "listens_when_off: false" if line.startswith("boot") else line)
    world = build_world(boat.boat, boat.plan, load_kinds(), 1)
    for host in world.hosts.values():
        controller = host.controllers[0]
        assert (controller.mailboxes, controller.fixed, controller.listens_when_off) == (mailboxes, fixed, listens)
        assert isinstance(host.rejoin, Rejoin)


def test_one_that_stays_off_has_nothing_to_rejoin_with(edited: Edited) -> None:
    boat = load_boat(edited(("      bus_off: rejoin ", "      bus_off: stay_off ")).path)
    world = build_world(boat.boat, boat.plan, load_kinds(), 1)
    assert {host.rejoin for host in world.hosts.values()} == {None}
    host = world.hosts["engine_room"]
    host.power(0, True)
    world.run(SECOND)
    host.buses[0].force_off(SECOND, host.controllers[0])
    world.run(20 * SECOND)
    assert not host.controllers[0].listening
    assert BIT == 4000
