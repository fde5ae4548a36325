"""Frames and traces worked out by hand from the written page: against the exported C, and the traces against busim's own nodes.

(The frames against busim's codec: `test_protocol_by_hand`.)
"""

from collections.abc import Iterator

import pytest
from crccheck.crc import Crc8Autosar  # type: ignore[import-untyped]

from busim.boat.load import LoadedBoat, load_boat
from busim.boat.shipped import shipped_folder
from busim.protocol.catalogue import MESSAGES
from busim.protocol.codec import INVALID, check, counter_of
from busim.protocol.counter import ACCEPTED, CounterWatch, PairWatch
from busim.protocol.counter import DUPLICATE as SAME
from busim.protocol.tables import DRIVE_TABLE
from busim.units import MS
from nodes.watches import HeartbeatWatch

from . import hand_made_frames as hand
from .c_driver import CDriver
from .drive_rig import DriveRig
from .hand_made_traces import (
    CONTROL_TRACES,
    COUNTER_TRACES,
    COUNTS,
    DUPLICATE,
    FAILS,
    HEARTBEAT_TRACES,
    LEVER_TRACE,
    NEUTRAL,
    PAIR_TRACES,
    REFUSED,
    Beat,
    Keep,
    Look,
    Wire,
)
from .worked_frames import WORKED, Worked

PLACES = {message.name: place for place, message in enumerate(MESSAGES)}
PORT_DRIVE, LEVER_OF_1 = 2, 0x081


@pytest.fixture(scope="session")
def marsh_tern() -> LoadedBoat:
    return load_boat(shipped_folder() / "marsh_tern")


def test_the_traces_were_worked_out_for_this_boat(marsh_tern: LoadedBoat) -> None:
    timing = marsh_tern.plan.timing
    assert (timing.max_gap, timing.control_timeout_ms, timing.heartbeat_missing_ms) == (3, 250, 350)
    assert marsh_tern.plan.drive_at(PORT_DRIVE).instance == 1
    assert {1, 3, 5} == set(marsh_tern.plan.drive_at(PORT_DRIVE).stations)


def test_the_crc_of_every_frame_of_a_trace_is_right_unless_it_is_said_to_be_spoiled() -> None:
    steps = [*(wire for trace in COUNTER_TRACES.values() for wire, _ in trace)]
    steps += [step for trace in CONTROL_TRACES.values() for _, step, _ in trace if isinstance(step, Wire)]
    steps += [step for _, step, _ in LEVER_TRACE if isinstance(step, Wire)]
    for wire in steps:
        data = bytes.fromhex(wire.data)
        right = len(data) == 8 and Crc8Autosar.calc(wire.can_id.to_bytes(2, "big") + data[1:]) == data[0]
        assert right != wire.spoiled, wire


# ------------------------------------------------------------------------------------------------ frames


def test_the_worked_frames_in_c(c_driver: CDriver) -> None:
    lines, expected = [], []
    for worked in WORKED:
        data = worked.data.replace(" ", "")
        values = " ".join(map(str, worked.raw))
        place = PLACES[worked.name]
        # What makes no sense is said, and not sent: one of these frames asks for a throttle and a gear that there are not.
        sound = not _asks_for_what_there_is_not(worked)
        lines += [f"unpack {place} {worked.can_id:03X} {data}", f"pack {place} {worked.address} {max(worked.counter, 0)} {values}"]
        expected += [f"{0 if sound else 4} {values}", f"0 {worked.can_id:03X} {data}" if sound else "4 000 "]
    assert dict(zip(lines, c_driver.ask(lines), strict=True)) == dict(zip(lines, expected, strict=True))


def _asks_for_what_there_is_not(worked: Worked) -> bool:
    """By the page: throttles go to 1000 permille, levers ask for gears 0 to 2."""
    return worked.name == "claim" and (worked.raw[3] > 1000 or worked.raw[4] == 3)


# ------------------------------------------------------------------------------------------------ counters


@pytest.mark.parametrize("what", COUNTER_TRACES)
def test_a_counter(what: str, c_driver: CDriver) -> None:
    trace = COUNTER_TRACES[what]
    expected = [verdict for _, verdict in trace]
    watch = CounterWatch(3)
    assert [_verdict(watch, wire) for wire, _ in trace] == expected
    lines = [f"counter {wire.can_id:03X} {wire.data.replace(' ', '')}" for wire, _ in trace]
    assert c_driver.ask(["counter start 3", *lines])[1:] == expected


def _verdict(watch: CounterWatch, wire: Wire) -> str:
    word = check(wire.can_id, bytes.fromhex(wire.data)) if wire.can_id == LEVER_OF_1 else INVALID
    return FAILS if word == INVALID else _words(watch.judge(counter_of(word)))


def _words(verdict: int) -> str:
    return {ACCEPTED: COUNTS, SAME: DUPLICATE}.get(verdict, REFUSED)


@pytest.mark.parametrize("what", PAIR_TRACES)
def test_a_pair(what: str, c_driver: CDriver) -> None:
    trace = PAIR_TRACES[what]
    expected = [verdict for *_, verdict in trace]
    pair = PairWatch(3, (0, 1), 250)
    assert [_words(pair.judge(counter, bus, at_ms * MS)) for at_ms, bus, counter, _ in trace] == expected
    lines = [f"pair {at_ms} {bus} {counter}" for at_ms, bus, counter, _ in trace]
    assert c_driver.ask(["pair start 3 3 250", *lines])[1:] == expected


# ------------------------------------------------------------------------------------------------ heartbeats


@pytest.mark.parametrize("what", HEARTBEAT_TRACES)
def test_a_heartbeat(what: str, marsh_tern: LoadedBoat, c_driver: CDriver) -> None:
    trace = HEARTBEAT_TRACES[what]
    ours = marsh_tern.plan.helm_fingerprint
    watch = HeartbeatWatch(CounterWatch(3))
    lines = ["beat start 1"]
    for at_ms, step, expected in trace:
        line = f"beat {at_ms}"
        if isinstance(step, Beat):
            can_id, data = _beat_frame(step, ours)
            watch.take(at_ms * MS, 0, can_id, data, ours)
            line += f" 0 {can_id:03X} {data.hex()}"
        lines.append(line)
        fresh = at_ms * MS - watch.heard_ns < 350 * MS
        assert ("good" if watch.good(at_ms * MS, 350 * MS) else "other boat" if fresh else "missing") == expected, at_ms
    assert c_driver.ask(lines)[1:] == [expected for _, _, expected in trace]


def _beat_frame(beat: Beat, ours: int) -> tuple[int, bytes]:
    data = hand.heartbeat(beat.station, beat.counter, ours if beat.ours else ours ^ 0x0100)
    return hand.id_of(hand.HEARTBEAT, beat.station), data


# ------------------------------------------------------------------------------------------------ control

Heard = tuple[int, int, bytes]
"""(bus, id, data)."""


def _frames(at_ms: int, step: Wire | Beat | Look | Keep, ours: int, since_ms: int) -> Iterator[tuple[int, Heard | None]]:
    """(at_ms, frame) of one step; no frame where somebody looks."""
    if isinstance(step, Wire):
        yield at_ms, (step.bus, step.can_id, bytes.fromhex(step.data))
    elif isinstance(step, Beat):
        yield at_ms, (0, *_beat_frame(step, ours))
    elif isinstance(step, Look):
        yield at_ms, None
    else:
        for place, moment_ms in enumerate(range(since_ms + 20, at_ms, 20)):
            counter = step.first + place
            yield moment_ms, (0, *_beat_frame(Beat(step.station, counter + 2), ours))
            yield moment_ms, (0, LEVER_OF_1, hand.lever(step.station, counter, step.number, NEUTRAL))


def _line(at_ms: int, heard: Heard | None) -> str:
    return f"drive {at_ms}" + (f" {heard[0]} {heard[1]:03X} {heard[2].hex()}" if heard is not None else "")


class Obeying(DriveRig):
    """Our own drive, hearing a trace."""

    def hear(self, at_ms: int, heard: Heard | None) -> None:
        self.run_to(max(at_ms * MS - (heard is not None), self.now_ns))
        self.now_ns = at_ms * MS
        if heard is not None:
            bus, can_id, data = heard
            if (bus, can_id) in self.drive.receives():
                self.frame(can_id, data, bus)

    def obeys(self) -> tuple[int, int]:
        return (self.drive.obeyed, self.drive.number) if self.drive.obeyed else (0, 0)


@pytest.mark.parametrize("what", CONTROL_TRACES)
def test_who_is_in_control(what: str, marsh_tern: LoadedBoat, c_driver: CDriver) -> None:
    ours = marsh_tern.plan.helm_fingerprint
    rig = Obeying(marsh_tern.plan, PORT_DRIVE)
    rig.wake()
    lines, expectations = ["drive start"], []
    for at_ms, step, expected in CONTROL_TRACES[what]:
        for moment_ms, heard in _frames(at_ms, step, ours, at_ms):
            rig.hear(moment_ms, heard)
            lines.append(_line(moment_ms, heard))
            expectations.append(expected)
        assert rig.obeys() == expected, at_ms
    said = [tuple(map(int, answer.split()[:2])) for answer in c_driver.ask(lines)[1:]]
    assert said == expectations


def test_one_to_reduce_two_to_add(marsh_tern: LoadedBoat, c_driver: CDriver) -> None:
    ours = marsh_tern.plan.helm_fingerprint
    rig = Obeying(marsh_tern.plan, PORT_DRIVE)
    rig.wake()
    lines, expectations = ["drive start"], []
    since_ms = 0
    for at_ms, step, expected in LEVER_TRACE:
        for moment_ms, heard in _frames(at_ms, step, ours, since_ms):
            rig.hear(moment_ms, heard)
            lines.append(_line(moment_ms, heard))
            expectations.append(expected)
        since_ms = at_ms
        gear, throttle = _asked(rig)
        assert gear == expected[0], at_ms
        if _state(rig) == "engaging":
            # Our drive gives no throttle before the gear is in.
            assert throttle == 0
            rig.gear_is(gear)
        else:
            assert throttle == expected[1], at_ms
    assert [tuple(map(int, answer.split()[2:])) for answer in c_driver.ask(lines)[1:]] == expectations


def _state(rig: DriveRig) -> str:
    return DRIVE_TABLE.states[rig.drive.state][0]


def _asked(rig: DriveRig) -> tuple[int, int]:
    """(gear, throttle) our drive follows. With the lever back in neutral the gear comes out once the throttle is at its stop."""
    gear = rig.drive.asked_gear if _state(rig) in ("engaging", "engaged") else NEUTRAL
    return gear, rig.outputs["throttle"]
