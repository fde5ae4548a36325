"""What drawn calls seldom meet: a limit to the tick, a policy that no shipped boat has, a task that hangs. In C as in Python."""

from itertools import pairwise
from pathlib import Path

import pytest

from busim.protocol.catalogue import CLAIM, HEARTBEAT, NEUTRAL_NOW, RUDDER_STATE, WHEEL
from busim.protocol.codec import check
from busim.protocol.tables import STATION_TABLE
from busim.units import MS, SECOND

from .firmware_helm import AGE_MAX, TICK, Helm
from .firmware_rig import FIRMWARE, TRACE_MAIN, Firmware, Told, answers_of

HANGING = Path(__file__).parent / "firmware_hanging.c"


def row(event: str) -> str:
    """As an answer has it, of the state it is looked for in."""
    return next(f"r {each.number} 0 " for each in STATION_TABLE.rows if (each.state, each.event) == ("holding", event))


def test_a_drive_not_heard_is_let_go_of_after_its_age_and_not_at_it(firmware: Firmware) -> None:
    helm = Helm(firmware.boat("marsh_tern"), "wheelhouse", SECOND)
    helm.held(2 * SECOND)
    helm.obeyed(helm.address, acted_on=helm.node.lever_counter + 1)  # what it acted on grows old later than the report
    helm.until(3 * SECOND)
    assert helm.when(row("echo_old")) == [2 * SECOND + AGE_MAX + TICK]
    assert firmware.differences(helm.life, "marsh_tern", "wheelhouse") == []


def test_a_lever_frame_acted_on_last_is_too_old_after_its_age_and_not_at_it(firmware: Firmware) -> None:
    helm = Helm(firmware.boat("marsh_tern"), "wheelhouse", SECOND)
    helm.held(2 * SECOND)
    sampled = helm.node.lever_counter  # by the tick before; the one at this moment samples the next
    helm.held(3 * SECOND, acted_on=sampled)
    assert helm.when(row("echo_old")) == [2 * SECOND - TICK + AGE_MAX + TICK]
    assert firmware.differences(helm.life, "marsh_tern", "wheelhouse") == []


def test_a_take_settles_for_as_long_as_an_echo_may_be_old(firmware: Firmware) -> None:
    helm = Helm(firmware.boat("marsh_tern"), "wheelhouse", SECOND)
    helm.held(2 * SECOND, acted_on=helm.node.lever_counter - 100)
    assert helm.when(row("echo_old")) == [SECOND + AGE_MAX + TICK]
    assert firmware.differences(helm.life, "marsh_tern", "wheelhouse") == []


@pytest.mark.parametrize("carries_on", [True, pytest.param(False, marks=pytest.mark.slow)])
def test_one_drive_lost(carries_on: bool, firmware: Firmware) -> None:
    """`on_one_drive_lost`: the other is held on, or control is let go with the first."""
    edits = () if carries_on else (("on_one_drive_lost:\n  do: carry_on", "on_one_drive_lost:\n  do: neutral"),)
    boat = firmware.edited("marsh_tern", *edits)
    helm = Helm(firmware.boat(boat), "wheelhouse", SECOND)
    helm.held(2 * SECOND)
    for now_ns in range(helm.now_ns + TICK, 3 * SECOND, TICK):
        helm.until(now_ns)
        helm.obeyed(helm.address, silent=(helm.plan.drives[1].address,))
    assert helm.when(row("echo_old")) == ([] if carries_on else [2 * SECOND + AGE_MAX])
    assert firmware.differences(helm.life, boat, "wheelhouse") == []


def wanted(helm: Helm) -> int:
    """What the last claim wants."""
    can_id = CLAIM.can_id(helm.address)
    said = [answer.split(f"s0 {can_id:x} ")[1] for _, answer in helm.life if f"s0 {can_id:x} " in answer]
    return CLAIM.unpack(check(can_id, bytes.fromhex(said[-1].split()[0])))[1]


@pytest.mark.parametrize(("after_ns", "takes"), [(10 * SECOND - TICK, 5), (10 * SECOND, 7)])
def test_a_drive_that_refused_is_left_out_for_ten_seconds(after_ns: int, takes: int, firmware: Firmware) -> None:
    """The page: of a take begun within 10000 ms of the one that failed when transfer_ms, 500 ms, were over. 4 is the rudder."""
    helm = Helm(firmware.boat("marsh_tern"), "wheelhouse", SECOND)
    refuse = (helm.plan.drives[1].address,)
    helm.held(2 * SECOND)
    helm.put("take", 1)
    helm.held(2 * SECOND + 520 * MS, refuse=refuse)  # looked at in the task of the tick before
    helm.goes_on(2 * SECOND + 500 * MS + after_ns, 0, refuse=refuse)
    helm.put("take", 1)
    helm.held(helm.now_ns + 40 * MS, refuse=refuse)
    assert wanted(helm) == takes
    assert (helm.node.held == [helm.plan.drives[0].address]) == (takes == 5)
    assert firmware.differences(helm.life, "marsh_tern", "wheelhouse") == []


@pytest.mark.parametrize(("silent_ns", "takes"), [(350 * MS - 1, 7), (350 * MS, 5)])
def test_a_drive_that_is_silent_is_left_out(silent_ns: int, takes: int, firmware: Firmware) -> None:
    """The page: 350 ms (heartbeat_missing_ms)."""
    helm = Helm(firmware.boat("marsh_tern"), "wheelhouse", SECOND)
    helm.held(2 * SECOND)
    helm.goes_on(2 * SECOND + 340 * MS, helm.address, silent=(helm.plan.drives[1].address,))
    helm.until(2 * SECOND + silent_ns)
    helm.put("take", 1)
    helm.until(helm.now_ns + TICK)
    assert wanted(helm) == takes
    assert firmware.differences(helm.life, "marsh_tern", "wheelhouse") == []


def test_the_wheel_is_let_go_of_once_the_other_take_must_be_complete(firmware: Firmware) -> None:
    """The page: 600 ms (transfer_ms, and two claims) of a newer take, and the rudder never went along."""
    helm = Helm(firmware.boat("marsh_tern"), "wheelhouse", SECOND)
    rudder = helm.plan.rudder.address
    helm.held(2 * SECOND)
    mine = helm.node.number
    while helm.now_ns < 4 * SECOND:
        helm.until(helm.now_ns + TICK)
        helm.obeyed(3, silent=(rudder,))
        helm.hear(RUDDER_STATE, rudder, helm.address, mine, 0, 0, 0)
    wheel_id = WHEEL.can_id(helm.address)
    numbers = [
        (int(call.split()[1]), WHEEL.unpack(check(wheel_id, bytes.fromhex(answer.split(f"s0 {wheel_id:x} ")[1].split()[0])))[0])
        for call, answer in helm.life
        if f"s0 {wheel_id:x} " in answer
    ]
    first_ns = next(now_ns for now_ns, number in numbers if now_ns > 2 * SECOND and not number)
    assert 600 * MS <= first_ns - (2 * SECOND + TICK) <= 600 * MS + 2 * TICK
    assert firmware.differences(helm.life, "marsh_tern", "wheelhouse") == []


@pytest.mark.parametrize(("pressed_for_ns", "named"), [(10 * SECOND - TICK, False), (10 * SECOND, True)])
def test_a_key_is_stuck_at_ten_seconds(pressed_for_ns: int, named: bool, firmware: Firmware) -> None:
    """The page: "pressed for 10000 ms without a break of 1 s", and the lock-out key acts once it was held for 3 s. It acts once:
    with a key that is not stuck yet, nothing comes of it."""
    helm = Told(firmware.boat("marsh_tern"), "wheelhouse")
    began_ns, step_ns = SECOND, 49 * TICK  # less than a second without the key is no break
    held_ns = began_ns + pressed_for_ns - 3 * SECOND
    moments = {began_ns + step_ns * each for each in range(12)} | {began_ns + pressed_for_ns}
    for now_ns in sorted(moments | {held_ns}):
        helm.until(now_ns)
        if now_ns in moments:
            helm.hear(NEUTRAL_NOW, 3, 1, 0)
        if now_ns == held_ns:
            helm.put("lock_out", 1)
    helm.until(14 * SECOND)
    said = helm.when(f"s0 {NEUTRAL_NOW.can_id(1):x} ")
    assert said[:1] == ([began_ns + pressed_for_ns] if named else [])
    assert firmware.differences(helm.life, "marsh_tern", "wheelhouse") == []


# ------------------------------------------------------------------------------------------------ a task that hangs, or is late


def beats_of(firmware: Firmware, *switches: str) -> tuple[list[int], list[int]]:
    """(when it beat, when its task ran) of a node of one task every 20 ms, called in time; the task hangs from 1 to 2 s."""
    sources = [TRACE_MAIN, HANGING, *(FIRMWARE / f"{name}.c" for name in ("seam", "member", "channels"))]
    program = firmware.compiled("marsh_tern", "wheelhouse", sources, *switches)
    calls = ["S 0 0"]
    for now_ns in range(0, 3 * SECOND, TICK):
        calls += [f"I {now_ns} hangs {int(now_ns == SECOND)}"] if now_ns in (SECOND, 2 * SECOND) else []
        calls.append(f"D {now_ns}")
    answers = list(zip(calls, answers_of(program, calls), strict=True))
    beat = f"s0 {HEARTBEAT.can_id(1):x} "
    return tuple([int(call.split()[1]) for call, answer in answers if word in answer] for word in (beat, "o ran "))  # type: ignore[return-value]


def test_no_heartbeat_while_the_task_hangs(firmware: Firmware) -> None:
    """The page: "from a supervisor that has seen the sampling, control and sending tasks run since the last one, never from a
    timer". The beat at 1 s stands for what ran before."""
    beats, ran = beats_of(firmware)
    assert [now_ns for now_ns in ran if SECOND <= now_ns < 2 * SECOND] == []
    assert beats == [*range(0, SECOND + 1, 100 * MS), *range(2 * SECOND, 3 * SECOND, 100 * MS)]


def test_heartbeats_from_a_timer_go_on(firmware: Firmware) -> None:
    beats, ran = beats_of(firmware, "BROKEN_BEAT_FROM_TIMER")
    assert [now_ns for now_ns in ran if SECOND <= now_ns < 2 * SECOND] == []
    assert beats == [*range(0, 3 * SECOND, 100 * MS)]


@pytest.mark.parametrize("late_ns", [TICK - 1, TICK, TICK + 1])
def test_what_a_late_task_is_due_at_next(late_ns: int, firmware: Firmware) -> None:
    """Called exactly one period late, the next moment is not one that has come: what was missed is skipped."""
    told = Told(firmware.boat("marsh_tern"), "wheelhouse")
    told.until(SECOND)
    assert told.node.deadline_ns == SECOND
    told.node.on_deadline(SECOND + late_ns)
    assert told.node.lever_due_ns == (SECOND + TICK if late_ns < TICK else SECOND + late_ns + TICK)
    told.until(2 * SECOND)
    assert firmware.differences(told.life, "marsh_tern", "wheelhouse") == []


def test_the_lever_frames_of_a_told_helm_are_sound(firmware: Firmware) -> None:
    """A test of these tests: what is compared are frames, and many."""
    helm = Helm(firmware.boat("marsh_tern"), "wheelhouse", SECOND)
    helm.held(2 * SECOND)
    sent = [answer.split() for _, answer in helm.life if answer.startswith("s0 81 ")]
    assert all(check(0x81, bytes.fromhex(words[2])) != -1 for words in sent)
    assert len(sent) == 100
    assert all(int(later[2][2:4], 16) - int(one[2][2:4], 16) & 0xFF == 1 for one, later in pairwise(sent))
