"""Whom a rudder obeys, how it follows a wheel, and what it does once it has lost who steered."""

import pytest

from busim.protocol import values as v
from busim.protocol.plan import WirePlan
from busim.seam import BUS_OFF, ERROR_PASSIVE, OUTPUT, ROW
from busim.units import MS
from nodes.rudder import Rudder

from . import hand_made_frames as hand
from .rudder_rig import MISSING_NS, TIMEOUT_NS, RudderRig
from .small_boat import BRIDGE, PORT, STARBOARD, WHEELHOUSE, small_boat


@pytest.mark.parametrize("plan", [small_boat(), small_boat(rudder={})])
def test_a_boat_without_a_rudder_there_has_no_such_node(plan: WirePlan) -> None:
    with pytest.raises(ValueError, match=r"^the boat has no rudder at address 9$"):
        Rudder(plan, 9)


# ------------------------------------------------------------------------------------------------ waking


def test_power_comes_only_once_it_is_known_where_the_rudder_is() -> None:
    rig = RudderRig()
    rig.start()
    rig.run_for(100)
    assert rig.outputs == {"rudder_power": 0}
    assert rig.rows == []
    rig.sense(-720)
    assert rig.rows == [1]
    commands = [action for _, action in rig.did if action[0] == OUTPUT]
    assert commands[1:] == [(OUTPUT, "rudder_power", 1), (OUTPUT, "rudder", -720)], "where it is: it moves nothing"


@pytest.mark.parametrize("broken", [3801, -3801, 10**9])
def test_a_feedback_beyond_the_stops_gives_no_power(broken: int) -> None:
    """Travel is 35 degrees; 3 more may be play."""
    rig = RudderRig()
    rig.wake(broken)
    rig.run_for(400)
    assert (rig.rows, rig.outputs["rudder_power"], rig.fault) == ([], 0, v.RUDDER_FEEDBACK_IMPLAUSIBLE)
    rig.sense(3800 if broken > 0 else -3800)
    assert rig.rows == [1]
    assert rig.outputs["rudder"] == (3500 if broken > 0 else -3500), "never beyond hard over"


@pytest.mark.parametrize("start_ns", [0, 7000 * MS])
def test_a_feedback_that_never_comes_is_told_after_200_ms(start_ns: int) -> None:
    rig = RudderRig()
    rig.now_ns = start_ns
    rig.start()
    rig.run_to(start_ns + 160 * MS)
    assert rig.fault == 0
    rig.run_to(start_ns + 200 * MS)
    assert rig.fault == v.RUDDER_FEEDBACK_IMPLAUSIBLE
    rig.take()
    assert rig.obeyed == (0, 0)


# ------------------------------------------------------------------------------------------------ taking


def test_it_changes_over_with_two_claims_once_every_drive_wanted_has() -> None:
    rig = RudderRig()
    rig.wake()
    rig.claimed()
    rig.drive_says(PORT, WHEELHOUSE, 1)
    assert rig.obeyed == (0, 0)
    rig.drive_says(STARBOARD, WHEELHOUSE, 1)
    assert (rig.obeyed, rig.rows) == ((WHEELHOUSE, 1), [1, 2])


def test_it_changes_over_with_the_second_claim_where_the_drives_were_first() -> None:
    rig = RudderRig()
    rig.wake()
    rig.introduce()
    rig.claim(1)
    rig.drives_say(WHEELHOUSE, 1)
    assert rig.obeyed == (0, 0)
    rig.claim(1)
    assert rig.obeyed == (WHEELHOUSE, 1)


@pytest.mark.parametrize("wanted", [4, 5, 6])
def test_only_drives_the_claim_wants_are_waited_for(wanted: int) -> None:
    rig = RudderRig()
    rig.wake()
    rig.introduce()
    rig.claim(1, wanted=wanted)
    rig.claim(1, wanted=wanted)
    if wanted & 1:
        rig.drive_says(PORT, WHEELHOUSE, 1)
    if wanted & 2:
        rig.drive_says(STARBOARD, WHEELHOUSE, 1)
    assert rig.obeyed == (WHEELHOUSE, 1)


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ({"wanted": 3}, {"wanted": 3}),
        ({"wanted": 7}, {"wanted": 5}),
        ({"wanted": 7, "spoil": True}, {}),
        ({}, {"withdrawn": 1}),
        ({}, {"spoil": True}),
        ({}, {"ahead": 0}),
        ({}, {"ahead": 4}),
    ],
)
def test_claims_that_do_not_agree_or_do_not_want_it_change_nothing(first: dict[str, int], second: dict[str, int]) -> None:
    rig = RudderRig()
    rig.wake()
    rig.introduce()
    rig.claim(1, **first)
    rig.claim(1, **second)
    rig.drives_say(WHEELHOUSE, 1)
    assert rig.obeyed == (0, 0)


def test_a_take_that_one_drive_refuses_leaves_the_steering_where_it_is() -> None:
    """A take that comes to nothing must not cost whoever steers the rudder."""
    rig = RudderRig()
    rig.steered()
    rig.claimed(2, BRIDGE)
    rig.drive_says(PORT, BRIDGE, 2)
    rig.claim(2, station=BRIDGE, withdrawn=1)
    rig.wheel(300)
    assert (rig.obeyed, rig.outputs["rudder"]) == ((WHEELHOUSE, 1), 300)


@pytest.mark.parametrize(("late_ns", "obeyed"), [(TIMEOUT_NS - 1, (WHEELHOUSE, 1)), (TIMEOUT_NS, (0, 0))])
def test_claims_count_for_the_control_timeout(late_ns: int, obeyed: tuple[int, int]) -> None:
    rig = RudderRig()
    rig.wake()
    rig.claimed()
    rig.drive_says(PORT, WHEELHOUSE, 1)
    rig.run_to(rig.now_ns + late_ns)
    rig.drive_says(STARBOARD, WHEELHOUSE, 1)
    assert rig.obeyed == obeyed


@pytest.mark.parametrize(("number", "taken"), [(2, True), (1, False), (0, False), (0x8000, True), (0x8002, False)])
def test_only_a_newer_number_takes_it(number: int, taken: bool) -> None:
    """Serial comparison of 16 bits (RFC 1982, s. 3.2), against number 1."""
    rig = RudderRig()
    rig.steered()
    rig.take(number, BRIDGE)
    assert (rig.rudder.obeyed == BRIDGE) == taken


def test_in_a_tie_the_lower_address_has_it() -> None:
    rig = RudderRig()
    rig.wake()
    rig.take(1, BRIDGE)
    rig.take(1, WHEELHOUSE)
    assert rig.obeyed == (WHEELHOUSE, 1)
    rig.take(1, BRIDGE)
    assert rig.obeyed == (WHEELHOUSE, 1)


@pytest.mark.parametrize("quiet_ns", [MISSING_NS - 1, MISSING_NS])
def test_a_taker_without_a_fresh_heartbeat_is_not_obeyed(quiet_ns: int) -> None:
    rig = RudderRig()
    rig.wake()
    rig.introduce()
    rig.run_to(quiet_ns)
    rig.claim(1)
    rig.claim(1)
    rig.drives_say(WHEELHOUSE, 1)
    assert (rig.rudder.obeyed == WHEELHOUSE) == (quiet_ns < MISSING_NS)


def test_a_taker_of_another_boat_file_is_not_obeyed() -> None:
    rig = RudderRig()
    rig.wake()
    rig.introduce()
    rig.beat(fingerprint=rig.plan.helm_fingerprint ^ 1)
    rig.claim(1)
    rig.claim(1)
    rig.drives_say(WHEELHOUSE, 1)
    assert rig.obeyed == (0, 0)


@pytest.mark.parametrize("more", [{"spoil": True}, {"ahead": 0}, {"ahead": 4}])
def test_reports_of_a_drive_that_do_not_count_count_for_nothing(more: dict[str, int]) -> None:
    rig = RudderRig()
    rig.wake()
    rig.claimed()
    rig.drives_say(0, 0)
    rig.drive_says(PORT, WHEELHOUSE, 1)
    rig.drive_says(STARBOARD, WHEELHOUSE, 1, **more)
    assert rig.obeyed == (0, 0)


def test_claims_that_go_on_after_the_take_change_nothing() -> None:
    """They are repeated until everybody has echoed."""
    rig = RudderRig()
    rig.steered()
    rig.wheel(900)
    rig.forget()
    for _ in range(4):
        rig.claim(1)
        rig.drives_say(WHEELHOUSE, 1)
    assert (rig.rows, rig.told("rudder")) == ([], [])


# ------------------------------------------------------------------------------------------------ matching


@pytest.mark.parametrize(("wheel", "matched"), [(200, True), (201, False), (-200, True), (-201, False)])
def test_a_wheel_within_2_degrees_is_matched(wheel: int, matched: bool) -> None:
    rig = RudderRig()
    rig.matching(wheel)
    assert (rig.rows[-1] == 4) == matched
    assert rig.outputs["rudder"] == (wheel if matched else 0)


@pytest.mark.parametrize("side", [1, -1])
def test_a_wheel_that_passes_the_rudder_is_matched(side: int) -> None:
    """Turned fast, it is never seen within 2 degrees."""
    rig = RudderRig()
    rig.matching(900 * side)
    rig.wheel(1500 * side)
    rig.wheel(300 * side)
    assert (rig.state, rig.outputs["rudder"]) == ("matching", 0)
    rig.wheel(-900 * side)
    assert (rig.state, rig.outputs["rudder"]) == ("following", -900 * side)


def test_the_side_of_an_earlier_take_is_forgotten() -> None:
    rig = RudderRig()
    rig.matching(900)
    rig.take(2, BRIDGE)
    rig.wheel(-900)
    rig.wheel(-900)
    assert rig.state == "matching"


def test_a_wheel_beyond_hard_over_matches_a_rudder_hard_over() -> None:
    rig = RudderRig()
    rig.wake(3500)
    rig.take()
    rig.wheel(5000)
    rig.wheel(5000)
    assert (rig.state, rig.outputs["rudder"]) == ("following", 3500)


def test_a_rate_needs_no_matching_and_not_steering_never_matches() -> None:
    rig = RudderRig()
    rig.matching(0)
    rig.take(2, BRIDGE)
    for _ in range(4):
        rig.wheel(0, kind=v.WHEEL_NOT_STEERING)
    assert rig.state == "matching"
    rig.wheel(100, kind=v.WHEEL_RATE)
    assert rig.state == "following"


@pytest.mark.parametrize("angle", [-1210, 640])
def test_no_take_moves_the_rudder(angle: int) -> None:
    """SOLAS II-1/31: thrust is not markedly changed by a transfer; here the same of the rudder: it stays where it is."""
    rig = RudderRig()
    rig.steered()
    rig.wheel(angle)
    rig.turn_to(angle // 2)
    rig.forget()
    rig.take(2, BRIDGE)
    assert rig.rows == [6]
    assert rig.outputs["rudder"] == angle // 2, "under way to where the old wheel asked: it stops where it is"
    for _ in range(4):
        rig.wheel(-angle)
    assert (rig.state, rig.outputs["rudder"]) == ("matching", angle // 2)


# ------------------------------------------------------------------------------------------------ following


def test_one_valid_frame_steers_and_hard_over_is_the_end() -> None:
    rig = RudderRig()
    rig.steered()
    for asked, answer in ((300, 300), (3500, 3500), (3501, 3500), (8191, 3500), (-8192, -3500), (-12, -12)):
        rig.wheel(asked)
        assert rig.outputs["rudder"] == answer


def test_the_same_angle_is_told_once() -> None:
    rig = RudderRig()
    rig.steered()
    rig.forget()
    for _ in range(3):
        rig.wheel(300)
    assert rig.told("rudder") == [(rig.now_ns, 300)]


@pytest.mark.parametrize(
    "more", [{"spoil": True}, {"number": 2}, {"kind": 3}, {"ahead": 0}, {"ahead": 4}, {"station": BRIDGE}]
)
def test_frames_that_do_not_count_move_nothing_and_feed_nothing(more: dict[str, int]) -> None:
    rig = RudderRig()
    rig.steered()
    last_ns = rig.now_ns
    rig.run_for(100)
    rig.beat()
    rig.wheel(700, **more)
    assert rig.outputs["rudder"] == 0
    rig.run_to(last_ns + TIMEOUT_NS)
    assert rig.rows[-1] == 10


def test_a_rate_is_turned_into_an_angle_each_frame_by_one_period() -> None:
    """250 cdeg/s for 40 ms is exactly 10."""
    rig = RudderRig()
    rig.steered()
    asked = []
    for _ in range(3):
        rig.wheel(250, kind=v.WHEEL_RATE)
        asked.append(rig.outputs["rudder"])
    assert asked == [10, 20, 30]
    for _ in range(4):
        rig.wheel(-260, kind=v.WHEEL_RATE)  # 10.4 a frame
    assert rig.outputs["rudder"] == 30 - 42


def test_a_rate_is_clipped_at_the_rudders_speed_and_at_hard_over() -> None:
    rig = RudderRig()
    rig.steered()
    rig.wheel(8191, kind=v.WHEEL_RATE)
    assert rig.outputs["rudder"] == 28  # 700 cdeg/s for 40 ms
    for _ in range(200):
        rig.wheel(8191, kind=v.WHEEL_RATE)
    assert rig.outputs["rudder"] == 3500
    rig.wheel(-8192, kind=v.WHEEL_RATE)
    assert rig.outputs["rudder"] == 3472, "nothing was stored up beyond the end"


def test_not_steering_holds_and_keeps_control() -> None:
    rig = RudderRig()
    rig.steered()
    rig.wheel(300)
    rig.turn_to(300)
    for _ in range(20):
        rig.beat()
        rig.wheel(-2000, kind=v.WHEEL_NOT_STEERING)
        rig.run_for(40)
    assert (rig.state, rig.outputs["rudder"]) == ("following", 300)


# ------------------------------------------------------------------------------------------------ letting go and losing


@pytest.mark.parametrize("before", ["matching", "following"])
def test_a_station_that_lets_go_leaves_the_rudder_where_it_is(before: str) -> None:
    rig = RudderRig()
    rig.matching(1000 if before == "matching" else 0)
    rig.wheel(1000)
    rig.turn_to(140, steered=False)
    assert rig.state == before
    rig.wheel(1000, number=0)
    assert (rig.rows[-1], rig.obeyed, rig.outputs["rudder"]) == (7 if before == "matching" else 8, (0, 1), 140)


def test_a_frame_that_does_not_count_does_not_let_go() -> None:
    rig = RudderRig()
    rig.steered()
    rig.wheel(0, number=0, spoil=True)
    rig.wheel(0, number=0, ahead=5)
    assert rig.obeyed == (WHEELHOUSE, 1)


def test_it_is_lost_at_exactly_the_control_timeout() -> None:
    rig = RudderRig()
    rig.steered()
    rig.wheel(600)
    rig.turn_to(140)
    rig.wheel(600)
    last_ns = rig.now_ns
    rig.run_to(last_ns + TIMEOUT_NS - 1)
    assert rig.obeyed == (WHEELHOUSE, 1)
    rig.run_to(last_ns + TIMEOUT_NS)
    assert (rig.rows[-1], rig.obeyed, rig.outputs["rudder"]) == (10, (0, 1), 140), "it holds where it is, not where it was asked"


def test_a_frame_at_the_very_moment_of_the_timeout_still_counts() -> None:
    rig = RudderRig()
    rig.steered()
    last_ns = rig.now_ns
    rig.beat()
    rig.run_to(last_ns + TIMEOUT_NS - 1)
    rig.now_ns += 1
    rig.wheel(0)
    rig.run_to(rig.now_ns)
    assert rig.obeyed == (WHEELHOUSE, 1)


def test_it_is_lost_at_exactly_the_missing_heartbeat() -> None:
    rig = RudderRig()
    rig.steered()
    rig.beat()
    last_ns = rig.now_ns
    while rig.now_ns + 40 * MS < last_ns + MISSING_NS:
        rig.run_for(40)
        rig.wheel(0)
    rig.run_to(last_ns + MISSING_NS - 1)
    assert rig.obeyed == (WHEELHOUSE, 1)
    rig.run_to(last_ns + MISSING_NS)
    assert rig.rows[-1] == 10


LOSSES = {
    "another boat file": (lambda rig: rig.beat(fingerprint=1), v.CAUSE_OTHER_BOAT_FILE),
    "the wheel's sensor": (lambda rig: rig.wheel(0, fault=1), v.CAUSE_LEVER_FAULT),
    "withdrawn": (lambda rig: rig.claim(1, withdrawn=1), v.CAUSE_WITHDRAWN),
    "bus-off": (lambda rig: rig.note(rig.node.on_controller(rig.now_ns, 0, BUS_OFF)), v.CAUSE_CONTROLLER),
    "silence": (lambda rig: rig.run_to(rig.now_ns + TIMEOUT_NS), v.CAUSE_LEVER_LOST),
}


@pytest.mark.parametrize("loss", LOSSES)
@pytest.mark.parametrize("before", ["matching", "following"])
def test_every_loss_holds_the_rudder_and_says_why(loss: str, before: str) -> None:
    rig = RudderRig()
    rig.matching(1000 if before == "matching" else 0)
    happens, cause = LOSSES[loss]
    happens(rig)
    row = 9 if before == "matching" else 10
    assert (rig.rows[-1], rig.obeyed, rig.outputs["rudder"]) == (row, (0, 1), 0)
    assert [action for _, action in rig.did if action[0] == ROW][-1] == (ROW, "rudder", row, cause)
    assert rig.outputs["rudder_power"] == 1


def test_what_was_lost_comes_back_only_by_a_take() -> None:
    """A manual act after a trip (46 CFR 62.25-15)."""
    rig = RudderRig()
    rig.steered()
    rig.run_to(rig.now_ns + TIMEOUT_NS)
    rig.steer_for(2000, 0)
    rig.claim(1)
    rig.claim(1)
    rig.drives_say(WHEELHOUSE, 1)
    assert (rig.state, rig.obeyed) == ("lost", (0, 1))
    rig.take(2)
    assert (rig.rows[-1], rig.obeyed) == (3, (WHEELHOUSE, 2))


def test_who_is_not_obeyed_loses_nothing() -> None:
    rig = RudderRig()
    rig.steered()
    rig.forget()
    rig.introduce(BRIDGE)
    rig.beat(BRIDGE, fingerprint=1)
    rig.claim(1, station=BRIDGE, withdrawn=1)
    rig.wheel(0, station=BRIDGE, fault=1)
    rig.note(rig.node.on_controller(rig.now_ns, 0, ERROR_PASSIVE))
    assert (rig.rows, rig.rudder.obeyed) == ([], WHEELHOUSE)


def test_nothing_is_lost_by_a_bus_off_before_or_without_a_take() -> None:
    rig = RudderRig()
    rig.start()
    rig.note(rig.node.on_controller(0, 0, BUS_OFF))
    rig.sense(0)
    rig.note(rig.node.on_controller(0, 0, BUS_OFF))
    assert rig.rows == [1]


# ------------------------------------------------------------------------------------------------ two buses


def two_buses() -> RudderRig:
    rig = RudderRig(small_boat(buses=2, rudder={}))
    rig.steered()
    return rig


def test_one_bus_of_two_bus_off_loses_nothing() -> None:
    rig = two_buses()
    rig.note(rig.node.on_controller(rig.now_ns, 0, BUS_OFF))
    assert rig.rudder.obeyed == WHEELHOUSE


def test_by_two_buses_the_first_new_frame_acts() -> None:
    rig = two_buses()
    rig.wheel(100)
    rig.wheel(100, ahead=0, bus=1)
    for step in range(2, 10):
        rig.wheel(100 * step)
    rig.counters[hand.id_of(hand.WHEEL, WHEELHOUSE)] -= 5
    rig.wheel(100, bus=1)
    rig.wheel(100, bus=1)
    assert rig.outputs["rudder"] == 900, "held back on the other bus, and not even for moving less"


@pytest.mark.parametrize("held", [31, 32, 33, 94, 150, 250, 253])
def test_a_queue_of_the_wheel_let_go_on_one_bus_turns_nothing(held: int) -> None:
    rig = two_buses()
    wheel = hand.id_of(hand.WHEEL, WHEELHOUSE)
    rig.wheel(0)
    rig.wheel(0, ahead=0, bus=1)
    rig.wheel(0)
    rig.wheel(0, ahead=0, bus=1)
    first = rig.counters[wheel]
    for step in range(held):
        rig.wheel(200 if step < held - 8 else 0)
        rig.beat()
        rig.run_for(40)
        rig.sense(rig.outputs["rudder"])
    newest = rig.counters[wheel]
    rig.forget()
    for step in range(held):
        if step % 76 == 75:
            newest = rig.counters[wheel] = newest + 1
            rig.wheel(0, ahead=0)
        rig.counters[wheel] = first + step + 1
        rig.wheel(200 if step < held - 8 else 0, ahead=0, bus=1)
        rig.run_for(0.53)
    assert [value for _, value in rig.told("rudder") if value] == []


@pytest.mark.parametrize(("first", "second"), [(100, 900), (900, 100), (-100, 900), (900, -100)])
def test_unequal_angles_under_one_counter_are_the_one_that_moves_less(first: int, second: int) -> None:
    rig = two_buses()
    for bus in (0, 1):
        rig.wheel(0, ahead=1 - bus, bus=bus)
    rig.wheel(0)
    rig.wheel(0, ahead=0, bus=1)
    rig.wheel(first)
    rig.wheel(second, ahead=0, bus=1)
    assert abs(rig.outputs["rudder"]) == 100


def test_what_moves_less_is_judged_from_where_the_rudder_is() -> None:
    rig = RudderRig(small_boat(buses=2, rudder={}))
    rig.wake(500)
    rig.take()
    for counter, angle in enumerate((500, 500, 900)):
        rig.wheel(angle)
        rig.wheel(400 if counter == 2 else angle, ahead=0, bus=1)
    assert rig.outputs["rudder"] == 400


def test_on_one_bus_another_angle_under_the_same_counter_is_a_duplicate() -> None:
    rig = RudderRig()
    rig.steered()
    rig.wheel(900)
    rig.wheel(100, ahead=0)
    assert rig.outputs["rudder"] == 900


# ------------------------------------------------------------------------------------------------ reports


def test_reports_come_every_40_ms_and_at_once_after_a_row() -> None:
    rig = RudderRig()
    rig.start()
    rig.run_for(400)
    assert [now_ns for now_ns, _ in rig.said(hand.RUDDER_STATE)] == [40 * MS * step for step in range(11)]
    rig.run_for(7)
    rig.forget()
    rig.sense(30)
    assert [now_ns for now_ns, _ in rig.said(hand.RUDDER_STATE)] == [407 * MS]
    counters = [data[1] for _, data in rig.said(hand.RUDDER_STATE)]
    assert counters == [12]


@pytest.mark.parametrize("angle", [0, 5, -5, 3500, -3500, 123, -123])
def test_asked_and_sensed_are_reported_apart_in_steps_of_5(angle: int) -> None:
    rig = RudderRig()
    rig.steered()
    rig.wheel(angle)
    rig.sense(-40)
    rig.run_for(40)
    asked, sensed = rig.reported()
    assert abs(asked - angle) <= 2
    assert sensed == -40


@pytest.mark.parametrize("feedback", [2**40, -(2**40)])
def test_a_senseless_feedback_is_reported_at_the_end_of_what_fits(feedback: int) -> None:
    rig = RudderRig()
    rig.wake()
    rig.sense(feedback)
    rig.run_for(40)
    assert rig.reported()[1] == (5115 if feedback > 0 else -5115)
