"""What a station shows in every situation, how it reads its levers, and its neutral-now key."""

import pytest

from busim.protocol import values as v
from busim.protocol.tables import DRIVE_TABLE
from busim.protocol.values import NODE_WORKING
from busim.seam import WATCHDOG_RESET
from busim.units import MS

from . import hand_made_frames as hand
from .hand_made_frames import AHEAD, ASTERN, NEUTRAL
from .small_boat import BRIDGE, PORT, STARBOARD, WHEELHOUSE, small_boat
from .station_rig import MIDDLE, StationRig
from .test_station_node import ANOTHER, ASKING, DIVIDED, HERE, LOST, MISSING_NS, NOBODY, NOTHING_HEARD

# ------------------------------------------------------------------------------------------------ display


def test_it_hears_nothing_from_the_start() -> None:
    rig = StationRig()
    rig.start()
    assert rig.told("shows") == [(0, NOTHING_HEARD)]
    rig.run_for(5000)
    assert rig.told("shows") == [(0, NOTHING_HEARD)], "said once"


def test_one_report_alone_is_not_heard() -> None:
    """Of every sender the first frame does not count."""
    rig = StationRig()
    rig.wake()
    rig.drives_say(0, 0)
    assert rig.shows == NOTHING_HEARD
    rig.drives_say(0, 0)
    assert rig.shows == NOBODY


@pytest.mark.parametrize(
    ("port", "starboard", "shows"),
    [
        ((0, 0), (0, 0), NOBODY),
        ((0, 4), (0, 5), NOBODY),
        ((WHEELHOUSE, 4), (WHEELHOUSE, 4), ANOTHER),
        ((WHEELHOUSE, 4), (0, 4), DIVIDED),
        ((WHEELHOUSE, 4), (15, 5), DIVIDED),
        ((BRIDGE, 4), (WHEELHOUSE, 4), DIVIDED),
        ((BRIDGE, 4), (BRIDGE, 4), LOST),  # it started anew, and the drives have not noticed yet
    ],
)
def test_what_the_drives_obey_is_shown(port: tuple[int, int], starboard: tuple[int, int], shows: int) -> None:
    rig = StationRig()
    rig.wake()
    for _ in range(2):
        rig.drive_says(PORT, *port)
        rig.drive_says(STARBOARD, *starboard)
    rig.run_for(120)
    assert rig.shows == shows


def test_drives_that_differ_for_a_moment_are_not_shown_as_divided() -> None:
    """A good take reaches them one after the other: the display must not flicker at each."""
    rig = StationRig()
    rig.introduce(WHEELHOUSE, 4)
    rig.forget()
    rig.drive_says(PORT, WHEELHOUSE, 5)
    rig.drive_says(PORT, 0, 5)
    divided_ns = rig.now_ns
    rig.run_to(divided_ns + 99 * MS)
    rig.drive_says(STARBOARD, 0, 4)
    rig.run_for(200)
    assert DIVIDED not in [action[2] for _, action in rig.did if action[1] == "shows"]


def test_asking_here_and_lost() -> None:
    rig = StationRig()
    rig.claiming()
    assert rig.shows == ASKING
    rig.drives_say(BRIDGE, 1)
    assert rig.shows == HERE
    rig.hear(400, BRIDGE, 1)
    assert rig.shows == HERE
    rig.run_to(rig.now_ns + 320 * MS)
    assert rig.shows == LOST, "it let go, and what the drives last said is that they obey it"
    rig.run_to(rig.now_ns + 40 * MS)
    assert rig.shows == NOTHING_HEARD


def test_nothing_heard_comes_when_a_node_counts_as_missing() -> None:
    """Looked at with every lever frame: exactly at heartbeat_missing_ms where one falls there, else with the next."""
    rig = StationRig()
    rig.introduce()
    heard_ns = rig.now_ns
    rig.run_to(heard_ns + MISSING_NS + 10 * MS - 1)
    assert rig.shows == NOBODY
    rig.run_to(heard_ns + MISSING_NS + 10 * MS)
    assert rig.shows == NOTHING_HEARD
    rig.drive_says(STARBOARD, 0, 0)
    assert rig.shows == NOBODY


def test_one_silent_drive_of_two_leaves_the_other_shown() -> None:
    rig = StationRig()
    rig.wake()
    for _ in range(2):
        rig.drive_says(PORT, WHEELHOUSE, 4)
        rig.drive_says(STARBOARD, 0, 4)
    rig.run_for(120)
    assert rig.shows == DIVIDED
    for _ in range(10):
        rig.run_for(40)
        rig.drive_says(PORT, WHEELHOUSE, 4)
    assert rig.shows == ANOTHER
    rig.drive_says(STARBOARD, 0, 4)
    rig.run_for(400)
    assert rig.shows == NOTHING_HEARD


def test_asking_a_boat_that_is_silent_shows_that_it_is_silent() -> None:
    rig = StationRig()
    rig.wake()
    rig.press()
    assert rig.shows == NOTHING_HEARD


def test_heartbeat_says_why_it_started() -> None:
    rig = StationRig()
    rig.start(WATCHDOG_RESET)
    rig.run_for(0)
    assert rig.last(hand.HEARTBEAT, 40, 4) == WATCHDOG_RESET
    assert rig.last(hand.HEARTBEAT, 44, 4) == NODE_WORKING


# ------------------------------------------------------------------------------------------------ levers


@pytest.mark.parametrize(
    ("value", "gear", "throttle"),
    [
        (500, NEUTRAL, 0),
        (559, NEUTRAL, 0),
        (560, AHEAD, 0),  # 150 permille of the travel
        (561, AHEAD, 2),  # (152 - 150) / 850
        (899, AHEAD, 996),
        (900, AHEAD, 1000),
        (901, AHEAD, 1000),
        (930, AHEAD, 1000),
        (931, NEUTRAL, 0),
        (1000, NEUTRAL, 0),
        (441, NEUTRAL, 0),
        (440, ASTERN, 0),
        (439, ASTERN, 2),
        (101, ASTERN, 996),
        (100, ASTERN, 1000),
        (70, ASTERN, 1000),
        (69, NEUTRAL, 0),
        (0, NEUTRAL, 0),
        (-1, NEUTRAL, 0),
    ],
)
@pytest.mark.parametrize("instance", [1, 2])
def test_a_lever_reads(value: int, gear: int, throttle: int, instance: int) -> None:
    rig = StationRig()
    rig.wake()
    rig.lever(value, instance)
    rig.run_for(230)
    assert rig.lever_says(instance) == (gear, throttle)
    assert rig.lever_says(3 - instance) == (NEUTRAL, 0)
    assert rig.last(hand.LEVER, 7, 1) == int(not 70 <= value <= 930)


def test_a_lever_that_is_sound_again_is_no_fault() -> None:
    rig = StationRig()
    rig.wake()
    rig.lever(0, 1)
    rig.lever(0, 2)
    rig.run_for(230)
    rig.lever(MIDDLE, 1)
    assert rig.last(hand.LEVER, 7, 1) == 1
    rig.lever(MIDDLE, 2)
    assert rig.last(hand.LEVER, 7, 1) == 0


def test_a_lever_out_of_range_for_a_moment_says_what_it_said() -> None:
    """For a lever period less than a drive would wait for its frames, 250 ms."""
    rig = StationRig()
    rig.wake()
    rig.lever(900)
    rig.input("lever.1", 0)
    for _ in range(11):
        assert (rig.lever_says(), rig.last(hand.LEVER, 7, 1)) == ((AHEAD, 1000), 0)
        rig.run_for(20)
    rig.input("lever.1", 800)
    rig.run_for(20)
    assert (rig.lever_says(), rig.last(hand.LEVER, 7, 1)) == ((AHEAD, 705), 0)  # (750 - 150) x 1000 / 850
    rig.input("lever.1", 0)
    rig.run_for(250)
    assert (rig.lever_says(), rig.last(hand.LEVER, 7, 1)) == ((NEUTRAL, 0), 1)


@pytest.mark.parametrize(("low", "high"), [(100, 700), (300, 900), (50, 951), (1, 999)])
def test_lopsided_and_odd_sensors(low: int, high: int) -> None:
    """Neutral is the middle of the range, rounded down; full travel is full throttle on both sides, and never more."""
    rig = StationRig(lever_low_permille=low, lever_high_permille=high)
    rig.wake()
    middle = (low + high) // 2
    seen = {}
    for value in range(low - 31, high + 32):
        rig.input("lever.1", value)
        rig.run_for(20 if low - 30 <= value <= high + 30 else 260)
        seen[value] = rig.lever_says(1)
    assert seen[middle] == (NEUTRAL, 0)
    assert seen[low] == (ASTERN, 1000)
    assert seen[high] == (AHEAD, 1000)
    assert seen[low - 31] == seen[high + 31] == (NEUTRAL, 0)
    assert {gear for value, (gear, _) in seen.items() if low - 30 <= value < middle} == {NEUTRAL, ASTERN}
    assert {gear for value, (gear, _) in seen.items() if middle < value <= high + 30} == {NEUTRAL, AHEAD}
    ahead = [throttle for value, (_, throttle) in sorted(seen.items()) if middle <= value <= high + 30]
    astern = [throttle for value, (_, throttle) in sorted(seen.items()) if low - 30 <= value <= middle]
    assert ahead == sorted(ahead)
    assert astern == sorted(astern, reverse=True)


def test_the_counter_goes_on_by_one_with_every_sample() -> None:
    rig = StationRig()
    rig.wake()
    rig.run_for(20 * 600)
    frames = rig.said(hand.LEVER)
    assert [now_ns for now_ns, _ in frames] == [20 * MS * index for index in range(601)]
    assert [data[1] for _, data in frames] == [(1 + index) % 256 for index in range(601)]
    assert {hand.part(data, 32, 16) for _, data in frames} == {0}, "number 0: it neither claims nor holds"
    for _, data in frames[:5]:
        assert data[0] == hand.crc_of(hand.id_of(hand.LEVER, BRIDGE), data[1:])


def test_both_buses_get_the_same_frames() -> None:
    rig = StationRig(small_boat(buses=2))
    rig.claiming()
    rig.run_for(100)
    sent: list[list[object]] = [[], []]
    for now_ns, action in rig.did:
        if action[0] in (0, 1):
            sent[action[1]].append((now_ns, *action[2:]))  # type: ignore[call-overload]
    assert sent[0] == sent[1]
    assert sent[0]


# ------------------------------------------------------------------------------------------------ neutral now


def test_neutral_now_goes_out_at_once_every_20_ms_and_is_released() -> None:
    rig = StationRig()
    rig.introduce()
    rig.run_for(13)
    pressed_ns = rig.now_ns
    rig.input("neutral_now", 1)
    rig.run_for(30)
    rig.drives_say(0, 1)
    rig.run_for(20)
    rig.input("neutral_now", 0)
    rig.run_for(500)
    frames = rig.said(hand.NEUTRAL_NOW)
    assert [(now_ns - pressed_ns, hand.part(data, 47, 1)) for now_ns, data in frames] == [
        (0, 1),
        (20 * MS, 1),
        (40 * MS, 1),
        (60 * MS, 0),
    ]
    assert [data[1] for _, data in frames] == [1, 2, 3, 4]
    assert rig.state == "watching", "it needs no control"


@pytest.mark.parametrize(
    ("port", "starboard", "last_ms"), [(0, 0, 60), (0, WHEELHOUSE, 1000), (WHEELHOUSE, 0, 1000), (None, 0, 1000)]
)
def test_a_short_press_goes_on_until_every_drive_obeys_nobody_or_for_a_second(
    port: int | None, starboard: int, last_ms: int
) -> None:
    """One lost frame does not lose the press; and a bus that comes back later does not carry an old one."""
    rig = StationRig()
    rig.introduce(WHEELHOUSE, 1)
    rig.run_for(7)
    pressed_ns = rig.now_ns
    rig.press("neutral_now", for_ms=5)
    rig.run_for(40)
    if port is not None:
        rig.drive_says(PORT, port, 1)
    rig.drive_says(STARBOARD, starboard, 1)
    rig.run_for(2000)
    frames = rig.said(hand.NEUTRAL_NOW)
    assert [now_ns - pressed_ns for now_ns, _ in frames] == [at_ms * MS for at_ms in range(0, last_ms + 20, 20)]
    assert [hand.part(data, 47, 1) for _, data in frames] == [1] * (len(frames) - 1) + [0]


FORCED_IDLE, HELD_IDLE, ENGAGED = (DRIVE_TABLE.state_values[name] for name in ("forced_idle", "held_idle", "engaged"))


@pytest.mark.parametrize("policy", ["idle", "neutral"])
@pytest.mark.parametrize(
    ("state", "cause", "stays"),
    [
        (HELD_IDLE, v.CAUSE_LEVER_LOST, True),
        (FORCED_IDLE, v.CAUSE_LEVER_LOST, True),
        (FORCED_IDLE, v.CAUSE_NEUTRAL_NOW, False),
        (ENGAGED, v.CAUSE_LEVER_LOST, False),
    ],
)
def test_a_drive_that_may_stay_in_gear_does_not_answer_a_press(policy: str, state: int, cause: int, stays: bool) -> None:
    plan = small_boat(on_loss=policy)
    rig = StationRig(plan)
    rig.introduce()
    rig.run_for(7)
    pressed_ns = rig.now_ns
    rig.press("neutral_now", for_ms=5)
    rig.run_for(40)
    rig.drive_says(STARBOARD, 0, 1)
    can_id = hand.id_of(hand.OBEYS, PORT)
    rig.frame(can_id, hand.obeys(PORT, rig.counter(can_id), 0, 1, state=state, cause=cause))
    rig.run_for(2000)
    last_ns = pressed_ns + (1000 if stays and policy == "idle" else 60) * MS
    assert rig.said(hand.NEUTRAL_NOW)[-1][0] == last_ns


@pytest.mark.parametrize("value", [1, 2, 255, -1])
def test_any_value_but_0_is_pressed(value: int) -> None:
    rig = StationRig()
    rig.wake()
    rig.input("neutral_now", value)
    assert rig.last(hand.NEUTRAL_NOW, 47, 1) == 1


def test_pressed_again_before_the_release_is_sent_acts_at_once() -> None:
    rig = StationRig()
    rig.wake()
    rig.run_for(5)
    rig.press("neutral_now")
    rig.run_for(7)
    rig.press("neutral_now", for_ms=30)
    assert [now_ns // MS for now_ns, _ in rig.said(hand.NEUTRAL_NOW)] == [5, 12, 32]


def test_a_press_between_lever_frames_moves_none_of_them() -> None:
    rig = StationRig()
    rig.wake()
    rig.run_for(13)
    rig.press("neutral_now", for_ms=100)
    assert [now_ns // MS for now_ns, _ in rig.said(hand.LEVER)] == [0, 20, 40, 60, 80, 100]


@pytest.mark.parametrize("channel", ["lever.3", "lever.x", "lever.", "lever.12", "", "wheel", "take "])
def test_an_unknown_input_changes_nothing(channel: str) -> None:
    rig = StationRig()
    rig.introduce()
    rig.input(channel, 900)
    rig.run_for(20)
    assert rig.lever_says(1) == rig.lever_says(2) == (NEUTRAL, 0)
    rig.press()
    assert rig.rows == [1]


@pytest.mark.parametrize("late_ms", [1, 19, 20, 21, 49, 50, 51, 3000])
def test_a_late_deadline_catches_up(late_ms: int) -> None:
    rig = StationRig()
    rig.claiming()
    rig.press("neutral_now", for_ms=1)
    now_ns = rig.station.deadline_ns + late_ms * MS
    rig.now_ns = now_ns
    rig.note(rig.station.on_deadline(now_ns))
    assert rig.station.deadline_ns > now_ns


@pytest.mark.parametrize(
    ("timing", "moments_ms"), [({"lever_ms": 150}, [0, 200, 300]), ({"lever_ms": 600, "heartbeat_ms": 3000}, [0])]
)
def test_a_heartbeat_waits_for_a_sample_since_the_last_one(timing: dict[str, int], moments_ms: list[int]) -> None:
    rig = StationRig(small_boat(timing=timing))
    rig.wake()
    rig.run_for(320)
    assert [now_ns // MS for now_ns, _ in rig.said(hand.HEARTBEAT)] == moments_ms
    rig.run_for(1700)
    assert [now_ns // MS for now_ns, _ in rig.said(hand.IDENTITY)] == [0, 1000, 2000], "at its own moments, whatever else is due"


def test_silence_of_exactly_the_time_is_silence() -> None:
    """With a lever frame, and so a look at the echoes, at that very moment."""
    rig = StationRig(small_boat(timing={"heartbeat_missing_ms": 360}))
    rig.introduce()
    rig.run_to(360 * MS - 1)
    assert rig.shows == NOBODY
    rig.run_to(360 * MS)
    assert rig.shows == NOTHING_HEARD


def test_a_lever_frame_asks_for_nothing_else() -> None:
    rig = StationRig()
    rig.wake()
    rig.lever(900)
    frame = rig.said(hand.LEVER)[-1][1]
    assert frame == hand.lever(BRIDGE, rig.sampled, 0, AHEAD, 1000)
