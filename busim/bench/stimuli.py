"""The stimuli, from harmless to violent: each a small entry that says what it needs, what it does, and what it exercises.

`play` is a generator over a `Stage`. To add one, write it and give it its row in `STIMULI`.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from busim import bench_labels as labels
from busim.bench.harmless import every_id, full_load, heartbeats, second_sender, start_up
from busim.bench.in_gear import (
    SpoiltLever,
    StaleLever,
    broken,
    fast_idle,
    forged,
    heartbeat_extra,
    neutral_now,
    none,
    old_holder,
    race,
    replayed,
    supply_cut,
    take_and_go,
    tampered,
    withheld,
)
from busim.bench.needs import FULL_BUS, MACHINERY, PLAYED, SUPPLY, TIMELY, TWO_STATIONS
from busim.bench.stage import Play, Stage
from busim.events import bits
from busim.units import MS, SECOND

EVERY: Final = ("station", "drive", "rudder", "cutout", "panel", "zone_driver", "alarm", "navigation")
DRIVE: Final = ("drive",)
HOLDS_CDEG: Final = 200
"""A rudder that moves no further than this is held: half of what our rudder's program notices itself (4 degrees)."""

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
    Stimulus("heartbeats", "it says that it lives, and of which boat file it is", EVERY, (), ("alarm.shown",), heartbeats),
    Stimulus("start_up", "its supply is switched off and on", EVERY, (SUPPLY,), ("drive.wake",), start_up),
    Stimulus("every_id", "all 2,048 ids, in random order, with random data", EVERY, (), ("drive.refuse_bad_frame",), every_id),
    Stimulus("full_load", "the bus kept full with the least urgent ids", EVERY, (TIMELY, FULL_BUS), ("bus.helm_first",), full_load),
    Stimulus("second_sender", "somebody else sends under its address", EVERY, (), ("bus.duplicate_address",), second_sender),
    Stimulus("press", "a panel's field for one of its zones is touched", ("zone_driver",), (), ("light.press",), _press),
    Stimulus(
        "transfer_race", "two stations take control in one instant", DRIVE, (TWO_STATIONS,),
        ("station.one_in_control", "station.transfer"), race,
    ),
    Stimulus(
        "take_and_go", "a station takes control, puts the gear in, and takes it out", DRIVE, (MACHINERY,),
        ("drive.engage_at_idle", "station.transfer", "drive.self_loss"), take_and_go,
    ),
    Stimulus(
        "fast_idle", "the engine turns too fast for a gear to go in, and the lever asks for one", DRIVE, (MACHINERY, PLAYED),
        ("drive.engage_at_idle",), fast_idle,
    ),
    Stimulus(
        "neutral_now", "neutral now is pressed with the gear in", DRIVE, (MACHINERY, TIMELY), ("station.neutral_now",), neutral_now,
    ),
    Stimulus(
        "old_number", "sound lever frames under an old number", DRIVE, (MACHINERY, TWO_STATIONS),
        ("station.one_in_control",), lambda stage: forged(stage, bits.ASTERN, labels.OLD_NUMBER),
    ),
    Stimulus(
        "out_of_range", "lever frames that ask for a gear there is not", DRIVE, (MACHINERY, TWO_STATIONS),
        ("drive.refuse_bad_frame",), lambda stage: forged(stage, 3, labels.OUT_OF_RANGE),
    ),
    Stimulus(
        "old_holder", "another station takes over, and the lever of the one before stays ahead", DRIVE, (MACHINERY, TWO_STATIONS),
        ("station.one_in_control",), old_holder,
    ),
    Stimulus("replayed", "what the station said is said again", DRIVE, (MACHINERY,), ("drive.refuse_bad_frame",), replayed),
    Stimulus(
        "bad_crc", "every lever frame of the station in control has a wrong CRC", DRIVE, (MACHINERY, TIMELY),
        ("drive.refuse_bad_frame", "drive.loss_to_neutral", "drive.loss_to_idle", "drive.rearm", "drive.loss_noticed"),
        tampered("corrupted", SpoiltLever, labels.AFTER_BAD_CRC, none),
    ),
    Stimulus(
        "stale", "the last lever frame of the station in control is sent again and again", DRIVE, (MACHINERY, TIMELY),
        ("drive.refuse_bad_frame", "drive.loss_to_neutral", "drive.loss_to_idle", "drive.rearm", "drive.loss_noticed"),
        tampered("stale_mailbox", StaleLever, labels.AFTER_LEVER, none),
    ),
    Stimulus(
        "other_fingerprint", "the station in control is of another boat file", DRIVE, (MACHINERY, TIMELY),
        ("drive.loss_to_neutral",), broken("other_boat_file", labels.AFTER_FINGERPRINT, heartbeat_extra),
    ),
    Stimulus(
        "heartbeat_gone", "the station's heartbeats end, its levers go on", DRIVE, (MACHINERY, TIMELY),
        ("drive.loss_to_neutral", "drive.rearm", "drive.loss_noticed"),
        withheld(bits.CODE_HEARTBEAT, labels.AFTER_HEARTBEATS, heartbeat_extra),
    ),
    Stimulus(
        "lever_gone", "the station's lever frames end, its heartbeats go on", DRIVE, (MACHINERY, TIMELY),
        ("drive.loss_to_neutral", "drive.loss_to_idle", "drive.rearm", "drive.loss_noticed"),
        withheld(bits.CODE_LEVER, labels.AFTER_LEVER, none),
    ),
    Stimulus(
        "station_gone", "the station in control loses its supply", DRIVE, (MACHINERY, TIMELY),
        ("drive.loss_to_neutral", "drive.loss_to_idle", "drive.rearm"), broken("power_lost", labels.AFTER_STATION, none),
    ),
    Stimulus(
        "rudder_holds", "the wheel is turned, then the station falls silent", ("rudder",), (MACHINERY,),
        ("rudder.hold", "rudder.follows"), _rudder_holds,
    ),
    Stimulus(
        "supply_cut", "the device's own supply goes with its gear in", DRIVE, (MACHINERY, SUPPLY, TIMELY),
        ("drive.self_loss",), supply_cut,
    ),
)  # fmt: skip

BY_NAME: Final = {stimulus.name: stimulus for stimulus in STIMULI}
