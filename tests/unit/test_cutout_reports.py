"""What a cutout says: its state, its permission to start, its alarm. Places in frames are those of the written page."""

from collections.abc import Callable

import pytest

from busim.protocol import values as v
from busim.units import MS, NEVER

from . import hand_made_frames as hand
from .cutout_rig import DUE_NS, CutoutRig
from .small_boat import CUTOUT, WHEELHOUSE


def test_reports_every_100_ms() -> None:
    rig = CutoutRig()
    rig.start()
    rig.run_for(1000)
    for code in (hand.CUTOUT_STATE, hand.PERMISSION):
        assert [now_ns for now_ns, _ in rig.said(code)] == [index * 100 * MS for index in range(11)]
        assert [data[1] for _, data in rig.said(code)] == list(range(1, 12))


def test_what_it_senses_and_whether_it_would_act_stands_in_its_state() -> None:
    """Positions as in the written page: instance, switch, speed in steps of 8, armed, fired, cause."""
    rig = CutoutRig()
    rig.start()
    rig.run_for(0)
    assert rig.last(hand.CUTOUT_STATE, 33, 1) == 0, "nothing read yet: not armed"
    rig.gear(False)
    rig.input("speed", 1234)
    rig.run_for(200)
    state = [rig.last(hand.CUTOUT_STATE, *place) for place in ((46, 2), (44, 2), (34, 10), (33, 1), (32, 1), (28, 4))]
    assert state == [1, v.SWITCH_CLOSED, 1234 // 8, 1, 0, v.CAUSE_NONE]
    rig.input("speed", 10**6)
    rig.run_for(100)
    assert rig.last(hand.CUTOUT_STATE, 34, 10) == 1023
    rig.input("speed", -5)
    rig.run_for(100)
    assert rig.last(hand.CUTOUT_STATE, 34, 10) == 0


CAUSES = {
    "silent": (lambda rig: None, v.CAUSE_DRIVE_LOST),
    "obeys nobody, long ago": (lambda rig: rig.report(station=0, cause=v.CAUSE_LEVER_LOST), v.CAUSE_DRIVE_LOST),
    "obeys nobody, and says why": (lambda rig: rig.drive_for(3000, station=0, cause=v.CAUSE_LEVER_LOST), v.CAUSE_LEVER_LOST),
    "obeys nobody, and does not say why": (lambda rig: rig.drive_for(3000, station=0), v.CAUSE_DRIVE_LOST),
    "acts on nothing new": (lambda rig: rig.drive_for(3000, acted=0, cause=v.CAUSE_LEVER_LOST), v.CAUSE_DRIVE_LOST),
}


@pytest.mark.parametrize(("before", "cause"), CAUSES.values(), ids=CAUSES.keys())
def test_it_says_why_it_fired_until_control_is_taken_anew(before: Callable[[CutoutRig], None], cause: int) -> None:
    rig = CutoutRig()
    base_ns = rig.driven()
    before(rig)
    rig.run_to(base_ns + DUE_NS + 100 * MS)
    assert rig.last(hand.CUTOUT_STATE, 28, 4) == cause
    assert [rig.last(hand.PERMISSION, *place) for place in ((45, 1), (44, 1), (40, 4))] == [0, 1, cause]
    rig.gear(False)
    rig.run_for(100)
    rig.drive_for(80, number=2)
    rig.run_for(100)
    assert rig.last(hand.CUTOUT_STATE, 28, 4) == v.CAUSE_NONE


def test_permission_to_start_follows_its_own_switch() -> None:
    rig = CutoutRig()
    rig.started()
    rig.run_for(100)
    permission = ((46, 2), (45, 1), (44, 1), (40, 4))
    assert [rig.last(hand.PERMISSION, *place) for place in permission] == [1, 1, 0, v.CAUSE_NONE]
    rig.gear(True)
    rig.run_for(200)
    assert [rig.last(hand.PERMISSION, *place) for place in permission] == [1, 0, 0, v.CAUSE_GEAR_IN]


def test_unknown_channels_are_not_its_business() -> None:
    rig = CutoutRig()
    rig.started()
    before_ns = rig.cutout.deadline_ns
    assert rig.input("throttle_position", 500) == ()
    assert rig.cutout.deadline_ns == before_ns < NEVER
    assert rig.cutout.address == CUTOUT
    assert WHEELHOUSE in rig.plan.drives[0].stations


def test_the_engine_it_stopped_is_an_emergency_until_control_is_taken_anew() -> None:
    """Alarm 7, engine_cut, of highest priority; gone once the fuel is back."""
    rig = CutoutRig()
    rig.fired()
    rig.run_for(100)
    assert [rig.last(hand.ALARM, *place) for place in ((40, 8), (34, 6), (32, 2), (30, 2))] == [7, CUTOUT, 1, 2]
    rig.gear(False)
    rig.run_for(100)
    rig.drive_for(80, number=2)
    rig.forget()
    rig.run_for(2000)
    assert {hand.part(data, 32, 2) for _, data in rig.said(hand.ALARM)} == {0}
