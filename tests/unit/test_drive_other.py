"""Two drives: what one does when the other obeys somebody else, obeys nobody, or is not heard; and keys named stuck."""

from typing import Any

import pytest

from busim.protocol import values as v
from busim.seam import Actions
from busim.units import MS

from . import hand_made_frames as hand
from .drive_rig import MISSING_NS, DriveRig
from .hand_made_frames import AHEAD, NEUTRAL
from .small_boat import BRIDGE, STARBOARD, WHEELHOUSE, small_boat

OVERLAP_NS = 600 * MS


class TwoDrives(DriveRig):
    """Port, played by hand with the reports of starboard, which come with each heartbeat of the station in control."""

    reported: tuple[int, int] | None = (WHEELHOUSE, 1)
    """Whom starboard obeys; None: it is not heard."""

    def beat(self, *arguments: Any, **more: Any) -> Actions:
        if self.reported is not None:
            self.other(*self.reported)
        return super().beat(*arguments, **more)

    def other(self, station: int, number: int) -> None:
        can_id = hand.id_of(hand.OBEYS, STARBOARD)
        self.frame(can_id, hand.obeys(STARBOARD, self.counter(can_id), station, number))

    def steer_until(self, until_ns: int, other: tuple[int, int] | None, gear: int = AHEAD) -> None:
        """The station in control goes on until shortly before `until_ns`, starboard reporting this."""
        self.reported = other
        throttle = 500 if gear else 0
        while self.now_ns + 20 * MS < until_ns:
            self.beat()
            self.lever(gear, throttle)
            self.run_for(20)
        self.beat()
        self.lever(gear, throttle)

    def under_way(self) -> None:
        """Ahead, both drives obeying the wheelhouse, and starboard's report just heard."""
        self.engaged(AHEAD, 500)
        self.beat()


def test_it_goes_neutral_at_exactly_the_overlap_after_the_other_changed() -> None:
    rig = TwoDrives()
    rig.under_way()
    changed_ns = rig.now_ns
    rig.steer_until(changed_ns + OVERLAP_NS, (BRIDGE, 2))
    rig.run_to(changed_ns + OVERLAP_NS - 1)
    assert rig.obeyed == (WHEELHOUSE, 1)
    rig.run_to(changed_ns + OVERLAP_NS)
    assert (rig.rows[-1], rig.cause, rig.obeyed[0]) == (24, v.CAUSE_PARTITION, 0)


def test_the_other_one_following_in_time_changes_nothing() -> None:
    rig = TwoDrives()
    rig.under_way()
    changed_ns = rig.now_ns
    rig.steer_until(changed_ns + OVERLAP_NS - 40 * MS, (BRIDGE, 2))
    rig.steer_until(changed_ns + 2 * OVERLAP_NS, (WHEELHOUSE, 1))
    assert rig.obeyed == (WHEELHOUSE, 1)


def test_it_counts_from_its_own_take_where_that_is_later() -> None:
    """The taker needs its time to reach the other drive: the same pair of both is not asked for at once."""
    rig = TwoDrives()
    rig.in_control()
    rig.run_for(1)
    rig.take(2, BRIDGE)
    taken_ns = rig.now_ns
    rig.steer_until(taken_ns + OVERLAP_NS, (WHEELHOUSE, 1), NEUTRAL)
    rig.run_to(taken_ns + OVERLAP_NS - 1)
    assert rig.obeyed == (BRIDGE, 2)
    rig.run_to(taken_ns + OVERLAP_NS)
    assert (rig.obeyed[0], rig.cause) == (0, v.CAUSE_PARTITION)


@pytest.mark.parametrize(("ahead", "spoil", "lost"), [(1, False, True), (0, False, False), (1, True, False)])
def test_a_report_that_is_old_or_corrupt_is_no_report(ahead: int, spoil: bool, lost: bool) -> None:
    """Neither does it say that the other drive obeys somebody else, nor that it is there."""
    rig = TwoDrives()
    rig.under_way()
    bad_reports(rig, OVERLAP_NS + 100 * MS, (BRIDGE, 2), ahead, spoil=spoil)
    assert (rig.obeyed[0] == 0) == lost


def bad_reports(rig: TwoDrives, for_ns: int, obeyed: tuple[int, int], ahead: int, *, spoil: bool) -> None:
    """The station in control goes on; starboard's reports are the same but for a counter so far ahead, or a spoilt CRC."""
    until_ns = rig.now_ns + for_ns
    can_id = hand.id_of(hand.OBEYS, STARBOARD)
    rig.reported = None
    while rig.now_ns < until_ns:
        data = hand.obeys(STARBOARD, rig.counter(can_id, ahead), *obeyed)
        rig.frame(can_id, hand.spoiled(data) if spoil else data)
        rig.beat()
        rig.lever(AHEAD, 500)
        rig.run_for(20)


@pytest.mark.parametrize(("ahead", "spoil"), [(0, False), (1, True)])
def test_a_drive_that_is_heard_by_such_reports_alone_is_not_heard(ahead: int, spoil: bool) -> None:
    rig = TwoDrives(when_apart="neutral")
    rig.under_way()
    bad_reports(rig, MISSING_NS + 20 * MS, (WHEELHOUSE, 1), ahead, spoil=spoil)
    assert (rig.obeyed[0], rig.cause) == (0, v.CAUSE_OTHER_DRIVE_LOST)


@pytest.mark.parametrize(("policy", "lost"), [("carry_on", False), ("neutral", True)])
def test_the_other_one_obeys_nobody(policy: str, lost: bool) -> None:
    rig = TwoDrives(on_other_lost=policy)
    rig.under_way()
    changed_ns = rig.now_ns
    rig.steer_until(changed_ns + OVERLAP_NS, (0, 1))
    rig.run_to(changed_ns + OVERLAP_NS - 1)
    assert rig.obeyed == (WHEELHOUSE, 1)
    rig.run_to(changed_ns + OVERLAP_NS)
    assert (rig.obeyed[0] == 0) == lost
    if lost:
        assert rig.cause == v.CAUSE_OTHER_DRIVE_LOST


@pytest.mark.parametrize(("policy", "lost"), [("each_obeys", False), ("neutral", True)])
def test_the_other_one_is_not_heard(policy: str, lost: bool) -> None:
    rig = TwoDrives(when_apart=policy)
    rig.under_way()
    heard_ns = rig.now_ns
    rig.steer_until(heard_ns + MISSING_NS, None)
    rig.run_to(heard_ns + MISSING_NS - 1)
    assert rig.obeyed == (WHEELHOUSE, 1)
    rig.run_to(heard_ns + MISSING_NS)
    assert (rig.obeyed[0] == 0) == lost
    if lost:
        assert rig.cause == v.CAUSE_OTHER_DRIVE_LOST


def taken_alone(number: int = 1, by: int = WHEELHOUSE, **more: Any) -> TwoDrives:
    rig = TwoDrives(small_boat(**more))
    rig.reported = None
    rig.wake()
    rig.other(0, 0)
    rig.introduce(by)
    rig.claim(number, station=by, wanted=1)
    rig.claim(number, station=by, wanted=1)
    rig.station, rig.number = by, number
    return rig


def test_a_station_that_may_take_this_drive_alone_is_not_bound_to_the_other() -> None:
    rig = taken_alone(when_apart="neutral", on_other_lost="neutral", station={"drives": (1,)})
    rig.steer_until(rig.now_ns + 3 * OVERLAP_NS, (BRIDGE, 7))
    assert rig.obeyed == (WHEELHOUSE, 1)


@pytest.mark.parametrize(
    ("station", "number", "other", "gives_way"),
    [
        (WHEELHOUSE, 2, (BRIDGE, 3), True),
        (WHEELHOUSE, 2, (BRIDGE, 2), False),  # of one number, the lower address
        (BRIDGE, 2, (WHEELHOUSE, 2), True),
        (WHEELHOUSE, 2, (BRIDGE, 1), False),
        (WHEELHOUSE, 2, (WHEELHOUSE, 3), False),
        (WHEELHOUSE, 2, (WHEELHOUSE, 1), False),
        (WHEELHOUSE, 2, (0, 3), False),
        (WHEELHOUSE, 0xFFFF, (BRIDGE, 1), True),
    ],
)
def test_of_two_stations_that_each_took_one_drive_the_older_gives_way(
    station: int, number: int, other: tuple[int, int], gives_way: bool
) -> None:
    """Each could have both, and took the one it had: after the overlap no two engines obey two stations."""
    rig = taken_alone(number, station)
    taken_ns = rig.now_ns
    rig.steer_until(taken_ns + OVERLAP_NS, other, NEUTRAL)
    rig.run_to(taken_ns + OVERLAP_NS - 1)
    assert rig.obeyed == (station, number)
    rig.run_to(taken_ns + OVERLAP_NS)
    assert (rig.obeyed[0] == 0) == gives_way
    if gives_way:
        assert rig.cause == v.CAUSE_PARTITION


@pytest.mark.parametrize(("policy", "lost"), [("each_obeys", False), ("neutral", True)])
def test_taken_alone_the_policy_for_drives_that_do_not_hear_each_other_holds_all_the_same(policy: str, lost: bool) -> None:
    rig = taken_alone(when_apart=policy)
    taken_ns = rig.now_ns
    rig.steer_until(taken_ns + MISSING_NS, None, NEUTRAL)
    rig.run_to(taken_ns + MISSING_NS - 1)
    assert rig.obeyed == (WHEELHOUSE, 1)
    rig.run_to(taken_ns + MISSING_NS)
    assert (rig.obeyed[0] == 0) == lost


@pytest.mark.parametrize("spoil", ["crc", "counter"])
def test_a_report_that_does_not_count_is_not_heard(spoil: str) -> None:
    rig = TwoDrives()
    rig.under_way()
    changed_ns = rig.now_ns
    can_id = hand.id_of(hand.OBEYS, STARBOARD)
    while rig.now_ns < changed_ns + 2 * OVERLAP_NS:
        rig.beat()
        rig.lever(AHEAD, 500)
        data = hand.obeys(STARBOARD, rig.counters[can_id], BRIDGE, 2)
        rig.frame(can_id, hand.spoiled(data) if spoil == "crc" else data)
        rig.run_for(20)
    assert rig.obeyed == (WHEELHOUSE, 1)


def test_one_number_of_two_stations_goes_to_the_lower_address() -> None:
    """Two takes in one instant: both drives end with the same station, whichever they heard first."""
    for first, second in ((WHEELHOUSE, BRIDGE), (BRIDGE, WHEELHOUSE)):
        rig = TwoDrives(small_boat())
        rig.wake()
        rig.introduce(WHEELHOUSE)
        rig.introduce(BRIDGE)
        for station in (first, second):
            rig.claim(1, station=station)
            rig.claim(1, station=station)
        rig.run_for(40)
        assert rig.obeyed == (WHEELHOUSE, 1)


# ------------------------------------------------------------------------------------------------ keys named stuck


def lock(rig: DriveRig, by: int, stuck: int, pressed: int = 0) -> None:
    can_id = hand.id_of(hand.NEUTRAL_NOW, by)
    content = pressed << 47 | (1 << stuck) << 31
    rig.frame(can_id, hand.safe(can_id, rig.counter(can_id), content))


def test_a_key_named_stuck_by_another_station_is_ignored_after_two_frames() -> None:
    for times, works in ((1, True), (2, False)):
        rig = DriveRig()
        rig.engaged(AHEAD, 500)
        for _ in range(times):
            lock(rig, BRIDGE, WHEELHOUSE)
        rig.press_neutral_now(WHEELHOUSE)
        assert (rig.cause == v.CAUSE_NEUTRAL_NOW) == works


def test_no_station_names_its_own_key_and_the_others_still_act() -> None:
    rig = DriveRig()
    rig.engaged(AHEAD, 500)
    for _ in range(2):
        lock(rig, WHEELHOUSE, WHEELHOUSE)
        lock(rig, BRIDGE, WHEELHOUSE)
    rig.press_neutral_now(BRIDGE)
    assert rig.cause == v.CAUSE_NEUTRAL_NOW


@pytest.mark.parametrize("station", [WHEELHOUSE, BRIDGE])
def test_a_station_that_names_its_own_key_locks_out_nobody(station: int) -> None:
    """Its own word, and that key's press may be the one that counts."""
    rig = DriveRig()
    rig.engaged(AHEAD, 500)
    for _ in range(3):
        lock(rig, station, station)
    lock(rig, station, station, pressed=1)
    assert rig.cause == v.CAUSE_NEUTRAL_NOW


@pytest.mark.parametrize("buses", [1, 2])
def test_one_frame_heard_twice_takes_no_key_away(buses: int) -> None:
    """By both buses of a pair, or repeated by a controller that saw its end disturbed."""
    rig = DriveRig(small_boat(buses=buses))
    rig.engaged(AHEAD, 500)
    can_id = hand.id_of(hand.NEUTRAL_NOW, BRIDGE)
    data = hand.neutral_now(BRIDGE, rig.counter(can_id), 0, 1 << WHEELHOUSE)
    for bus in (0, buses - 1):
        rig.frame(can_id, data, bus)
    rig.press_neutral_now(WHEELHOUSE)
    assert rig.cause == v.CAUSE_NEUTRAL_NOW


@pytest.mark.parametrize(("after_ns", "works"), [(3500 * MS - 1, False), (3500 * MS, True)])
def test_a_lock_that_nobody_repeats_holds_no_longer(after_ns: int, works: bool) -> None:
    """The station that named the key has no power, or began anew: nobody is left who shows that the key does nothing."""
    rig = DriveRig()
    rig.engaged(AHEAD, 500)
    for _ in range(2):
        lock(rig, BRIDGE, WHEELHOUSE)
    last_ns = rig.now_ns
    while rig.now_ns + 20 * MS <= last_ns + after_ns:
        rig.beat()
        rig.lever(AHEAD, 500)
        rig.run_for(20)
    rig.run_to(last_ns + after_ns)
    rig.press_neutral_now(WHEELHOUSE)
    assert (rig.outcome() == (AHEAD, 0)) == works
    assert (rig.outcome() == (AHEAD, 500)) == (not works)


@pytest.mark.parametrize("works", [False, True])
def test_a_lock_that_is_repeated_holds_on(works: bool) -> None:
    rig = DriveRig()
    rig.engaged(AHEAD, 500)
    lock(rig, BRIDGE, WHEELHOUSE)
    for _ in range(9):
        lock(rig, BRIDGE, WHEELHOUSE if not works else STARBOARD)
        rig.steer_for(1000, AHEAD, 500)
    rig.press_neutral_now(WHEELHOUSE)
    assert (rig.outcome() == (AHEAD, 0)) == works


def test_a_key_named_stuck_is_freed_by_one_frame() -> None:
    rig = DriveRig()
    rig.engaged(AHEAD, 500)
    for _ in range(2):
        lock(rig, BRIDGE, WHEELHOUSE)
    rig.press_neutral_now(BRIDGE, pressed=0)
    rig.press_neutral_now(WHEELHOUSE)
    assert rig.cause == v.CAUSE_NEUTRAL_NOW
