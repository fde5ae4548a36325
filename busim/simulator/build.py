"""From a boat to its world: buses, hosts, machinery, and what is wired to which pin. Everything random is drawn here.

Each node has a generator of its own, seeded from the run's seed and the node's name, for its clock error and the moment its
program starts; adding a node changes nothing for the others.
"""

from collections.abc import Callable, Mapping
from functools import partial
from random import Random
from typing import Final, cast

from busim.boat.derive import actuator_of, board_of, turning_diameter_of
from busim.boat.model import Actuator, BoatFile
from busim.bus.bus import Bus
from busim.bus.controller import FIRST_IN_FIRST_OUT, PRIORITY, Controller
from busim.bus.noise import SenderNoise
from busim.bus.tolerance import error_rate, tolerance_ppm
from busim.host.host import ONE, Host
from busim.host.inputs import Constant, Source
from busim.host.rejoin import Rejoin
from busim.host.supply import Supply
from busim.plant.hull import KNOT_MM_S, HullValues, hull_speed_kn
from busim.plant.machinery import STROKE, ActuatorValues, DriveValues, ShiftPosition, ThrottlePosition
from busim.plant.plant import EngineSpeed, Plant
from busim.plant.rudder import RudderAngle, RudderValues
from busim.protocol.plan import WirePlan
from busim.seam import Node
from busim.simulator.kinds import KindError
from busim.simulator.levers import (
    WHEEL_PORT_PERMILLE,
    WHEEL_STARBOARD_PERMILLE,
    LeverSensor,
    SecondTrack,
    second_track,
)
from busim.simulator.lights import feed_lights, light_sources
from busim.simulator.world import Step, World, drives_by_instance
from busim.units import MS, SECOND, US

NodeMaker = Callable[[WirePlan, int, int], Node]
"""A kind's class as it is called: the plan, the node's address, its software build."""

_ALL: Final = 1 << 30
ALARM_KEYS: Final = ("acknowledge", "silence")
STATION_KEYS: Final = ("take", "neutral_now", *ALARM_KEYS, "lock_out")
_BOOT_SPREAD_NS: Final = 50 * MS
"""Programs do not start in step: each starts up to this much later than its board says."""


def build_world(boat: BoatFile, plan: WirePlan, kinds: Mapping[str, type[Node]], seed: int) -> World:
    """A world at time zero with every supply off. KindError where the boat names a kind nobody has."""
    world = World(boat, plan, dict(kinds), seed)
    loop, journal = world.loop, world.journal
    loop.buses = [Bus(index, name, bus.bit_rate, journal) for index, (name, bus) in enumerate(boat.buses.items())]
    numbers = {name: index for index, name in enumerate(boat.buses)}
    by_address = sorted(boat.nodes.items(), key=lambda item: item[1].address)
    for index, (name, node) in enumerate(by_address):
        if node.kind not in kinds:
            raise KindError(f"node {name}: nobody has the kind {node.kind} (there are: {', '.join(sorted(kinds))})")
        if node.settings:
            raise KindError(f"node {name}: the kind {node.kind} takes no settings (it has: {', '.join(sorted(node.settings))})")
        board = board_of(boat, name)
        draw = Random(f"{seed} {name}")
        host = Host(
            index,
            name,
            partial(cast("NodeMaker", kinds[node.kind]), plan, node.address, node.build),
            loop,
            journal,
            delay_ns=board.processing_us * US,
            boot_ns=board.boot_ms * MS + draw.randrange(_BOOT_SPREAD_NS),
        )
        host.rate = ONE + draw.randint(-board.clock_ppm, board.clock_ppm) * ONE // 1_000_000
        if board.watchdog_ms is not None:
            host.watchdog_ns = board.watchdog_ms * MS
        if board.bus_off == "rejoin":
            host.rejoin = Rejoin()
        queue = FIRST_IN_FIRST_OUT if board.queue == "first_in_first_out" else PRIORITY
        for bus_name, tap in node.taps.items():
            bus = loop.buses[numbers[bus_name]]
            host.buses[bus.index] = bus
            controller = Controller(host, bus.index, bus.wiring.add(tap.at_m), queue)
            controller.mailboxes = board.mailboxes
            controller.fixed = 0 if board.abortable else board.mailboxes or _ALL
            controller.listens_when_off = board.listens_when_off
            host.controllers[bus.index] = controller
            bus.join(controller)
            allowed_ppm = tolerance_ppm(board.quanta, board.sample_point_permille, board.jump_quanta)
            rate = error_rate((host.rate - ONE) * 1_000_000 / ONE, allowed_ppm)
            if rate:
                bus.disturbances.append(SenderNoise(controller.place, rate, Random(f"{seed} {name} {bus_name} clock").random))
        world.hosts[name] = host
    world.supplies = _supplies(world)
    world.plant = _plant(world)
    feed_lights(world)
    world.plant.on_crank = world.starter_draws
    for bus in loop.buses:
        bus.gather = loop.gather_segments
        bus.look_again(0)
    _wire_inputs(world)
    _order_timers(world)
    world.connect()
    return world


def _supplies(world: World) -> dict[str, Supply]:
    nodes = world.boat.nodes
    return {
        name: Supply(
            name,
            round(supply.nominal_v * 1000),
            round(supply.brown_out_v * 1000),
            world.loop,
            [host for node, host in world.hosts.items() if nodes[node].supply == name],
        )
        for name, supply in world.boat.supplies.items()
    }


def _plant(world: World) -> Plant:
    boat = world.boat
    drives = []
    for name, drive in drives_by_instance(boat):
        throttle, shift = _actuator(boat, drive.throttle, 1), _actuator(boat, drive.shift, 2)
        drives.append(DriveValues(name, throttle, shift, drive.idle_rpm, drive.full_rpm, drive.offset_m))
    rudder = None
    if boat.rudder is not None:
        rudder = RudderValues(round(boat.rudder.hard_over_deg * 100), max(round(boat.rudder.speed_deg_s * 100), 1))
    return Plant(world.loop, world.journal, drives, _hull(boat), rudder)


def _hull(boat: BoatFile) -> HullValues:
    hull, waterline_m = boat.hull, boat.boat.waterline_m
    top_kn = hull.top_speed_kn if hull is not None else hull_speed_kn(waterline_m)
    return HullValues(
        mass_kg=boat.boat.mass_kg,
        top_speed_m_s=top_kn * KNOT_MM_S / 1000,
        astern_share=hull.astern_share if hull is not None else 0.6,
        waterline_m=waterline_m,
        turning_diameter_m=turning_diameter_of(boat),
        given=hull is not None,
    )


def _actuator(boat: BoatFile, written: Actuator, halves: int) -> ActuatorValues:
    """Speeds in millionths of the stroke (`halves` 1) or of the half stroke (2) a second."""
    stroke = actuator_of(boat, written)
    per_mm = STROKE * halves / stroke.stroke_mm
    springs = stroke.without_power != "stays"
    return ActuatorValues(
        max(round(stroke.speed_mm_s * per_mm), 1), springs, max(round((stroke.spring_mm_s or stroke.speed_mm_s) * per_mm), 1)
    )


def _wire_inputs(world: World) -> None:
    """Every pin that a node's class says it has gets what the boat wires to it."""
    boat, plant = world.boat, world.plant
    sources: dict[str, dict[str, Source]] = {name: {} for name in world.hosts}
    for index, (_, drive) in enumerate(drives_by_instance(boat)):
        machinery = plant.drives[index]
        plant.wired[index] = world.hosts[drive.node]
        plant.switches[index] = [(world.hosts[drive.node], "neutral_switch")]
        plant.supplies[index] = boat.nodes[drive.node].supply
        sources[drive.node].update(
            shift_position=ShiftPosition(machinery),
            throttle_position=ThrottlePosition(machinery),
            rpm=EngineSpeed(plant, index),
            **({"neutral_switch": Constant(1)} if drive.neutral_switch else {}),
        )
    for cutout in boat.cutouts.values():
        index = plant.index_of(cutout.drive)
        plant.switches[index].append((world.hosts[cutout.node], "gear_switch"))
        sources[cutout.node].update(gear_switch=Constant(1), speed=EngineSpeed(plant, index))
    if boat.rudder is not None and plant.rudder is not None:
        plant.steered_by = world.hosts[boat.rudder.node]
        sources[boat.rudder.node]["rudder_angle"] = RudderAngle(plant.rudder)
    for name, station in boat.stations.items():
        if station.steers:
            world.wheels[name] = LeverSensor(station.node, "wheel", WHEEL_PORT_PERMILLE, WHEEL_STARBOARD_PERMILLE)
            sources[station.node]["wheel"] = world.wheels[name]
        for drive_name in station.may_take:
            channel = f"lever.{boat.drives[drive_name].instance}"
            lever = LeverSensor(station.node, channel, station.lever_low_permille, station.lever_high_permille)
            world.levers[name, drive_name] = lever
            sources[station.node][channel] = lever
            if station.lever_tracks == 2:
                sources[station.node][second_track(channel)] = SecondTrack(lever)
        sources[station.node].update({key: Constant() for key in STATION_KEYS})
    for name in boat.nodes:
        if boat.nodes[name].kind == "alarm":
            sources[name].update({key: Constant() for key in ALARM_KEYS})
    for node, of_node in light_sources(world).items():
        sources[node].update(of_node)
    for name, host in world.hosts.items():
        periods = type(host.node).inputs
        for channel, source in sources[name].items():
            period_ns = periods.get(channel, periods.get(channel.partition(".")[0] + ".*"))
            if period_ns is not None:
                host.add_input(channel, period_ns, source)


def _order_timers(world: World) -> None:
    """The order of timers at one moment: scenario, machinery, supplies, put-off outputs, samples, deadlines, end of the second."""
    loop, hosts = world.loop, list(world.hosts.values())
    for timer in (world.script_timer, world.plant.crossing, world.plant.motion):
        loop.add(timer)
    for supply in world.supplies.values():
        loop.add(supply.ramp)
    for timers in ([host.deferred for host in hosts], [host.sampling for host in hosts], [host.deadline for host in hosts]):
        for timer in timers:
            loop.add(timer)
    loop.add(world.second)
    loop.arm(world.plant.motion, 0)
    loop.arm(world.second, SECOND)


def power_up(world: World) -> list[Step]:
    """Steps that switch every node's supply on at time zero."""
    return [(0, -1, "power", (name, 1)) for name in world.hosts]
