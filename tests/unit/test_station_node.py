"""The station: every row of its table, taking control and letting it go, what its display says in every situation."""

from collections.abc import Callable

import pytest

from busim.protocol.tables import STATION_TABLE, Row
from busim.units import MS

from . import hand_made_frames as hand
from .small_boat import BRIDGE, PORT, STARBOARD, WHEELHOUSE
from .station_rig import MIDDLE, StationRig

NOBODY, HERE, ANOTHER, NOTHING_HEARD, ASKING, DIVIDED, LOST = range(1, 8)
"""What a display shows."""
TRANSFER_NS, MISSING_NS = 500 * MS, 350 * MS


def refused(rig: StationRig) -> None:
    rig.introduce()
    rig.lever(900)
    rig.press()


def outbid(rig: StationRig) -> None:
    rig.claiming()
    rig.drive_says(PORT, rig.other, rig.number + 1)


def too_slow(rig: StationRig) -> None:
    rig.claiming()
    rig.run_to(rig.now_ns + TRANSFER_NS)


def withdrawn(rig: StationRig) -> None:
    outbid(rig)
    rig.drives_say(rig.other, rig.number + 1)


def no_longer_obeyed(rig: StationRig) -> None:
    rig.settled()
    rig.drives_say(0, 1)


def silence(rig: StationRig) -> None:
    rig.settled()
    rig.run_for(320)


def once_more(rig: StationRig) -> None:
    rig.settled()
    rig.press()


SEQUENCES: dict[int, Callable[[StationRig], None]] = {
    1: StationRig.claiming,
    2: refused,
    3: StationRig.holding,
    4: outbid,
    5: too_slow,
    6: withdrawn,
    7: no_longer_obeyed,
    8: silence,
    9: once_more,
}


@pytest.mark.parametrize("row", STATION_TABLE.rows, ids=lambda row: str(row.number))
def test_row(row: Row) -> None:
    rig = StationRig()
    SEQUENCES[row.number](rig)
    assert rig.rows[-1] == row.number, f"{row.state}, {row.event}: took rows {rig.rows}"
    state = "watching"
    for number in rig.rows:
        assert STATION_TABLE.by_number[number].state == state
        state = STATION_TABLE.by_number[number].next_state


# ------------------------------------------------------------------------------------------------ when a take is allowed


@pytest.mark.parametrize(
    ("value", "instance", "allowed"),
    [
        (MIDDLE, 1, True),
        (559, 1, True),  # 15 % of 400 permille of travel are 60
        (560, 1, False),
        (441, 1, True),
        (440, 1, False),
        (560, 2, False),
        (440, 2, False),
        (930, 1, False),
        (931, 1, False),
        (70, 2, False),
        (69, 2, False),
        (0, 1, False),
        (1000, 1, False),
    ],
)
def test_a_take_needs_both_levers_sound_and_in_neutral(value: int, instance: int, allowed: bool) -> None:
    rig = StationRig()
    rig.introduce()
    rig.input(f"lever.{instance}", value)
    rig.press()
    assert rig.rows == [1 if allowed else 2]
    rig.run_for(100)
    assert bool(rig.said(hand.CLAIM)) == allowed


def test_a_lever_never_read_is_faulty() -> None:
    rig = StationRig()
    rig.start()
    rig.input("lever.1", MIDDLE)
    rig.press()
    assert rig.rows == [2]


def test_a_refused_take_says_so_and_ends_no_alarm() -> None:
    """It changed nothing: what was let go of is still nobody's."""
    rig = StationRig()
    silence(rig)
    assert rig.sounds == 1
    rig.lever(900)
    rig.press()
    assert rig.rows[-1] == 2
    rig.run_for(500)
    assert rig.sounds == 1


def test_the_key_does_nothing_while_a_take_is_under_way() -> None:
    rig = StationRig()
    rig.claiming()
    number = rig.number
    rig.press()
    rig.run_for(60)
    assert (rig.rows, rig.number) == ([1], number)
    outbid_rig = StationRig()
    outbid(outbid_rig)
    outbid_rig.press()
    assert outbid_rig.rows == [1, 4]


# ------------------------------------------------------------------------------------------------ numbers


@pytest.mark.parametrize(
    ("heard", "number"),
    [
        ((0, 0), 1),
        ((5, 5), 6),
        ((5, 9), 10),
        ((9, 5), 10),
        ((65534, 65534), 65535),
        ((65535, 65535), 1),  # 0 is no number
        ((65535, 1), 2),  # 1 is newer than 65535
        ((40000, 0), 40001),  # a drive that started anew does not make the others' numbers old
    ],
)
def test_the_number_is_the_newest_heard_plus_one(heard: tuple[int, int], number: int) -> None:
    rig = StationRig()
    rig.wake()
    for _ in range(2):
        rig.drive_says(PORT, WHEELHOUSE, heard[0])
        rig.drive_says(STARBOARD, WHEELHOUSE, heard[1])
    rig.press()
    assert rig.number == number


def test_each_take_has_a_number_of_its_own() -> None:
    rig = StationRig()
    too_slow(rig)
    rig.run_for(600)
    rig.press()
    assert rig.rows == [1, 5, 6, 1]
    assert rig.number == 2


# ------------------------------------------------------------------------------------------------ claims


def test_claims_go_out_at_once_and_every_50_ms_with_where_the_levers_stand() -> None:
    rig = StationRig()
    rig.introduce()
    rig.run_for(33)
    pressed_ns = rig.now_ns
    rig.press()
    rig.run_for(60)
    rig.input("lever.2", 900)
    rig.run_for(40)
    claims = rig.said(hand.CLAIM)
    assert [now_ns - pressed_ns for now_ns, _ in claims] == [0, 50 * MS, 100 * MS]
    assert [data[1] for _, data in claims] == [1, 2, 3]
    assert {hand.part(data, 29, 3) for _, data in claims} == {3}
    assert [(hand.part(data, 27, 2), hand.part(data, 15, 2), hand.part(data, 5, 10)) for _, data in claims] == [
        (0, 0, 0),
        (0, 0, 0),
        (0, 1, 1000),
    ]
    assert rig.last(hand.LEVER, 32, 16) == 1, "lever frames carry the new number already"


def test_claims_end_with_the_last_echo() -> None:
    rig = StationRig()
    rig.claiming()
    rig.drive_says(PORT, BRIDGE, 1)
    assert rig.rows == [1]
    rig.run_for(60)
    sent = len(rig.said(hand.CLAIM))
    assert sent == 2
    rig.drive_says(STARBOARD, BRIDGE, 1)
    assert rig.rows == [1, 3]
    rig.hear(240, BRIDGE, 1)
    assert len(rig.said(hand.CLAIM)) == sent


def test_who_takes_one_drive_waits_for_that_one_alone() -> None:
    rig = StationRig(drives=(2,))
    rig.start()
    rig.input("lever.2", MIDDLE)
    rig.input("lever.1", 900)
    for _ in range(2):
        rig.drive_says(STARBOARD, 0, 0)
        rig.drive_says(PORT, WHEELHOUSE, 9)
    rig.press()
    rig.run_for(20)
    assert rig.last(hand.CLAIM, 29, 3) == 2
    assert rig.lever_says(1) == (0, 0), "a lever that it has not got moves nothing"
    assert rig.number == 10, "a number any drive has reported is taken"
    rig.drive_says(STARBOARD, BRIDGE, 10)
    assert rig.state == "holding"


@pytest.mark.parametrize(
    ("station", "number", "is_outbid"),
    [
        (WHEELHOUSE, 6, True),
        (WHEELHOUSE, 5, True),  # the same number from a lower address
        (WHEELHOUSE, 4, False),
        (0, 5, False),
        (0, 6, True),
        (15, 5, False),  # the same from a higher address
        (15, 6, True),
        (15, 5 + 32767, True),
        (15, (5 + 32768) % 65536, False),
    ],
)
def test_who_outbids(station: int, number: int, is_outbid: bool) -> None:
    rig = StationRig()
    rig.introduce(WHEELHOUSE, 4)
    rig.press()
    assert rig.number == 5
    rig.drive_says(PORT, station, number)
    assert (rig.state == "withdrawing") == is_outbid


def test_transfer_over_at_exactly_its_time() -> None:
    """Looked at with every lever frame: the first at or after transfer_ms."""
    rig = StationRig()
    rig.claiming()
    assert rig.now_ns == 0
    rig.run_to(TRANSFER_NS - 1)
    assert rig.rows == [1]
    rig.run_to(TRANSFER_NS)
    assert rig.rows == [1, 5]


def test_a_withdrawal_is_said_until_no_drive_has_the_number() -> None:
    rig = StationRig()
    rig.claiming()
    rig.drive_says(PORT, BRIDGE, 1)
    rig.drive_says(STARBOARD, WHEELHOUSE, 2)
    assert rig.state == "withdrawing"
    rig.run_for(100)
    frames = [data for now_ns, data in rig.said(hand.CLAIM) if now_ns > 0]
    assert [(hand.part(data, 4, 1), hand.part(data, 32, 16)) for data in frames] == [(1, 1)] * 2
    assert rig.last(hand.LEVER, 32, 16) == 0, "its lever frames are nobody's"
    rig.drive_says(STARBOARD, WHEELHOUSE, 2)
    assert rig.state == "withdrawing"
    rig.drive_says(PORT, 0, 1)
    assert rig.state == "watching"
    rig.run_for(200)
    assert len([data for now_ns, data in rig.said(hand.CLAIM) if now_ns > 0]) == 2


def test_a_withdrawal_ends_after_its_time() -> None:
    rig = StationRig()
    rig.claiming()
    rig.drive_says(PORT, BRIDGE, 1)
    rig.run_to(2 * TRANSFER_NS - 1)
    assert rig.rows == [1, 5]
    rig.run_to(2 * TRANSFER_NS)
    assert rig.rows == [1, 5, 6]


def test_a_station_that_may_take_matched_asks_with_its_levers_where_they_are() -> None:
    """The drives judge the match; a faulty lever asks for nothing all the same."""
    rig = StationRig(matched_take=True)
    rig.introduce(WHEELHOUSE, 4)
    rig.lever(900)
    rig.press()
    assert rig.rows[-1] == 1
    rig.run_for(0)
    assert rig.last(hand.CLAIM, 27, 2) == 1
    faulty = StationRig(matched_take=True)
    faulty.introduce(WHEELHOUSE, 4)
    faulty.lever(1000)
    faulty.press()
    assert faulty.rows[-1] == 2
