"""drive.engage_at_idle, reversal_dwell, refuse_bad_frame, neutral_confirmed and the tally of verdicts, fed by hand."""

import pytest

from busim.events.table import REPORTED
from busim.requirements.drive_engage_at_idle import EngageAtIdle
from busim.requirements.drive_neutral_confirmed import NeutralConfirmed
from busim.requirements.drive_refuse_bad_frame import RefuseBadFrame
from busim.requirements.drive_reversal_dwell import ReversalDwell
from busim.requirements.in_a_log import Doubt
from busim.requirements.table import BY_ID, HAZARDS, REQUIREMENTS
from busim.requirements.verdict import FAIL, INCONCLUSIVE, NOT_EXERCISED, PASS, SELF_REPORTED, Tally
from busim.units import MS

from . import hand_made_frames as hand
from .hand_made_frames import AHEAD, ASTERN, BETWEEN, NEUTRAL
from .judge_rig import JudgeRig
from .small_boat import BRIDGE, DWELL_MS, PORT, SHIFT_ALLOWANCE_NS, SHIFT_RPM, STARBOARD, WHEELHOUSE, small_boat

# ------------------------------------------------------------------------------------------------ engage at idle


@pytest.mark.parametrize("gear", [AHEAD, ASTERN])
@pytest.mark.parametrize(
    ("throttle_ppm", "rpm", "verdict"),
    [(0, 800, PASS), (10_000, SHIFT_RPM, PASS), (10_001, 800, FAIL), (0, SHIFT_RPM + 1, FAIL), (10_001, 3000, FAIL)],
)
def test_engaging(gear: int, throttle_ppm: int, rpm: int, verdict: str) -> None:
    """The throttle is at its stop within 1 % of its stroke, 10,000 millionths."""
    rig = JudgeRig(EngageAtIdle)
    rig.event("gear", "port", gear, throttle_ppm, rpm)
    found = rig.verdict()
    assert (found.verdict, found.measured, found.limit, found.unit) == (verdict, rpm, SHIFT_RPM, "rpm")


def test_one_bad_engagement_of_several_fails_and_the_first_is_told() -> None:
    rig = JudgeRig(EngageAtIdle)
    for rpm in (800, 1002, 1500, 900):
        rig.event("gear", "starboard", AHEAD, 0, rpm)
        rig.after(1000)
    assert (rig.says(), rig.verdict().measured) == (FAIL, 1002)


def test_a_clutch_that_lets_go_may_do_so_at_any_speed() -> None:
    rig = JudgeRig(EngageAtIdle)
    rig.event("gear", "port", NEUTRAL, 900_000, 3000)
    assert rig.says() == NOT_EXERCISED


# ------------------------------------------------------------------------------------------------ dwell


def reversal(rest_ns: int, *, first: int = AHEAD, then: int = ASTERN, drive: str = "port") -> JudgeRig:
    rig = JudgeRig(ReversalDwell)
    rig.event("shift_rest", drive, 0)
    rig.event("gear", drive, first, 0, 800)
    rig.after(5000)
    rig.event("gear", drive, NEUTRAL, 0, 800)
    rig.after(350)
    rig.event("shift_rest", drive, 1)
    rig.now_ns += rest_ns
    rig.event("shift_rest", drive, 0)
    rig.after(650)
    rig.event("gear", drive, then, 0, 800)
    return rig


@pytest.mark.parametrize(
    ("rest_ns", "verdict", "measured"),
    [(DWELL_MS * MS, PASS, DWELL_MS), (DWELL_MS * MS - 1, FAIL, DWELL_MS - 1), (2500 * MS, PASS, 2500), (0, FAIL, 0)],
)
@pytest.mark.parametrize(("first", "then"), [(AHEAD, ASTERN), (ASTERN, AHEAD)])
def test_rest_before_the_opposite_gear(rest_ns: int, verdict: str, measured: int, first: int, then: int) -> None:
    found = reversal(rest_ns, first=first, then=then).verdict()
    assert (found.verdict, found.measured, found.limit) == (verdict, measured, DWELL_MS)


def test_the_same_gear_again_needs_no_rest() -> None:
    assert reversal(0, then=AHEAD).says() == NOT_EXERCISED


def test_through_neutral_without_a_rest_fails() -> None:
    rig = JudgeRig(ReversalDwell)
    rig.event("gear", "port", AHEAD, 0, 800)
    rig.event("gear", "port", NEUTRAL, 0, 800)
    rig.event("gear", "port", ASTERN, 0, 800)
    assert (rig.says(), rig.verdict().measured) == (FAIL, 0)


def test_only_the_last_rest_counts() -> None:
    """A gear tried for a moment ends the rest: long before, it does not count for what comes after."""
    rig = reversal(5000 * MS, then=AHEAD)
    rig.event("gear", "port", NEUTRAL, 0, 800)
    rig.event("shift_rest", "port", 1)
    rig.after(DWELL_MS - 1)
    rig.event("shift_rest", "port", 0)
    rig.event("gear", "port", ASTERN, 0, 800)
    assert (rig.says(), rig.verdict().measured) == (FAIL, DWELL_MS - 1)


def test_the_shortest_rest_is_told() -> None:
    rig = reversal(1800 * MS)
    for rest_ms in (1200, 1500):
        rig.event("shift_rest", "port", 1)
        rig.after(rest_ms)
        rig.event("shift_rest", "port", 0)
        rig.event("gear", "port", AHEAD if rest_ms == 1200 else ASTERN, 0, 800)
    assert (rig.says(), rig.verdict().measured) == (PASS, 1200)


# ------------------------------------------------------------------------------------------------ bad frames


def held() -> JudgeRig:
    rig = JudgeRig(RefuseBadFrame)
    rig.take(7)
    rig.after(20)
    rig.lever(AHEAD, 300)
    return rig


def test_good_frames_alone_do_not_exercise_it() -> None:
    rig = held()
    rig.lever(AHEAD, 300)
    rig.after(1)
    rig.event("output", "node_2", "shift", AHEAD)
    rig.event("output", "node_2", "throttle", 300)
    assert rig.says() == NOT_EXERCISED


@pytest.mark.parametrize("bad", [{"spoil": True}, {"ahead": 4}, {"ahead": 200}, {"ahead": -2}], ids=str)
def test_a_bad_frame_that_moves_nothing_is_a_pass(bad: dict[str, int]) -> None:
    rig = held()
    rig.after(20)
    rig.lever(ASTERN, 900, **bad)  # type: ignore[arg-type]
    found = rig.verdict()
    assert (found.verdict, found.measured, found.limit, found.source) == (PASS, 0, 0, "independent measurement")
    assert found.evidence.startswith("2 bad lever frames"), "of both drives"


def test_one_that_the_drives_did_not_receive_is_nothing_to_them() -> None:
    rig = held()
    rig.after(20)
    rig.lever(ASTERN, 900, spoil=True, mask=rig.all_but(PORT, STARBOARD))
    rig.lever(ASTERN, 900, spoil=True, station=BRIDGE)
    assert rig.says() == NOT_EXERCISED


@pytest.mark.parametrize("bad", [{"spoil": True}, {"ahead": 4}, {"number": 6}], ids=str)
@pytest.mark.parametrize(("channel", "value"), [("throttle", 900), ("shift", ASTERN)])
def test_what_only_a_bad_frame_asked_for_must_not_be_commanded(bad: dict[str, int], channel: str, value: int) -> None:
    rig = held()
    for _ in range(2):
        rig.after(20)
        rig.lever(ASTERN, 900, **bad)  # type: ignore[arg-type]
        bad = {**bad, "ahead": 9} if "ahead" in bad else bad
    rig.after(1)
    rig.event("output", "node_2", channel, value)
    assert (rig.says(), rig.verdict().measured, rig.verdict().at_ns) == (FAIL, 1, rig.now_ns)


@pytest.mark.parametrize(
    ("levers", "channel", "value", "good"),
    [
        ([(AHEAD, 300), (AHEAD, 500)], "throttle", 300, True),
        ([(AHEAD, 300), (AHEAD, 500)], "throttle", 500, False),
        ([(AHEAD, 300), (AHEAD, 500)], "throttle", 301, False),
        ([(AHEAD, 500), (AHEAD, 300)], "throttle", 300, True),
        ([(AHEAD, 300), (AHEAD, 300)], "shift", AHEAD, True),
        ([(AHEAD, 300), (AHEAD, 300)], "shift", ASTERN, False),
        ([(NEUTRAL, 0), (AHEAD, 300)], "shift", AHEAD, False),
        ([(AHEAD, 1), (AHEAD, 1), (AHEAD, 9), (AHEAD, 9)], "throttle", 1, True),  # two pairs back: processing delay
        ([(AHEAD, 1), (AHEAD, 9), (AHEAD, 9), (AHEAD, 9), (AHEAD, 9)], "throttle", 1, False),
        ([(AHEAD, 300)], "throttle", 0, True),
        ([(AHEAD, 300)], "shift", NEUTRAL, True),
        ([(AHEAD, 300)], "throttle", -1, True),
    ],
)
def test_a_command_is_what_two_valid_frames_in_a_row_asked_for(
    levers: list[tuple[int, int]], channel: str, value: int, good: bool
) -> None:
    rig = JudgeRig(RefuseBadFrame)
    rig.take(7)
    for gear, throttle in levers:
        rig.after(20)
        rig.lever(gear, throttle)
    rig.event("output", "node_2", channel, value)
    assert (rig.says() == FAIL) == (not good)


def test_outputs_of_others_and_of_who_obeys_nobody_are_judged_elsewhere() -> None:
    rig = held()
    rig.event("output", "node_21", "throttle", 999)
    rig.event("output", "node_2", "lamp", 999)
    rig.obeys(0, 7)
    rig.event("output", "node_2", "throttle", 999)
    assert rig.says() == NOT_EXERCISED


# ------------------------------------------------------------------------------------------------ neutral confirmed


def reports(rig: JudgeRig, sensed: int, *, drive: int = PORT, spoil: bool = False) -> str:
    data = hand.drive_state(drive, rig.counter(hand.STATE, drive), NEUTRAL, sensed, instance=1 if drive == PORT else 2)
    rig.frame(hand.STATE, drive, hand.spoiled(data) if spoil else data)
    return rig.says()


@pytest.mark.parametrize(
    ("gear", "sensed", "verdict"),
    [
        (AHEAD, AHEAD, NOT_EXERCISED),
        (AHEAD, BETWEEN, NOT_EXERCISED),
        (AHEAD, NEUTRAL, FAIL),
        (ASTERN, NEUTRAL, FAIL),
        (AHEAD, ASTERN, FAIL),
        (ASTERN, AHEAD, FAIL),
    ],
)
def test_reports_with_a_gear_in(gear: int, sensed: int, verdict: str) -> None:
    rig = JudgeRig(NeutralConfirmed)
    rig.event("gear", "port", gear, 0, 800)
    assert reports(rig, sensed) == verdict


@pytest.mark.parametrize(("sensed", "verdict"), [(NEUTRAL, PASS), (BETWEEN, NOT_EXERCISED), (AHEAD, FAIL), (ASTERN, FAIL)])
def test_reports_with_the_gear_out_again(sensed: int, verdict: str) -> None:
    """No sensor sees a clutch let go: a gear may be named for half again the shift's time, and 200 ms."""
    rig = JudgeRig(NeutralConfirmed)
    rig.event("gear", "port", AHEAD, 0, 800)
    rig.event("gear", "port", NEUTRAL, 0, 800)
    rig.after(SHIFT_ALLOWANCE_NS / MS)
    assert reports(rig, sensed) == (NOT_EXERCISED if verdict == FAIL else verdict)
    rig.after(1)
    assert reports(rig, sensed) == verdict


@pytest.mark.parametrize(("place", "allowed"), [("port shift", True), ("starboard shift", False), ("port throttle", False)])
def test_a_linkage_off_before_the_gear_is_in_is_seen_as_late_as_one_after(place: str, allowed: bool) -> None:
    """The feedback is on the actuator, and goes all the way to the gear it was told."""
    rig = JudgeRig(NeutralConfirmed)
    rig.event("gear", "port", AHEAD, 0, 800)
    rig.event("gear", "port", NEUTRAL, 0, 800)
    rig.after(5000)
    rig.event("fault", "linkage_off", place, 1)
    rig.after(SHIFT_ALLOWANCE_NS / MS)
    assert reports(rig, ASTERN) == (NOT_EXERCISED if allowed else FAIL)
    rig.event("fault", "linkage_off", place, 0)
    rig.after(1)
    assert reports(rig, ASTERN) == FAIL


@pytest.mark.parametrize(
    ("place", "verdict"),
    [(f"node_6 as node_{PORT}", NOT_EXERCISED), (f"node_{PORT} as node_6", NOT_EXERCISED), ("node_3 as node_1", FAIL)],
)
def test_of_two_under_one_address_nobody_knows_whose_report_it_is(place: str, verdict: str) -> None:
    rig = JudgeRig(NeutralConfirmed)
    rig.event("fault", "duplicate_address", place, 1)
    rig.event("gear", "port", AHEAD, 0, 800)
    assert reports(rig, NEUTRAL) == verdict


def test_neutral_before_any_gear_proves_nothing() -> None:
    rig = JudgeRig(NeutralConfirmed)
    assert reports(rig, NEUTRAL) == NOT_EXERCISED
    rig.event("gear", "port", AHEAD, 0, 800)
    assert reports(rig, NEUTRAL, drive=STARBOARD) == NOT_EXERCISED
    assert reports(rig, NEUTRAL, spoil=True) == NOT_EXERCISED


# ------------------------------------------------------------------------------------------------ verdicts


def test_self_reported_evidence_is_never_a_plain_pass() -> None:
    tally = Tally("x", 10, "ms", REPORTED)
    tally.measure(10, 5, "seen")
    assert tally.verdict("no").verdict == SELF_REPORTED
    tally.measure(11, 6, "late")
    assert tally.verdict("no").verdict == FAIL


def test_a_failure_goes_before_what_is_open_and_that_before_a_pass() -> None:
    tally = Tally("x", None, "ms", "plant")
    assert tally.verdict("nothing happened").evidence == "nothing happened"
    tally.held(1, "kept")
    assert (tally.verdict("no").verdict, tally.verdict("no").measured) == (PASS, None)
    tally.measure(3, 2, "three", 5)
    tally.measure(4, 3, "four", 6)
    tally.held(4, "kept")
    assert (tally.verdict("no").measured, tally.verdict("no").limit) == (4, 6)
    tally.undecided(5, "the end")
    assert tally.verdict("no").verdict == INCONCLUSIVE
    tally.measure(8, 6, "eight", 7)
    tally.measure(9, 7, "nine", 7)
    found = tally.verdict("no")
    assert (found.verdict, found.measured, found.limit, found.at_ns) == (FAIL, 8, 7, 6)


@pytest.mark.parametrize(
    ("at_least", "over", "verdict"),
    [
        (False, 0, SELF_REPORTED), (False, 1, INCONCLUSIVE), (False, 20, INCONCLUSIVE), (False, 21, FAIL),
        (True, 20, SELF_REPORTED), (True, 19, INCONCLUSIVE), (True, -20, INCONCLUSIVE), (True, -21, FAIL),
    ],
)  # fmt: skip
def test_between_two_reports_a_limit_is_neither_kept_nor_broken(at_least: bool, over: int, verdict: str) -> None:
    """Reports 19.5 ms apart: that much earlier it may have begun, or been over. Whole milliseconds, the doubt rounded up."""
    tally = Tally("x", 100, "ms", REPORTED, at_least=at_least)
    tally.doubt = Doubt(19_500_000)
    tally.measure(100 + over, 5, "seen")
    assert tally.verdict("no").verdict == verdict


@pytest.mark.parametrize(("unit", "ns"), [("ms", 0), ("times", 19_500_000)])
def test_what_is_no_time_or_known_to_the_moment_is_in_no_doubt(unit: str, ns: int) -> None:
    tally = Tally("x", 100, unit, REPORTED)
    tally.doubt = Doubt(ns)
    tally.measure(101, 5, "seen")
    assert tally.verdict("no").verdict == FAIL


def test_the_table_of_requirements() -> None:
    assert len(BY_ID) == len(REQUIREMENTS)
    for requirement in REQUIREMENTS:
        part, _, name = requirement.id.partition(".")
        assert part in ("drive", "station", "rudder", "alarm", "light", "bus", "boat")
        assert name
        assert requirement.words.endswith(".")
        assert requirement.hazards
        assert set(requirement.hazards) <= set(HAZARDS)


def test_every_requirement_is_not_exercised_by_an_empty_run() -> None:
    for requirement in REQUIREMENTS:
        rig = JudgeRig(requirement)
        assert rig.says() == NOT_EXERCISED
        assert rig.verdict().at_ns is None


def test_the_first_frame_after_a_take_is_not_a_bad_one() -> None:
    """From a take on the counter is followed as if none had been heard; whoever begins to follow learns it from one frame."""
    rig = JudgeRig(RefuseBadFrame)
    rig.claim(7)
    rig.claim(7)
    rig.obeys(WHEELHOUSE, 7)
    rig.number = 7
    rig.after(20)
    rig.lever()
    assert rig.says() == NOT_EXERCISED
    rig.after(20)
    rig.lever()
    assert rig.says() == NOT_EXERCISED


@pytest.mark.parametrize(("before", "value", "good"), [(500, 300, True), (300, 300, False), (200, 300, False), (500, 301, False)])
def test_one_valid_frame_is_enough_to_reduce_and_for_nothing_else(before: int, value: int, good: bool) -> None:
    """The first frame that counts, of a station that has just taken over in gear: there is no second one to agree yet."""
    rig = JudgeRig(RefuseBadFrame)
    rig.event("output", "node_2", "throttle", before)
    rig.take(7)
    rig.after(20)
    rig.lever(AHEAD, 300)
    rig.after(20)
    rig.lever(AHEAD, 300)
    rig.situation.drives["port"].recent = rig.situation.drives["port"].recent[-1:]
    rig.event("output", "node_2", "throttle", value)
    assert (rig.says() == FAIL) == (not good)


@pytest.mark.parametrize(("before", "value", "good"), [(500, 200, True), (0, 200, False), (500, 250, False)])
def test_a_throttle_that_goes_down_to_the_cap_while_nobody_steers_needs_no_frame(before: int, value: int, good: bool) -> None:
    """Just after a take in gear, with no lever frame of the new station yet."""
    rig = JudgeRig(RefuseBadFrame, small_boat(rudder={"no_steer_permille": 200}))
    rig.event("output", "node_2", "throttle", before)
    rig.take(7)
    rig.situation.drives["port"].recent = ()
    rig.event("output", "node_2", "throttle", value)
    assert (rig.says() == FAIL) == (not good)


def test_a_report_that_repeats_its_counter_says_nothing() -> None:
    """A stale mailbox goes on saying what was true once; nobody acts on it, and what is believed of the drive grows old."""
    rig = JudgeRig(NeutralConfirmed)
    rig.event("gear", "port", AHEAD, 0, 800)
    assert reports(rig, BETWEEN) == NOT_EXERCISED
    counter = rig.counters[hand.id_of(hand.STATE, PORT)]
    rig.frame(hand.STATE, PORT, hand.drive_state(PORT, counter, AHEAD, NEUTRAL))
    assert rig.says() == NOT_EXERCISED
    rig.frame(hand.STATE, PORT, hand.drive_state(PORT, counter + 1, AHEAD, NEUTRAL))
    assert rig.says() == FAIL


def test_a_drive_whose_reports_are_spoilt_is_not_judged_by_whom_it_says_it_obeys() -> None:
    """Delayed reports name a take that is over: the levers of the one it really obeys would count for nothing."""
    for fault, says in (("delayed", NOT_EXERCISED), ("cut", FAIL)):
        rig = JudgeRig(RefuseBadFrame)
        rig.take(5)
        rig.event("fault", fault, f"{rig.port.node}, by 400 ms", 1)
        rig.event("output", rig.port.node, "shift", AHEAD)
        assert rig.says() == says
