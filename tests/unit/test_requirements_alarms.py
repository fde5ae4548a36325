"""What is required of alarms, judged on events and frames made by hand. Listeners of the small boat: node_1, node_3, node_9."""

import pytest

from busim.requirements.alarm_flood import Flood
from busim.requirements.alarm_kept import Kept
from busim.requirements.alarm_shown import Shown
from busim.requirements.requirement import Requirement
from busim.units import SECOND

from . import hand_made_frames as hand
from .alarm_rig import number_of
from .judge_rig import EVERYBODY, JudgeRig
from .small_boat import CUTOUT, MASTHEAD, PORT, SALOON, STARBOARD, WHEELHOUSE, small_boat

CALLED = (1, 2, 3, 4, 6, 9, MASTHEAD)
RAISED, ACKNOWLEDGED, SILENCED, OVER = 1, 2, 3, 4
WARNING, EMERGENCY = 1, 2
NOTICE, FAILED = 21, "lamp_or_fuse_failed"
AFT = f"node_{SALOON}"


class AlarmJudge(JudgeRig):
    """Only the alarm node runs, so that what the stations show does not matter here."""

    def __init__(self, kind: type[Requirement]) -> None:
        super().__init__(kind, small_boat(navigation=True))
        self.event("start", AFT, 0)
        self.dead: set[int] = set()

    def pass_time(self, for_ms: int, mask: int = EVERYBODY) -> None:
        """Who is not dead beats every 100 ms, and is heard by the mask."""
        for _ in range(for_ms // 100):
            self.after(100)
            for address in CALLED:
                if address not in self.dead:
                    counter = self.counter(hand.HEARTBEAT, address)
                    self.frame(hand.HEARTBEAT, address, hand.heartbeat(address, counter, 1), mask)

    def line(self, number: int, name: str, about: int, state: int = RAISED, priority: int = EMERGENCY, under: int = 0) -> None:
        value = number_of(name) | about << 8 | state << 14 | priority << 17 | under << 20
        self.event("output", AFT, f"alarm.{number}", value)

    def clear(self, number: int) -> None:
        self.event("output", AFT, f"alarm.{number}", 0)

    def show(self, channel: str, value: int) -> None:
        self.event("output", AFT, channel, value)

    def forced(self, drive: int = PORT, cause: int = 2) -> None:
        self.obeys(0, 1, drive=drive, cause=cause)

    def notice(self, light: int = 2, mask: int = EVERYBODY, **notice: int) -> None:
        self.frame(NOTICE, MASTHEAD, hand.notice(light, **notice), mask)

    def press(self, key: str, node: str = AFT) -> None:
        self.event("key", node, key, 1)


# ------------------------------------------------------------------------------------------------ alarm.shown


def shown() -> AlarmJudge:
    rig = AlarmJudge(Shown)
    rig.pass_time(1000)
    return rig


def test_shown_nothing_wrong_is_not_exercised() -> None:
    rig = shown()
    rig.pass_time(5000)
    assert rig.says() == "not exercised"


@pytest.mark.parametrize(("after_ms", "verdict"), [(1350, "pass"), (1351, "fail")])
def test_shown_a_silent_node_within_its_limit(after_ms: int, verdict: str) -> None:
    """350 ms until it is missing, and a second (Miller 1968; Card 1991)."""
    rig = shown()
    rig.dead.add(PORT)
    rig.pass_time(1300)
    rig.after(after_ms - 1300)
    rig.line(1, "node_lost", PORT)
    assert rig.says() == verdict
    assert rig.verdict().limit == 1350


@pytest.mark.parametrize(("shown_ms", "verdict"), [(1350, "pass"), (1351, "fail"), (0, "fail")])
def test_shown_a_silent_navigation_node_within_the_same_limit(shown_ms: int, verdict: str) -> None:
    """Dark lights that nobody is told of."""
    rig = shown()
    rig.dead.add(MASTHEAD)
    rig.pass_time(1300)
    rig.after(max(shown_ms - 1300, 0))
    if shown_ms:
        rig.line(1, "node_lost", MASTHEAD, priority=WARNING)
    rig.pass_time(1000)
    assert rig.says() == verdict


@pytest.mark.parametrize(
    ("name", "about"), [("node_lost", PORT), ("bus_lost_beyond", 3), ("bus_lost_beyond", PORT), ("hears_nothing", SALOON)]
)
def test_shown_by_itself_or_by_what_it_is_grouped_under(name: str, about: int) -> None:
    """Node 2 lies beyond node 3, seen from node 9 at the end of the trunk."""
    rig = shown()
    rig.dead.add(PORT)
    rig.pass_time(400)
    rig.line(1, name, about)
    rig.pass_time(5000)
    assert rig.says() == "pass"


@pytest.mark.parametrize(
    ("name", "about", "state"),
    [("node_lost", STARBOARD, RAISED), ("node_lost", PORT, OVER), ("bus_lost_beyond", 1, RAISED), ("shift_fault", PORT, RAISED)],
)
def test_shown_by_nothing_else(name: str, about: int, state: int) -> None:
    rig = shown()
    rig.dead.add(PORT)
    rig.pass_time(400)
    rig.line(1, name, about, state)
    rig.pass_time(2000)
    assert rig.says() == "fail"


def broken_by_one_heartbeat(line_stays: bool) -> AlarmJudge:
    """A node is lost, is shown, comes through once (a controller between two times bus-off) and is silent again."""
    rig = shown()
    rig.dead.add(PORT)
    rig.pass_time(500)
    rig.line(1, "node_lost", PORT)
    rig.pass_time(3000)
    rig.frame(hand.HEARTBEAT, PORT, hand.heartbeat(PORT, rig.counter(hand.HEARTBEAT, PORT), 1), EVERYBODY)
    if not line_stays:
        rig.clear(1)
    rig.pass_time(3000)
    rig.line(2, "let_go", SALOON)
    return rig


@pytest.mark.parametrize(("line_stays", "verdict"), [(True, "pass"), (False, "fail")])
def test_shown_a_line_that_stands_on_covers_the_next_silence_from_its_first_moment(line_stays: bool, verdict: str) -> None:
    assert broken_by_one_heartbeat(line_stays).says() == verdict


def test_shown_silence_that_is_over_before_its_limit_need_not_be() -> None:
    rig = shown()
    rig.dead.add(PORT)
    rig.pass_time(1200)
    rig.dead.clear()
    rig.pass_time(2000)
    assert rig.says() == "not exercised"


def test_shown_is_judged_by_what_the_listener_received() -> None:
    rig = shown()
    rig.pass_time(2000, mask=rig.all_but(SALOON))
    assert rig.says() == "fail"


@pytest.mark.parametrize("event", [("power", AFT, 0), ("fault", "hang", AFT, 1)])
def test_shown_who_is_off_or_hangs_shows_nothing(event: tuple[str, ...]) -> None:
    rig = shown()
    rig.event(*event)
    rig.dead.add(PORT)
    rig.pass_time(3000)
    assert rig.says() == "not exercised"
    rig.event("start", AFT, 2)
    rig.pass_time(3000)
    assert rig.says() == "fail", "a node never heard is as missing as one that fell silent"


@pytest.mark.parametrize(("after_ms", "verdict"), [(1000, "pass"), (1001, "fail")])
def test_shown_a_drive_that_was_forced(after_ms: int, verdict: str) -> None:
    rig = shown()
    rig.forced()
    rig.pass_time(900)
    rig.after(after_ms - 900)
    rig.line(1, "control_lost", PORT)
    assert rig.says() == verdict


@pytest.mark.parametrize(
    ("name", "about", "under", "verdict"),
    [
        ("control_lost", PORT, 0, "pass"),
        ("shift_fault", PORT, 0, "pass"),
        ("node_lost", WHEELHOUSE, 1, "pass"),
        ("lever_fault", WHEELHOUSE, 1, "pass"),
        ("control_lost", STARBOARD, 1, "pass"),
        ("control_lost", STARBOARD, 0, "fail"),
        ("node_lost", WHEELHOUSE, 0, "fail"),
        ("nobody_in_control", 0, 0, "fail"),
        ("rudder_fault", 8, 1, "fail"),
    ],
)
def test_shown_a_forced_drive_by_itself_or_by_what_it_follows_from(name: str, about: int, under: int, verdict: str) -> None:
    rig = shown()
    rig.forced()
    rig.line(1, name, about, under=under)
    rig.pass_time(1500)
    assert rig.says() == verdict


@pytest.mark.parametrize("cause", [0, 5])
def test_shown_what_somebody_wanted_is_no_alarm(cause: int) -> None:
    rig = shown()
    rig.forced(cause=cause)
    rig.pass_time(3000)
    assert rig.says() == "not exercised"


def test_shown_a_run_that_ends_too_soon_is_inconclusive() -> None:
    rig = shown()
    rig.forced()
    rig.after(500)
    assert rig.says() == "inconclusive"
    silent = shown()
    silent.dead.add(PORT)
    silent.pass_time(700)
    assert silent.says() == "inconclusive"


@pytest.mark.parametrize(("waits_ms", "verdict"), [(1000, "not exercised"), (1001, "fail")])
def test_shown_a_drive_that_obeys_again_was_forced_all_the_same(waits_ms: int, verdict: str) -> None:
    """Somebody took control anew: what had not been shown for a second by then was not shown."""
    rig = shown()
    rig.forced()
    rig.after(waits_ms)
    rig.obeys(WHEELHOUSE, 2)
    rig.after(20)
    rig.pass_time(300)
    assert rig.says() == verdict


def test_shown_a_corrupt_report_forces_nothing() -> None:
    rig = shown()
    rig.obeys(0, 1, cause=2, spoil=True)
    rig.pass_time(3000)
    assert rig.says() == "not exercised"


@pytest.mark.parametrize(("after_ms", "verdict"), [(1000, "pass"), (1000.001, "fail"), (1001, "fail")])
def test_shown_a_failed_light_within_its_limit(after_ms: float, verdict: str) -> None:
    rig = shown()
    rig.notice()
    rig.pass_time(900)
    rig.after(after_ms - 900)
    rig.line(1, FAILED, 2, priority=WARNING)
    assert rig.says() == verdict
    assert rig.verdict().limit == 1000


@pytest.mark.parametrize(
    ("name", "about", "state"),
    [(FAILED, 1, RAISED), (FAILED, 2, OVER), ("node_lost", 2, RAISED), ("hears_nothing", SALOON, RAISED)],
)
def test_shown_a_failed_light_by_nothing_but_its_own_line(name: str, about: int, state: int) -> None:
    rig = shown()
    rig.notice()
    rig.line(1, name, about, state)
    rig.pass_time(1100)
    assert rig.says() == "fail"


@pytest.mark.parametrize(("priority", "verdict"), [(WARNING, "pass"), (0, "fail")])
def test_shown_a_failed_light_among_those_there_is_no_room_for(priority: int, verdict: str) -> None:
    rig = shown()
    for number in range(1, 9):
        rig.line(number, "neutral_key_stuck", number, priority=WARNING if number < 8 else priority)
    rig.show("alarms_hidden", 1)
    rig.notice()
    rig.pass_time(1100)
    assert rig.says() == verdict


@pytest.mark.parametrize(("waits_ms", "verdict"), [(900, "not exercised"), (1100, "fail")])
def test_shown_a_light_that_is_sound_again_too_soon_need_not_be(waits_ms: int, verdict: str) -> None:
    rig = shown()
    rig.notice()
    rig.pass_time(waits_ms)
    rig.notice(state=0)
    rig.pass_time(3000)
    assert rig.says() == verdict


def test_shown_each_failed_light_and_each_failure() -> None:
    rig = shown()
    rig.notice()
    rig.line(1, FAILED, 2)
    rig.notice(1)
    rig.line(2, FAILED, 1)
    rig.notice(state=0)
    rig.clear(1)
    rig.pass_time(3000)
    assert rig.says() == "pass"
    rig.notice()
    rig.pass_time(1100)
    assert rig.says() == "fail"


@pytest.mark.parametrize("light", [hand.notice(3), hand.notice(2, which=41), hand.notice(2) + bytes(1)])
def test_shown_a_notice_about_something_else_asks_for_nothing(light: bytes) -> None:
    rig = shown()
    rig.frame(NOTICE, MASTHEAD, light)
    rig.pass_time(3000)
    assert rig.says() == "not exercised"


def test_shown_a_failed_light_only_by_who_runs_and_heard_of_it() -> None:
    rig = shown()
    rig.notice(mask=rig.all_but(SALOON))
    rig.pass_time(3000)
    assert rig.says() == "not exercised"
    rig.event("fault", "hang", AFT, 1)
    rig.notice()
    rig.pass_time(3000)
    assert rig.says() == "not exercised"
    rig.event("start", AFT, 2)
    rig.notice()
    rig.pass_time(500)
    assert rig.says() == "inconclusive", "the run ended too soon"
    rig.pass_time(1000)
    assert rig.says() == "fail"


# ------------------------------------------------------------------------------------------------ alarm.kept


def kept() -> AlarmJudge:
    rig = AlarmJudge(Kept)
    rig.pass_time(500)
    rig.line(1, "node_lost", PORT)
    rig.show("alarms", 1)
    rig.show("sounder", 1)
    rig.pass_time(2000)
    return rig


@pytest.mark.parametrize(("after_ms", "verdict"), [(30_000, "pass"), (30_500, "pass"), (30_600, "fail")])
def test_kept_silenced_it_sounds_again(after_ms: int, verdict: str) -> None:
    """After 30 s (IMO MSC.302(87), MSC.252(83))."""
    rig = kept()
    rig.press("silence")
    rig.line(1, "node_lost", PORT, SILENCED)
    rig.show("sounder", 0)
    rig.after(after_ms)
    rig.show("sounder", 1)
    assert rig.says() == verdict


def test_kept_silenced_for_good_fails() -> None:
    rig = kept()
    rig.press("silence")
    rig.line(1, "node_lost", PORT, SILENCED)
    rig.show("sounder", 0)
    rig.after(20_000)
    assert rig.says() == "inconclusive"
    rig.after(11_000)
    assert rig.says() == "fail"


def test_kept_acknowledging_too_late_hides_nothing() -> None:
    rig = kept()
    rig.press("silence")
    rig.line(1, "node_lost", PORT, SILENCED)
    rig.show("sounder", 0)
    rig.after(36_000)
    rig.press("acknowledge")
    assert rig.says() == "fail"


def test_kept_a_new_alarm_that_sounds_shows_nothing_about_the_silenced() -> None:
    rig = kept()
    rig.press("silence")
    rig.line(1, "node_lost", PORT, SILENCED)
    rig.show("sounder", 0)
    rig.after(5000)
    rig.show("sounder", 1)
    assert rig.says() == "not exercised"


@pytest.mark.parametrize(("after_ms", "verdict"), [(1000, "not exercised"), (1000.001, "fail"), (None, "fail")])
def test_kept_what_is_raised_is_heard_as_well(after_ms: float | None, verdict: str) -> None:
    """HSC Code 2000, 11.2: audible and visual."""
    rig = AlarmJudge(Kept)
    rig.line(1, "node_lost", PORT)
    if after_ms is not None:
        rig.after(after_ms)
        rig.show("sounder", 1)
        rig.after(5000)
    else:
        rig.after(1000)
        assert rig.says() == "inconclusive"
        rig.after(0.001)
    assert rig.says() == verdict


@pytest.mark.parametrize(("state", "under"), [(ACKNOWLEDGED, 0), (SILENCED, 0), (OVER, 0), (RAISED, 1)])
def test_kept_what_was_answered_or_may_be_over_need_not_sound(state: int, under: int) -> None:
    rig = AlarmJudge(Kept)
    rig.line(1, "node_lost", PORT, state, under=under)
    rig.after(5000)
    assert rig.says() != "fail"


@pytest.mark.parametrize("event", [("power", AFT, 0), ("start", AFT, 2), ("fault", "hang", AFT, 1)])
@pytest.mark.parametrize(("after_ms", "verdict"), [(1000, "not exercised"), (1001, "fail")])
def test_kept_mute_until_it_stands_still(event: tuple[str | int, ...], after_ms: int, verdict: str) -> None:
    rig = AlarmJudge(Kept)
    rig.line(1, "node_lost", PORT)
    rig.after(after_ms)
    rig.event(*event)  # type: ignore[arg-type]
    rig.after(5000)
    assert rig.says() == verdict


def test_kept_going_quiet_by_itself_fails() -> None:
    rig = kept()
    rig.show("sounder", 0)
    assert rig.says() == "fail"


@pytest.mark.parametrize("key", ["silence", "acknowledge"])
def test_kept_an_answer_at_another_station_counts(key: str) -> None:
    rig = kept()
    rig.press(key, "node_1")
    rig.after(1400)
    rig.show("sounder", 0)
    assert rig.says() != "fail"


def test_kept_an_alarm_that_goes_unacknowledged_fails() -> None:
    rig = kept()
    rig.show("alarms", 0)
    assert rig.says() == "fail"


def test_kept_a_reset_forgets_and_that_is_no_loss_of_an_alarm() -> None:
    rig = kept()
    rig.event("power", AFT, 0)
    rig.event("start", AFT, 0)
    rig.show("alarms", 0)
    assert rig.says() == "not exercised"


def test_kept_acknowledged_it_stays_until_it_is_put_right() -> None:
    rig = kept()
    rig.dead.add(PORT)
    rig.press("acknowledge")
    rig.line(1, "node_lost", PORT, ACKNOWLEDGED)
    rig.pass_time(5000)
    assert rig.says() == "pass"
    rig.clear(1)
    assert rig.says() == "fail"


def test_kept_of_one_that_was_never_heard() -> None:
    """It is lost from the beginning, and stays listed as long."""
    rig = AlarmJudge(Kept)
    rig.dead.add(PORT)
    rig.pass_time(1000)
    rig.line(1, "node_lost", PORT)
    rig.press("acknowledge")
    rig.line(1, "node_lost", PORT, ACKNOWLEDGED)
    rig.pass_time(2000)
    rig.clear(1)
    assert rig.says() == "fail"


def test_kept_put_right_it_may_go() -> None:
    rig = kept()
    rig.dead.add(PORT)
    rig.press("acknowledge")
    rig.line(1, "node_lost", PORT, ACKNOWLEDGED)
    rig.pass_time(5000)
    rig.dead.clear()
    rig.pass_time(500)
    rig.clear(1)
    assert rig.says() == "pass"


# ------------------------------------------------------------------------------------------------ alarm.flood


def flood(lines: int = 8, hidden: int = 1, listed: int = 9) -> AlarmJudge:
    """`lines` lost nodes are shown, and so many more said to be hidden."""
    rig = AlarmJudge(Flood)
    rig.pass_time(500)
    for number in range(1, lines + 1):
        rig.line(number, "node_lost", 10 + number, priority=WARNING)
    rig.show("alarms", listed)
    rig.show("alarms_hidden", hidden)
    rig.pass_time(200)
    return rig


def emergency(rig: AlarmJudge, name: str, raiser: int, for_ms: int = 3000) -> None:
    """It is raised on the wire, and repeated."""
    for _ in range(for_ms // 1000):
        data = hand.alarm(raiser, rig.counter(hand.ALARM, raiser), number_of(name))
        rig.frame(hand.ALARM, raiser, data)
        rig.pass_time(1000)


@pytest.mark.parametrize(
    ("lines", "hidden", "listed", "verdict"),
    [
        (8, 1, 9, "pass"),
        (8, 5, 13, "pass"),
        (8, 0, 8, "not exercised"),
        (3, 0, 3, "not exercised"),
        (9, 0, 9, "fail"),
        (9, 1, 10, "fail"),
        (8, 0, 9, "fail"),
        (8, 2, 9, "fail"),
    ],
)
def test_flood_is_capped_and_counted(lines: int, hidden: int, listed: int, verdict: str) -> None:
    assert flood(lines, hidden, listed).says() == verdict


def test_flood_what_stands_under_a_line_counts_as_shown() -> None:
    rig = flood()
    rig.line(1, "node_lost", 11, priority=WARNING, under=4)
    rig.show("alarms", 13)
    rig.pass_time(200)
    assert rig.says() == "pass"
    rig.show("alarms", 12)
    rig.pass_time(200)
    assert rig.says() == "fail"


def regrouped(counted: int) -> AlarmJudge:
    """Three lines, five alarms; then one line goes under another, with nobody heard between the two moments."""
    rig = AlarmJudge(Flood)
    rig.pass_time(500)
    rig.show("alarms", counted)
    for number, under in ((1, 1), (2, 0), (3, 1)):
        rig.line(number, "node_lost", 10 + number, under=under)
    rig.after(20)
    rig.line(1, "node_lost", 13, under=2)
    rig.line(2, "node_lost", 11, under=1)
    rig.clear(3)
    rig.pass_time(200)
    return rig


@pytest.mark.parametrize(("counted", "verdict"), [(5, "not exercised"), (4, "fail"), (6, "fail")])
def test_flood_lines_that_regroup_are_counted_moment_by_moment(counted: int, verdict: str) -> None:
    assert regrouped(counted).says() == verdict


def test_flood_emergencies_may_be_more_than_the_cap() -> None:
    rig = AlarmJudge(Flood)
    for number in range(1, 11):
        rig.line(number, "shift_fault", 20 + number)
    rig.show("alarms", 12)
    rig.show("alarms_hidden", 2)
    rig.pass_time(200)
    assert rig.says() == "pass"


@pytest.mark.parametrize(
    ("line", "verdict"),
    [
        (("engine_cut", CUTOUT, RAISED, EMERGENCY, 0), "pass"),
        (("node_lost", CUTOUT, RAISED, EMERGENCY, 1), "pass"),
        (("hears_nothing", SALOON, RAISED, EMERGENCY, 5), "pass"),
        (("node_lost", CUTOUT, RAISED, EMERGENCY, 0), "fail"),
        (("node_lost", CUTOUT, RAISED, WARNING, 1), "fail"),
        (("control_lost", PORT, RAISED, EMERGENCY, 1), "fail"),
        (("node_lost", STARBOARD, RAISED, EMERGENCY, 1), "fail"),
    ],
)
def test_flood_hides_no_emergency(line: tuple[str, int, int, int, int], verdict: str) -> None:
    rig = flood()
    rig.line(1, *line)
    rig.show("alarms", 9 + line[4])
    emergency(rig, "engine_cut", CUTOUT)
    assert rig.says() == verdict


def test_flood_a_loss_may_stand_under_what_it_follows_from() -> None:
    rig = flood()
    rig.line(1, "node_lost", WHEELHOUSE, under=1)
    rig.show("alarms", 10)
    emergency(rig, "control_lost", PORT)
    assert rig.says() == "pass"


def test_flood_an_emergency_of_a_node_that_died_is_still_one() -> None:
    rig = flood()
    rig.line(1, "engine_cut", CUTOUT)
    emergency(rig, "engine_cut", CUTOUT, 2000)
    rig.dead.add(CUTOUT)
    rig.event("power", f"node_{CUTOUT}", 0)
    rig.pass_time(2000)
    assert rig.says() == "pass"
    rig.line(1, "node_lost", 11, priority=WARNING)
    rig.pass_time(500)
    assert rig.says() == "fail"


def test_flood_what_is_gone_or_just_raised_need_not_be_shown() -> None:
    rig = flood()
    emergency(rig, "engine_cut", CUTOUT, 1000)
    gone = hand.alarm(CUTOUT, rig.counter(hand.ALARM, CUTOUT), number_of("engine_cut"), state=0)
    rig.frame(hand.ALARM, CUTOUT, gone)
    rig.pass_time(3000)
    assert rig.says() == "pass"


def test_flood_a_warning_on_the_wire_may_be_hidden() -> None:
    rig = flood()
    for _ in range(3):
        data = hand.alarm(PORT, rig.counter(hand.ALARM, PORT), number_of("sensor_fault"), priority=WARNING)
        rig.frame(hand.ALARM, PORT, data)
        rig.pass_time(1000)
    assert rig.says() == "pass"


def test_flood_forgets_with_the_listener() -> None:
    rig = AlarmJudge(Flood)
    emergency(rig, "engine_cut", CUTOUT, 1000)
    rig.event("power", AFT, 0)
    rig.event("start", AFT, 0)
    rig.pass_time(3000)
    assert rig.says() == "not exercised"
    assert rig.now_ns > 4 * SECOND


def test_shown_by_a_line_that_has_stood_since_before_though_one_heartbeat_came_between() -> None:
    """A node that comes back for a moment and falls silent again: its line went on standing, and covers it at once."""
    rig = shown()
    rig.dead.add(PORT)
    rig.pass_time(400)
    rig.line(1, "node_lost", PORT)
    rig.pass_time(3000)
    rig.frame(hand.HEARTBEAT, PORT, hand.heartbeat(PORT, rig.counter(hand.HEARTBEAT, PORT), 1))
    rig.pass_time(1400)
    rig.line(2, "lever_fault", WHEELHOUSE)
    assert rig.says() == "pass"
    assert rig.verdict().measured == 400
    rig.clear(1)
    rig.dead.discard(PORT)
    rig.pass_time(200)
    rig.dead.add(PORT)
    rig.pass_time(1400)
    rig.line(1, "node_lost", PORT)
    assert rig.says() == "fail", "a line that came down covers nothing"


@pytest.mark.parametrize("fault", ["hang", "application_dead"])
def test_flood_a_listener_whose_program_stands_still_hides_nothing(fault: str) -> None:
    for hung in (True, False):
        rig = AlarmJudge(Flood)
        rig.event("fault", fault if hung else "cut", AFT, 1)
        for _ in range(2):
            rig.frame(hand.ALARM, PORT, hand.alarm(PORT, rig.counter(hand.ALARM, PORT), number_of("control_lost")))
        rig.pass_time(1300)
        assert rig.says() == ("not exercised" if hung else "fail")


def test_flood_what_was_told_before_the_program_stood_still_is_forgotten() -> None:
    rig = AlarmJudge(Flood)
    rig.frame(hand.ALARM, PORT, hand.alarm(PORT, rig.counter(hand.ALARM, PORT), number_of("control_lost")))
    rig.pass_time(500)
    rig.event("fault", "hang", AFT, 1)
    rig.pass_time(500)
    rig.event("fault", "hang", AFT, 0)
    rig.pass_time(3000)
    assert rig.says() == "not exercised"


def test_shown_by_a_line_that_stood_before_the_silence_was_long_enough() -> None:
    """Bus-off, a node says at once that it hears nothing, comes back for a moment, hears one heartbeat, and is off again."""
    rig = shown()
    rig.line(1, "hears_nothing", SALOON)
    rig.pass_time(100)
    rig.dead.update(CALLED)
    rig.pass_time(5000)
    assert rig.says() == "pass"


@pytest.mark.parametrize(("bare_ms", "verdict"), [(0, "pass"), (1, "fail")])
def test_shown_by_a_line_that_takes_the_place_of_another_in_the_same_moment(bare_ms: int, verdict: str) -> None:
    """In noise a node heard nobody, then one node again: the line that it hears nothing gives way to one for each that is lost."""
    rig = shown()
    rig.line(1, "hears_nothing", SALOON)
    rig.pass_time(100)
    rig.dead.add(PORT)
    rig.pass_time(1400)
    rig.line(1, "node_lost", STARBOARD)
    rig.after(bare_ms)
    rig.line(2, "node_lost", PORT)
    assert rig.says() == verdict
