"""Stimuli that ask nothing of machinery: does the device live, start, and leave alone what is not for it?"""

import itertools
from collections.abc import Generator
from typing import Final

from busim import bench_labels as labels
from busim.bench.hand_acts import Moment, between_ms, cut_moment, given_moment
from busim.bench.observer import OBSERVER_ID
from busim.bench.stage import Ask, Play, Stage
from busim.events import bits
from busim.protocol.catalogue import BENCH, HEARTBEAT
from busim.protocol.values import BENCH_ADDRESS
from busim.units import MS, SECOND

SURELY_SILENT_NS: Final = 500 * MS
PATIENCE_NS: Final = 5 * SECOND
"""After the key was pressed: who pressed it too early has so long left."""


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
    cut = yield from supply_off(stage)
    if cut is None:
        stage.undecided(labels.SUPPLY_STAYED)
        return
    yield 1000 * MS
    report.identity = None
    report.beats_ns.clear()
    given = yield from supply_on(stage)
    yield 4 * SECOND
    if report.identity is None:
        stage.failed(labels.NO_IDENTITY)
    elif not report.beats_ns:
        stage.failed(labels.NO_HEARTBEATS)
    elif stage.drive is not None and (report.station or report.gear != bits.NEUTRAL):
        stage.failed(labels.WOKE_WRONG)
    else:
        words = labels.WOKE.format(version=".".join(str(part) for part in report.identity[2:5]))
        if given is not None and report.woke_ns is not None:
            least, most = between_ms(given, Moment(report.woke_ns, report.woke_ns), stage.uncertainty_ms)
            words += labels.WOKE_AFTER.format(least=least, most=most)
        stage.passed(words)


def supply_off(stage: Stage) -> Generator[int | Ask, str, Moment | None]:
    """The device's supply goes, by the simulation or by a hand. Gives when that was; None where it stayed."""
    if stage.simulated:
        at_ns = stage.now_ns
        stage.live.world.plan_steps([(at_ns, 0, "power", (stage.node, 0))])
        yield 10 * MS
        return Moment(at_ns, at_ns)
    heard_ns = stage.report.heard_ns
    gap_ns = max((after - before for before, after in itertools.pairwise(heard_ns)), default=SECOND)
    stage.supply_off = True
    yield Ask(labels.ASK_SUPPLY[0].format(node=stage.node))
    asked_ns, answered_ns = stage.asked_ns, stage.answered_ns
    while stage.now_ns - stage.report.heard_ns[-1] < max(SURELY_SILENT_NS, 2 * gap_ns):
        if stage.now_ns - answered_ns > PATIENCE_NS:
            stage.supply_off = False
            return None
        yield 20 * MS
    return cut_moment(asked_ns, answered_ns, stage.report.heard_ns[-1], gap_ns)


def supply_on(stage: Stage) -> Generator[int | Ask, str, Moment | None]:
    """It comes back, and the device is heard again, for which 4 s are given. Gives when it came; None where that is not known."""
    stage.report.woke_ns = None
    if stage.simulated:
        at_ns = stage.now_ns
        stage.live.world.plan_steps([(at_ns, 0, "power", (stage.node, 1))])
        yield 10 * MS
        return Moment(at_ns, at_ns)
    yield Ask(labels.ASK_SUPPLY[1].format(node=stage.node))
    asked_ns, answered_ns = stage.asked_ns, stage.answered_ns
    waited_ns = 0
    while stage.report.woke_ns is None and waited_ns < 4 * SECOND:
        yield 20 * MS
        waited_ns += 20 * MS
    stage.supply_off = False
    return None if stage.report.woke_ns is None else given_moment(asked_ns, answered_ns, stage.report.woke_ns)


def every_id(stage: Stage) -> Play:
    """Every id once, in random order and with random data; those that carry a CRC carry a wrong one."""
    before = (stage.report.station, stage.report.number)
    sensors = BENCH.can_id(BENCH_ADDRESS)  # what a bench build takes for its own sensors
    ids = [can_id for can_id in range(2048) if can_id & 0x3F != stage.address and can_id not in (sensors, OBSERVER_ID)]
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
