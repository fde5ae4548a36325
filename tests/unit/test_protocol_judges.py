"""The positions and checks that judges have of their own, against the catalogue and codec the nodes run on."""

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from busim import seam
from busim.events import alarm_view, bits
from busim.protocol import alarms, values
from busim.protocol.catalogue import BY_NAME, LEVER
from busim.protocol.codec import INVALID, check
from nodes.member import KIND_NUMBERS

SIGNALS = {
    "NEUTRAL_NOW_PRESSED": "neutral_now.pressed",
    "CLAIM_NUMBER": "claim.number",
    "CLAIM_WANTED": "claim.wanted",
    "CLAIM_GEAR": {1: "claim.gear_1", 2: "claim.gear_2"},
    "CLAIM_WITHDRAWN": "claim.withdrawn",
    "LEVER_NUMBER": "lever.number",
    "LEVER_GEAR": {1: "lever.gear_1", 2: "lever.gear_2"},
    "LEVER_THROTTLE": {1: "lever.throttle_1", 2: "lever.throttle_2"},
    "LEVER_FAULT": "lever.lever_fault",
    "WHEEL_NUMBER": "wheel.number",
    "WHEEL_ANGLE": "wheel.angle_or_rate",
    "WHEEL_KIND": "wheel.kind",
    "WHEEL_FAULT": "wheel.wheel_fault",
    "OBEYS_STATION": "drive_obeys.station",
    "OBEYS_NUMBER": "drive_obeys.number",
    "OBEYS_ACTED_ON": "drive_obeys.acted_on",
    "OBEYS_ROW": "drive_obeys.row",
    "OBEYS_STATE": "drive_obeys.state",
    "OBEYS_CAUSE": "drive_obeys.cause",
    "STATE_ASKED_GEAR": "drive_state.asked_gear",
    "STATE_SENSED_GEAR": "drive_state.sensed_gear",
    "STATE_ASKED_THROTTLE_4": "drive_state.asked_throttle",
    "STATE_SENSED_THROTTLE_4": "drive_state.sensed_throttle",
    "STATE_SHIFT_10": "drive_state.shift_position",
    "STATE_RPM_8": "drive_state.rpm",
    "STATE_ENGINE": "drive_state.engine",
    "STATE_FAULT": "drive_state.fault",
    "CUTOUT_FIRED": "cutout_state.fired",
    "RUDDER_STATION": "rudder_state.station",
    "RUDDER_NUMBER": "rudder_state.number",
    "RUDDER_ASKED": "rudder_state.asked_angle",
    "RUDDER_SENSED": "rudder_state.sensed_angle",
    "RUDDER_FAULT": "rudder_state.fault",
    "HEARTBEAT_STATE": "heartbeat.state",
    "HEARTBEAT_CAUSE": "heartbeat.reset_cause",
    "HEARTBEAT_HELM": "heartbeat.helm_fingerprint",
    "HEARTBEAT_LIGHTING": "heartbeat.lighting_fingerprint",
    "PRESS_NUMBER": "press.number",
    "PRESS_ZONE": "press.zone",
    "PRESS_CONTROL": "press.control",
    "ZONE_MOVING": "zone_state.moving",
    "ZONE_NUMBER": "zone_state.zone",
    "ZONE_LEVEL": "zone_state.level",
    "CONDITION_CONDITION": "condition.condition",
    "CONDITION_NUMBER": "condition.number",
    "SCENE_NUMBER": "scene.scene",
    "SCENE_JOINING": "scene.joining",
    "ANSWER_WHICH": "alarm_answer.which",
    "ANSWER_RAISER": "alarm_answer.raiser",
    "ANSWER_ANSWER": "alarm_answer.answer",
    "ALARM_WHICH": "alarm.which",
    "ALARM_ABOUT": "alarm.subject",
    "ALARM_STATE": "alarm.state",
    "ALARM_PRIORITY": "alarm.priority",
    "NOTICE_WHICH": "notice.which",
    "NOTICE_SUBJECT": "notice.subject",
    "NOTICE_STATE": "notice.state",
}
COUNTER = "COUNTER"


def is_place(value: object) -> bool:
    return isinstance(value, tuple) and len(value) == 2 and all(isinstance(part, int) for part in value)


def places() -> dict[str, object]:
    """Every place in a frame that `bits` names."""
    named = {name: value for name, value in vars(bits).items() if name.isupper() and not name.startswith("_")}
    return {
        name: value
        for name, value in named.items()
        if is_place(value) or (isinstance(value, dict) and all(map(is_place, value.values())))
    }


def place_of(signal: str) -> tuple[int, int]:
    """(bits below it, mask), from the order of the message's signals."""
    message_name, signal_name = signal.split(".")
    message = BY_NAME[message_name]
    below = 48 if message.is_safety else 8 * message.length
    for row in message.signals:
        below -= row.bits
        if row.name == signal_name:
            return below, 2**row.bits - 1
    raise AssertionError(f"{message_name} has no {signal_name}")


def test_every_place_is_held_against_the_catalogue() -> None:
    assert set(places()) == {*SIGNALS, COUNTER}


@pytest.mark.parametrize("name", SIGNALS)
def test_places(name: str) -> None:
    signal = SIGNALS[name]
    if isinstance(signal, dict):
        assert places()[name] == {instance: place_of(each) for instance, each in signal.items()}
    else:
        assert places()[name] == place_of(signal)


def test_counter_is_byte_1() -> None:
    assert bits.field(int.from_bytes(bytes((0, 0xA5, 0, 0, 0, 0, 0, 0)), "big"), bits.COUNTER) == 0xA5


def test_messages_with_places_in_plain_frames_fill_8_bytes() -> None:
    """`field` counts from the end of an 8-byte frame."""
    assert BY_NAME["zone_state"].length == 8


def test_codes() -> None:
    codes = {name: value for name, value in vars(bits).items() if name.startswith("CODE_")}
    assert codes
    for name, code in codes.items():
        assert BY_NAME[name.removeprefix("CODE_").lower()].code == code


def test_numbers_of_alarms() -> None:
    for name in ("control_lost", "shift_fault", "throttle_fault", "sensor_fault", "steering_lost", "two_at_one_address",
                 "hears_nothing", "bus_lost_beyond", "node_lost", "lamp_or_fuse_failed"):  # fmt: skip
        assert getattr(bits, name.upper()) == alarms.BY_NAME[name].number
    assert alarms.BY_NAME["lever_fault"].number == bits.LEVER_FAULT_ALARM
    assert (bits.WARNING, bits.EMERGENCY, bits.ALARM_GONE) == (alarms.WARNING, alarms.EMERGENCY, alarms.GONE)


@pytest.mark.parametrize("part", ["which", "about", "state", "priority", "under"])
def test_places_in_a_line_of_a_list(part: str) -> None:
    """A line is no frame: an output's value, of which the judges know the places by themselves."""
    places = {name: (below, 2**width - 1) for name, below, width in alarms.LINE_BITS}
    assert getattr(alarm_view, f"LINE_{part.upper()}") == places[part]


def test_states_of_a_line() -> None:
    known = (alarm_view.LINE_RAISED, alarm_view.LINE_ACKNOWLEDGED, alarm_view.LINE_SILENCED, alarm_view.LINE_OVER)
    assert known == (alarms.RAISED, alarms.ACKNOWLEDGED, alarms.SILENCED, alarms.PUT_RIGHT)


def test_gears() -> None:
    assert (bits.NEUTRAL, bits.AHEAD, bits.ASTERN) == (values.NEUTRAL, values.AHEAD, values.ASTERN)


@settings(deadline=None)
@given(can_id=st.integers(0, 0x7FF), data=st.binary(max_size=9))
@example(can_id=0, data=b"")
def test_soundness_of_any_bytes(can_id: int, data: bytes) -> None:
    assert bits.sound(can_id, data) == (check(can_id, data) != INVALID)


@settings(deadline=None)
@given(can_id=st.integers(0, 0x7FF), data=st.binary(min_size=7, max_size=7))
def test_exactly_one_first_byte_is_sound_and_both_agree_on_it(can_id: int, data: bytes) -> None:
    frames = [bytes((first,)) + data for first in range(256)]
    sound = [frame for frame in frames if bits.sound(can_id, frame)]
    assert len(sound) == 1
    assert sound == [frame for frame in frames if check(can_id, frame) != INVALID]


@settings(deadline=None)
@given(number=st.integers(0, 0xFFFF), gear=st.integers(0, 3), throttle=st.integers(0, 1023), fault=st.integers(0, 1))
def test_judges_read_what_a_station_packs(number: int, gear: int, throttle: int, fault: int) -> None:
    can_id = LEVER.can_id(3)
    data = LEVER.pack(can_id, 200, number, 3 - gear, 1023 - throttle, gear, throttle, fault, 1 - fault)
    whole = int.from_bytes(data, "big")
    assert bits.sound(can_id, data)
    assert bits.field(whole, bits.COUNTER) == 200
    assert bits.field(whole, bits.LEVER_NUMBER) == number
    assert bits.field(whole, bits.LEVER_GEAR[1]) == 3 - gear
    assert bits.field(whole, bits.LEVER_THROTTLE[1]) == 1023 - throttle
    assert bits.field(whole, bits.LEVER_GEAR[2]) == gear
    assert bits.field(whole, bits.LEVER_THROTTLE[2]) == throttle
    assert bits.field(whole, bits.LEVER_FAULT) == fault


def test_wire_values_that_stand_elsewhere_too() -> None:
    causes = dict(values.RESET_CAUSES)
    assert causes[seam.POWER_ON] == "power on"
    assert causes[seam.EXTERNAL_RESET] == "reset line"
    assert causes[seam.WATCHDOG_RESET] == "watchdog"
    assert causes[seam.BROWN_OUT_RESET] == "brown-out"
    kinds = dict(values.NODE_KINDS)
    assert {kind.replace("_", " "): number for kind, number in KIND_NUMBERS.items()} == {
        words: number for number, words in kinds.items() if number
    }
