"""Stimuli with a drive's gear in, and what leads up to it: every way in which the station in control may be lost or spoilt."""

from collections.abc import Callable

from busim import bench_labels as labels
from busim.bench.hand_acts import Moment
from busim.bench.harmless import supply_off, supply_on
from busim.bench.observer import AT_STOP, OBSERVER_MS
from busim.bench.stage import Ask, Play, Stage
from busim.bus.controller import Controller
from busim.events import bits
from busim.host.inputs import Constant
from busim.host.tamper import Tamper
from busim.protocol.catalogue import LEVER
from busim.units import MS, SECOND

NOTICE_MS = 30
"""For a program's own pace, and the way of its report."""
FASTER_RPM = 200
"""Above the speed a gear may go in at; less than half as much again, which a drive may doubt."""


class Withheld(Tamper):
    """A station's frames of one code do not leave it."""

    __slots__ = ("code",)

    def __init__(self, code: int) -> None:
        self.code = code

    def release(
        self, controller: Controller, ready_ns: int, can_id: int, data: bytes, drop_after_ns: int, overwrite: bool
    ) -> None:
        if can_id >> 6 != self.code:
            controller.submit(ready_ns, can_id, data, drop_after_ns, overwrite)


class SpoiltLever(Tamper):
    """A station's lever frames, and no other, have a wrong CRC: their last bit, which no field has, is turned. One of a throttle
    would be held back by the cap, and a heartbeat that is refused as well would hide who does not look at a lever's CRC."""

    __slots__ = ()

    def change(self, can_id: int, data: bytes) -> bytes:
        return data if can_id >> 6 != bits.CODE_LEVER else data[:7] + bytes([data[7] ^ 1])


class StaleLever(Tamper):
    """A station's lever frames stop counting: each is sent as the last one was, as out of a mailbox nobody fills any more."""

    __slots__ = ("last",)

    def __init__(self) -> None:
        self.last = b""

    def change(self, can_id: int, data: bytes) -> bytes:
        if can_id >> 6 != bits.CODE_LEVER:
            return data
        self.last = self.last or data
        return self.last


def in_gear(stage: Stage) -> "Play":
    """Afterwards the device says that its gear is in, ahead; else it is told why not, and `stage.ready` is false."""
    station = stage.stations()[0]
    yield from stage.take(station)
    stage.ready = stage.report.gear == bits.AHEAD
    if not stage.ready:
        stage.undecided(labels.NOT_IN_GEAR.format(gear=stage.report.gear, station=stage.report.station))


def until_neutral(stage: Stage, from_ns: int, what: str, extra_ms: int = 0) -> Play:
    limit_ms = stage.limits.loss_to_neutral_ms + extra_ms
    report = stage.report
    report.gear_out_ns = report.switch_ns = report.at_stop_ns = None
    stage.observer.out_ns = stage.observer.at_stop_ns = None
    seen = stage.observer.throttle(stage.now_ns)
    off_its_stop = (report.throttle if seen is None else seen) > AT_STOP
    waited = 0
    while (report.switch_ns if stage.witness else report.gear_out_ns) is None and waited < limit_ms + 1500:
        yield 20 * MS
        waited += 20
    out_ns = report.switch_ns if stage.witness else report.gear_out_ns
    if out_ns is None:
        stage.failed(f"{what}: {labels.STILL_IN}")
    else:
        reports_ms = stage.witness_ms if stage.witness else stage.live.plan.timing.drive_ms
        words = f"{what}, {stage.rests_on}"
        stage.measure(words, round((out_ns - from_ns) / MS), limit_ms, reports_ms=reports_ms, independent=stage.witness)
    if off_its_stop and "drive.loss_to_idle" in stage.requirements:
        _idle(stage, from_ns, seen is not None, extra_ms)


def _idle(stage: Stage, from_ns: int, observed: bool, extra_ms: int) -> None:
    """The throttle, which has to be at its stop before the gear may come out."""
    stop_ns = stage.observer.at_stop_ns if observed else stage.report.at_stop_ns
    words = labels.THROTTLE_AT_STOP.format(rests_on=labels.RESTS_ON_OBSERVER if observed else labels.RESTS_ON_DEVICE)
    if stop_ns is None:
        stage.failed(words)
        return
    reports_ms = OBSERVER_MS if observed else stage.live.plan.timing.drive_ms
    limit_ms = stage.limits.loss_to_idle_ms + extra_ms
    stage.measure(words, round((stop_ns - from_ns) / MS), limit_ms, reports_ms=reports_ms, independent=observed)


def let_go(stage: Stage, from_ns: int, timeout_ms: int) -> None:
    """When it said that it obeys nobody any more: a gear may come out in time although that was noticed late."""
    if stage.report.let_go_ns is not None:
        timing = stage.live.plan.timing
        after_ms = round((stage.report.let_go_ns - from_ns) / MS)
        # Said at once; the last lever frame that counts may be one that was on its way.
        stage.measure(labels.LET_GO, after_ms, timeout_ms + timing.lever_ms + NOTICE_MS, reports_ms=1)


def take_and_go(stage: Stage) -> Play:
    report = stage.report
    yield from stage.take(stage.stations()[0])
    if stage.beats_alone():
        stage.failed(labels.BEATS_ALONE)
        return
    if report.gear != bits.AHEAD:
        stage.failed(labels.DID_NOT_GO.format(gear=report.gear, station=report.station))
        return
    stage.lever(stage.stations()[0], 0, neutral=True)
    yield 4 * SECOND
    if stage.beats_alone():
        stage.failed(labels.BEATS_ALONE)
    elif report.gear == bits.NEUTRAL:
        stage.passed(labels.WENT_AND_CAME)
    else:
        stage.failed(labels.STILL_IN)


def fast_idle(stage: Stage) -> Play:
    """The engine turns faster than a gear may go in at, as it seems to the device, and the lever asks for one."""
    assert stage.drive is not None
    host, station = stage.live.world.hosts[stage.node], stage.stations()[0]
    host.inputs["rpm"].replaced = Constant(stage.drive.shift_rpm + FASTER_RPM)
    host.wake(stage.now_ns, "rpm")
    try:
        yield from stage.take(station)
        if stage.report.station == 0:
            stage.undecided(labels.NOT_TAKEN)
        elif stage.report.asked_gear != bits.NEUTRAL or stage.report.gear != bits.NEUTRAL:
            stage.failed(labels.WENT_IN_FAST.format(rpm=stage.drive.shift_rpm + FASTER_RPM, limit=stage.drive.shift_rpm))
        else:
            stage.passed(labels.STAYED_OUT_FAST.format(rpm=stage.drive.shift_rpm + FASTER_RPM))
        stage.lever(station, 0, neutral=True)
        yield 500 * MS
    finally:
        host.inputs["rpm"].replaced = None
        host.wake(stage.now_ns, "rpm")


def old_holder(stage: Stage) -> Play:
    """Another station takes over with its lever in neutral; that of the one before stays ahead."""
    yield from in_gear(stage)
    if not stage.ready:
        return
    _one, other = stage.stations()[:2]
    stage.lever(other, 0, neutral=True)
    yield 300 * MS
    stage.key(other, "take")
    yield 3 * SECOND
    followed = False
    for _ in range(100):
        yield 20 * MS
        followed = followed or (stage.report.gear, stage.report.asked_gear) != (bits.NEUTRAL, bits.NEUTRAL)
    address = stage.boat.nodes[stage.boat.stations[other].node].address
    if stage.report.station != address:
        stage.undecided(labels.NOT_TAKEN)
    elif followed:
        stage.failed(labels.FOLLOWS_OLD)
    else:
        stage.passed(labels.LEFT_OLD)


def withheld(code: int, what: str, extra: Callable[[Stage], int]) -> Callable[[Stage], Play]:
    return tampered("withheld", lambda: Withheld(code), what, extra)


def tampered(
    fault: str, tamper: Callable[[], Tamper], what: str, extra: Callable[[Stage], int]
) -> Callable[[Stage], Play]:
    """What the station in control sends is spoilt, in a way that counts as its loss."""

    def play(stage: Stage) -> Play:
        yield from in_gear(stage)
        if not stage.ready:
            return
        node = stage.boat.stations[stage.stations()[0]].node
        host, journal = stage.live.world.hosts[node], stage.live.world.journal
        host.tamper = tamper()
        journal.event(stage.now_ns, "fault", fault, node, 1)
        from_ns, stage.report.let_go_ns = stage.now_ns, None
        try:
            yield from until_neutral(stage, from_ns, what, extra(stage))
            let_go(stage, from_ns, extra(stage) or stage.live.plan.timing.control_timeout_ms)
        finally:
            host.tamper = None
            journal.event(stage.now_ns, "fault", fault, node, 0)
        if stage.report.gear == bits.NEUTRAL:
            yield SECOND  # the station is sound again, and its lever still ahead: nothing may come of it
            if (stage.report.gear, stage.report.asked_gear) != (bits.NEUTRAL, bits.NEUTRAL):
                stage.failed(labels.WENT_IN_AGAIN)

    return play


def broken(fault: str, what: str, extra: Callable[[Stage], int]) -> Callable[[Stage], Play]:
    """A fault of the station in control that counts as its loss."""

    def play(stage: Stage) -> Play:
        yield from in_gear(stage)
        if stage.ready:
            stage.break_(fault, node=stage.boat.stations[stage.stations()[0]].node)
            yield from until_neutral(stage, stage.now_ns, what, extra(stage))

    return play


def none(stage: Stage) -> int:
    return 0


def heartbeat_extra(stage: Stage) -> int:
    """A loss that only the heartbeat tells of is noticed so much later."""
    return stage.live.plan.timing.heartbeat_missing_ms


def replayed(stage: Stage) -> Play:
    """What the station in control said while its lever was ahead is said again, for ever, after it was moved to neutral."""
    yield from in_gear(stage)
    if not stage.ready:
        return
    stage.break_("replayed", node=stage.boat.stations[stage.stations()[0]].node)
    yield 500 * MS
    stage.lever(stage.stations()[0], 0, neutral=True)
    yield 3 * SECOND
    if stage.report.throttle > stage.cap:
        stage.failed(labels.IT_MOVED)
    else:
        stage.passed(labels.REPLAY_BORNE)


def forged(stage: Stage, gear: int, what: str) -> Play:
    """Sound lever frames of another station, with a number that is not in control."""
    yield from in_gear(stage)
    if not stage.ready:
        return
    _one, other = stage.stations()[:2]
    stage.break_("power_lost", node=stage.boat.stations[other].node)
    yield 100 * MS
    station, number = stage.report.station, stage.report.number
    can_id = LEVER.can_id(stage.boat.nodes[stage.boat.stations[other].node].address)
    for counter in range(60):
        stage.say(can_id, LEVER.pack(can_id, counter, (number - 1) % 65536, gear, 0, gear, 0, 0, 0))
        yield 20 * MS
    if (stage.report.station, stage.report.number) != (station, number) or stage.report.asked_gear != bits.AHEAD:
        stage.failed(f"{what}: {labels.IT_OBEYS.format(station=stage.report.station, number=stage.report.number)}")
    else:
        stage.passed(what)


def race(stage: Stage) -> Play:
    """Two stations take control in one instant."""
    one, other = stage.stations()[:2]
    for station in (one, other):
        stage.lever(station, 0, neutral=True)
    yield 500 * MS
    for station in (one, other):
        stage.key(station, "take")
    yield 3 * SECOND
    addresses = [stage.boat.nodes[stage.boat.stations[station].node].address for station in (one, other)]
    if stage.report.station in (0, *addresses) and stage.report.gear == bits.NEUTRAL:
        stage.passed(labels.RACED.format(station=stage.report.station))
    else:
        stage.failed(labels.IT_OBEYS.format(station=stage.report.station, number=stage.report.number))


def neutral_now(stage: Stage) -> Play:
    yield from in_gear(stage)
    if stage.ready:
        stage.key(stage.stations()[-1], "neutral_now", 500)
        yield from until_neutral(stage, stage.now_ns, labels.NEUTRAL_NOW_PRESSED)


def supply_cut(stage: Stage) -> Play:
    """The device's own supply goes while its gear is in. It says nothing any more: that the gear came out, or the engine was
    stopped, and when, the witness says, or a person who looks at it."""
    yield from in_gear(stage)
    if not stage.ready:
        return
    stage.report.switch_ns = stage.report.fired_ns = stage.observer.out_ns = None
    cut = yield from supply_off(stage)
    if cut is None:
        stage.undecided(labels.SUPPLY_STAYED)
        return
    cutouts = [each.cutout_ms for each in stage.live.plan.cutouts if stage.drive and each.instance == stage.drive.instance]
    limit_ms = stage.limits.loss_to_neutral_ms + max(cutouts, default=0)
    if stage.simulated:
        yield from _looked_at(stage, cut, limit_ms)
    elif stage.witness:
        yield from _witnessed(stage, cut, limit_ms)
    else:
        yield from _asked(stage, cut, limit_ms)
    yield from supply_on(stage)
    yield 4 * SECOND


def _looked_at(stage: Stage, cut: Moment, limit_ms: int) -> Play:
    """The machinery itself, every 10 ms."""
    drive = next(name for name, each in stage.boat.drives.items() if each.node == stage.node)
    plant = stage.live.world.plant
    before_ns = stage.now_ns
    while plant.drives[plant.index_of(drive)].gear:
        if stage.now_ns - cut.latest_ns > (limit_ms + 1500) * MS:
            stage.failed(labels.SUPPLY_CUT[False])
            return
        before_ns = stage.now_ns
        yield 10 * MS
    stage.measure_between(labels.SUPPLY_CUT[True], cut, Moment(before_ns, stage.now_ns), limit_ms)


def _witnessed(stage: Stage, cut: Moment, limit_ms: int) -> Play:
    """The drive's cutout is another node: its gear switch, or that it stopped the engine."""
    report = stage.report
    while report.switch_ns is None and report.fired_ns is None:
        if stage.now_ns - cut.latest_ns > (limit_ms + 1500) * MS:
            stage.failed(labels.SUPPLY_CUT[False])
            return
        yield 20 * MS
    said_ns = report.switch_ns if report.switch_ns is not None else report.fired_ns
    assert said_ns is not None
    words = labels.WITNESSED[report.switch_ns is not None].format(ms=cut.width_ms)
    stage.measure_between(words, cut, Moment(said_ns - stage.witness_ms * MS, said_ns), limit_ms, independent=True)


def _asked(stage: Stage, cut: Moment, limit_ms: int) -> Play:
    """A person looks at it, and says so as soon as it is out: some time between the cut and the key."""
    answer = yield Ask(labels.ASK_GEAR_OUT)
    if answer.strip().lower() not in ("yes", "y"):
        stage.failed(labels.SUPPLY_CUT[False])
        return
    stage.passed(labels.SUPPLY_CUT[True])
    stage.measure_between(labels.SEEN_OUT.format(ms=cut.width_ms), cut, Moment(cut.earliest_ns, stage.answered_ns), limit_ms)
