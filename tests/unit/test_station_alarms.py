"""A station's own alarms, its keys for them, and the lock-out of another station's stuck neutral-now key."""

import pytest

from busim.units import MS, SECOND
from nodes.key_lock import KeyLock

from . import hand_made_frames as hand
from .alarm_rig import ACKNOWLEDGED, OVER, RAISED, SILENCED, read_line
from .drive_rig import DriveRig
from .node_rig import NodeRig
from .small_boat import BRIDGE, PORT, STARBOARD, WHEELHOUSE
from .station_rig import MIDDLE, StationRig


def names(rig: NodeRig, state: int | None = None) -> list[str]:
    lines = [read_line(value) for name, value in rig.outputs.items() if name.startswith("alarm.") and value]
    return [line.name for line in lines if state in (None, line.state)]


class AmongFriends(StationRig):
    """The bridge, with everybody else beating and both drives reporting whom they obey."""

    def pass_time(self, for_ms: int, station: int = WHEELHOUSE, number: int = 1) -> None:
        for _ in range(for_ms // 100):
            for address in (1, 2, 4, 6, 9):
                can_id = hand.id_of(hand.HEARTBEAT, address)
                self.frame(can_id, hand.heartbeat(address, self.counter(can_id), self.plan.helm_fingerprint))
            self.drives_say(station, number)
            self.run_for(100)


def awake() -> AmongFriends:
    rig = AmongFriends()
    rig.wake()
    rig.pass_time(1000)
    assert names(rig) == []
    return rig


# ------------------------------------------------------------------------------------------------ its own


@pytest.mark.parametrize("value", [0, 1000])
def test_a_lever_that_cannot_be_believed_is_told_to_everybody(value: int) -> None:
    rig = awake()
    rig.input("lever.1", value)
    rig.pass_time(440)
    assert names(rig) == ["lever_fault"]
    assert rig.last(hand.ALARM, 40, 8) == 8
    assert rig.last(hand.ALARM, 34, 6) == BRIDGE
    rig.input("lever.1", MIDDLE)
    rig.pass_time(400)
    assert names(rig, OVER) == ["lever_fault"]
    assert rig.last(hand.ALARM, 32, 2) == 0


def test_levers_not_read_yet_are_no_fault() -> None:
    rig = AmongFriends()
    rig.start()
    rig.run_for(199)
    rig.input("lever.1", MIDDLE)
    rig.input("lever.2", MIDDLE)
    rig.pass_time(500)
    assert rig.said(hand.ALARM) == []


def test_keys_answer() -> None:
    rig = awake()
    rig.input("lever.1", 0)
    rig.pass_time(440)
    assert rig.outputs["sounder"] == 1
    rig.press("silence", for_ms=50)
    assert (names(rig, SILENCED), rig.outputs["sounder"]) == (["lever_fault"], 0)
    rig.press("acknowledge", for_ms=50)
    assert names(rig, ACKNOWLEDGED) == ["lever_fault"]


def test_what_it_had_and_lost_is_an_alarm_until_somebody_drives() -> None:
    rig = awake()
    rig.press()
    number = rig.number
    rig.pass_time(1000, BRIDGE, number)
    assert rig.state == "holding"
    rig.pass_time(200, 0, number)
    assert names(rig, RAISED) == ["let_go"]
    rig.pass_time(300, WHEELHOUSE, number + 1)
    assert names(rig, OVER) == ["let_go"]


def test_neutral_that_somebody_wanted_is_no_loss() -> None:
    rig = awake()
    rig.press()
    number = rig.number
    rig.pass_time(1000, BRIDGE, number)
    for _ in range(20):
        rig.run_for(40)
        for instance, drive in ((1, PORT), (2, STARBOARD)):
            can_id = hand.id_of(hand.OBEYS, drive)
            rig.frame(can_id, hand.obeys(drive, rig.counter(can_id), 0, number, cause=5, instance=instance))
    assert rig.state == "watching"
    assert "let_go" not in names(rig)


# ------------------------------------------------------------------------------------------------ locking a key out


def stuck() -> AmongFriends:
    """The wheelhouse's key has been down for more than 10 s."""
    rig = awake()
    key = hand.id_of(hand.NEUTRAL_NOW, WHEELHOUSE)
    for step in range(520):
        rig.frame(key, hand.neutral_now(WHEELHOUSE, step))
        rig.run_for(20)
    return rig


def hold_on(rig: AmongFriends, for_ms: int) -> None:
    """The key stays down, and time passes."""
    key = hand.id_of(hand.NEUTRAL_NOW, WHEELHOUSE)
    for step in range(for_ms // 20):
        rig.frame(key, hand.neutral_now(WHEELHOUSE, step))
        rig.run_for(20)


def locks(rig: AmongFriends) -> list[tuple[int, int, int]]:
    """(ms, pressed, locked out) of its neutral_now frames."""
    return [(now // MS, hand.part(data, 47, 1), hand.part(data, 31, 16)) for now, data in rig.said(hand.NEUTRAL_NOW)]


@pytest.mark.parametrize(("held_ns", "acts"), [(3000 * MS - 1, False), (3000 * MS, True)])
def test_it_has_to_be_held_for_3_s(held_ns: int, acts: bool) -> None:
    lock = KeyLock()
    lock.press(SECOND, 1)
    assert lock.look(SECOND + held_ns, (WHEELHOUSE,)) == acts
    assert lock.locks == (1 << WHEELHOUSE if acts else 0)


def test_let_go_too_soon_it_begins_anew() -> None:
    lock = KeyLock()
    lock.press(SECOND, 1)
    lock.press(3 * SECOND, 0)
    lock.press(3 * SECOND + 1, 1)
    assert not lock.look(5 * SECOND, (WHEELHOUSE,))


def test_held_on_it_acts_once() -> None:
    lock = KeyLock()
    lock.press(SECOND, 1)
    assert lock.look(4 * SECOND, (WHEELHOUSE,))
    assert not lock.look(9 * SECOND, (WHEELHOUSE,))
    lock.press(9 * SECOND, 0)
    lock.press(9 * SECOND, 1)
    assert lock.look(12 * SECOND, ())
    assert lock.locks == 0


def test_with_no_key_stuck_it_does_nothing() -> None:
    lock = KeyLock()
    lock.press(SECOND, 1)
    assert not lock.look(9 * SECOND, ())


@pytest.mark.parametrize("named", [(WHEELHOUSE, 7), (7,)])
def test_another_key_that_sticks_meanwhile_is_locked_out_too(named: tuple[int, ...]) -> None:
    """The first stays so, also where it was let go for a moment."""
    lock = KeyLock()
    lock.locks = 1 << WHEELHOUSE
    lock.press(SECOND, 1)
    assert lock.look(4 * SECOND, named)
    assert lock.locks == 1 << WHEELHOUSE | 1 << 7


def test_a_stuck_key_is_locked_out_told_and_let_back_in() -> None:
    rig = stuck()
    assert "neutral_key_stuck" in names(rig, RAISED)
    rig.forget()
    rig.input("lock_out", 1)
    hold_on(rig, 5000)
    rig.input("lock_out", 0)
    said = locks(rig)
    assert {(pressed, out) for _, pressed, out in said} == {(0, 1 << WHEELHOUSE)}
    assert [said[index + 1][0] - said[index][0] for index in range(3)] == [20, 20, 1000]
    assert "key_locked_out" in names(rig, RAISED)
    assert "neutral_key_stuck" not in names(rig, RAISED)
    rig.forget()
    rig.input("lock_out", 1)
    hold_on(rig, 4000)
    assert [out for *_, out in locks(rig)][-3:] == [0, 0, 0], "let back in, in three frames"
    rig.forget()
    hold_on(rig, 2000)
    assert locks(rig) == []


def test_a_key_of_its_own_is_for_others_to_lock_out() -> None:
    rig = awake()
    rig.input("neutral_now", 1)
    rig.pass_time(11_000, 0)
    assert "neutral_key_stuck" in names(rig, RAISED)
    rig.input("lock_out", 1)
    rig.pass_time(4000, 0)
    assert {out for *_, out in locks(rig)} == {0}


def test_its_own_key_acts_while_it_locks_out_another() -> None:
    rig = stuck()
    rig.input("lock_out", 1)
    hold_on(rig, 3500)
    rig.forget()
    rig.input("neutral_now", 1)
    hold_on(rig, 100)
    assert {(pressed, out) for _, pressed, out in locks(rig)} == {(1, 1 << WHEELHOUSE)}


def test_a_drive_ignores_the_key_that_those_frames_name() -> None:
    """The two nodes are put together: what the station sends is what the drive is given."""
    station = stuck()
    station.forget()
    station.input("lock_out", 1)
    hold_on(station, 3500)
    drive = DriveRig()
    for _, data in station.said(hand.NEUTRAL_NOW)[:2]:
        drive.frame(hand.id_of(hand.NEUTRAL_NOW, BRIDGE), data)
    assert drive.drive._locked_out(drive.now_ns, WHEELHOUSE)
    assert not drive.drive._locked_out(drive.now_ns, BRIDGE)
