"""Faults between a node's program and its controller: what comes out on the wire is sound there, and late, old or wrong in itself.

On the first boat under way. Frames are read by the bit positions of the judges (`busim.events.bits`), not by the codec; a CRC
fits where `bits.sound` says so.
"""

from itertools import pairwise
from typing import Any

import pytest

from busim.events import bits
from busim.events.journal import Frame
from busim.faults.byte_swapped import Swapped
from busim.faults.delayed import DelayedPlace
from busim.faults.duplicate_address import DuplicatePlace
from busim.faults.fault import NodePlace
from busim.faults.queue_held import HeldPlace
from busim.faults.replayed import ReplayedPlace
from busim.faults.sound_again import sound_again
from busim.faults.table import BY_NAME
from busim.faults.truncated import TruncatedPlace
from busim.seam import BUS_OFF
from busim.units import MS, SECOND

from .boat_under_way import ENGINE_ROOM, PANEL, UNDER_WAY_NS, WHEELHOUSE, Boat, boat_under_way
from .first_boat_world import boat

STATION = NodePlace(node="wheelhouse")


@pytest.fixture
def under_way() -> Boat:
    return boat_under_way()


def levers(boat: Boat, begin_ns: int, end_ns: int) -> list[Frame]:
    return [frame for frame in boat.sent_by(WHEELHOUSE, begin_ns, end_ns) if frame[2] >> 6 == bits.CODE_LEVER]


def counters(frames: list[Frame]) -> list[int]:
    return [frame[3][1] for frame in frames]


def test_delayed_frames_come_that_much_later_in_order_and_sound(under_way: Boat) -> None:
    under_way.with_fault("delayed", DelayedPlace(node="wheelhouse", by_ms=400), for_ns=2 * SECOND).run(9 * SECOND)
    gap = levers(under_way, UNDER_WAY_NS + 5 * MS, UNDER_WAY_NS + 395 * MS)
    assert gap == [], "what was made before it began is out"
    late = levers(under_way, UNDER_WAY_NS + 395 * MS, UNDER_WAY_NS + 2 * SECOND)
    assert len(late) in range(79, 83)
    assert all((later - earlier) % 256 == 1 for earlier, later in pairwise(counters(late)))
    assert all(bits.sound(frame[2], frame[3]) for frame in late)
    assert under_way.told("gear", "engine", 0), "400 ms of silence are longer than the control timeout"


def test_a_short_delay_is_not_felt(under_way: Boat) -> None:
    under_way.with_fault("delayed", DelayedPlace(node="wheelhouse", by_ms=50), for_ns=2 * SECOND).run(9 * SECOND)
    assert under_way.told("gear", "engine", 0) == []


def test_replayed_frames_are_old_counter_and_all(under_way: Boat) -> None:
    under_way.with_fault("replayed", ReplayedPlace(node="wheelhouse", span_ms=200), for_ns=2 * SECOND).run(9 * SECOND)
    end_ns = UNDER_WAY_NS + 2 * SECOND
    first = counters(levers(under_way, UNDER_WAY_NS + 2 * MS, UNDER_WAY_NS + 202 * MS))
    assert len(first) == 10
    later = levers(under_way, UNDER_WAY_NS + 202 * MS, end_ns)
    assert counters(later) == (first * 9)[: len(later)]
    assert all(bits.sound(frame[2], frame[3]) for frame in later)
    assert levers(under_way, end_ns + 5 * MS, 9 * SECOND)[0][3][1] not in first


def test_a_held_queue_comes_out_at_once_oldest_first(under_way: Boat) -> None:
    under_way.with_fault("queue_held", HeldPlace(node="wheelhouse"), for_ns=SECOND).run(9 * SECOND)
    end_ns = UNDER_WAY_NS + SECOND
    assert levers(under_way, UNDER_WAY_NS + 2 * MS, end_ns) == []
    burst = levers(under_way, end_ns, end_ns + 60 * MS)[:48]
    assert len(burst) == 48, "a second's worth; what is made meanwhile waits behind it in its own mailbox"
    assert all((later - earlier) % 256 == 1 for earlier, later in pairwise(counters(burst)))
    assert under_way.told("gear", "engine", 1) == [], "and old levers arm nothing"


def test_a_second_node_under_the_stations_address_sends_its_heartbeats_there(under_way: Boat) -> None:
    place = DuplicatePlace(node="companionway", has_address_of="wheelhouse")
    under_way.with_fault("duplicate_address", place, for_ns=2 * SECOND).run(9 * SECOND)
    end_ns = UNDER_WAY_NS + 2 * SECOND
    assert under_way.sent_by(PANEL, UNDER_WAY_NS + 2 * MS, end_ns) == []
    beats = [f for f in under_way.sent_by(WHEELHOUSE, UNDER_WAY_NS + 2 * MS, end_ns) if f[2] >> 6 == bits.CODE_HEARTBEAT]
    assert len(beats) in range(36, 42), "twice as many as one node sends in 2 s at 100 ms"
    assert all(bits.sound(frame[2], frame[3]) for frame in beats)
    masks = {frame[4] for frame in beats}
    assert masks == {0b1111 - under_way.host_bit(name) for name in ("companionway", "wheelhouse")}


def test_where_both_send_one_id_at_once_they_destroy_it(under_way: Boat) -> None:
    """A drive under the other station's address would do the same: two senders of one id, see `test_error_confinement`."""
    host = under_way.world.hosts["companionway"]
    place = DuplicatePlace(node="companionway", has_address_of="wheelhouse")
    BY_NAME["duplicate_address"].begin(under_way.world, UNDER_WAY_NS, place)
    station = under_way.world.hosts["wheelhouse"]
    now_ns = under_way.world.now_ns + 1
    under_way.run(now_ns)
    id_, other = 10 << 6 | WHEELHOUSE, bytes(7) + b"\x01"
    controller = station.controllers[0]
    controller.submit(now_ns, id_, bytes(8), 10 * SECOND, False)
    host.controllers[0].submit(now_ns, id_, other, 10 * SECOND, False)
    under_way.run(now_ns + 200 * MS)
    assert under_way.told("controller", "companionway", "main", BUS_OFF) or host.controllers[0].tec > 0


def test_other_boat_file_changes_the_fingerprint_and_nothing_else(under_way: Boat) -> None:
    """Design s. 6: a drive whose holder's heartbeat carries another helm fingerprint treats it as lost."""
    under_way.with_fault("other_boat_file", STATION, for_ns=2 * SECOND).run(9 * SECOND)
    end_ns = UNDER_WAY_NS + 2 * SECOND

    def fingerprints(begin_ns: int, until_ns: int) -> set[tuple[int, int]]:
        beats = [f[3] for f in under_way.sent_by(WHEELHOUSE, begin_ns, until_ns) if f[2] >> 6 == bits.CODE_HEARTBEAT]
        assert all(bits.sound(bits.CODE_HEARTBEAT << 6 | WHEELHOUSE, data) for data in beats)
        return {(data[3] << 8 | data[4], data[5] << 8 | data[6]) for data in beats}

    helm, lighting = under_way.loaded.plan.helm_fingerprint, under_way.loaded.plan.lighting_fingerprint
    assert fingerprints(UNDER_WAY_NS + 2 * MS, end_ns) == {(helm ^ 0xFF00, lighting)}
    assert fingerprints(end_ns + 2 * MS, 9 * SECOND) == {(helm, lighting)}
    assert all(bits.sound(frame[2], frame[3]) for frame in levers(under_way, UNDER_WAY_NS, end_ns))
    assert under_way.told("gear", "engine", 0)


def test_byte_swapped_content_is_sound_and_says_something_else(under_way: Boat) -> None:
    under_way.with_fault("byte_swapped", STATION, for_ns=SECOND).run(9 * SECOND)
    wrong = levers(under_way, UNDER_WAY_NS + 2 * MS, UNDER_WAY_NS + SECOND)
    right = levers(under_way, UNDER_WAY_NS + SECOND + 5 * MS, 9 * SECOND)
    assert all(bits.sound(frame[2], frame[3]) for frame in wrong)
    assert wrong[-1][3][2:] == right[0][3][:1:-1]
    assert all((later - earlier) % 256 == 1 for earlier, later in pairwise(counters(wrong)))


@pytest.mark.parametrize(
    ("data", "swapped"), [("", ""), ("01", "01"), ("0102", "0102"), ("010203", "010203"), ("01020304", "01020403")]
)
def test_byte_swapped_leaves_the_first_two_in_place(data: str, swapped: str) -> None:
    assert Swapped().change(0x400, bytes.fromhex(data)).hex() == swapped


def test_truncated_frames_have_fewer_bytes_and_nobody_takes_them(under_way: Boat) -> None:
    under_way.with_fault("truncated", TruncatedPlace(node="wheelhouse", to_bytes=7), for_ns=SECOND).run(9 * SECOND)
    short = levers(under_way, UNDER_WAY_NS + 2 * MS, UNDER_WAY_NS + SECOND)
    assert {len(frame[3]) for frame in short} == {7}
    assert all(frame[4].bit_count() == 3 for frame in short), "in order on the wire"
    rows = under_way.told("row", "engine_room", "drive")
    assert UNDER_WAY_NS + 225 * MS <= rows[0] <= UNDER_WAY_NS + 275 * MS, "the control timeout of 250 ms after the last whole one"


@pytest.mark.parametrize("name", ["delayed", "replayed", "queue_held", "byte_swapped", "truncated", "other_boat_file"])
def test_what_others_send_is_untouched(under_way: Boat, name: str) -> None:
    places: dict[str, Any] = {
        "delayed": DelayedPlace(node="wheelhouse"),
        "replayed": ReplayedPlace(node="wheelhouse"),
        "truncated": TruncatedPlace(node="wheelhouse"),
        "queue_held": HeldPlace(node="wheelhouse"),
    }
    under_way.with_fault(name, places.get(name, STATION), for_ns=SECOND).run(8 * SECOND)
    drive = under_way.sent_by(ENGINE_ROOM, UNDER_WAY_NS, 8 * SECOND)
    assert len(drive) > 100
    assert all(len(frame[3]) == 8 and bits.sound(frame[2], frame[3]) for frame in drive if frame[2] >> 6 <= 15)


def test_only_safety_frames_have_a_crc_to_mend() -> None:
    data = bytes(range(8))
    assert bits.sound(0x081, sound_again(0x081, data))
    assert sound_again(0x081, data)[1:] == data[1:]
    assert sound_again(16 << 6 | 20, data) == data
    assert sound_again(0x081, data[:5]) == data[:5]


@pytest.mark.parametrize(
    ("other", "words"),
    [("galley", "there is no node galley; there are wheelhouse"), ("companionway", "companionway has its own address anyway")],
)
def test_a_duplicate_needs_another_node(other: str, words: str) -> None:
    place = DuplicatePlace(node="companionway", has_address_of=other)
    ((key, found),) = BY_NAME["duplicate_address"].misplaced(boat().boat, place)
    assert (key, found[: len(words)]) == ("has_address_of", words)


def test_frozen_data_comes_with_a_fresh_counter(under_way: Boat) -> None:
    """The lever goes to neutral and nobody hears of it: the counter says that all is well. A residual hazard, seen by the judge."""
    under_way.with_fault("frozen_data", STATION, for_ns=2 * SECOND)
    under_way.world.plan_steps([(UNDER_WAY_NS + 100 * MS, 0, "move_lever", ("wheelhouse", "engine", 0, 100))])
    under_way.run(10 * SECOND)
    frozen = levers(under_way, UNDER_WAY_NS + 5 * MS, UNDER_WAY_NS + 2 * SECOND)
    assert len({frame[3][2:] for frame in frozen}) == 1
    assert all((later - earlier) % 256 == 1 for earlier, later in pairwise(counters(frozen)))
    assert all(bits.sound(frame[2], frame[3]) for frame in frozen)
    assert under_way.told("gear", "engine", 0)[0] > UNDER_WAY_NS + 2 * SECOND


def test_a_dead_application_beats_on_and_sends_nothing_else(under_way: Boat) -> None:
    """Its silence is what is noticed, although its heartbeat says that it works and no watchdog resets it."""
    under_way.with_fault("application_dead", STATION, for_ns=3 * SECOND).run(9 * SECOND)
    sent = under_way.sent_by(WHEELHOUSE, UNDER_WAY_NS + 5 * MS, UNDER_WAY_NS + 3 * SECOND)
    assert {frame[2] >> 6 for frame in sent} == {bits.CODE_HEARTBEAT}
    assert len(sent) == 29
    assert all(bits.sound(frame[2], frame[3]) for frame in sent)
    assert under_way.told("gear", "engine", 0)[0] < UNDER_WAY_NS + 2592 * MS
    assert not under_way.told("start", "wheelhouse")[1:]
