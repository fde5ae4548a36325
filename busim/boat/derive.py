"""What follows from a boat file: defaults and types filled in, limits from distance, and the plan nodes are built with.

Takes a boat that keeps the rules (see `rules`). What is valid but wrong is found in `findings`.
"""

import math
from dataclasses import dataclass, fields
from typing import Final, Literal

from busim.boat.model import Actuator, Board, Boat, BoatFile, Drive, TimingSection, Zone
from busim.protocol.plan import (
    ControlPlan,
    CutoutPlan,
    DrivePlan,
    NavigationLightPlan,
    PanelPlan,
    RudderPlan,
    ScenePlan,
    StationPlan,
    Timing,
    WirePlan,
    ZonePlan,
)

DIAMETER_IN_WATERLINES: Final = 3.5
METRES_IN_NAUTICAL_MILE: Final = 1852
"""Exact (SI brochure, 8th edition, 2006, table 8; place from memory)."""
SHIFT_MARGIN_MS: Final = 20
"""Between the end of the idle wait and gear out, beyond the half stroke: the drive's own processing, twice over (design)."""
IDLE_MARGIN_MS: Final = 50
"""Between the timeout and throttle at idle, beyond the full stroke: processing, and what the sensors take to see it."""


@dataclass(frozen=True)
class BoardValues:
    """A node's hardware and driver, with nothing left open. `watchdog_ms` None: none is fitted."""

    queue: Literal["priority", "first_in_first_out"] = "priority"
    processing_us: int = 200
    clock_ppm: int = 100
    boot_ms: int = 300
    watchdog_ms: int | None = None
    bus_off: Literal["rejoin", "stay_off"] = "rejoin"
    listens_when_off: bool = False
    mailboxes: int = 0
    abortable: bool = True
    quanta: int = 16
    sample_point_permille: int = 875
    jump_quanta: int = 2


@dataclass(frozen=True)
class ActuatorStroke:
    """An actuator, with nothing left open. `spring_mm_s` is None where it stays when its power goes."""

    stroke_mm: float
    speed_mm_s: float
    without_power: Literal["stays", "springs_to_idle", "springs_to_neutral"]
    spring_mm_s: float | None

    @property
    def full_stroke_ms(self) -> int:
        """From end to end, rounded up, at the slower of motor and spring: which of them moves it is not known beforehand."""
        return _rounded_up(self.stroke_mm * 1000, min(self.speed_mm_s, self.spring_mm_s or self.speed_mm_s))

    @property
    def half_stroke_ms(self) -> int:
        return _rounded_up(self.stroke_mm * 500, min(self.speed_mm_s, self.spring_mm_s or self.speed_mm_s))


@dataclass(frozen=True)
class DriveLimits:
    """Times of one drive, in ms, counted from the last valid lever frame it received.

    `distance_ms` is what the boat's length of run allows. `loss_to_neutral_ms` and `idle_wait_ms` are the ones in force: as
    set by hand, else derived.
    """

    distance_ms: int
    loss_to_neutral_ms: int
    loss_to_idle_ms: int
    idle_wait_ms: int
    derived_idle_wait_ms: int
    half_shift_ms: int
    full_throttle_ms: int


def board_of(boat: BoatFile, node_name: str) -> BoardValues:
    """The node's board: each value as written at the node, else in its type, else the default."""
    node = boat.nodes[node_name]
    kind = boat.types.boards[node.board] if node.board is not None else Board()
    written = {each.name: getattr(node, each.name) for each in fields(BoardValues)}
    in_type = {each.name: getattr(kind, each.name) for each in fields(BoardValues)}
    chosen = {name: value if value is not None else in_type[name] for name, value in written.items()}
    return BoardValues(**{name: value for name, value in chosen.items() if value is not None})


def actuator_of(boat: BoatFile, actuator: Actuator) -> ActuatorStroke:
    """The actuator: each value as written at the spot, else in its type.

    Errors: ValueError where a value stands at neither place; the rules refuse such a boat.
    """
    kind = boat.types.actuators[actuator.type] if actuator.type is not None else Actuator()
    stroke = actuator.stroke_mm if actuator.stroke_mm is not None else kind.stroke_mm
    speed = actuator.speed_mm_s if actuator.speed_mm_s is not None else kind.speed_mm_s
    without_power = actuator.without_power or kind.without_power
    spring = actuator.spring_mm_s if actuator.spring_mm_s is not None else kind.spring_mm_s
    if stroke is None or speed is None or without_power is None:
        raise ValueError("an actuator without stroke, speed or what it does without power")
    return ActuatorStroke(stroke, speed, without_power, None if without_power == "stays" else (spring or speed))


def distance_limit_ms(boat: Boat) -> int:
    """How long she may run at docking speed until she has gone as far as she may, rounded to the nearest ms."""
    # (m / kn) h per nautical mile, in one division so that nothing is rounded twice.
    return round(boat.max_run_m * 3600 * 1000 / (boat.docking_speed_kn * METRES_IN_NAUTICAL_MILE))


def limits_of(boat: BoatFile, drive: Drive) -> DriveLimits:
    """Limits of one drive; some come out negative where the boat can't meet them, which the rules refuse."""
    timeout = boat.timing.control_timeout_ms
    half_shift = actuator_of(boat, drive.shift).half_stroke_ms
    full_throttle = actuator_of(boat, drive.throttle).full_stroke_ms
    distance = distance_limit_ms(boat.boat)
    limit = drive.loss_to_neutral_ms if drive.loss_to_neutral_ms is not None else distance
    derived = limit - timeout - half_shift - SHIFT_MARGIN_MS
    return DriveLimits(
        distance_ms=distance,
        loss_to_neutral_ms=limit,
        loss_to_idle_ms=timeout + full_throttle + IDLE_MARGIN_MS,
        idle_wait_ms=drive.idle_wait_ms if drive.idle_wait_ms is not None else derived,
        derived_idle_wait_ms=derived,
        half_shift_ms=half_shift,
        full_throttle_ms=full_throttle,
    )


def turning_diameter_of(boat: BoatFile) -> float:
    """Of a turn with the rudder hard over, in metres: as written, else 3.5 waterlines (common practice)."""
    written = boat.hull.turning_diameter_m if boat.hull is not None else None
    return written if written is not None else DIAMETER_IN_WATERLINES * boat.boat.waterline_m


def shift_rpm_of(drive: Drive) -> int:
    """Fastest engine speed to engage at: as written, else 1.25 times idle, in whole rpm."""
    return drive.shift_rpm if drive.shift_rpm is not None else drive.idle_rpm * 5 // 4


def wire_plan(boat: BoatFile) -> WirePlan:
    """What the boat's nodes agree on, in an order that does not depend on the order of the file (but for buses and pages)."""
    return WirePlan(
        timing=Timing(**{name: getattr(boat.timing, name) for name in TimingSection.model_fields}),
        nodes=tuple(sorted((node.address, name, node.kind) for name, node in boat.nodes.items())),
        stations=tuple(sorted(_station_plans(boat), key=lambda plan: plan.address)),
        drives=tuple(sorted(_drive_plans(boat), key=lambda plan: plan.instance)),
        rudder=_rudder_plan(boat),
        cutouts=tuple(sorted(_cutout_plans(boat), key=lambda plan: plan.instance)),
        zones=tuple(sorted(_zone_plans(boat), key=lambda plan: plan.number)),
        panels=tuple(sorted(_panel_plans(boat), key=lambda plan: plan.address)),
        scenes=tuple(sorted(_scene_plans(boat), key=lambda plan: plan.number)),
        navigation_lights=tuple(sorted(_navigation_plans(boat), key=lambda plan: plan.number)),
        buses=tuple(
            (name, bus.bit_rate, _along(boat, name)) for name, bus in boat.buses.items()
        ),
    )


def _along(boat: BoatFile, bus: str) -> tuple[int, ...]:
    """Addresses of a bus's nodes in order along its trunk; of two at one place, the lower first."""
    places = sorted((node.taps[bus].at_m, node.address) for node in boat.nodes.values() if bus in node.taps)
    return tuple(address for _, address in places)


def _station_plans(boat: BoatFile) -> list[StationPlan]:
    return [
        StationPlan(
            name=name,
            address=boat.nodes[station.node].address,
            drives=tuple(sorted(boat.drives[drive].instance for drive in station.may_take)),
            matched_take=station.matched_take,
            lever_low_permille=station.lever_low_permille,
            lever_high_permille=station.lever_high_permille,
            lever_gear_permille=station.lever_gear_permille,
            lever_tracks=station.lever_tracks,
            steers=station.steers,
        )
        for name, station in boat.stations.items()
    ]


def _drive_plans(boat: BoatFile) -> list[DrivePlan]:
    plans = []
    for name, drive in boat.drives.items():
        limits = limits_of(boat, drive)
        stations = (boat.nodes[station.node].address for station in boat.stations.values() if name in station.may_take)
        plans.append(
            DrivePlan(
                name=name,
                address=boat.nodes[drive.node].address,
                instance=drive.instance,
                stations=tuple(sorted(stations)),
                on_loss=drive.on_loss.do,
                dwell_ms=drive.dwell_ms,
                idle_wait_ms=limits.idle_wait_ms,
                shift_rpm=shift_rpm_of(drive),
                shift_ms=limits.half_shift_ms,
                throttle_ms=limits.full_throttle_ms,
                has_neutral_switch=drive.neutral_switch,
                has_engine_stop=drive.engine_stop,
                on_other_lost=boat.on_one_drive_lost.do if boat.on_one_drive_lost is not None else "carry_on",
                when_apart=boat.partition_policy.do if boat.partition_policy is not None else "each_obeys",
            )
        )
    return plans


def _rudder_plan(boat: BoatFile) -> RudderPlan | None:
    rudder = boat.rudder
    if rudder is None:
        return None
    return RudderPlan(
        name="rudder",
        address=boat.nodes[rudder.node].address,
        stations=tuple(sorted(boat.nodes[station.node].address for station in boat.stations.values() if station.steers)),
        hard_over_cdeg=round(rudder.hard_over_deg * 100),
        cdeg_per_s=round(rudder.speed_deg_s * 100),
        no_steer_permille=rudder.no_steer_permille,
    )


def _cutout_plans(boat: BoatFile) -> list[CutoutPlan]:
    plans = []
    for name, cutout in boat.cutouts.items():
        drive = boat.drives[cutout.drive]
        limit_ms = limits_of(boat, drive).loss_to_neutral_ms
        address = boat.nodes[cutout.node].address
        plans.append(CutoutPlan(name, address, drive.instance, limit_ms, cutout.cutout_ms, drive.idle_rpm))
    return plans


CHANNEL_ORDER: Final = ("warm", "cool", "red", "green", "blue", "white")


def channels_of(zone: Zone) -> tuple[int, ...]:
    """Its driver's outputs, in the order nodes know them by."""
    if zone.channel is not None:
        return (zone.channel,)
    return tuple(zone.channels[colour] for colour in CHANNEL_ORDER if colour in zone.channels)


def _zone_plans(boat: BoatFile) -> list[ZonePlan]:
    return [
        ZonePlan(
            name=name,
            number=zone.number,
            driver=boat.nodes[zone.node].address,
            channels=channels_of(zone),
            kind=zone.kind,
            lit_after_reset=zone.lit_after_reset,
            pwm_bits=zone.pwm_bits,
            fade_ms=0 if zone.kind == "switched" else zone.fade_ms,
            warm_k=zone.warm_k,
            cool_k=zone.cool_k,
            wired_switch=zone.wired_switch,
            lit_on_bus_loss=zone.on_bus_loss == "on",
        )
        for name, zone in boat.zones.items()
    ]


def _colour_of(text: str | None) -> tuple[int, int]:
    """(8 bits each of red, green and blue, or -1; kelvin, or 0)."""
    if text is None:
        return -1, 0
    return (int(text[1:], 16), 0) if text[0] == "#" else (-1, int(text[:-2]))


def _scene_plans(boat: BoatFile) -> list[ScenePlan]:
    return [
        ScenePlan(
            name=name,
            number=scene.number,
            fade_ms=scene.fade_ms,
            levels=tuple(
                (number, level, *_colour_of(scene.colours.get(zone)))
                for number, level, zone in sorted((boat.zones[zone].number, level, zone) for zone, level in scene.levels.items())
            ),
        )
        for name, scene in boat.scenes.items()
    ]


CONDITIONS: Final = {"off": 0, "under_way": 1, "at_anchor": 2, "aground": 3}


def _navigation_plans(boat: BoatFile) -> list[NavigationLightPlan]:
    return [
        NavigationLightPlan(
            name=name,
            number=light.number,
            driver=boat.nodes[light.node].address,
            channel=light.channel,
            lit=tuple(sorted(CONDITIONS[condition] for condition in light.lit)),
            wired_switch=light.wired_switch,
        )
        for name, light in boat.navigation_lights.items()
    ]


def _panel_plans(boat: BoatFile) -> list[PanelPlan]:
    plans = []
    for name, panel in boat.panels.items():
        controls = [
            ControlPlan(
                name=control_name,
                number=control.number,
                page=page,
                action=control.does,
                zones=tuple(sorted(boat.zones[zone].number for zone in control.zones)),
                scene=boat.scenes[control.scene].number if control.scene is not None else 0,
                level_permille=control.level_permille or 0,
                colour=_colour_of(control.colour)[0],
                kelvin=_colour_of(control.colour)[1],
                opens=list(panel.pages).index(control.page) if control.page is not None else -1,
                condition=CONDITIONS[control.condition or "off"],
            )
            for page, page_controls in enumerate(panel.pages.values())
            for control_name, control in page_controls.items()
        ]
        controls.sort(key=lambda control: (control.page, control.number))
        plans.append(PanelPlan(name, boat.nodes[panel.node].address, panel.debounce_ms, tuple(controls)))
    return plans


def _rounded_up(distance: float, speed: float) -> int:
    """`distance` / `speed` up to the next whole number; a hair above a whole one, from rounding, counts as that one."""
    return math.ceil(distance / speed - 1e-6)
