"""What is required where a station, its lever or its plug fails, or two send under one address; judged on hand-made events."""

import pytest

from busim.requirements.bus_duplicate_address import DuplicateAddress
from busim.requirements.station_lever_fault_found import LeverFaultFound
from busim.requirements.station_loss import Loss
from busim.requirements.station_pendant_out import PendantOut

from . import hand_made_frames as hand
from .alarm_rig import number_of
from .judge_rig import NEUTRAL_LIMIT_MS, JudgeRig
from .small_boat import BRIDGE, PORT, STARBOARD, WHEELHOUSE

BRIDGE_NODE, WHEELHOUSE_NODE = f"node_{BRIDGE}", f"node_{WHEELHOUSE}"
AHEAD = 1
SHOWS_NOBODY, SHOWS_HERE, SHOWS_ANOTHER, SHOWS_NOTHING, SHOWS_LOST = 1, 2, 3, 4, 7


def alarm_line(rig: JudgeRig, node: str, name: str = "control_lost", about: int = PORT, state: int = 1) -> None:
    rig.event("output", node, "alarm.1", number_of(name) | about << 8 | state << 14 | 2 << 17)


# ------------------------------------------------------------------------------------------------ station.loss


def lost(cause: int = 2, mask: int | None = None, ahead: int = 1) -> JudgeRig:
    """The wheelhouse held both drives, and both say 250 ms after its last lever frame that they lost it. Of their reports the last
    `ahead` - 1 were heard by nobody."""
    rig = JudgeRig(Loss)
    for node in (WHEELHOUSE_NODE, BRIDGE_NODE):
        rig.event("start", node, 0)
    rig.take(1)
    for drive in (PORT, STARBOARD):
        rig.obeys(WHEELHOUSE, 1, drive=drive)
    rig.lever(AHEAD, 300)
    rig.after(250)
    for drive in (PORT, STARBOARD):
        rig.counter(hand.OBEYS, drive, ahead - 1)
        rig.obeys(0, 1, drive=drive, cause=cause, mask=-1 if mask is None else mask)
    return rig


@pytest.mark.parametrize(("after_ms", "verdict"), [(550, "pass"), (551, "fail")])
def test_loss_is_shown_and_alarmed_within_its_limit(after_ms: int, verdict: str) -> None:
    """From the last good lever frame: missing, timeout and 200 ms (HSC Code 2000, 11.2: audible and visual alarm)."""
    rig = lost()
    rig.after(after_ms)
    rig.event("output", BRIDGE_NODE, "shows", SHOWS_NOBODY)
    alarm_line(rig, BRIDGE_NODE)
    assert rig.says() == verdict
    assert rig.verdict().limit == 800


@pytest.mark.parametrize(
    ("shows", "enough"),
    [(SHOWS_NOBODY, True), (SHOWS_NOTHING, True), (SHOWS_LOST, True), (SHOWS_HERE, False), (SHOWS_ANOTHER, False)],
)
@pytest.mark.parametrize("alarmed", [True, False])
def test_loss_needs_both_display_and_alarm(shows: int, enough: bool, alarmed: bool) -> None:
    rig = lost()
    rig.event("output", BRIDGE_NODE, "shows", shows)
    if alarmed:
        alarm_line(rig, BRIDGE_NODE)
    rig.after(1000)
    assert rig.says() == ("pass" if enough and alarmed else "fail")


def test_loss_a_run_that_ends_too_soon_is_inconclusive() -> None:
    assert lost().says() == "inconclusive"


@pytest.mark.parametrize(("about", "sounds", "enough"), [
    (PORT, True, True), (WHEELHOUSE, True, True), (BRIDGE, True, False), (PORT, False, False), (WHEELHOUSE, False, False),
])  # fmt: skip
def test_loss_an_alarm_that_is_over_is_one_while_it_sounds_of_what_was_lost(about: int, sounds: bool, enough: bool) -> None:
    rig = lost()
    rig.event("output", BRIDGE_NODE, "shows", SHOWS_NOBODY)
    alarm_line(rig, BRIDGE_NODE, "node_lost", about, state=4)
    rig.event("output", BRIDGE_NODE, "sounder", int(sounds))
    rig.obeys(0, 2, drive=PORT, cause=2)
    rig.after(1000)
    assert rig.says() == ("pass" if enough else "fail")


@pytest.mark.parametrize("cause", [0, 4, 5, 6, 9])
def test_loss_is_what_the_drives_call_one(cause: int) -> None:
    rig = lost(cause)
    rig.after(2000)
    assert rig.says() == "not exercised"


def test_loss_who_does_not_hear_the_drives_need_not_show_it() -> None:
    probe = JudgeRig(Loss)
    rig = lost(mask=probe.all_but(BRIDGE))
    rig.after(2000)
    assert rig.says() == "not exercised"


def heard_again() -> JudgeRig:
    """The bridge hears the drives again only two seconds after the loss, ten reports later: two in a row."""
    rig = lost(mask=JudgeRig(Loss).all_but(BRIDGE))
    rig.after(2000)
    for report in range(2):
        for drive in (PORT, STARBOARD):
            rig.counter(hand.OBEYS, drive, 9 if not report else 0)
            rig.obeys(0, 1, drive=drive, cause=2)
    return rig


@pytest.mark.parametrize(("ahead", "verdict"), [(3, "fail"), (4, "not exercised")])
def test_loss_a_report_that_does_not_count_tells_a_station_nothing(ahead: int, verdict: str) -> None:
    """The first after more than `max_gap` is not to be believed: the written page's rule for counters."""
    rig = lost(ahead=ahead)
    rig.after(2000)
    assert rig.says() == verdict


@pytest.mark.parametrize(("after_ms", "verdict"), [(200, "pass"), (201, "fail")])
def test_loss_heard_of_late_is_shown_in_the_time_it_takes_to_show(after_ms: int, verdict: str) -> None:
    rig = heard_again()
    rig.after(after_ms)
    rig.event("output", BRIDGE_NODE, "shows", SHOWS_NOBODY)
    alarm_line(rig, BRIDGE_NODE)
    assert rig.says() == verdict


def test_loss_a_station_that_began_anew_hears_its_first_report_as_a_first() -> None:
    rig = lost(mask=JudgeRig(Loss).all_but(BRIDGE))
    rig.event("start", BRIDGE_NODE, 0)
    rig.obeys(0, 1, cause=2)
    rig.after(2000)
    assert rig.says() == "not exercised"
    rig.obeys(0, 1, cause=2)
    rig.after(2000)
    assert rig.says() == "fail"


def test_loss_who_is_off_need_not_show_it() -> None:
    rig = lost()
    rig.event("power", BRIDGE_NODE, 0)
    rig.after(2000)
    assert rig.says() == "not exercised"


def test_loss_late_is_late_though_somebody_took_over() -> None:
    rig = lost()
    rig.after(900)
    rig.take(2, BRIDGE)
    assert rig.says() == "fail"


def test_loss_somebody_took_over_before_the_limit() -> None:
    rig = lost()
    rig.after(100)
    rig.take(2, BRIDGE)
    rig.obeys(BRIDGE, 2)
    rig.after(2000)
    assert rig.says() == "not exercised"


# ------------------------------------------------------------------------------------------------ station.pendant_out


def plugged(*, in_gear: bool = True) -> JudgeRig:
    rig = JudgeRig(PendantOut)
    rig.take(1)
    if in_gear:
        rig.event("gear", "port", AHEAD, 0, 800)
    rig.lever(AHEAD, 300)
    return rig


def beats(rig: JudgeRig, for_ms: int, *dead: int) -> None:
    for _ in range(for_ms // 100):
        rig.after(100)
        for address in (1, 2, 3, 4, 6, 9):
            if address not in dead:
                rig.frame(hand.HEARTBEAT, address, hand.heartbeat(address, rig.counter(hand.HEARTBEAT, address), 1))


@pytest.mark.parametrize(("after_ms", "verdict"), [(NEUTRAL_LIMIT_MS, "pass"), (NEUTRAL_LIMIT_MS + 1, "fail")])
def test_pendant_in_control_leaves_neutral(after_ms: int, verdict: str) -> None:
    rig = plugged()
    rig.event("fault", "unplugged", WHEELHOUSE_NODE, 1)
    rig.after(after_ms)
    rig.event("gear", "port", 0, 0, 800)
    assert rig.says() == verdict


def test_pendant_whose_gear_never_comes_out_fails() -> None:
    rig = plugged()
    rig.event("fault", "unplugged", WHEELHOUSE_NODE, 1)
    rig.after(100)
    assert rig.says() == "inconclusive"
    rig.after(NEUTRAL_LIMIT_MS)
    assert rig.says() == "fail"


def test_pendant_pulled_again_makes_up_for_no_gear_that_stayed_in() -> None:
    rig = plugged()
    rig.event("fault", "unplugged", WHEELHOUSE_NODE, 1)
    rig.obeys(0, 1, cause=3)
    rig.after(NEUTRAL_LIMIT_MS + 1)
    rig.event("fault", "unplugged", WHEELHOUSE_NODE, 0)
    rig.event("fault", "unplugged", WHEELHOUSE_NODE, 1)
    rig.event("gear", "port", 0, 0, 800)
    assert rig.says() == "fail"


def test_pendant_not_in_control_disturbs_nobody() -> None:
    rig = plugged()
    beats(rig, 500)
    rig.event("fault", "unplugged", BRIDGE_NODE, 1)
    beats(rig, 1500, BRIDGE)
    assert rig.says() == "pass"


def test_pendant_not_in_control_that_forces_a_drive_fails() -> None:
    rig = plugged()
    beats(rig, 500)
    rig.event("fault", "unplugged", BRIDGE_NODE, 1)
    beats(rig, 500, BRIDGE)
    rig.obeys(0, 1, cause=3)
    beats(rig, 1000, BRIDGE)
    assert rig.says() == "fail"


def test_pendant_that_takes_another_node_along_fails() -> None:
    rig = plugged()
    beats(rig, 500)
    rig.event("fault", "unplugged", BRIDGE_NODE, 1)
    beats(rig, 1500, BRIDGE, STARBOARD)
    assert rig.says() == "fail"


def test_pendant_what_else_breaks_meanwhile_is_not_its_fault() -> None:
    rig = plugged()
    beats(rig, 500)
    rig.event("fault", "unplugged", BRIDGE_NODE, 1)
    rig.event("fault", "hang", WHEELHOUSE_NODE, 1)
    rig.obeys(0, 1, cause=3)
    beats(rig, 1500, BRIDGE)
    assert rig.says() == "not exercised"


@pytest.mark.parametrize(("fault", "place"), [("unplugged", "node_2"), ("power_lost", WHEELHOUSE_NODE)])
def test_pendant_other_faults_are_others_business(fault: str, place: str) -> None:
    rig = plugged()
    rig.event("fault", fault, place, 1)
    beats(rig, 5000)
    assert rig.says() == "not exercised"


# ------------------------------------------------------------------------------------------------ station.lever_fault_found


def lever(*, at: int = 600) -> JudgeRig:
    """The hand holds the wheelhouse's port lever there."""
    rig = JudgeRig(LeverFaultFound)
    rig.event("lever", "wheelhouse", "port", at, 0)
    rig.after(100)
    return rig


def breaks(rig: JudgeRig, fault: str, channel: str = "lever.1", begins: int = 1) -> None:
    rig.event("fault", fault, f"{WHEELHOUSE_NODE}, {channel}", begins)


def frames(rig: JudgeRig, for_ms: int, gear: int, *, fault: int = 0) -> None:
    for _ in range(for_ms // 20):
        rig.after(20)
        counter = rig.counter(hand.LEVER, WHEELHOUSE)
        rig.frame(hand.LEVER, WHEELHOUSE, hand.lever(WHEELHOUSE, counter, 1, gear, 500, fault=fault))


@pytest.mark.parametrize("fault", ["sensor_open", "sensor_short"])
@pytest.mark.parametrize("channel", ["lever.1", "lever.1b"])
@pytest.mark.parametrize(("late_ms", "verdict"), [(260, "pass"), (280, "fail")])
def test_lever_open_or_short_is_found_in_time(fault: str, channel: str, late_ms: int, verdict: str) -> None:
    """Within control_timeout_ms 250 and two lever periods."""
    rig = lever()
    breaks(rig, fault, channel)
    rig.after(10)
    frames(rig, late_ms, AHEAD)
    frames(rig, 20, AHEAD, fault=1)
    assert (rig.says(), rig.verdict().limit) == (verdict, 290)


def test_lever_asking_for_neutral_is_as_good_as_telling() -> None:
    rig = lever()
    breaks(rig, "sensor_open")
    frames(rig, 100, 0)
    assert rig.says() == "pass"


def test_lever_that_goes_on_asking_fails() -> None:
    rig = lever()
    breaks(rig, "sensor_open")
    frames(rig, 280, AHEAD)
    assert rig.says() == "inconclusive"
    frames(rig, 20, AHEAD)
    assert rig.says() == "fail"


def test_lever_stuck_is_wrong_only_once_the_hand_moved() -> None:
    rig = lever()
    breaks(rig, "sensor_stuck")
    frames(rig, 5000, AHEAD)
    assert rig.says() == "not exercised"
    rig.event("lever", "wheelhouse", "port", 0, 0)
    frames(rig, 100, AHEAD)
    frames(rig, 100, 0)
    assert rig.says() == "pass"


def test_lever_stuck_that_is_believed_fails() -> None:
    rig = lever()
    breaks(rig, "sensor_stuck")
    rig.event("lever", "wheelhouse", "port", 0, 0)
    frames(rig, 400, AHEAD)
    assert rig.says() == "fail"


@pytest.mark.parametrize(("to", "astray"), [(750, False), (751, True), (450, False), (449, True)])
def test_lever_stuck_a_little_off_is_within_what_tracks_may_differ(to: int, astray: bool) -> None:
    rig = lever()
    breaks(rig, "sensor_stuck")
    rig.event("lever", "wheelhouse", "port", to, 0)
    frames(rig, 400, AHEAD)
    assert rig.says() == ("fail" if astray else "not exercised")


def test_lever_the_hand_moves_in_its_own_time() -> None:
    """From 600 to 0 in 1 s: 150 away after a quarter of a second, and 290 ms from then."""
    rig = lever()
    breaks(rig, "sensor_stuck")
    rig.event("lever", "wheelhouse", "port", 0, 1000)
    frames(rig, 540, AHEAD)
    assert rig.says() == "inconclusive"
    frames(rig, 20, AHEAD)
    assert rig.says() == "fail"


@pytest.mark.parametrize(
    ("fault", "at", "found"), [("sensor_reversed", 600, True), ("sensor_reversed", 0, False), ("sensor_slipped", 600, True)]
)
def test_lever_reversed_or_slipped(fault: str, at: int, found: bool) -> None:
    rig = lever(at=at)
    breaks(rig, fault)
    frames(rig, 400, AHEAD)
    assert rig.says() == ("fail" if found else "not exercised")


def test_lever_mended_is_judged_no_more() -> None:
    rig = lever()
    breaks(rig, "sensor_open")
    breaks(rig, "sensor_open", begins=0)
    frames(rig, 400, AHEAD)
    assert rig.says() == "not exercised"


@pytest.mark.parametrize(("fault", "channel"), [("sensor_open", "wheel"), ("sensor_open", "take"), ("hang", "lever.1")])
def test_lever_other_faults_are_others_business(fault: str, channel: str) -> None:
    rig = lever()
    breaks(rig, fault, channel)
    frames(rig, 400, AHEAD)
    assert rig.says() == "not exercised"


# ------------------------------------------------------------------------------------------------ bus.duplicate_address


def duplicate() -> JudgeRig:
    """The wheelhouse's node runs, and somebody else's heartbeat came under its address: its own host accepted it."""
    rig = JudgeRig(DuplicateAddress)
    rig.event("start", WHEELHOUSE_NODE, 0)
    rig.frame(hand.HEARTBEAT, WHEELHOUSE, hand.heartbeat(WHEELHOUSE, 1, 1), rig.all_but(WHEELHOUSE))
    assert rig.says() == "not exercised", "its own"
    rig.frame(hand.HEARTBEAT, WHEELHOUSE, hand.heartbeat(WHEELHOUSE, 9, 1), rig.all_but(BRIDGE))
    return rig


@pytest.mark.parametrize(("after_ms", "verdict"), [(1000, "pass"), (1001, "fail")])
def test_duplicate_is_alarmed_in_time(after_ms: int, verdict: str) -> None:
    rig = duplicate()
    rig.after(after_ms)
    alarm_line(rig, WHEELHOUSE_NODE, "two_at_one_address", WHEELHOUSE)
    assert (rig.says(), rig.verdict().measured) == (verdict, after_ms)


def test_duplicate_a_run_that_ends_too_soon_is_inconclusive() -> None:
    assert duplicate().says() == "inconclusive"


def test_duplicate_of_another_address_is_another_alarm() -> None:
    rig = duplicate()
    alarm_line(rig, WHEELHOUSE_NODE, "two_at_one_address", BRIDGE)
    rig.after(2000)
    assert rig.says() == "fail"


def test_duplicate_of_a_node_that_is_off_can_not_be_told() -> None:
    rig = duplicate()
    rig.event("power", WHEELHOUSE_NODE, 0)
    rig.after(2000)
    assert rig.says() == "not exercised"


@pytest.mark.parametrize(("after_ms", "verdict"), [(1000, "not exercised"), (1001, "fail")])
def test_duplicate_that_was_never_alarmed_fails_though_its_node_goes_off(after_ms: int, verdict: str) -> None:
    rig = duplicate()
    rig.after(after_ms)
    rig.event("power", WHEELHOUSE_NODE, 0)
    rig.after(2000)
    assert rig.says() == verdict


@pytest.mark.parametrize("anew", [True, False])
def test_duplicate_is_alarmed_anew_by_who_began_anew(anew: bool) -> None:
    rig = duplicate()
    alarm_line(rig, WHEELHOUSE_NODE, "two_at_one_address", WHEELHOUSE)
    rig.event("start", WHEELHOUSE_NODE, 3)
    rig.frame(hand.HEARTBEAT, WHEELHOUSE, hand.heartbeat(WHEELHOUSE, 9, 1), rig.all_but(BRIDGE))
    if anew:
        rig.after(500)
        alarm_line(rig, WHEELHOUSE_NODE, "two_at_one_address", WHEELHOUSE)
    rig.after(2000)
    assert rig.says() == ("pass" if anew else "fail")


def test_duplicate_a_corrupt_frame_is_nobody() -> None:
    rig = JudgeRig(DuplicateAddress)
    rig.event("start", WHEELHOUSE_NODE, 0)
    rig.frame(hand.HEARTBEAT, WHEELHOUSE, hand.spoiled(hand.heartbeat(WHEELHOUSE, 9, 1)), -1)
    rig.after(2000)
    assert rig.says() == "not exercised"


@pytest.mark.parametrize(("by_false", "by_true", "verdict"), [(True, False, "fail"), (True, True, "pass"), (False, True, "pass")])
def test_duplicate_a_gear_that_only_the_false_lever_asked_for(by_false: bool, by_true: bool, verdict: str) -> None:
    rig = duplicate()
    alarm_line(rig, WHEELHOUSE_NODE, "two_at_one_address", WHEELHOUSE)
    rig.obeys(WHEELHOUSE, 1)
    if by_false:
        rig.frame(hand.LEVER, WHEELHOUSE, hand.lever(WHEELHOUSE, 7, 1, AHEAD), rig.all_but(BRIDGE))
    if by_true:
        rig.frame(hand.LEVER, WHEELHOUSE, hand.lever(WHEELHOUSE, 8, 1, AHEAD), rig.all_but(WHEELHOUSE))
    rig.after(500)
    rig.event("gear", "port", AHEAD, 0, 800)
    assert rig.says() == verdict
