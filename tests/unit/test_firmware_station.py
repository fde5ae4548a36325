"""The station in C against the one in Python, and what it tells of its own alarms against the page."""

import random
from itertools import pairwise

import pytest

from busim.protocol.alarms import ACKNOWLEDGE
from busim.protocol.catalogue import (
    ALARM,
    ALARM_ANSWER,
    CLAIM,
    CONDITION,
    DRIVE_OBEYS,
    HEARTBEAT,
    NEUTRAL_NOW,
    NOTICE,
    PRESS,
    RUDDER_STATE,
)
from busim.protocol.codec import Message, check
from busim.protocol.ids import address_of, code_of
from busim.protocol.values import NODE_WORKING, PRESS_CONDITION

from .firmware_rig import Drawn, Firmware, Step, answers_of, lives_in

STATIONS = (("marsh_tern", "wheelhouse"), ("marsh_tern", "upper_deck"), ("marsh_tern", "pendant"), ("first_boat", "wheelhouse"))
LONGEST_NS = 60_000_000
BROKEN = ("WRONG_ID", "BYTE_ORDER", "COUNTER_IGNORED", "CRC_UNCHECKED", "TIMEOUTS_TRIPLED")


def frame(played: Drawn, message: Message, sender: int, *values: int) -> str:
    """As it comes, or with a bit that fell over, or cut short."""
    draw, can_id, plan = played.draw, message.can_id(sender), played.boat.plan
    # By a bus they share. C takes a frame by no other, as the export says what comes by which; Python, by any it is on.
    shared = sorted({*plan.buses_of(played.entry.address)} & {*plan.buses_of(sender)})
    if not shared:
        return f"C {plan.buses_of(played.entry.address)[0]} 0"
    data = message.pack(can_id, played.counted(can_id), *values) if message.is_safety else message.pack(*values)
    spoiled = draw.randrange(30)
    if not spoiled:
        place = draw.randrange(len(data) * 8)
        data = (int.from_bytes(data, "big") ^ 1 << place).to_bytes(len(data), "big")
    elif spoiled == 1:
        data = data[: draw.randrange(len(data))]
    return f"F {draw.choice(shared)} {can_id:x} {data.hex() or '-'}"


def drawn_event(played: Drawn) -> str:
    """What a helm does, mostly: drives and rudder that follow the take, or another's, keys, levers; and nonsense."""
    draw, plan = played.draw, played.boat.plan
    stations = [station.address for station in plan.stations]
    others = [address for address in stations if address != played.entry.address] or [9]
    what = draw.randrange(100)
    number = draw.choice((0, 1, 2, 3, 4, 5, 0x7FFF, 0xFFFF))
    if not draw.randrange(15):
        mine, another = (played.entry.address, played.node.number), (draw.choice(others), number)
        played.obeyed = draw.choice((mine, mine, mine, mine, (0, number), another))
    if not draw.randrange(80):
        played.odd, played.mute = draw.choice((0, *(drive.address for drive in plan.drives))), not draw.randrange(2)
    master, obeyed_number = played.obeyed if draw.randrange(40) else (draw.choice(stations), number)
    if what < 40:
        drive = draw.choice(plan.drives)
        if drive.address == played.odd:
            if played.mute:
                return f"C {plan.buses_of(played.entry.address)[0]} 0"
            master, obeyed_number = 0, number
        acted_on = played.node.lever_counter - draw.choice((1, 1, 2, 14, 15, 16, 17)) & 0xFF
        state = (obeyed_number, acted_on, draw.randrange(40), draw.randrange(10), draw.randrange(15), drive.instance)
        return frame(played, DRIVE_OBEYS, drive.address, master, *state)
    if what < 50 and plan.rudder is not None:
        return frame(played, RUDDER_STATE, plan.rudder.address, master, obeyed_number, 0, 0, draw.choice((0, 0, 0, 1, 2, 3)))
    if what < 54:
        number = draw.choice((1, played.node.highest, number))
        return frame(played, CLAIM, draw.choice(others), number, draw.randrange(8), 0, 0, 0, 0, draw.randrange(2))
    if what < 60:
        return frame(played, NEUTRAL_NOW, draw.choice(others), draw.randrange(2), draw.choice((0, 2, 8)))
    if what < 64 and plan.navigation_lights:
        return frame(played, CONDITION, draw.choice(others), draw.randrange(4), number)
    if what < 68 and plan.panels:
        action = draw.choice((PRESS_CONDITION, PRESS_CONDITION, 1))
        return frame(played, PRESS, draw.choice(plan.panels).address, draw.randrange(4), 0, action, draw.randrange(6), 0, 1)
    if what < 72:
        return f"I take {draw.choice((1, 1, 0))}"
    if what < 74:
        return f"I {draw.choice(('neutral_now', 'lock_out'))} {draw.choice((0, 0, 1))}"
    if what < 76:
        return f"C {plan.buses_of(played.entry.address)[0]} {draw.randrange(3)}"
    if what < 80:
        return f"I wheel {draw.choice((100, 500, 900, 69, 931, draw.randrange(-5, 1005)))}"
    if what == 99 and plan.navigation_lights:
        light = draw.choice(plan.navigation_lights)
        return frame(played, NOTICE, light.driver, 40, light.number, draw.choice((0, 0, 1)), draw.randrange(4), draw.randrange(3))
    return drawn_lever(played)


def drawn_lever(played: Drawn) -> str:
    """One track; mostly in neutral, so that there is something to take with."""
    draw = played.draw
    instances = [drive.instance for drive in played.boat.plan.drives]
    value = draw.choice((500,) * 40 + (505, 580, 900, 100, 69, 70, 930, 931, -(2**31), 2**31 - 1, draw.randrange(1000)))
    second = played.boat.plan.station_at(played.entry.address).lever_tracks == 2 and draw.randrange(2)
    return f"I lever.{draw.choice(instances)}{'b' if second else ''} {value}"


def drawn(firmware: Firmware, boat: str, node: str, seeds: range, calls: int) -> list[Step]:
    trace: list[Step] = []
    for seed in seeds:
        trace += Drawn(firmware.boat(boat), node, random.Random(f"{seed} {node}")).play(calls, drawn_event, LONGEST_NS)
    return trace


def rows_in(trace: list[Step]) -> set[str]:
    words = [answer.split() for _, answer in trace]
    return {each[index + 1] for each in words for index, word in enumerate(each) if word == "r"}


def test_drawn_calls(firmware: Firmware) -> None:
    trace = drawn(firmware, "marsh_tern", "wheelhouse", range(12), 200)
    assert firmware.differences(trace, "marsh_tern", "wheelhouse") == []


@pytest.mark.slow
@pytest.mark.parametrize(("boat", "node"), STATIONS)
def test_many_drawn_calls(boat: str, node: str, firmware: Firmware) -> None:
    trace = drawn(firmware, boat, node, range(100, 140), 400)
    assert len(rows_in(trace)) >= 7, rows_in(trace)
    assert firmware.differences(trace, boat, node) == []


def test_a_hand_over(firmware: Firmware) -> None:
    """The other stations' lives in it are played with all the scenarios (`test_firmware_runs.py`)."""
    (life,) = lives_in(firmware.boat("marsh_tern"), "hand_over", 1, ("station",))["wheelhouse"]
    assert len(life) > 1000
    assert firmware.differences(life, "marsh_tern", "wheelhouse") == []


@pytest.mark.slow
@pytest.mark.parametrize("switch", BROKEN)
def test_a_broken_build_is_another_program(switch: str, firmware: Firmware) -> None:
    """A test of these tests, too: what is broken on purpose is seen."""
    trace = drawn(firmware, "marsh_tern", "wheelhouse", range(12), 200)
    assert firmware.differences(trace, "marsh_tern", "wheelhouse", f"BROKEN_{switch}")


# ------------------------------------------------------------------------------------------------ its own alarms

SECOND = 1_000_000_000
LEVER_FAULT = 8
"""Of the page's table of alarms."""


def alarms_in(answers: list[tuple[int, str]], own: int) -> list[tuple[int, int, int, int]]:
    """(when, which, state, number) of each alarm frame on the first bus."""
    found = []
    for now_ns, answer in answers:
        words = answer.split()
        for index, word in enumerate(words):
            if word == "q0" and code_of(int(words[index + 1], 16)) == ALARM.code:
                can_id = int(words[index + 1], 16)
                assert address_of(can_id) == own
                which, subject, state, _, number = ALARM.unpack(check(can_id, bytes.fromhex(words[index + 2])))
                assert subject == own
                found.append((now_ns, which, state, number))
    return found


def test_a_lever_fault_is_told_answered_and_gone(firmware: Firmware) -> None:
    """The page: a change is sent three times, 100 ms apart, then once a second; so is an answer; gone is told, then nothing."""
    boat = firmware.boat("marsh_tern")
    own, other = boat.boat.nodes["wheelhouse"].address, boat.boat.nodes["upper_deck"].address
    answer_id = ALARM_ANSWER.can_id(other)
    answers = [ALARM_ANSWER.pack(answer_id, counter, LEVER_FAULT, own, ACKNOWLEDGE, 1).hex() for counter in (7, 8)]
    good = [f"lever.{lever}{track} 500" for lever in (1, 2) for track in ("", "b")]
    calls = ["S 0 0", *(f"I 0 {each}" for each in [*good, "wheel 500"])]
    events = {
        SECOND: ["I {} lever.1 2"],
        4 * SECOND: [f"F {{}} 0 {answer_id:x} {data}" for data in answers],
        6 * SECOND: ["I {} lever.1 500"],
    }
    for now_ns in range(0, 10 * SECOND, 20_000_000):
        calls += [event.format(now_ns) for event in events.get(now_ns, [])]
        calls.append(f"D {now_ns}")
    answered = answers_of(firmware.program("marsh_tern", "wheelhouse"), calls)
    told = alarms_in([(int(call.split()[1]), answer) for call, answer in zip(calls, answered, strict=True)], own)
    assert {which for _, which, _, _ in told} == {LEVER_FAULT}
    states = [state for _, _, state, _ in told]
    assert states == sorted(states, key=[1, 2, 0].index)
    for state, began_ns in ((1, SECOND), (2, 4 * SECOND), (0, 6 * SECOND)):
        times_ns = [now_ns for now_ns, _, each, _ in told if each == state]
        patience_ns = 230_000_000 if state == 1 else 0  # out of range for less is no fault
        assert patience_ns <= times_ns[0] - began_ns <= patience_ns + 120_000_000
        assert all(80_000_000 <= later - one <= 140_000_000 for one, later in pairwise(times_ns[:3]))
    assert [state for _, _, state, _ in told].count(0) == 3
    assert {number for *_, number in told} == {1}


def test_its_heartbeat_under_another_name_is_told(firmware: Firmware) -> None:
    boat = firmware.boat("marsh_tern")
    own = boat.boat.nodes["wheelhouse"].address
    can_id = HEARTBEAT.can_id(own)
    beat = HEARTBEAT.pack(can_id, 5, NODE_WORKING, 0, 1, 2, 3).hex()
    calls = ["S 0 0", *(f"I 0 lever.{lever}{track} 500" for lever in (1, 2) for track in ("", "b")), "I 0 wheel 500"]
    for now_ns in range(0, 2 * SECOND, 20_000_000):
        calls += [f"F {now_ns} 0 {can_id:x} {beat}"] if now_ns == SECOND else []
        calls.append(f"D {now_ns}")
    answered = answers_of(firmware.program("marsh_tern", "wheelhouse"), calls)
    told = alarms_in([(int(call.split()[1]), answer) for call, answer in zip(calls, answered, strict=True)], own)
    assert {(which, state) for _, which, state, _ in told} == {(9, 1)}
