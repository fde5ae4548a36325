"""Stimuli that ask nothing of machinery: does the device live, start, and leave alone what is not for it?"""

import itertools

from busim import bench_labels as labels
from busim.bench.stage import Ask, Play, Stage
from busim.events import bits
from busim.protocol.catalogue import BENCH, HEARTBEAT
from busim.protocol.values import BENCH_ADDRESS
from busim.units import MS, SECOND


def heartbeats(stage: Stage) -> Play:
    stage.report.beats_ns.clear()
    yield 3 * SECOND
    beats, timing = stage.report.beats_ns, stage.live.plan.timing
    if len(beats) < 2:
        stage.failed(labels.NO_HEARTBEATS)
        return
    gap_ns = max(after - before for before, after in itertools.pairwise(beats))
    stage.measure(labels.LONGEST_GAP, round(gap_ns / MS), timing.heartbeat_missing_ms)
    own = (stage.live.plan.helm_fingerprint, stage.live.plan.lighting_fingerprint)
    said = stage.report.fingerprints
    if said[0] != own[0]:
        stage.failed(labels.OTHER_FINGERPRINT.format(said=said[0], own=own[0]))
    else:
        stage.passed(labels.SAME_FINGERPRINT.format(own=own[0]))


def start_up(stage: Stage) -> Play:
    report = stage.report
    report.identity = None
    report.beats_ns.clear()
    frames = report.frames
    yield from supply(stage, 0)
    yield 1000 * MS
    if report.frames > frames + 20:
        stage.undecided(labels.SUPPLY_STAYED)
        return
    report.beats_ns.clear()
    yield from supply(stage, 1)
    yield 4 * SECOND
    if report.identity is None:
        stage.failed(labels.NO_IDENTITY)
    elif not report.beats_ns:
        stage.failed(labels.NO_HEARTBEATS)
    elif stage.drive is not None and (report.station or report.gear != bits.NEUTRAL):
        stage.failed(labels.WOKE_WRONG)
    else:
        stage.passed(labels.WOKE.format(version=".".join(str(part) for part in report.identity[2:5])))


def supply(stage: Stage, on: int) -> Play:
    if stage.simulated:
        stage.live.world.plan_steps([(stage.now_ns, 0, "power", (stage.node, on))])
        yield 10 * MS
    else:
        yield Ask(labels.ASK_SUPPLY[on].format(node=stage.node))


def every_id(stage: Stage) -> Play:
    """Every id once, in random order and with random data; those that carry a CRC carry a wrong one."""
    before = (stage.report.station, stage.report.number)
    sensors = BENCH.can_id(BENCH_ADDRESS)  # what a bench build takes for its own sensors
    ids = [can_id for can_id in range(2048) if can_id & 0x3F != stage.address and can_id != sensors]
    stage.random.shuffle(ids)
    stage.report.beats_ns.clear()
    sent = 0
    for can_id in ids:
        data = stage.random.randbytes(8)
        if can_id >> 6 < 16 and bits.sound(can_id, data):
            data = bytes([data[0] ^ 1]) + data[1:]
        sent += stage.say(can_id, data)
        yield MS
    yield 300 * MS
    yield from left_alone(stage, before, labels.EVERY_ID.format(sent=sent))


def left_alone(stage: Stage, before: tuple[int, int], what: str) -> Play:
    report = stage.report
    yield 200 * MS
    if stage.drive is not None and (report.gear != bits.NEUTRAL or report.throttle > 20):
        stage.failed(f"{what}: {labels.IT_MOVED}")
    elif (report.station, report.number) != before:
        stage.failed(f"{what}: {labels.IT_OBEYS.format(station=report.station, number=report.number)}")
    elif not report.beats_ns:
        stage.failed(f"{what}: {labels.NO_HEARTBEATS}")
    else:
        stage.passed(what)


def full_load(stage: Stage) -> Play:
    """The bus is kept full with the least urgent ids: what matters still gets through, and the device keeps its times."""
    stage.report.beats_ns.clear()
    controller = stage.voice.controller
    for step in range(2000):
        while len(controller.pending) < 16:
            if not stage.say(0x7A0 | step & 0xF, stage.random.randbytes(8)):
                break
        yield MS
    beats = stage.report.beats_ns
    gap_ns = max((after - before for before, after in itertools.pairwise(beats)), default=2 * SECOND)
    stage.measure(labels.GAP_UNDER_LOAD, round(gap_ns / MS), stage.live.plan.timing.heartbeat_missing_ms)


def second_sender(stage: Stage) -> Play:
    """Another node's heartbeats under the device's own address."""
    before = (stage.report.station, stage.report.number)
    can_id = HEARTBEAT.can_id(stage.address)
    own = (1, 0, stage.live.plan.helm_fingerprint, stage.live.plan.lighting_fingerprint, 0)
    for counter in range(100, 120):
        stage.say(can_id, HEARTBEAT.pack(can_id, counter, *own))
        yield 50 * MS
    stage.report.beats_ns.clear()
    yield SECOND
    yield from left_alone(stage, before, labels.SECOND_SENDER)
