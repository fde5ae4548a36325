"""What a stimulus has to work with: the simulated boat round the device, its own voice on the bus, and what the device says.

A stimulus is a generator: it yields how long to wait in ns, or an `Ask`, and is carried on when that is over. No I/O, no clock.
"""

from collections.abc import Generator
from dataclasses import dataclass, field
from random import Random
from typing import Any, Final, TypeAlias

from busim import bench_labels as labels
from busim.bench.cap import within_cap
from busim.bench.guest import Seat
from busim.bench.hand_acts import Moment, between_ms, judged_between
from busim.bench.live import LiveBoat
from busim.bench.observer import OBSERVER_MS, Contradiction, Observer
from busim.boat.derive import DriveLimits, limits_of
from busim.boat.model import Section
from busim.events import bits
from busim.events.rudder_view import STEP_CDEG
from busim.faults.table import BY_NAME
from busim.protocol.plan import DrivePlan
from busim.protocol.values import SWITCH_CLOSED
from busim.requirements.verdict import FAIL, INCONCLUSIVE, NOT_EXERCISED, SELF_REPORTED
from busim.scenario.model import KeyAction, LeverAction, TouchAction, WheelAction
from busim.units import MS, SECOND

CUTOUT_SWITCH: Final[bits.Field] = (44, 0x3)
CUTOUT_FIRED: Final[bits.Field] = (32, 0x1)
CUTOUT_MS: Final = 220
"""How old what a cutout reports may be: every 100 ms it says what its contact has shown for 100 ms, at a pace of its own."""
SILENT_NS: Final = 100 * MS
"""Nothing from the device for so long: a drive reports every 40 ms, and what is sent to one that is not there piles up."""
KEPT_FRAMES: Final = 200
SENSED_THROTTLE_4: Final[bits.Field] = (24, 0xFF)


@dataclass(frozen=True)
class Ask:
    """Something only a person can do or know. What is yielded back is what was typed."""

    words: str
    must_match: str = ""
    """What has to be typed; "" for anything that is not empty."""


Play: TypeAlias = Generator["int | Ask", str, None]


@dataclass
class Result:
    """What one stimulus, or one part of it, came to. `uncertainty` in the unit of `measured`."""

    stimulus: str
    verdict: str
    words: str
    requirements: tuple[str, ...] = ()
    limit: int | None = None
    measured: int | None = None
    unit: str = ""
    uncertainty: int = 0
    at_ns: int = 0


@dataclass
class Report:
    """The device's own words, as last heard."""

    state_ns: int | None = None
    gear: int = bits.NEUTRAL
    asked_gear: int = bits.NEUTRAL
    throttle: int = 0
    rpm: int = 0
    station: int = 0
    number: int = 0
    cause: int = 0
    beats_ns: list[int] = field(default_factory=list)
    beat_state: int = -1
    fingerprints: tuple[int, int] = (0, 0)
    identity: tuple[int, ...] | None = None
    gear_out_ns: int | None = None
    at_stop_ns: int | None = None
    let_go_ns: int | None = None
    """When it said last that it obeys nobody, having obeyed somebody."""
    angle_cdeg: int | None = None
    switch_ns: int | None = None
    """When the witness's gear switch last closed, which is when the gear was out."""
    switch: int = -1
    fired_ns: int | None = None
    """When the witness last said that it has stopped the engine."""
    fired: bool = False
    zones: dict[int, bytes] = field(default_factory=dict)
    """Zone's number -> what it reported last."""
    heard_ns: list[int] = field(default_factory=list)
    """Its last frames, as many as show the longest pause between two."""
    woke_ns: int | None = None
    """Its first frame since this was None."""
    frames: int = 0


class Stage:
    def __init__(self, live: LiveBoat, node: str, bus: str, voice: Seat, cap_permille: int, seed: int) -> None:
        self.live = live
        self.node = node
        self.bus = bus
        self.voice = voice
        self.cap = cap_permille
        self.random = Random(f"{seed} bench")
        self.boat = live.boat
        self.address = live.boat.nodes[node].address
        self.kind = live.boat.nodes[node].kind
        self.drive: DrivePlan | None = next((drive for drive in live.plan.drives if drive.address == self.address), None)
        self.report = Report()
        self.results: list[Result] = []
        self.faults: dict[int, tuple[str, Section]] = {}
        self.stimulus = ""
        self.requirements: tuple[str, ...] = ()
        self.uncertainty_ms = 1
        self.self_reported = True
        self.simulated = False
        """The device is simulated too: its supply is the bench's to switch, and its machinery can be looked at."""
        self.ready = False
        self.asked_ns = 0
        self.answered_ns = 0
        """When a person was asked last, and answered."""
        self.supply_off = False
        """It was asked that the device's supply be off, and not yet that it be on again."""
        self.witness = False
        """Another node says whether the gear is out."""
        self.witness_ms = CUTOUT_MS
        """How old what it says may be."""
        self.rests_on = labels.RESTS_ON_DEVICE
        self.observer = Observer()
        self.contradiction = Contradiction(self.limits.half_shift_ms if self.drive is not None else 0)
        self.contradicted = ""
        """What the device said of its machinery, and the observer did not, in words; since it was cleared."""

    # ------------------------------------------------------------------------------------------------ what is there

    @property
    def now_ns(self) -> int:
        return self.live.now_ns

    @property
    def limits(self) -> DriveLimits:
        assert self.drive is not None
        return limits_of(self.boat, self.boat.drives[self.drive.name])

    def stations(self) -> list[str]:
        """Stations that may take the drive, on this bus, and are not the device; all of them where it is no drive."""
        names = [
            name
            for name, station in self.boat.stations.items()
            if station.node != self.node and self.bus in self.boat.nodes[station.node].taps
        ]
        if self.drive is None:
            return names
        return [name for name in names if self.boat.nodes[self.boat.stations[name].node].address in self.drive.stations]

    # ------------------------------------------------------------------------------------------------ what is done

    def lever(self, station: str, permille_of_throttle: int, *, ahead: bool = True, neutral: bool = False) -> None:
        """All of a station's levers: neutral, or in gear with so much throttle, never more than the cap."""
        travel = 0 if neutral else travel_for(self.boat.stations[station], min(permille_of_throttle, self.cap))
        for drive in self.boat.stations[station].may_take:
            where = travel if ahead else -travel
            self.live.do("lever", LeverAction(station=station, drive=drive, to_permille=where, over_ms=100))

    def key(self, station: str, name: Any, for_ms: int = 200) -> None:
        self.live.do("key", KeyAction(station=station, name=name, for_ms=for_ms))

    def wheel(self, station: str, permille: int) -> None:
        self.live.do("wheel", WheelAction(station=station, to_permille=permille, over_ms=500))

    def touch(self, panel: str, control: str) -> None:
        self.live.do("touch", TouchAction(panel=panel, control=control))

    def break_(self, name: str, **place: Any) -> int:
        number, step = self.live.script.begin(self.now_ns, name, BY_NAME[name].place.model_validate(place))
        self.live.world.plan_steps([step])
        if BY_NAME[name].lasts:
            self.faults[number] = (name, BY_NAME[name].place.model_validate(place))
        return number

    def mend(self, number: int) -> None:
        name, place = self.faults.pop(number)
        self.live.world.plan_steps([self.live.script.end(self.now_ns, number, name, place)])

    def say(self, can_id: int, data: bytes) -> bool:
        """A frame of the bench's own, from beside the nodes; never one beyond the cap."""
        return within_cap(can_id, data, self.cap) and self.voice.transmit(can_id, data)

    def calm(self) -> Play:
        """Between two stimuli: what was broken is mended, levers are in neutral, and time for all to be heard of."""
        for number in [*self.faults]:
            self.mend(number)
        for station in self.stations():
            self.lever(station, 0, neutral=True)
        yield 1500 * MS

    def take(self, station: str, *, ahead: bool = True, throttle: int = 1000) -> Play:
        """Control at this station, then in gear. Afterwards look at `report`."""
        self.lever(station, 0, neutral=True)
        yield 300 * MS
        self.key(station, "take")
        yield 1000 * MS
        self.lever(station, throttle, ahead=ahead)
        yield 3500 * MS

    # ------------------------------------------------------------------------------------------------ what came of it

    def heard(self, now_ns: int, can_id: int, data: bytes) -> None:
        """A frame of the device."""
        report = self.report
        report.frames += 1
        report.heard_ns = [*report.heard_ns[-KEPT_FRAMES:], now_ns]
        if report.woke_ns is None:
            report.woke_ns = now_ns
        code = can_id >> 6
        if code == 20 and len(data) == 5:
            report.identity = tuple(data)
        if code == bits.CODE_ZONE_STATE and data:
            report.zones[data[0]] = data
        if code > 15 or not bits.sound(can_id, data):
            return
        whole = int.from_bytes(data, "big")
        if code == bits.CODE_HEARTBEAT:
            report.beats_ns = [*report.beats_ns[-600:], now_ns]
            report.beat_state = whole >> 44 & 0xF
            report.fingerprints = (whole >> 24 & 0xFFFF, whole >> 8 & 0xFFFF)
        elif code == bits.CODE_DRIVE_STATE:
            gear, throttle = bits.field(whole, bits.STATE_SENSED_GEAR), 4 * bits.field(whole, SENSED_THROTTLE_4)
            if gear == bits.NEUTRAL and report.gear != bits.NEUTRAL:
                report.gear_out_ns = now_ns
            if throttle <= 20 < report.throttle:
                report.at_stop_ns = now_ns
            report.state_ns, report.gear, report.throttle = now_ns, gear, throttle
            report.asked_gear = bits.field(whole, bits.STATE_ASKED_GEAR)
            report.rpm = 8 * bits.field(whole, bits.STATE_RPM_8)
            self._compare(now_ns)
        elif code == bits.CODE_RUDDER_STATE:
            report.angle_cdeg = STEP_CDEG * bits.signed_field(whole, bits.RUDDER_SENSED)
        elif code == bits.CODE_DRIVE_OBEYS:
            station = bits.field(whole, bits.OBEYS_STATION)
            if report.station and not station:
                report.let_go_ns = now_ns
            report.station = station
            report.number = bits.field(whole, bits.OBEYS_NUMBER)
            report.cause = bits.field(whole, bits.OBEYS_CAUSE)

    def observed(self, now_ns: int, data: bytes) -> None:
        """A frame of the observer."""
        self.observer.frame(now_ns, data)
        if self.observer.gear_in(now_ns) is not None:
            self.witness, self.witness_ms, self.rests_on = True, OBSERVER_MS, labels.RESTS_ON_OBSERVER
        self.report.switch_ns = self.observer.out_ns
        self._compare(now_ns)

    def _compare(self, now_ns: int) -> None:
        report = self.report
        if report.state_ns is not None and now_ns - report.state_ns < SILENT_NS and not self.contradicted:
            self.contradicted = self.contradiction.look(
                now_ns, self.observer, report.gear, report.throttle, labels.CONTRADICTED
            )

    def witnessed(self, now_ns: int, can_id: int, data: bytes) -> None:
        """A frame of the witness."""
        if can_id >> 6 == bits.CODE_CUTOUT_STATE and bits.sound(can_id, data):
            switch = bits.field(int.from_bytes(data, "big"), CUTOUT_SWITCH)
            if switch == SWITCH_CLOSED != self.report.switch:
                self.report.switch_ns = now_ns
            self.report.switch = switch
            fired = bool(bits.field(int.from_bytes(data, "big"), CUTOUT_FIRED))
            if fired and not self.report.fired:
                self.report.fired_ns = now_ns
            self.report.fired = fired

    @property
    def away(self) -> bool:
        """A real device without supply, as far as that can be told: it was asked for, and nothing comes."""
        heard_ns = self.report.heard_ns
        return self.supply_off and not self.simulated and bool(heard_ns) and self.now_ns - heard_ns[-1] > SILENT_NS

    def beats_alone(self) -> bool:
        """It beats, and has reported nothing of its gear for a second."""
        silent = self.report.state_ns is None or self.now_ns - self.report.state_ns > SECOND
        return silent and bool(self.report.beats_ns) and self.now_ns - self.report.beats_ns[-1] < SECOND

    def passed(self, what: str) -> None:
        self._add(SELF_REPORTED if self.self_reported else "pass", what)

    def failed(self, what: str) -> None:
        self._add(FAIL, what)

    def not_exercised(self, what: str) -> None:
        self._add(NOT_EXERCISED, what)

    def undecided(self, what: str) -> None:
        self._add(INCONCLUSIVE, what)

    def measure(
        self, what: str, measured_ms: int, limit_ms: int, *, reports_ms: int = 0, independent: bool = False
    ) -> None:
        """At most `limit_ms`. What straddles the limit within the uncertainty is neither met nor broken.

        `reports_ms`: it is known from what a node reports so often; 0: from when frames were on the bus, which the bench measures
        itself. `independent`: the node that reports it is another than the device.
        """
        doubt = self.uncertainty_ms + (reports_ms if self.self_reported else 0)
        self._add(
            judged(measured_ms, limit_ms, doubt, self_reported=self.self_reported and reports_ms > 0 and not independent),
            what, limit=limit_ms, measured=measured_ms, unit="ms", uncertainty=doubt,
        )  # fmt: skip

    def measure_between(
        self, what: str, began: Moment, ended: Moment, limit_ms: int, *, independent: bool = False
    ) -> None:
        """The same where begin and end, or one of them, are known between two moments only. `independent`: as above."""
        least, most = between_ms(began, ended, self.uncertainty_ms)
        middle = (least + most) // 2
        verdict = judged_between(least, most, limit_ms, self_reported=self.self_reported and not independent)
        self._add(verdict, what, limit=limit_ms, measured=middle, unit="ms", uncertainty=most - middle)

    def _add(self, verdict: str, what: str, **values: Any) -> None:
        self.results.append(Result(self.stimulus, verdict, what, self.requirements, at_ns=self.now_ns, **values))


def travel_for(station: Any, throttle_permille: int) -> int:
    """How far a lever is moved, in permille, to be in gear with so much throttle and not one permille more: its sensor and its
    gate cut off on the way, so the furthest place that still means no more is looked for."""
    low, high, first = int(station.lever_low_permille), int(station.lever_high_permille), int(station.lever_gear_permille)
    middle = (low + high) // 2
    for travel in range(1000, first, -1):
        read = [travel * side // 1000 * 1000 // side for side in (high - middle, middle - low)]
        if all(first <= one and (one - first) * 1000 // (1000 - first) <= throttle_permille for one in read):
            return travel
    return first


def judged(measured: int, limit: int, uncertainty: int, *, self_reported: bool) -> str:
    """At most `limit`, exactly it is met; inconclusive where the true value may lie on either side."""
    if uncertainty and measured - uncertainty <= limit < measured + uncertainty:
        return INCONCLUSIVE
    if measured > limit:
        return FAIL
    return SELF_REPORTED if self_reported else "pass"


