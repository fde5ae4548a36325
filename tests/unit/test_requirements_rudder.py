"""The requirements of the rudder, each fed with frames and events by hand: what passes, what fails, what does not count."""

import pytest

from busim.protocol.plan import WirePlan
from busim.requirements.requirement import Requirement
from busim.requirements.rudder_fault_found import FaultFound
from busim.requirements.rudder_follows import Follows
from busim.requirements.rudder_hold import Hold
from busim.requirements.rudder_limits import Limits
from busim.requirements.rudder_no_steer import NoSteer
from busim.requirements.station_transfer import Transfer
from busim.requirements.verdict import FAIL, INCONCLUSIVE, NOT_EXERCISED, PASS, SELF_REPORTED

from . import hand_made_frames as hand
from .judge_rig import EVERYBODY, JudgeRig
from .small_boat import BRIDGE, PORT, RUDDER, STARBOARD, WHEELHOUSE, small_boat

NODE = f"node_{RUDDER}"
PORT_NODE, STARBOARD_NODE = f"node_{PORT}", f"node_{STARBOARD}"


class RudderJudge(JudgeRig):
    """35 degrees to each side at 7 degrees a second, as the small boat has it; the node runs."""

    def __init__(self, kind: type[Requirement], plan: WirePlan | None = None) -> None:
        super().__init__(kind, plan if plan is not None else small_boat(rudder={}))
        self.asked = self.sensed = self.fault = 0
        self.obeyed = (0, 0)
        for node in (NODE, PORT_NODE, STARBOARD_NODE):
            self.event("start", node, 0)

    def says(self) -> str:
        return super().says()

    def report(
        self,
        station: int | None = None,
        number: int | None = None,
        *,
        fault: int | None = None,
        sensed: int | None = None,
        mask: int = EVERYBODY,
        spoil: bool = False,
    ) -> None:
        if station is not None:
            self.obeyed = (station, self.obeyed[1] if number is None else number)
        self.fault = self.fault if fault is None else fault
        self.sensed = self.sensed if sensed is None else sensed
        counter = self.counter(hand.RUDDER_STATE, RUDDER)
        data = hand.rudder_state(RUDDER, counter, *self.obeyed, asked=self.asked // 5, sensed=self.sensed // 5, fault=self.fault)
        self.frame(hand.RUDDER_STATE, RUDDER, hand.spoiled(data) if spoil else data, mask)

    def reports(self, for_ms: int) -> None:
        for _ in range(for_ms // 40):
            self.after(40)
            self.report()

    def wheel(
        self, angle: int, *, station: int | None = None, number: int | None = None, mask: int = EVERYBODY, **more: int
    ) -> None:
        station = self.obeyed[0] if station is None else station
        number = self.obeyed[1] if number is None else number
        data = hand.wheel(station, self.counter(hand.WHEEL, station), number, angle, **more)
        self.frame(hand.WHEEL, station, data, mask)

    def goes(self, angle: int, goal: int) -> None:
        """The machinery says: from here to there."""
        self.event("rudder", angle, goal)

    def order(self, angle: int) -> None:
        self.asked = angle
        self.event("output", NODE, "rudder", angle)

    def power(self, on: int) -> None:
        self.event("output", NODE, "rudder_power", on)

    def steered(self, angle: int = 0) -> None:
        """The wheelhouse steers, the rudder rests there."""
        self.goes(angle, angle)
        self.order(angle)
        self.report(WHEELHOUSE, 1, sensed=angle)
        self.wheel(angle)
        self.wheel(angle)
        self.wheel(angle)

    def throttle(self, permille: int, node: str = PORT_NODE) -> None:
        self.event("output", node, "throttle", permille)


EVERY = pytest.mark.parametrize("kind", [Hold, Follows, Limits, FaultFound, NoSteer])


@EVERY
def test_a_boat_without_a_rudder_exercises_none_of_them(kind: type[Requirement]) -> None:
    rig = JudgeRig(kind)
    assert rig.says() == NOT_EXERCISED
    assert rig.verdict().evidence == "the boat has no rudder on her bus"


@EVERY
def test_a_quiet_day_exercises_none_of_them(kind: type[Requirement]) -> None:
    rig = RudderJudge(kind)
    rig.report()
    rig.reports(400)
    assert rig.says() == NOT_EXERCISED


@EVERY
def test_reports_with_a_wrong_crc_say_nothing(kind: type[Requirement]) -> None:
    rig = RudderJudge(kind)
    rig.throttle(800)
    for _ in range(30):
        rig.after(40)
        rig.report(WHEELHOUSE, 1, fault=2, sensed=900, spoil=True)
    assert rig.says() == (FAIL if kind is NoSteer else NOT_EXERCISED), "to a drive they are silence"


# ------------------------------------------------------------------------------------------------ rudder.hold


@pytest.mark.parametrize(("moved", "verdict"), [(200, PASS), (201, FAIL), (-200, PASS), (-201, FAIL)])
def test_a_take_moves_the_rudder_by_no_more_than_2_degrees(moved: int, verdict: str) -> None:
    rig = RudderJudge(Hold)
    rig.steered(1000)
    rig.report(BRIDGE, 2)
    rig.after(100)
    rig.goes(1000 + moved, 1000 + moved)
    assert rig.says() == verdict
    assert rig.verdict().measured == abs(moved)


@pytest.mark.parametrize(("wheel", "verdict"), [(1250, PASS), (1251, FAIL)])
def test_a_report_that_comes_late_counts_from_no_later_than_the_wheel_that_was_there(wheel: int, verdict: str) -> None:
    """The bus was taken for a while: the wheel had been where the rudder is, and been followed, before the report came through."""
    rig = RudderJudge(Hold)
    rig.steered(1000)
    rig.wheel(wheel, station=BRIDGE, number=2)
    rig.after(20)
    rig.report(BRIDGE, 2)
    rig.after(100)
    rig.goes(1600, 1600)
    assert rig.says() == verdict


@pytest.mark.parametrize(("station", "verdict"), [(WHEELHOUSE, PASS), (BRIDGE, FAIL)])
def test_of_who_takes_anew_the_first_wheel_frame_under_its_number_counts(station: int, verdict: str) -> None:
    """It steers on under the old number until it hears of that. Of another one the first says nothing, the second is too far."""
    rig = RudderJudge(Hold)
    rig.steered()
    rig.report(station, 2)
    rig.wheel(0, station=WHEELHOUSE, number=1)
    rig.after(40)
    rig.wheel(100)
    rig.after(40)
    rig.goes(0, 600)
    for _ in range(25):
        rig.wheel(600)
        rig.after(40)
    assert rig.says() == verdict


def test_a_wheel_heard_before_a_report_that_names_the_old_station_was_not_followed() -> None:
    rig = RudderJudge(Hold)
    rig.steered(1000)
    rig.wheel(1000, station=BRIDGE, number=2)
    rig.report()
    rig.report(BRIDGE, 2)
    rig.after(100)
    rig.goes(1201, 1201)
    assert rig.says() == FAIL


def test_where_the_rudder_was_on_its_way_counts() -> None:
    """Half a second after it set out it is 3.5 degrees on; there it has to stop."""
    rig = RudderJudge(Hold)
    rig.steered()
    rig.goes(0, 2000)
    for _ in range(10):
        rig.after(50)
        rig.wheel(2000)
    rig.report(BRIDGE, 2)
    rig.after(20)
    rig.goes(364, 364)
    assert (rig.says(), rig.verdict().measured) == (PASS, 14)


@pytest.mark.parametrize(
    ("wheel", "kind", "steers"),
    [([240, 240], 0, True), ([900, 900], 0, False), ([900, 900, -900], 0, True), ([900] * 3, 1, True), ([0] * 3, 2, False)],
)
def test_after_a_take_it_holds_until_a_wheel_asks_for_it(wheel: list[int], kind: int, steers: bool) -> None:
    """Of the first wheel frames the first does not count."""
    rig = RudderJudge(Hold)
    rig.steered()
    rig.report(BRIDGE, 2)
    for angle in wheel:
        rig.wheel(angle, kind=kind)
    rig.goes(0, 1000)
    rig.after(100)
    rig.goes(700, 1000)
    assert (rig.says() == PASS) == steers


@pytest.mark.parametrize("more", [{"number": 1}, {"station": WHEELHOUSE}, {"mask": 0}])
def test_a_wheel_it_does_not_obey_or_hear_is_no_wheel(more: dict[str, int]) -> None:
    rig = RudderJudge(Hold)
    rig.steered()
    rig.report(BRIDGE, 2)
    for _ in range(4):
        rig.wheel(0, **more)
    rig.goes(700, 700)
    assert rig.says() == FAIL


@pytest.mark.parametrize(("gap_ms", "moved", "verdict"), [(256, 200, PASS), (256, 201, FAIL), (255, 700, NOT_EXERCISED)])
def test_a_wheel_silent_for_the_timeout_is_a_loss(gap_ms: float, moved: int, verdict: str) -> None:
    """250 ms, and 5 more for clocks and processing: then it is one for certain, and held against where it was after 250."""
    rig = RudderJudge(Hold)
    rig.steered()
    rig.requirement.tally.worst = None  # type: ignore[attr-defined]  # of the take
    rig.after(gap_ms)
    rig.wheel(moved)
    rig.goes(0, moved)
    rig.after(100)
    rig.goes(moved, moved)
    assert rig.says() == verdict


def test_a_loss_the_rudder_reports_by_itself_counts_from_there() -> None:
    rig = RudderJudge(Hold)
    rig.steered(300)
    rig.report(0)
    rig.after(100)
    rig.goes(300, 1000)
    rig.after(1000)
    rig.goes(1000, 1000)
    assert rig.says() == FAIL
    assert rig.verdict().evidence.startswith("nobody steered any more")


def test_after_a_loss_no_wheel_lets_it_go() -> None:
    rig = RudderJudge(Hold)
    rig.steered()
    rig.report(0)
    for _ in range(4):
        rig.wheel(0, station=WHEELHOUSE, number=1)
    rig.goes(500, 500)
    assert rig.says() == FAIL


def test_a_node_without_supply_has_to_hold_as_well() -> None:
    rig = RudderJudge(Hold)
    rig.steered()
    rig.event("power", NODE, 0)
    rig.goes(0, -500)
    rig.after(1000)
    rig.goes(-500, -500)
    assert rig.says() == FAIL


@pytest.mark.parametrize(
    ("name", "place", "judged"),
    [
        ("rudder_runs", "rudder to port", False), ("sensor_slipped", f"{NODE}, rudder_angle", False),
        ("delayed", f"{NODE}, by 400 ms", False), ("cut", "bus_0", True),
    ],
)
def test_a_rudder_that_is_broken_is_for_another_requirement(name: str, place: str, judged: bool) -> None:
    rig = RudderJudge(Hold)
    rig.steered()
    rig.requirement.tally.worst = None  # type: ignore[attr-defined]
    rig.event("fault", name, place, 1)
    rig.report(0)
    rig.goes(900, 900)
    assert rig.says() == (FAIL if judged else NOT_EXERCISED)
    rig.event("fault", name, place, 0)
    rig.report(WHEELHOUSE, 2)
    assert rig.says() != NOT_EXERCISED


# ------------------------------------------------------------------------------------------------ rudder.limits


@pytest.mark.parametrize(("angle", "verdict"), [(3500, PASS), (3501, FAIL), (-3500, PASS), (-3501, FAIL)])
def test_no_order_goes_beyond_hard_over(angle: int, verdict: str) -> None:
    rig = RudderJudge(Limits)
    rig.steered()
    rig.order(angle)
    assert rig.says() == verdict


@pytest.mark.parametrize(("angle", "verdict"), [(3500, PASS), (3501, FAIL)])
def test_no_rudder_goes_beyond_hard_over(angle: int, verdict: str) -> None:
    rig = RudderJudge(Limits)
    rig.goes(0, angle)
    rig.after(5200)
    rig.goes(angle, angle)
    assert rig.says() == verdict


@pytest.mark.parametrize(("cdeg", "verdict"), [(735, PASS), (736, FAIL)])
def test_no_rudder_is_faster_than_it_should_be(cdeg: int, verdict: str) -> None:
    """7 degrees a second, and 5 % for clocks and samples."""
    rig = RudderJudge(Limits)
    rig.goes(0, 3500)
    rig.after(1000)
    rig.goes(cdeg, 3500)
    assert rig.says() == verdict


def test_what_happens_within_100_ms_is_no_speed() -> None:
    rig = RudderJudge(Limits)
    rig.goes(0, 3500)
    rig.after(1)
    rig.goes(50, -3500)
    rig.after(1000)
    rig.goes(-650, -3500)
    assert rig.says() == PASS


@pytest.mark.parametrize(("after_ms", "verdict"), [(100, FAIL), (99.999, PASS)])
def test_a_stretch_of_100_ms_is_over_and_the_next_has_a_speed_of_its_own(after_ms: float, verdict: str) -> None:
    rig = RudderJudge(Limits)
    rig.goes(0, 3500)
    rig.after(after_ms)
    rig.goes(0, 3500)
    rig.after(100)
    rig.goes(80, 3500)
    assert rig.says() == verdict


def test_orders_of_others_and_before_anybody_steers_do_not_count() -> None:
    rig = RudderJudge(Limits)
    rig.order(0)
    rig.event("output", PORT_NODE, "rudder", 9000)
    assert rig.says() == NOT_EXERCISED


# ------------------------------------------------------------------------------------------------ rudder.fault_found


def runs(rig: RudderJudge, for_ms: int = 600) -> None:
    """It runs to starboard by itself from now on: 4 degrees are over after 571 ms."""
    rig.goes(0, 3500)
    for _ in range(for_ms // 40):
        rig.after(40)
        rig.sensed = rig.sensed + 28
        rig.report()


def test_a_rudder_that_runs_is_found_and_loses_its_power() -> None:
    rig = RudderJudge(FaultFound)
    rig.steered()
    runs(rig)
    rig.power(0)
    rig.goes(420, 420)
    rig.order(420)
    rig.report(0, fault=2)
    assert rig.says() == PASS
    assert rig.verdict().measured <= 40


def test_reported_is_not_enough_where_the_power_stays_on() -> None:
    rig = RudderJudge(FaultFound)
    rig.steered()
    runs(rig)
    rig.fault = 1
    rig.reports(1200)
    assert rig.says() == FAIL
    assert rig.verdict().evidence == "it moved unasked, and its power was left on"


def test_nothing_said_of_a_rudder_that_runs_fails() -> None:
    rig = RudderJudge(FaultFound)
    rig.steered()
    runs(rig, 1560)
    assert rig.says() == INCONCLUSIVE
    rig.after(50)
    rig.report()
    assert rig.says() == FAIL
    assert rig.verdict().evidence == "it moved unasked, and no fault was reported"


def test_a_rudder_that_comes_back_by_itself_in_time_was_nothing() -> None:
    rig = RudderJudge(FaultFound)
    rig.steered()
    runs(rig)
    rig.goes(420, 0)
    for _ in range(20):
        rig.after(40)
        rig.sensed = max(0, rig.sensed - 28)
        rig.report()
    rig.goes(0, 0)
    rig.reports(2000)
    assert rig.says() == NOT_EXERCISED


def sticks(rig: RudderJudge) -> None:
    """Ordered hard to starboard and jammed: a sound one would be 4 degrees on after 571 ms."""
    rig.steered()
    rig.order(2000)
    rig.reports(600)


@pytest.mark.parametrize(("more_ms", "verdict"), [(0, PASS), (960, PASS), (1040, FAIL)])
def test_a_rudder_that_sticks_is_reported_within_a_second(more_ms: int, verdict: str) -> None:
    rig = RudderJudge(FaultFound)
    sticks(rig)
    rig.reports(more_ms)
    rig.report(fault=1)
    assert rig.says() == verdict
    assert rig.verdict().measured == more_ms


@pytest.mark.parametrize("way", [1, -1])
def test_a_rudder_that_follows_is_no_fault(way: int) -> None:
    rig = RudderJudge(FaultFound)
    rig.steered()
    follows(rig, way)
    assert rig.says() == NOT_EXERCISED


def follows(rig: RudderJudge, way: int = 1) -> None:
    """20 degrees, as fast as it can, and then it rests."""
    rig.order(2000 * way)
    rig.goes(0, 2000 * way)
    for _ in range(75):
        rig.after(40)
        rig.sensed = min(2000, abs(rig.sensed) + 28) * way
        rig.report()
    rig.goes(2000 * way, 2000 * way)
    rig.reports(2000)


def test_a_rudder_that_gets_its_power_back_sets_out_from_where_it_is() -> None:
    rig = RudderJudge(FaultFound)
    rig.steered()
    rig.power(0)
    rig.order(2000)
    rig.reports(4000)
    rig.power(1)
    follows(rig)
    assert rig.says() == NOT_EXERCISED


def test_a_rudder_whose_power_was_taken_need_not_follow() -> None:
    rig = RudderJudge(FaultFound)
    rig.steered()
    rig.power(0)
    rig.order(2000)
    rig.reports(4000)
    assert rig.says() == NOT_EXERCISED


@pytest.mark.parametrize(("sensed", "fault", "verdict"), [(445, 0, NOT_EXERCISED), (450, 3, PASS), (-450, 0, FAIL)])
def test_a_feedback_that_shows_something_else_is_reported(sensed: int, fault: int, verdict: str) -> None:
    rig = RudderJudge(FaultFound)
    rig.steered()
    rig.sensed = sensed
    rig.reports(400)
    rig.fault = fault
    rig.reports(1200)
    assert rig.says() == verdict


def test_a_node_that_does_not_run_reports_nothing_and_is_not_asked_to() -> None:
    rig = RudderJudge(FaultFound)
    sticks(rig)
    rig.event("power", NODE, 0)
    rig.after(5000)
    assert rig.says() == NOT_EXERCISED


# ------------------------------------------------------------------------------------------------ rudder.no_steer


def under_way(rig: RudderJudge) -> None:
    rig.report(WHEELHOUSE, 1)
    rig.throttle(800)
    rig.throttle(800, STARBOARD_NODE)
    rig.reports(400)


CAUSES = [
    # what the rudder reports, and the longest time allowed: transfer_ms or a report, and 100 ms
    ({"station": 0}, 600),
    ({"fault": 1}, 100),
]


@pytest.mark.parametrize(("report", "allowed_ms"), CAUSES)
@pytest.mark.parametrize(("late_ms", "verdict"), [(0, PASS), (1, FAIL)])
def test_throttles_come_down_in_time(report: dict[str, int], allowed_ms: int, late_ms: int, verdict: str) -> None:
    rig = RudderJudge(NoSteer)
    under_way(rig)
    rig.report(**report)
    rig.reports(allowed_ms)
    rig.after(allowed_ms % 40 + late_ms)
    rig.throttle(200)
    rig.throttle(200, STARBOARD_NODE)
    assert rig.says() == verdict
    assert rig.verdict().limit == allowed_ms


@pytest.mark.parametrize(("before_ms", "late_ms", "verdict"), [(80, 0, PASS), (80, 1, FAIL), (520, 0, PASS), (520, 1, FAIL)])
def test_of_two_causes_the_one_whose_time_is_over_first_counts(before_ms: int, late_ms: int, verdict: str) -> None:
    """Nobody steers, 600 ms; and then a fault, 100 ms."""
    rig = RudderJudge(NoSteer)
    under_way(rig)
    rig.report(0)
    rig.reports(before_ms)
    rig.report(fault=1)
    rig.after(min(600 - before_ms, 100) + late_ms)
    rig.throttle(200)
    rig.throttle(200, STARBOARD_NODE)
    assert rig.says() == verdict


@pytest.mark.parametrize(("late_ms", "verdict"), [(0, PASS), (1, FAIL)])
def test_silence_of_the_rudder_counts_from_its_last_report(late_ms: int, verdict: str) -> None:
    """350 ms without, and 100 ms; each drive by its own reception."""
    rig = RudderJudge(NoSteer)
    under_way(rig)
    for _ in range(11):
        rig.after(40)
        rig.report(mask=rig.all_but(PORT))
    rig.after(10 + late_ms)
    rig.throttle(200)
    assert rig.says() == verdict


def test_a_throttle_that_never_comes_down_fails_at_the_end() -> None:
    rig = RudderJudge(NoSteer)
    under_way(rig)
    rig.after(451)
    assert rig.says() == FAIL
    assert rig.verdict().evidence == f"{PORT_NODE}: the rudder was not heard, and its throttle stayed up"


def test_one_that_is_opened_while_nobody_steers_fails() -> None:
    rig = RudderJudge(NoSteer)
    rig.report(0)
    rig.reports(1000)
    rig.throttle(200)
    assert rig.says() == NOT_EXERCISED
    rig.throttle(201)
    assert rig.says() == FAIL


def test_one_that_came_down_for_another_reason_shows_nothing() -> None:
    rig = RudderJudge(NoSteer)
    under_way(rig)
    rig.report(fault=1)
    rig.throttle(0)
    rig.throttle(0, STARBOARD_NODE)
    assert rig.says() == NOT_EXERCISED


def test_steering_that_comes_back_in_time_asks_for_nothing() -> None:
    """A hand-over."""
    rig = RudderJudge(NoSteer)
    under_way(rig)
    rig.report(0)
    rig.reports(560)
    rig.report(BRIDGE, 2)
    rig.reports(2000)
    assert rig.says() == NOT_EXERCISED


def test_a_program_that_stands_still_is_for_another_requirement_until_it_is_reset() -> None:
    rig = RudderJudge(NoSteer)
    under_way(rig)
    rig.throttle(0, STARBOARD_NODE)
    rig.event("fault", "hang", PORT_NODE, 1)
    rig.after(2000)
    assert rig.says() == NOT_EXERCISED
    rig.event("start", PORT_NODE, 1)
    rig.report()
    rig.throttle(800)
    rig.after(451)
    assert rig.says() == FAIL


@pytest.mark.parametrize(("node", "verdict"), [(PORT_NODE, NOT_EXERCISED), (NODE, FAIL)])
def test_a_hang_that_ends_counts_again_and_one_of_another_node_never_did(node: str, verdict: str) -> None:
    rig = RudderJudge(NoSteer)
    under_way(rig)
    rig.throttle(0, STARBOARD_NODE)
    rig.event("fault", "hang", node, 1)
    rig.after(451)
    assert rig.says() == verdict
    rig.event("fault", "hang", node, 0)
    assert rig.says() == FAIL


@pytest.mark.parametrize(("deaf", "node"), [(PORT, STARBOARD_NODE), (STARBOARD, PORT_NODE)])
def test_a_report_that_one_drive_did_not_receive_counts_for_the_other(deaf: int, node: str) -> None:
    rig = RudderJudge(NoSteer)
    under_way(rig)
    rig.report(fault=1, mask=rig.all_but(deaf))
    rig.after(101)
    assert rig.says() == FAIL
    assert rig.verdict().evidence == f"{node}: the rudder reported a fault, and its throttle stayed up"


@pytest.mark.parametrize(("late_ms", "verdict"), [(0, NOT_EXERCISED), (1, FAIL)])
def test_a_rudder_that_was_never_heard_is_silent_since_the_drive_began(late_ms: int, verdict: str) -> None:
    rig = RudderJudge(NoSteer)
    rig.after(5000)
    rig.event("start", PORT_NODE, 0)
    rig.event("start", STARBOARD_NODE, 0)
    rig.throttle(800)
    rig.after(450 + late_ms)
    assert rig.says() == verdict


def test_a_drive_without_supply_gives_nothing() -> None:
    rig = RudderJudge(NoSteer)
    under_way(rig)
    for node in (PORT_NODE, STARBOARD_NODE):
        rig.event("power", node, 0)
    rig.after(5000)
    assert rig.says() == NOT_EXERCISED


# ------------------------------------------------------------------------------------------------ station.transfer


def asks(wanted: int) -> RudderJudge:
    """The bridge asks for control, and both drives follow."""
    rig = RudderJudge(Transfer)
    rig.report(0, 0)
    rig.event("start", f"node_{BRIDGE}", 0)
    rig.event("key", f"node_{BRIDGE}", "take", 1)
    rig.claim(1, station=BRIDGE, wanted=wanted)
    for drive in (PORT, STARBOARD):
        rig.obeys(BRIDGE, 1, drive=drive)
    return rig


def test_a_take_of_drives_alone_is_complete_with_them() -> None:
    assert asks(3).says() == SELF_REPORTED


def test_a_take_of_the_rudder_too_is_complete_only_with_it() -> None:
    assert asks(7).says() == INCONCLUSIVE
    rig = asks(7)
    rig.report(BRIDGE, 1)
    assert rig.says() == SELF_REPORTED
    assert rig.verdict().evidence == "bridge: obeyed by every drive and the rudder it wants"


@pytest.mark.parametrize(("after_ms", "says"), [(520, SELF_REPORTED), (521, FAIL)])
def test_a_take_is_complete_by_the_stations_next_look_at_the_time_or_withdrawn(after_ms: int, says: str) -> None:
    """transfer_ms 500 and lever_ms 20: a station that looks at 499.9 ms looks again at 519.9."""
    rig = RudderJudge(Transfer)
    rig.event("start", f"node_{BRIDGE}", 0)
    rig.event("key", f"node_{BRIDGE}", "take", 1)
    rig.after(after_ms)
    for drive in (PORT, STARBOARD):
        rig.obeys(BRIDGE, 1, drive=drive)
    rig.after(1001 - after_ms)
    assert (rig.says(), rig.verdict().limit) == (says, 520)
    if says == SELF_REPORTED:
        assert rig.verdict().measured == after_ms


def test_a_take_that_is_complete_too_late_and_withdrawn_is_no_failure() -> None:
    """The drive's report of it was long on its way: its station had given it up."""
    rig = RudderJudge(Transfer)
    rig.event("start", f"node_{BRIDGE}", 0)
    rig.event("key", f"node_{BRIDGE}", "take", 1)
    rig.after(560)
    for drive in (PORT, STARBOARD):
        rig.obeys(BRIDGE, 1, drive=drive)
    rig.after(430)
    for drive in (PORT, STARBOARD):
        rig.obeys(0, 1, drive=drive)
    rig.after(100)
    assert rig.says() == SELF_REPORTED
    assert rig.verdict().evidence == "bridge: its take came to nothing, and no drive obeys it"


def test_a_rudder_left_alone_with_a_take_that_came_to_nothing_fails() -> None:
    rig = asks(7)
    for drive in (PORT, STARBOARD):
        rig.obeys(0, 1, drive=drive)
    rig.report(BRIDGE, 1)
    rig.after(1001)
    assert rig.says() == FAIL
    assert rig.verdict().evidence == "bridge: its take was left half done (rudder)"


def test_a_rudder_that_is_steered_on_by_an_older_take_is_not_left_half_taken() -> None:
    """The bridge had it, asked for control anew, and that came to nothing."""
    rig = RudderJudge(Transfer)
    for _ in range(2):
        rig.report(BRIDGE, 1)
    rig.event("start", f"node_{BRIDGE}", 0)
    rig.event("key", f"node_{BRIDGE}", "take", 1)
    rig.claim(2, station=BRIDGE, wanted=7)
    rig.after(1001)
    rig.obeys(0, 1, drive=PORT)
    assert rig.says() == SELF_REPORTED
    assert rig.verdict().evidence == "bridge: its take came to nothing, and no drive obeys it"


def test_a_take_that_came_to_nothing_is_over_once_control_is_asked_for_again() -> None:
    """The second press has its own time: what completes it is not put down to the first one, as too late."""
    rig = RudderJudge(Transfer)
    rig.event("start", f"node_{BRIDGE}", 0)
    rig.event("key", f"node_{BRIDGE}", "take", 1)
    rig.after(750)
    rig.event("key", f"node_{BRIDGE}", "take", 1)
    rig.after(60)
    for drive in (PORT, STARBOARD):
        rig.obeys(BRIDGE, 1, drive=drive)
    assert (rig.says(), rig.verdict().measured) == (SELF_REPORTED, 60)


@pytest.mark.parametrize(("fault", "says"), [("frozen_data", PASS), ("cut", FAIL)])
def test_a_rudder_whose_reports_are_spoilt_is_not_left_half_taken_by_what_it_says(fault: str, says: str) -> None:
    """Frozen, it goes on saying that it obeys the bridge, whose take was withdrawn long ago."""
    rig = RudderJudge(Transfer)
    rig.event("fault", fault, f"{NODE}, by 400 ms", 1)
    rig.event("start", f"node_{BRIDGE}", 0)
    rig.event("key", f"node_{BRIDGE}", "take", 1)
    rig.claim(1, station=BRIDGE, wanted=7)
    rig.report(BRIDGE, 1)
    rig.after(1001)
    assert rig.says() == (SELF_REPORTED if says == PASS else says)
