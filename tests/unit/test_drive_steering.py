"""A drive of a boat with a rudder: how much throttle it gives while nobody steers, and when it gives more again.

46 CFR 184.620(c): what is lost must not raise shaft speed. What comes back must not either, unless a lever asks for it anew.
"""

from typing import Any

import pytest

from busim.protocol import values as v
from busim.seam import Actions
from busim.units import MS

from . import hand_made_frames as hand
from .drive_rig import MISSING_NS, DriveRig
from .hand_made_frames import AHEAD, ASTERN, NEUTRAL
from .small_boat import BRIDGE, NO_STEER_PERMILLE, RUDDER, WHEELHOUSE, small_boat

CAP = NO_STEER_PERMILLE
WAIT_NS = 500 * MS
"""transfer_ms: a hand-over may pass through nobody for so long."""


class SteeredDrive(DriveRig):
    """The rudder's report comes with each heartbeat of the station in control."""

    rudder: tuple[int, int] | None = (WHEELHOUSE, 0)
    """(whom it obeys, its fault); None: it is not heard."""

    def __init__(self) -> None:
        super().__init__(small_boat(rudder={}))

    def rudder_says(self, station: int, fault: int = 0, *, spoil: bool = False, ahead: int = 1) -> Actions:
        can_id = hand.id_of(hand.RUDDER_STATE, RUDDER)
        data = hand.rudder_state(RUDDER, self.counter(can_id, ahead), station, 1, fault=fault)
        return self.frame(can_id, hand.spoiled(data) if spoil else data)

    def beat(self, *arguments: Any, **more: Any) -> Actions:
        if self.rudder is not None:
            self.rudder_says(*self.rudder)
        return super().beat(*arguments, **more)

    def go_on(self, for_ms: int, throttle: int = 800) -> None:
        """Ahead, the actuator where it was told to be."""
        for _ in range(for_ms // 20):
            self.steer_for(20, AHEAD, throttle)
            self.sense(throttle=self.throttle, rpm=800 + 2 * self.throttle)

    @property
    def throttle(self) -> int:
        return self.outputs["throttle"]

    def under_way(self) -> None:
        self.engaged(AHEAD, 800)
        assert self.throttle == 800


def test_while_somebody_steers_the_throttle_is_the_levers() -> None:
    rig = SteeredDrive()
    rig.under_way()
    rig.go_on(3000, 1000)
    assert rig.throttle == 1000


def test_without_a_rudder_nothing_is_capped() -> None:
    rig = DriveRig()
    rig.engaged(AHEAD, 800)
    assert rig.outputs["throttle"] == 800


def test_a_rudder_never_heard_caps_from_the_start() -> None:
    rig = SteeredDrive()
    rig.rudder = None
    rig.engaged(AHEAD, 800)
    rig.go_on(100)
    assert rig.throttle == CAP
    rig.go_on(100, CAP - 1)
    assert rig.throttle == CAP - 1, "below the cap the lever is followed"


@pytest.mark.parametrize("fault", [v.RUDDER_DOES_NOT_ARRIVE, v.RUDDER_MOVED_UNASKED, v.RUDDER_FEEDBACK_IMPLAUSIBLE])
def test_a_faulty_rudder_caps_at_once_with_one_frame(fault: int) -> None:
    rig = SteeredDrive()
    rig.under_way()
    rig.rudder_says(WHEELHOUSE, fault)
    assert rig.throttle == CAP


@pytest.mark.parametrize("more", [{"spoil": True}, {"ahead": 0}, {"ahead": 4}])
def test_a_report_that_does_not_count_caps_nothing(more: dict[str, Any]) -> None:
    rig = SteeredDrive()
    rig.under_way()
    rig.rudder_says(WHEELHOUSE, 1, **more)
    assert rig.throttle == 800


def test_silence_caps_at_exactly_the_missing_heartbeat() -> None:
    rig = SteeredDrive()
    rig.under_way()
    rig.rudder_says(WHEELHOUSE)
    heard_ns = rig.now_ns
    rig.rudder = None
    while rig.now_ns + 20 * MS < heard_ns + MISSING_NS:
        rig.go_on(20)
    rig.run_to(heard_ns + MISSING_NS - 1)
    assert rig.throttle == 800
    rig.run_to(heard_ns + MISSING_NS)
    assert rig.throttle == CAP


def test_silence_that_began_at_low_throttle_caps_the_next_wish() -> None:
    rig = SteeredDrive()
    rig.engaged(AHEAD, 100)
    rig.rudder = None
    rig.go_on(400, 100)
    rig.go_on(100, 800)
    assert rig.throttle == CAP


def test_nobody_steering_caps_once_a_hand_over_would_be_over() -> None:
    rig = SteeredDrive()
    rig.under_way()
    rig.rudder_says(0)
    nobody_ns = rig.now_ns
    rig.rudder = (0, 0)
    while rig.now_ns + 20 * MS < nobody_ns + WAIT_NS:
        rig.go_on(20)
    rig.run_to(nobody_ns + WAIT_NS - 1)
    assert rig.throttle == 800
    rig.run_to(nobody_ns + WAIT_NS)
    assert rig.throttle == CAP


def test_a_hand_over_that_passes_through_nobody_changes_no_thrust() -> None:
    """Thrust is not markedly changed by transfer (SOLAS II-1/31)."""
    rig = SteeredDrive()
    rig.under_way()
    rig.forget()
    for station in (0, BRIDGE, 0, WHEELHOUSE):
        rig.rudder = (station, 0)
        rig.go_on(480)
    assert rig.told("throttle") == []


@pytest.mark.parametrize("before", [(0, 0), (WHEELHOUSE, 1), None])
def test_steering_that_comes_back_opens_no_throttle(before: tuple[int, int] | None) -> None:
    """The lever stays at 80 %; only once it has asked for no more than the cap it is followed again."""
    rig = SteeredDrive()
    rig.under_way()
    rig.rudder = before
    rig.go_on(600)
    assert rig.throttle == CAP
    rig.rudder = (WHEELHOUSE, 0)
    rig.go_on(2000)
    rig.go_on(100, 1000)
    rig.go_on(100, CAP + 1)
    assert rig.throttle == CAP
    rig.go_on(40, CAP)
    rig.go_on(100, 800)
    assert rig.throttle == 800


def test_one_low_frame_frees_nothing() -> None:
    """Adding thrust needs two frames that agree; so does what allows it."""
    rig = SteeredDrive()
    rig.under_way()
    rig.rudder_says(WHEELHOUSE, 1)
    rig.rudder_says(WHEELHOUSE, 0)
    rig.lever(AHEAD, 0)
    rig.go_on(100)
    assert rig.throttle == CAP


def test_a_lever_below_the_cap_is_held_back_by_nothing() -> None:
    rig = SteeredDrive()
    rig.engaged(AHEAD, CAP)
    rig.rudder = (0, 0)
    rig.go_on(600, CAP)
    rig.rudder = (WHEELHOUSE, 0)
    rig.go_on(100, 800)
    assert rig.throttle == 800


def test_the_cap_takes_no_gear_out() -> None:
    """It is a cap and no loss: she has to be manoeuvred by her engines now."""
    rig = SteeredDrive()
    rig.under_way()
    rig.rudder = None
    rig.go_on(2000)
    assert (rig.state, rig.obeyed, rig.cause) == ("engaged", (WHEELHOUSE, 1), 0)
    rig.steer_for(20, NEUTRAL)
    rig.sense(throttle=0, rpm=801)
    rig.gear_is(NEUTRAL)
    rig.steer_for(1200, NEUTRAL)
    rig.steer_for(100, ASTERN, 800)
    rig.gear_is(ASTERN)
    rig.steer_for(100, ASTERN, 800)
    assert rig.outcome() == (ASTERN, CAP)


def test_the_cap_is_the_boats() -> None:
    rig = DriveRig(small_boat(rudder={"no_steer_permille": 350}))
    rig.engaged(AHEAD, 800)
    rig.steer_for(100, AHEAD, 800)
    assert rig.outputs["throttle"] == 350
