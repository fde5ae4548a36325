"""Guests on the simulated bus: they acknowledge, arbitrate, count errors and go bus-off as every node does."""

from pathlib import Path

import pytest

from busim.bench import slcan
from busim.bench.guest import QUEUED_MOST, Seat
from busim.bench.live import LiveBoat
from busim.boat.load import load_boat
from busim.seam import BUS_OFF, ERROR_PASSIVE
from busim.simulator.kinds import load_kinds
from busim.units import MS, SECOND

BOAT = load_boat(Path(__file__).parents[2] / "configs" / "first_boat")


def live_boat() -> LiveBoat:
    return LiveBoat(BOAT.boat, BOAT.plan, load_kinds(), 1)


def on_bus(seat: Seat, *, listen_only: bool = False) -> list[tuple[int, int, bytes]]:
    heard: list[tuple[int, int, bytes]] = []
    seat.hears = lambda now_ns, can_id, data: heard.append((now_ns, can_id, data))
    seat.go_on_bus(listen_only=listen_only)
    return heard


def alone(live: LiveBoat) -> None:
    """Nobody else has power."""
    live.world.script = []


def test_it_hears_every_frame_and_is_in_every_mask() -> None:
    live = live_boat()
    seat = live.seat("main", "guest")
    blocks: list[tuple[int, int]] = []
    live.world.journal.watch_blocks(lambda frames, events, digest: blocks.extend((frame[2], frame[4]) for frame in frames))
    heard = on_bus(seat)
    live.advance(2 * SECOND)
    assert len(heard) == len(blocks) > 100
    assert [can_id for _, can_id, _ in heard] == [can_id for can_id, _ in blocks]
    assert all(mask >> seat.host.index & 1 for _, mask in blocks)


def test_two_guests_arbitrate_and_acknowledge_each_other() -> None:
    live = live_boat()
    alone(live)
    first, second = live.seat("main", "one"), live.seat("main", "two")
    on_bus(first)
    heard = on_bus(second)
    live.advance(1 * MS)
    assert first.transmit(0x300, b"\x01")
    assert second.transmit(0x200, b"\x02")
    assert first.transmit(0x100, b"\x03")
    live.advance(5 * MS)
    assert [can_id for _, can_id, _ in heard] == [0x100, 0x300]
    assert first.heard == 1  # 0x200, between the two: first.transmit(0x100) was ready before arbitration
    assert first.flags() == second.flags() == 0


def test_alone_it_is_not_acknowledged_and_says_so() -> None:
    """TEC stops at 128 for want of an acknowledgement (Bosch CAN 2.0, 1991, s. 8, rule 3, exception 1): passive, never bus-off."""
    live = live_boat()
    alone(live)
    seat = live.seat("main", "guest")
    on_bus(seat)
    assert seat.transmit(0x123, b"")
    live.advance(SECOND)
    assert seat.controller.tec == 128
    assert seat.states == [ERROR_PASSIVE]
    flags = seat.flags()
    assert flags & slcan.PASSIVE
    assert flags & slcan.BUS_ERROR
    assert flags & slcan.ERROR_WARNING
    assert not seat.flags() & slcan.BUS_ERROR  # read once


def test_its_queue_is_bounded() -> None:
    live = live_boat()
    alone(live)
    seat = live.seat("main", "guest")
    on_bus(seat)
    taken = [seat.transmit(0x123, b"") for _ in range(QUEUED_MOST + 5)]
    assert taken == [True] * QUEUED_MOST + [False] * 5
    assert seat.flags() & slcan.TRANSMIT_FULL
    assert seat.turned_away == 5


def test_listening_only_it_neither_acknowledges_nor_sends() -> None:
    live = live_boat()
    alone(live)
    talker, listener = live.seat("main", "one"), live.seat("main", "two")
    on_bus(talker)
    heard = on_bus(listener, listen_only=True)
    live.advance(1 * MS)
    talker.transmit(0x123, b"")
    assert not listener.transmit(0x100, b"")
    live.advance(SECOND)
    assert talker.controller.tec == 128
    assert heard == []


def test_bus_off_it_stays_until_it_is_closed_and_opened() -> None:
    live = live_boat()
    seat = live.seat("main", "guest")
    on_bus(seat)
    live.advance(SECOND)
    seat.host.buses[0].force_off(live.now_ns, seat.controller)
    assert seat.states == [BUS_OFF]
    assert not seat.transmit(0x700, b"")
    heard = seat.heard
    live.advance(2 * SECOND)
    assert seat.heard == heard
    seat.leave_bus()
    seat.go_on_bus(listen_only=False)
    assert seat.transmit(0x700, b"")
    live.advance(3 * SECOND)
    assert seat.heard > heard


def test_in_the_place_of_a_node_that_is_left_out() -> None:
    """Nobody speaks for it, its machinery stands, and what the guest sends counts as that node's."""
    live = live_boat()
    seat = live.seat("main", "engine_room", left_out="engine_room")
    address = BOAT.boat.nodes["engine_room"].address
    ids: set[int] = set()
    live.world.journal.watch_blocks(lambda frames, events, digest: ids.update(frame[2] for frame in frames))
    live.advance(2 * SECOND)
    assert not any(can_id & 0x3F == address for can_id in ids)
    assert not seat.host.powered
    on_bus(seat)
    live.advance(live.now_ns + MS)
    assert seat.transmit(10 << 6 | address, bytes(8))
    live.advance(3 * SECOND)
    assert 10 << 6 | address in ids


def test_somebody_who_looks_on_from_no_seat_changes_nothing() -> None:
    """Seats without anybody in them leave the run as it is."""
    plain, seated = live_boat(), live_boat()
    seated.seat("main", "guest")
    for live in (plain, seated):
        live.advance(3 * SECOND)
    assert plain.digest == seated.digest


@pytest.mark.parametrize("at_ns", [0, 400 * MS])
def test_next_ns_is_never_too_late(at_ns: int) -> None:
    live = live_boat()
    live.advance(at_ns)
    for _ in range(300):
        due_ns = live.next_ns
        before = (len(live.world.journal.frames), len(live.world.journal.events))
        live.advance(due_ns - 1)
        assert (len(live.world.journal.frames), len(live.world.journal.events)) == before
        live.advance(due_ns)
        live.world.run(due_ns + 1)
