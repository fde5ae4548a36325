"""What a rudder finds wrong with its actuator and its feedback: each limit at its edge, each fault by a feedback played by hand.

IMO MSC.1/Circ.1398 lists what a steering gear's control has to detect: power failure, loop failure (open, short), data
communication errors, programming or computer faults. Here: a loop that opens or is shorted shows beyond the stops or jumps; power
or linkage gone shows as a rudder that does not arrive; an actuator that runs by itself shows as one that moved unasked.
"""

from collections.abc import Callable

import pytest

from busim.protocol import values as v
from busim.protocol.tables import RUDDER_TABLE, Row
from busim.seam import OUTPUT
from busim.units import MS

from .rudder_rig import TIMEOUT_NS, RudderRig
from .small_boat import BRIDGE

APART_NS = 100 * MS


def creep(rig: RudderRig, to_cdeg: int, from_cdeg: int = 0) -> None:
    """The feedback goes there in steps too small to be a jump; no time passes."""
    here = from_cdeg
    while here != to_cdeg:
        here = min(here + 70, to_cdeg) if here < to_cdeg else max(here - 70, to_cdeg)
        rig.sense(here)


# ------------------------------------------------------------------------------------------------ it moved unasked


@pytest.mark.parametrize("way", [400, -400])
def test_4_degrees_unasked_for_100_ms_take_its_power_away(way: int) -> None:
    rig = RudderRig()
    rig.wake()
    rig.run_for(13)
    creep(rig, way)
    since_ns = rig.now_ns
    rig.run_to(since_ns + APART_NS - 1)
    assert rig.rows == [1]
    rig.run_to(since_ns + APART_NS)
    assert (rig.rows, rig.outputs["rudder_power"], rig.fault) == ([1, 11], 0, v.RUDDER_MOVED_UNASKED)


@pytest.mark.parametrize("way", [399, -399])
def test_a_hair_less_than_4_degrees_is_nothing(way: int) -> None:
    rig = RudderRig()
    rig.wake()
    creep(rig, way)
    rig.run_for(10_000)
    assert (rig.rows, rig.outputs["rudder_power"]) == ([1], 1)


def test_back_in_time_is_nothing() -> None:
    rig = RudderRig()
    rig.wake()
    for _ in range(5):
        creep(rig, 400)
        rig.run_to(rig.now_ns + APART_NS - 1)
        creep(rig, 399, 400)
        rig.run_for(50)
    assert rig.rows == [1]


def test_a_rudder_that_runs_while_the_wheel_is_turned_is_found() -> None:
    """Every frame asks for something else, and the rudder goes the other way."""
    rig = RudderRig()
    rig.steered()
    for step in range(1, 25):
        rig.beat()
        rig.wheel(20 * step)
        rig.run_for(20)
        rig.sense(-28 * step + 14)
        rig.run_for(20)
        rig.sense(-28 * step)
    assert rig.rows[-1] == 13


def test_a_rudder_that_runs_past_where_it_was_asked_is_found() -> None:
    rig = RudderRig()
    rig.steered()
    rig.wheel(1000)
    rig.turn_to(1400)
    rig.run_to(rig.now_ns + APART_NS - 1)
    assert rig.rows[-1] == 4
    rig.run_for(1)
    assert rig.rows[-1] == 13


def test_a_rudder_that_drifts_ever_so_slowly_is_found() -> None:
    """Half a degree a second: no sample differs from the one before by more than noise does."""
    rig = RudderRig()
    rig.wake()
    for step in range(1, 41):
        rig.run_for(200)
        rig.sense(10 * step)
    rig.run_for(100)
    assert rig.rows == [1, 11]


def test_a_rudder_faster_than_the_boat_file_says_is_no_fault() -> None:
    """From hard over to hard over in half the time."""
    rig = RudderRig()
    rig.wake(-3500)
    rig.take()
    rig.wheel(-3500)
    rig.wheel(-3500)
    rig.wheel(3500)
    rig.turn_to(3500, -3500, 1400)
    assert (rig.state, rig.rudder.fault(rig.now_ns)) == ("following", 0)


def test_swinging_a_wheel_as_fast_as_a_hand_can_is_no_fault() -> None:
    """The rudder follows the wheel, 60 ms late and never faster than it can."""
    rig = RudderRig()
    rig.steered()
    here, late = 0, [0, 0, 0]
    for step in range(400):
        asked = (3500, -2000, 700, -3500, 0)[step // 9 % 5]
        rig.beat()
        if step % 2 == 0:
            rig.wheel(asked)
        late = [*late[1:], asked]
        here = min(here + 14, late[0]) if here < late[0] else max(here - 14, late[0])
        rig.sense(here)
        rig.run_for(20)
        assert rig.rudder.fault(rig.now_ns) == 0
    assert rig.state == "following"


def test_power_comes_first_off_and_then_nothing_is_asked_that_moves_it() -> None:
    rig = RudderRig()
    rig.steered()
    rig.wheel(-1000)
    creep(rig, 400)
    rig.forget()
    rig.run_for(100)
    assert [action for _, action in rig.did if action[0] == OUTPUT] == [(OUTPUT, "rudder_power", 0), (OUTPUT, "rudder", 400)]


def test_once_stopped_nobody_steers_until_it_starts_anew() -> None:
    rig = RudderRig()
    rig.wake()
    creep(rig, 400)
    rig.run_for(100)
    rig.forget()
    creep(rig, 0, 400)
    rig.take()
    rig.wheel(0)
    rig.wheel(0)
    rig.run_for(10_000)
    assert (rig.rows, rig.outputs["rudder_power"], rig.rudder.obeyed, rig.fault) == ([], 0, 0, v.RUDDER_MOVED_UNASKED)
    anew = RudderRig(rig.plan)
    anew.wake(0)
    assert (anew.outputs["rudder_power"], anew.rudder.fault(0)) == (1, 0)


# ------------------------------------------------------------------------------------------------ it does not arrive


def test_a_rudder_that_sticks_is_found_in_time() -> None:
    """A sound one would be 4 degrees on after 4 / 7 s; it may be a quarter slower; and it has to be so for 100 ms."""
    rig = RudderRig()
    rig.steered()
    asked_ns = rig.now_ns
    rig.steer_for(760, 2000)
    assert rig.rudder.fault(rig.now_ns) == 0
    rig.steer_for(160, 2000)
    assert rig.rudder.fault(rig.now_ns) == v.RUDDER_DOES_NOT_ARRIVE
    assert rig.fault == v.RUDDER_DOES_NOT_ARRIVE
    assert rig.now_ns - asked_ns <= 1000 * MS
    assert (rig.state, rig.outputs["rudder_power"], rig.outputs["rudder"]) == ("following", 1, 2000), "it keeps trying"


def test_the_edge_of_not_arriving() -> None:
    """The feedback is looked at when it changes: here at 4 degrees behind, and 100 ms later, once a hair before."""
    for last_ns, late in ((APART_NS - 1, False), (APART_NS, True)):
        rig = RudderRig()
        rig.steered()
        rig.wheel(2000)
        begun_ns = rig.now_ns
        behind_ns = -(-400 * 4 * 10**9 // (3 * 700))
        rig.rudder.motion.look(begun_ns + behind_ns - 1)
        assert rig.rudder.motion.late_since_ns > begun_ns + behind_ns
        rig.rudder.motion.look(begun_ns + behind_ns)
        assert rig.rudder.motion.late_since_ns == begun_ns + behind_ns
        assert rig.rudder.motion.due_ns() == begun_ns + behind_ns + APART_NS
        rig.rudder.motion.look(begun_ns + behind_ns + last_ns)
        assert rig.rudder.motion.late == late


@pytest.mark.parametrize(("asked", "fault"), [(399, 0), (400, v.RUDDER_DOES_NOT_ARRIVE), (-400, v.RUDDER_DOES_NOT_ARRIVE)])
def test_a_rudder_that_never_gets_there_is_found_from_4_degrees_on(asked: int, fault: int) -> None:
    rig = RudderRig()
    rig.steered()
    rig.steer_for(2000, asked)
    assert rig.rudder.fault(rig.now_ns) == fault


def test_a_rudder_that_sticks_on_the_other_side_is_found() -> None:
    rig = RudderRig()
    rig.wake(-1000)
    rig.take()
    rig.wheel(-1000)
    rig.wheel(-1000)
    rig.steer_for(920, 1000)
    assert rig.rudder.fault(rig.now_ns) == v.RUDDER_DOES_NOT_ARRIVE


def test_it_is_sound_again_once_it_arrives_within_2_degrees() -> None:
    rig = RudderRig()
    rig.steered()
    rig.steer_for(1200, 1000)
    assert rig.rudder.fault(rig.now_ns) == v.RUDDER_DOES_NOT_ARRIVE
    creep(rig, 799)
    assert rig.rudder.fault(rig.now_ns) == v.RUDDER_DOES_NOT_ARRIVE
    rig.sense(800)
    assert rig.rudder.fault(rig.now_ns) == 0


def test_a_rudder_a_quarter_slower_is_sound_and_one_at_half_speed_is_not() -> None:
    for cdeg_per_s, fault in ((550, 0), (350, v.RUDDER_DOES_NOT_ARRIVE)):
        rig = RudderRig()
        rig.wake(-3500)
        rig.take()
        rig.wheel(-3500)
        rig.wheel(-3500)
        rig.wheel(3500)
        rig.turn_to(2000, -3500, cdeg_per_s)
        assert rig.rudder.fault(rig.now_ns) == fault
        assert rig.state == "following"


def test_where_it_was_asked_to_go_meanwhile_is_not_held_against_it() -> None:
    """It sticks, and the wheel comes back to where it is before it was late: there is nothing it has not done."""
    rig = RudderRig()
    rig.steered()
    for _ in range(10):
        rig.steer_for(400, 2000)
        rig.steer_for(400, 0)
    assert rig.rudder.fault(rig.now_ns) == 0


# ------------------------------------------------------------------------------------------------ the feedback


@pytest.mark.parametrize(
    ("angle", "fault"),
    [(78, 0), (79, 3), (-78, 0), (-79, 3)],
)
def test_a_jump_is_no_rudder(angle: int, fault: int) -> None:
    """Twice 7 degrees a second for a sample of 20 ms are 0.28 degrees; half a degree more may be noise."""
    rig = RudderRig()
    rig.wake()
    rig.run_for(5020)
    rig.sense(angle)
    assert rig.rudder.fault(rig.now_ns) == fault


def test_after_a_pause_more_may_have_happened() -> None:
    """A program that hung for a second has not seen the rudder turn."""
    rig = RudderRig()
    rig.wake()
    rig.now_ns += 1000 * MS
    rig.sense(1450)
    assert rig.rudder.fault(rig.now_ns) == 0
    rig = RudderRig()
    rig.wake()
    rig.now_ns += 1000 * MS
    rig.sense(1451)
    assert rig.rudder.fault(rig.now_ns) == v.RUDDER_FEEDBACK_IMPLAUSIBLE


@pytest.mark.parametrize("beyond", [3801, -3801])
def test_a_feedback_that_leaves_the_travel_is_not_believed(beyond: int) -> None:
    rig = RudderRig()
    rig.wake(beyond - beyond // 3801)
    assert rig.rudder.fault(rig.now_ns) == 0
    rig.sense(beyond)
    assert rig.rudder.fault(rig.now_ns) == v.RUDDER_FEEDBACK_IMPLAUSIBLE


def test_a_feedback_not_believed_costs_no_steering_and_no_power() -> None:
    """It is the sensor that is broken. The wheel goes on, and a hold is where the rudder should have got to."""
    rig = RudderRig()
    rig.steered()
    rig.run_for(20)
    rig.sense(1500)
    rig.steer_for(1000, 300)
    rig.run_to(rig.now_ns + TIMEOUT_NS)
    assert (rig.rows[-1], rig.outputs["rudder"], rig.outputs["rudder_power"]) == (10, 300, 1)
    assert rig.rudder.fault(rig.now_ns) == v.RUDDER_FEEDBACK_IMPLAUSIBLE


def test_it_is_believed_again_once_it_rested_where_it_should_for_a_second() -> None:
    rig = RudderRig()
    rig.wake()
    rig.run_for(20)
    rig.sense(1500)
    rig.sense(201)
    rig.run_for(3000)
    assert rig.rudder.fault(rig.now_ns) == v.RUDDER_FEEDBACK_IMPLAUSIBLE
    rig.sense(200)
    rested_ns = rig.now_ns
    rig.run_to(rested_ns + 1000 * MS - 1)
    assert rig.rudder.fault(rig.now_ns) == v.RUDDER_FEEDBACK_IMPLAUSIBLE
    rig.run_for(1)
    assert rig.rudder.fault(rig.now_ns) == 0


@pytest.mark.parametrize("angle", [1000, -1000])
def test_it_is_believed_again_where_it_rests_off_midships(angle: int) -> None:
    rig = RudderRig()
    rig.wake(angle)
    rig.run_for(20)
    rig.sense(-angle)
    rig.sense(angle)
    rig.run_for(1000)
    assert rig.rudder.fault(rig.now_ns) == 0


def test_a_feedback_that_slipped_is_not_believed_again_in_passing() -> None:
    """10 degrees off: on its way it shows what would be right now and then, but rests where it should not."""
    rig = RudderRig()
    rig.steered()
    rig.run_for(20)
    rig.sense(-1000)
    here = 0
    for step in range(2000):
        asked = (1000, -1000)[step // 250 % 2]
        rig.beat()
        rig.wheel(asked)
        here = min(here + 14, asked) if here < asked else max(here - 14, asked)
        rig.run_for(20)
        rig.sense(here - 1000)
        assert rig.rudder.fault(rig.now_ns) == v.RUDDER_FEEDBACK_IMPLAUSIBLE


def test_a_feedback_that_was_broken_is_looked_at_anew() -> None:
    """What it showed before does not count once it is believed again: the rudder may have drifted meanwhile by up to 2 degrees."""
    rig = RudderRig()
    rig.wake()
    rig.run_for(20)
    rig.sense(3900)
    rig.sense(190)
    rig.run_for(1000)
    creep(rig, 589, 190)
    rig.run_for(1000)
    assert rig.rows == [1]
    creep(rig, 590, 589)
    rig.run_for(100)
    assert rig.rows == [1, 11]


def test_a_reversed_feedback_takes_the_power_away() -> None:
    """It can't be told from an actuator that runs the wrong way."""
    rig = RudderRig()
    rig.steered()
    begun_ns = rig.now_ns
    rig.wheel(1000)
    for step in range(1, 60):
        rig.beat()
        rig.wheel(1000)
        rig.run_for(20)
        if rig.state == "stopped":
            break
        rig.sense(-14 * step)
    assert rig.outputs["rudder_power"] == 0
    assert rig.now_ns - begun_ns < 1000 * MS


# ------------------------------------------------------------------------------------------------ every row


def lost_from(before: Callable[[RudderRig], None]) -> Callable[[RudderRig], None]:
    def sequence(rig: RudderRig) -> None:
        before(rig)
        rig.run_to(rig.now_ns + TIMEOUT_NS)

    return sequence


def retaken_from(before: Callable[[RudderRig], None]) -> Callable[[RudderRig], None]:
    def sequence(rig: RudderRig) -> None:
        before(rig)
        rig.take(2, BRIDGE)

    return sequence


def let_go_from(before: Callable[[RudderRig], None]) -> Callable[[RudderRig], None]:
    def sequence(rig: RudderRig) -> None:
        before(rig)
        rig.wheel(0, number=0)

    return sequence


def astray_from(before: Callable[[RudderRig], None]) -> Callable[[RudderRig], None]:
    def sequence(rig: RudderRig) -> None:
        before(rig)
        creep(rig, 400)
        rig.run_for(100)

    return sequence


def taken(rig: RudderRig) -> None:
    rig.wake()
    rig.take()


SEQUENCES: dict[int, Callable[[RudderRig], None]] = {
    1: RudderRig.wake,
    2: taken,
    3: retaken_from(lost_from(RudderRig.steered)),
    4: RudderRig.steered,
    5: retaken_from(RudderRig.matching),
    6: retaken_from(RudderRig.steered),
    7: let_go_from(RudderRig.matching),
    8: let_go_from(RudderRig.steered),
    9: lost_from(RudderRig.matching),
    10: lost_from(RudderRig.steered),
    11: astray_from(RudderRig.wake),
    12: astray_from(RudderRig.matching),
    13: astray_from(RudderRig.steered),
    14: astray_from(lost_from(RudderRig.steered)),
}


@pytest.mark.parametrize("row", RUDDER_TABLE.rows, ids=lambda row: f"{row.number} {row.state} {row.event}")
def test_every_row_is_taken(row: Row) -> None:
    rig = RudderRig()
    SEQUENCES[row.number](rig)
    assert rig.rows[-1] == row.number
    assert rig.rudder.state == RUDDER_TABLE.state_values[row.next_state]
    before = RUDDER_TABLE.by_number[rig.rows[-2]].next_state if len(rig.rows) > 1 else "waking"
    assert before == row.state


OBEYING = ("matching", "following")


@pytest.mark.parametrize("row", RUDDER_TABLE.rows, ids=lambda row: f"{row.number}")
def test_every_row_but_matched_holds_the_rudder_where_it_is(row: Row) -> None:
    rig = RudderRig()
    SEQUENCES[row.number](rig)
    if row.event == "matched":
        return
    assert rig.outputs["rudder"] == rig.rudder.motion.sensed
    assert (rig.outputs["rudder_power"] == 0) == (row.next_state == "stopped")
    assert (rig.rudder.obeyed != 0) == (row.next_state in OBEYING)
