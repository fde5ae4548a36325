"""Faults of the wiring and of a node's bus side, on the first boat under way: what each does on the wire."""

import itertools

import pytest

from busim.faults.accepted_by_some import SomePlace
from busim.faults.babbling import BabblingPlace
from busim.faults.cut import CutPlace
from busim.faults.fault import TapPlace
from busim.faults.intermittent import IntermittentPlace
from busim.faults.noise_burst import BurstPlace
from busim.faults.noise_rate import NoisePlace
from busim.faults.sent_twice import TwicePlace
from busim.faults.short import ShortPlace
from busim.faults.supply_lost import SupplyPlace
from busim.faults.table import BY_NAME
from busim.faults.terminator_lost import TerminatorPlace, echo_rate
from busim.seam import BUS_OFF, ERROR_ACTIVE, ERROR_PASSIVE
from busim.units import MS, SECOND

from .boat_under_way import ENGINE_ROOM, PANEL, UNDER_WAY_NS, WHEELHOUSE, Boat, boat_under_way
from .first_boat_world import boat

DRIVE_TAP = TapPlace(node="engine_room", bus="main")
END_NS = UNDER_WAY_NS + 2 * SECOND


@pytest.fixture
def under_way() -> Boat:
    return boat_under_way()


def between(boat: Boat, begin_ns: int, end_ns: int) -> list[int]:
    return [frame[0] for frame in boat.frames if begin_ns < frame[0] <= end_ns]


def test_noise_at_a_rate_makes_frames_late_and_loses_none(under_way: Boat) -> None:
    under_way.with_fault("noise_rate", NoisePlace(bus="main", rate=0.001), for_ns=SECOND).run(9 * SECOND)
    # Her levers come every 20 ms of the station's own clock: undisturbed, all are equally far apart but for arbitration.
    levers = [frame[0] for frame in under_way.sent_by(WHEELHOUSE, UNDER_WAY_NS, UNDER_WAY_NS + SECOND) if frame[2] >> 6 == 2]
    assert 49 <= len(levers) <= 51
    late = [at_ns for at_ns, later_ns in itertools.pairwise(levers) if later_ns - at_ns > 20 * MS + 300_000]
    assert late, "sent again after an error"
    assert under_way.told("gear", "engine", 0) == []


def test_noise_at_one_node_spoils_frames_only_while_that_one_is_error_active(under_way: Boat) -> None:
    """Then its flags are recessive, and the others hear each other without it. Until then it costs senders 8 a frame."""
    place = NoisePlace(bus="main", rate=0.05, nodes=("lamp_driver",))
    under_way.with_fault("noise_rate", place, for_ns=2 * SECOND).run(9 * SECOND)
    (passive, *_) = under_way.told("controller", "lamp_driver", "main", ERROR_PASSIVE)
    assert passive < UNDER_WAY_NS + 20 * MS
    off = under_way.told("controller", "lamp_driver", "main", BUS_OFF)[0]
    heard = [frame for frame in under_way.frames if passive < frame[0] < UNDER_WAY_NS + 120 * MS]
    assert len(heard) > 10
    assert not any(frame[4] & under_way.host_bit("lamp_driver") for frame in heard if frame[0] > off)
    assert between(under_way, UNDER_WAY_NS, passive) == []


def test_bursts_shorter_than_the_control_timeout_are_ridden_through(under_way: Boat) -> None:
    """Design s. 6: the timeout of 250 ms is five levers and the longest burst ridden through. 2 ms is a frame or two."""
    place = BurstPlace(bus="main", burst_us=1000, every_us=100_000)
    under_way.with_fault("noise_burst", place, for_ns=2 * SECOND).run(9 * SECOND)
    assert under_way.told("gear", "engine", 0) == []
    for count in range(20):
        begin_ns = UNDER_WAY_NS + count * 100 * MS
        assert between(under_way, begin_ns + 20_000, begin_ns + 1000_000) == []


def test_an_open_drop_is_silence_both_ways_and_the_node_stops_at_error_passive(under_way: Boat) -> None:
    under_way.with_fault("drop_open", DRIVE_TAP, for_ns=2 * SECOND).run(10 * SECOND)
    assert under_way.sent_by(ENGINE_ROOM, UNDER_WAY_NS + MS, END_NS) == []
    heard = under_way.sent_by(WHEELHOUSE, UNDER_WAY_NS + MS, END_NS)
    assert heard
    assert not any(frame[4] & under_way.host_bit("engine_room") for frame in heard)
    assert under_way.told("controller", "engine_room", "main", ERROR_PASSIVE)
    assert under_way.told("controller", "engine_room", "main", BUS_OFF) == [], "nobody acknowledges: it stays at 128 (s. 8, rule 3)"
    assert under_way.sent_by(ENGINE_ROOM, END_NS, 10 * SECOND)


@pytest.mark.parametrize("wires", ["high_to_low", "to_ground", "to_battery"])
def test_a_short_is_silence_and_the_drive_is_in_neutral(under_way: Boat, wires: str) -> None:
    under_way.with_fault("short", ShortPlace(bus="main", wires=wires), for_ns=3 * SECOND).run(16 * SECOND)
    assert between(under_way, UNDER_WAY_NS + MS, UNDER_WAY_NS + 3 * SECOND) == []
    assert under_way.told("gear", "engine", 0)
    offs = [name for name in ("wheelhouse", "engine_room") if under_way.told("controller", name, "main", BUS_OFF)]
    assert bool(offs) == (wires != "to_battery")
    for name in offs:
        assert under_way.told("controller", name, "main", ERROR_ACTIVE), "they come back"


def test_a_transmit_pin_stuck_dominant_is_silence_too(under_way: Boat) -> None:
    under_way.with_fault("stuck_dominant", DRIVE_TAP, for_ns=SECOND).run(9 * SECOND)
    assert between(under_way, UNDER_WAY_NS + MS, UNDER_WAY_NS + SECOND) == []
    assert between(under_way, UNDER_WAY_NS + SECOND, 9 * SECOND)


def test_intermittent_is_broken_and_whole_in_turn(under_way: Boat) -> None:
    place = IntermittentPlace(on_ms=100, off_ms=300, drop_open=DRIVE_TAP)
    under_way.with_fault("intermittent", place, for_ns=2 * SECOND).run(9 * SECOND)
    for count in range(5):
        begin_ns = UNDER_WAY_NS + count * 400 * MS
        assert under_way.sent_by(ENGINE_ROOM, begin_ns + MS, begin_ns + 100 * MS) == []
        assert under_way.sent_by(ENGINE_ROOM, begin_ns + 110 * MS, begin_ns + 400 * MS)
    assert under_way.world.bus("main").wiring.open_drops == []
    assert under_way.told("gear", "engine", 0) == [], "100 ms are less than the control timeout"


def test_a_supply_with_a_loose_joint_starts_everything_again_and_again(under_way: Boat) -> None:
    place = IntermittentPlace(on_ms=50, off_ms=450, supply_lost=SupplyPlace(supply="house"))
    under_way.with_fault("intermittent", place, for_ns=1400 * MS).run(9 * SECOND)
    gone = [UNDER_WAY_NS + count * 500 * MS for count in range(3)]
    assert under_way.told("power", "engine_room", 0) == gone
    assert under_way.told("power", "engine_room", 1) == [at_ns + 50 * MS for at_ns in gone]


def test_intermittent_ends_whole_whenever_it_ends(under_way: Boat) -> None:
    place = IntermittentPlace(on_ms=100, off_ms=300, cut=CutPlace(bus="main", at_m=8.0))
    under_way.with_fault("intermittent", place, for_ns=450 * MS).run(9 * SECOND)
    assert under_way.world.bus("main").wiring.cuts_m == []


def test_a_babbling_node_with_a_top_priority_id_silences_the_boat(under_way: Boat) -> None:
    """It sends 000 without a pause: 127 bits each (golden, reference values), 0.508 ms at 250 kbit/s."""
    place = BabblingPlace(node="companionway", bus="main")
    under_way.with_fault("babbling", place, for_ns=SECOND).run(9 * SECOND)
    frames = [frame for frame in under_way.frames if UNDER_WAY_NS + MS < frame[0] < UNDER_WAY_NS + SECOND]
    assert {frame[2] for frame in frames} == {0}
    gaps = {later[0] - earlier[0] for earlier, later in itertools.pairwise(frames)}
    assert gaps == {508_000}
    assert under_way.told("gear", "engine", 0)
    assert {frame[2] & 0x3F for frame in under_way.frames if frame[0] > 8 * SECOND} > {WHEELHOUSE, ENGINE_ROOM, PANEL}


def test_babbling_lasts_through_a_reset_and_stops_without_supply(under_way: Boat) -> None:
    place = BabblingPlace(node="companionway", bus="main", can_id=1)
    under_way.with_fault("babbling", place)
    under_way.world.plan_steps([(8 * SECOND, 0, "power", ("companionway", 0)), (9 * SECOND, 0, "power", ("companionway", 1))])
    under_way.run(10 * SECOND)
    babble = [frame[0] for frame in under_way.frames if frame[2] == 1]
    assert [at_ns for at_ns in babble if at_ns < 8 * SECOND]
    assert [at_ns for at_ns in babble if 8 * SECOND + MS < at_ns < 9 * SECOND] == []
    assert [at_ns for at_ns in babble if at_ns > 9 * SECOND]


def test_garbage_takes_who_sends_off_the_bus(under_way: Boat) -> None:
    place = BabblingPlace(node="companionway", bus="main", sends="bits")
    under_way.with_fault("babbling", place, for_ns=SECOND).run(9 * SECOND)
    assert between(under_way, UNDER_WAY_NS + MS, UNDER_WAY_NS + SECOND) == []
    assert under_way.told("controller", "wheelhouse", "main", BUS_OFF)
    assert under_way.told("gear", "engine", 0)


@pytest.mark.parametrize("name", ["deaf", "dumb"])
def test_a_one_way_transceiver_goes_bus_off_and_others_go_on(under_way: Boat, name: str) -> None:
    under_way.with_fault(name, DRIVE_TAP, for_ns=SECOND).run(16 * SECOND)
    assert under_way.told("controller", "engine_room", "main", BUS_OFF)
    assert under_way.sent_by(ENGINE_ROOM, UNDER_WAY_NS + MS, UNDER_WAY_NS + SECOND) == []
    heard = under_way.sent_by(WHEELHOUSE, UNDER_WAY_NS + 100 * MS, UNDER_WAY_NS + SECOND)
    assert heard
    assert under_way.sent_by(ENGINE_ROOM, 10 * SECOND, 16 * SECOND), "it has rejoined"


def test_bus_off_of_the_drive_that_is_over_within_the_timeout_is_ridden_through(under_way: Boat) -> None:
    under_way.with_fault("bus_off_forced", DRIVE_TAP).run(10 * SECOND)
    assert under_way.told("controller", "engine_room", "main", BUS_OFF) == [UNDER_WAY_NS]
    (back_ns,) = under_way.told("controller", "engine_room", "main", ERROR_ACTIVE)
    assert UNDER_WAY_NS + 25 * MS < back_ns < UNDER_WAY_NS + 100 * MS, "20 ms and 128 runs of 11 recessive bits on a busy bus"
    assert under_way.told("gear", "engine", 0) == []


def test_bus_off_of_the_drive_for_longer_is_a_loss_and_never_arms_again_by_itself(under_way: Boat) -> None:
    """To ground each frame fails at once, and the drive is bus-off again after every rejoining."""
    under_way.with_fault("short", ShortPlace(bus="main", wires="to_ground"), for_ns=2 * SECOND).run(20 * SECOND)
    assert under_way.told("controller", "engine_room", "main", BUS_OFF)
    assert under_way.told("controller", "engine_room", "main", ERROR_ACTIVE)[-1] > UNDER_WAY_NS + 2 * SECOND
    assert len(under_way.told("gear", "engine", 0)) == 1
    assert under_way.told("gear", "engine", 1) == []


def test_a_frame_accepted_by_some_comes_twice_to_the_others(under_way: Boat) -> None:
    place = SomePlace(bus="main", nodes=("engine_room",), every=4)
    under_way.with_fault("accepted_by_some", place, for_ns=SECOND).run(9 * SECOND)
    frames = [frame for frame in under_way.frames if UNDER_WAY_NS < frame[0] < UNDER_WAY_NS + SECOND]
    drive = under_way.host_bit("engine_room")
    refused = [
        number for number, frame in enumerate(frames) if frame[2] & 0x3F != ENGINE_ROOM and not frame[4] & drive
    ]  # fmt: skip
    assert len(refused) > 10
    for number in refused[:-1]:
        same = [frame for frame in frames[number + 1 : number + 3] if frame[2:4] == frames[number][2:4]]
        assert same, "the same id and data again"
    assert under_way.told("gear", "engine", 0) == []


def test_frames_sent_twice_reach_everybody_twice_and_nobody_minds(under_way: Boat) -> None:
    """It costs the sender 8 each time, so not more than one in nine may be hit for long."""
    under_way.with_fault("sent_twice", TwicePlace(node="wheelhouse", bus="main"), for_ns=2 * SECOND).run(9 * SECOND)
    sent = [frame[2:] for frame in under_way.sent_by(WHEELHOUSE, UNDER_WAY_NS, END_NS)]
    twice = [one for one, other in itertools.pairwise(sent) if one == other]
    assert len(twice) == pytest.approx((len(sent) - len(twice)) / 10, abs=2)
    assert under_way.told("gear", "engine", 0) == []


# ------------------------------------------------------------------------------------------------ where they can be


@pytest.mark.parametrize(
    ("trunk_m", "bit_rate", "rate"),
    [(12, 250_000, 0.00009), (250, 250_000, 0.0390625), (40, 1_000_000, 0.016), (40, 250_000, 0.001), (5000, 1_000_000, 0.5)],
)
def test_echoes_grow_with_length_and_rate(trunk_m: float, bit_rate: int, rate: float) -> None:
    """By hand: x = 2 x length x 5 ns/m x bit rate; 0.1 x^2."""
    assert echo_rate(trunk_m, SECOND // bit_rate) == pytest.approx(rate)


def test_a_lost_terminator_hurts_a_long_fast_bus_and_hardly_a_short_slow_one(under_way: Boat) -> None:
    under_way.with_fault("terminator_lost", TerminatorPlace(bus="main"), for_ns=2 * SECOND).run(9 * SECOND)
    assert under_way.told("gear", "engine", 0) == [], "12 m at 250 kbit/s: about one frame in a hundred"


@pytest.mark.parametrize(
    ("name", "place", "key", "words"),
    [
        ("drop_open", TapPlace(node="engine_room", bus="aux"), "bus", "engine_room is not on aux; it is on main"),
        ("noise_rate", NoisePlace(bus="main", nodes=("galley",)), "nodes", "there is no node galley on main"),
        ("accepted_by_some", SomePlace(bus="main", nodes=("galley",)), "nodes", "there is no node galley on main"),
        ("intermittent", IntermittentPlace(cut=CutPlace(bus="main", at_m=20)), "cut", "beyond the end of the trunk"),
        ("intermittent", IntermittentPlace(cut=CutPlace(bus="aux", at_m=2)), "cut", "there is no bus aux; there are main"),
        (
            "intermittent",
            IntermittentPlace(drop_open=TapPlace(node="galley", bus="main")),
            "drop_open",
            "there is no node galley; there are",
        ),
    ],
)
def test_a_place_the_boat_has_not_is_refused_in_words(name: str, place: object, key: str, words: str) -> None:
    ((found_key, found_words),) = BY_NAME[name].misplaced(boat().boat, place)
    assert found_key == key
    assert words in found_words


def test_intermittent_says_one_thing() -> None:
    with pytest.raises(ValueError, match="say what comes and goes, and one thing only: one of cut, wire_open, short"):
        IntermittentPlace()
