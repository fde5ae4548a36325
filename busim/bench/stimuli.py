"""The stimuli, from harmless to violent: each a small entry that says what it needs, what it does, and what it exercises.

`play` is a generator over a `Stage`. To add one, write it and give it its row in `STIMULI`.
"""

import itertools
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from busim import bench_labels as labels
from busim.bench.stage import Ask, Play, Stage
from busim.bus.controller import Controller
from busim.events import bits
from busim.host.tamper import Tamper
from busim.protocol.catalogue import BENCH, HEARTBEAT, LEVER
from busim.protocol.values import BENCH_ADDRESS
from busim.units import MS, SECOND

EVERY: Final = ("station", "drive", "rudder", "cutout", "panel", "zone_driver", "alarm", "navigation")
DRIVE: Final = ("drive",)
HOLDS_CDEG: Final = 200
"""A rudder that moves no further than this is held: half of what our rudder's program notices itself (4 degrees)."""

# What a stimulus may need.
MACHINERY: Final = "machinery"
"""Something that moves, real or simulated, reaches the device."""
TWO_STATIONS: Final = "two stations"
SUPPLY: Final = "supply"
"""The device's supply can be switched: by a hand, or by the simulation."""
HAND: Final = "a hand"


@dataclass(frozen=True)
class Stimulus:
    name: str
    words: str
    kinds: tuple[str, ...]
    needs: tuple[str, ...]
    requirements: tuple[str, ...]
    play: Callable[[Stage], Play]

    @property
    def moves(self) -> bool:
        """It may move machinery: nothing of the kind is done before all has been confirmed."""
        return MACHINERY in self.needs


# ------------------------------------------------------------------------------------------------ harmless


def _heartbeats(stage: Stage) -> Play:
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


def _start_up(stage: Stage) -> Play:
    report = stage.report
    report.identity = None
    report.beats_ns.clear()
    frames = report.frames
    yield from _supply(stage, 0)
    yield 1000 * MS
    if report.frames > frames + 20:
        stage.undecided(labels.SUPPLY_STAYED)
        return
    report.beats_ns.clear()
    yield from _supply(stage, 1)
    yield 4 * SECOND
    if report.identity is None:
        stage.failed(labels.NO_IDENTITY)
    elif not report.beats_ns:
        stage.failed(labels.NO_HEARTBEATS)
    elif stage.drive is not None and (report.station or report.gear != bits.NEUTRAL):
        stage.failed(labels.WOKE_WRONG)
    else:
        stage.passed(labels.WOKE.format(version=".".join(str(part) for part in report.identity[2:5])))


def _supply(stage: Stage, on: int) -> Play:
    if stage.simulated:
        stage.live.world.plan_steps([(stage.now_ns, 0, "power", (stage.node, on))])
        yield 10 * MS
    else:
        yield Ask(labels.ASK_SUPPLY[on].format(node=stage.node))


def _every_id(stage: Stage) -> Play:
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
    yield from _left_alone(stage, before, labels.EVERY_ID.format(sent=sent))


def _left_alone(stage: Stage, before: tuple[int, int], what: str) -> Play:
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


def _full_load(stage: Stage) -> Play:
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


def _second_sender(stage: Stage) -> Play:
    """Another node's heartbeats under the device's own address."""
    before = (stage.report.station, stage.report.number)
    can_id = HEARTBEAT.can_id(stage.address)
    own = (1, 0, stage.live.plan.helm_fingerprint, stage.live.plan.lighting_fingerprint, 0)
    for counter in range(100, 120):
        stage.say(can_id, HEARTBEAT.pack(can_id, counter, *own))
        yield 50 * MS
    stage.report.beats_ns.clear()
    yield SECOND
    yield from _left_alone(stage, before, labels.SECOND_SENDER)


# ------------------------------------------------------------------------------------------------ with the gear in


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


def _in_gear(stage: Stage) -> "Play":
    """Afterwards the device says that its gear is in, ahead; else it is told why not, and `stage.ready` is false."""
    station = stage.stations()[0]
    yield from stage.take(station)
    stage.ready = stage.report.gear == bits.AHEAD
    if not stage.ready:
        stage.undecided(labels.NOT_IN_GEAR.format(gear=stage.report.gear, station=stage.report.station))


def _until_neutral(stage: Stage, from_ns: int, what: str, extra_ms: int = 0) -> Play:
    limit_ms = stage.limits.loss_to_neutral_ms + extra_ms
    stage.report.gear_out_ns = None
    waited = 0
    while stage.report.gear_out_ns is None and waited < limit_ms + 1500:
        yield 20 * MS
        waited += 20
    out_ns = stage.report.gear_out_ns
    if out_ns is None:
        stage.failed(f"{what}: {labels.STILL_IN}")
    else:
        stage.measure(what, round((out_ns - from_ns) / MS), limit_ms, reports_ms=stage.live.plan.timing.drive_ms)


def _take_and_go(stage: Stage) -> Play:
    yield from _in_gear(stage)
    if stage.ready:
        stage.lever(stage.stations()[0], 0, neutral=True)
        yield 4 * SECOND
        if stage.report.gear == bits.NEUTRAL:
            stage.passed(labels.WENT_AND_CAME)
        else:
            stage.failed(labels.STILL_IN)


def _withheld(code: int, what: str, extra: Callable[[Stage], int]) -> Callable[[Stage], Play]:
    return _tampered("withheld", lambda: Withheld(code), what, extra)


def _tampered(
    fault: str, tamper: Callable[[], Tamper], what: str, extra: Callable[[Stage], int]
) -> Callable[[Stage], Play]:
    """What the station in control sends is spoilt, in a way that counts as its loss."""

    def play(stage: Stage) -> Play:
        yield from _in_gear(stage)
        if not stage.ready:
            return
        node = stage.boat.stations[stage.stations()[0]].node
        host, journal = stage.live.world.hosts[node], stage.live.world.journal
        host.tamper = tamper()
        journal.event(stage.now_ns, "fault", fault, node, 1)
        try:
            yield from _until_neutral(stage, stage.now_ns, what, extra(stage))
        finally:
            host.tamper = None
            journal.event(stage.now_ns, "fault", fault, node, 0)

    return play


def _broken(fault: str, what: str, extra: Callable[[Stage], int]) -> Callable[[Stage], Play]:
    """A fault of the station in control that counts as its loss."""

    def play(stage: Stage) -> Play:
        yield from _in_gear(stage)
        if stage.ready:
            stage.break_(fault, node=stage.boat.stations[stage.stations()[0]].node)
            yield from _until_neutral(stage, stage.now_ns, what, extra(stage))

    return play


def _none(stage: Stage) -> int:
    return 0


def _heartbeat_extra(stage: Stage) -> int:
    """A loss that only the heartbeat tells of is noticed so much later."""
    return stage.live.plan.timing.heartbeat_missing_ms


def _replayed(stage: Stage) -> Play:
    """What the station in control said while its lever was ahead is said again, for ever, after it was moved to neutral."""
    yield from _in_gear(stage)
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


def _forged(stage: Stage, gear: int, what: str) -> Play:
    """Sound lever frames of another station, with a number that is not in control."""
    yield from _in_gear(stage)
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


def _race(stage: Stage) -> Play:
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


def _neutral_now(stage: Stage) -> Play:
    yield from _in_gear(stage)
    if stage.ready:
        stage.key(stage.stations()[-1], "neutral_now", 500)
        yield from _until_neutral(stage, stage.now_ns, labels.NEUTRAL_NOW_PRESSED)


def _supply_cut(stage: Stage) -> Play:
    """The device's own supply goes while its gear is in. When it went is only known to half a second; that it ended in neutral,
    a person says: the device says nothing any more."""
    yield from _in_gear(stage)
    if not stage.ready:
        return
    yield from _supply(stage, 0)
    yield 3 * SECOND
    if stage.simulated:
        drive = next(name for name, each in stage.boat.drives.items() if each.node == stage.node)
        plant = stage.live.world.plant
        out = not plant.drives[plant.index_of(drive)].gear
    else:
        answer = yield Ask(labels.ASK_GEAR_OUT)
        out = answer.strip().lower() in ("yes", "y")
    (stage.passed if out else stage.failed)(labels.SUPPLY_CUT[out])
    yield from _supply(stage, 1)
    yield 4 * SECOND


def _rudder_holds(stage: Stage) -> Play:
    """The wheel of the station in control is turned a little, then the station falls silent."""
    station = next(name for name in stage.stations() if stage.boat.stations[name].steers)
    before = stage.report.angle_cdeg or 0
    stage.lever(station, 0, neutral=True)
    yield 300 * MS
    stage.key(station, "take")
    yield SECOND
    stage.wheel(station, 200)
    yield 3 * SECOND
    if abs((stage.report.angle_cdeg or 0) - before) < 100:
        stage.undecided(labels.RUDDER_STAYED_PUT)
        return
    stage.break_("power_lost", node=stage.boat.stations[station].node)
    yield SECOND
    held = stage.report.angle_cdeg or 0
    yield 3 * SECOND
    moved = abs((stage.report.angle_cdeg or 0) - held)
    (stage.passed if moved <= HOLDS_CDEG else stage.failed)(labels.RUDDER_HELD.format(cdeg=moved))


def _press(stage: Stage) -> Play:
    """A field of a panel that toggles one of its zones is touched."""
    zones = {name for name, zone in stage.boat.zones.items() if zone.node == stage.node}
    fields = [
        (panel, name)
        for panel, written in stage.boat.panels.items()
        if stage.bus in stage.boat.nodes[written.node].taps
        for name, control in next(iter(written.pages.values())).items()
        if control.does == "toggle" and zones & set(control.zones)
    ]
    if not fields:
        stage.not_exercised(labels.NO_CONTROL)
        return
    before = dict(stage.report.zones)
    stage.touch(*fields[0])
    yield 1500 * MS
    if not stage.report.zones:
        stage.failed(labels.ZONE_DARK)
    elif stage.report.zones == before:
        stage.failed(labels.ZONE_SILENT)
    else:
        stage.passed(labels.ZONE_ANSWERS)


STIMULI: Final = (
    Stimulus("heartbeats", "it says that it lives, and of which boat file it is", EVERY, (), ("alarm.shown",), _heartbeats),
    Stimulus("start_up", "its supply is switched off and on", EVERY, (SUPPLY,), ("drive.wake",), _start_up),
    Stimulus("every_id", "all 2,048 ids, in random order, with random data", EVERY, (), ("drive.refuse_bad_frame",), _every_id),
    Stimulus("full_load", "the bus kept full with the least urgent ids", EVERY, (), ("bus.helm_first",), _full_load),
    Stimulus("second_sender", "somebody else sends under its address", EVERY, (), ("bus.duplicate_address",), _second_sender),
    Stimulus("press", "a panel's field for one of its zones is touched", ("zone_driver",), (), ("light.press",), _press),
    Stimulus(
        "transfer_race", "two stations take control in one instant", DRIVE, (TWO_STATIONS,),
        ("station.one_in_control", "station.transfer"), _race,
    ),
    Stimulus(
        "take_and_go", "a station takes control, puts the gear in, and takes it out", DRIVE, (MACHINERY,),
        ("drive.engage_at_idle", "station.transfer"), _take_and_go,
    ),
    Stimulus("neutral_now", "neutral now is pressed with the gear in", DRIVE, (MACHINERY,), ("station.neutral_now",), _neutral_now),
    Stimulus(
        "old_number", "sound lever frames under an old number", DRIVE, (MACHINERY, TWO_STATIONS),
        ("station.one_in_control",), lambda stage: _forged(stage, bits.ASTERN, labels.OLD_NUMBER),
    ),
    Stimulus(
        "out_of_range", "lever frames that ask for a gear there is not", DRIVE, (MACHINERY, TWO_STATIONS),
        ("drive.refuse_bad_frame",), lambda stage: _forged(stage, 3, labels.OUT_OF_RANGE),
    ),
    Stimulus("replayed", "what the station said is said again", DRIVE, (MACHINERY,), ("drive.refuse_bad_frame",), _replayed),
    Stimulus(
        "bad_crc", "every lever frame of the station in control has a wrong CRC", DRIVE, (MACHINERY,),
        ("drive.refuse_bad_frame", "drive.loss_to_neutral", "drive.loss_to_idle"),
        _tampered("corrupted", SpoiltLever, labels.AFTER_BAD_CRC, _none),
    ),
    Stimulus(
        "other_fingerprint", "the station in control is of another boat file", DRIVE, (MACHINERY,),
        ("drive.loss_to_neutral",), _broken("other_boat_file", labels.AFTER_FINGERPRINT, _heartbeat_extra),
    ),
    Stimulus(
        "heartbeat_gone", "the station's heartbeats end, its levers go on", DRIVE, (MACHINERY,),
        ("drive.loss_to_neutral",), _withheld(bits.CODE_HEARTBEAT, labels.AFTER_HEARTBEATS, _heartbeat_extra),
    ),
    Stimulus(
        "lever_gone", "the station's lever frames end, its heartbeats go on", DRIVE, (MACHINERY,),
        ("drive.loss_to_neutral", "drive.loss_to_idle"), _withheld(bits.CODE_LEVER, labels.AFTER_LEVER, _none),
    ),
    Stimulus(
        "station_gone", "the station in control loses its supply", DRIVE, (MACHINERY,),
        ("drive.loss_to_neutral", "drive.loss_to_idle", "drive.rearm"), _broken("power_lost", labels.AFTER_STATION, _none),
    ),
    Stimulus(
        "rudder_holds", "the wheel is turned, then the station falls silent", ("rudder",), (MACHINERY,),
        ("rudder.hold",), _rudder_holds,
    ),
    Stimulus(
        "supply_cut", "the device's own supply goes with its gear in", DRIVE, (MACHINERY, SUPPLY),
        ("drive.self_loss",), _supply_cut,
    ),
)  # fmt: skip

BY_NAME: Final = {stimulus.name: stimulus for stimulus in STIMULI}
