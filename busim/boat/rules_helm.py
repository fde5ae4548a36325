"""Rules of stations, drives and rudder: which node plays which part, who may control what, and actuators that are whole."""

from collections.abc import Mapping
from typing import Final, Protocol

from busim.boat.checking import Check
from busim.boat.derive import shift_rpm_of
from busim.boat.model import Actuator, BoatFile, Drive
from busim.reading.tree import Loc

_PARTS: Final = {
    "station": "stations", "drive": "drives", "panel": "panels", "rudder": "rudder", "cutout": "cutouts",
    "navigation": "navigation_lights",
}  # fmt: skip
"""Kind of node -> the section that says what it does. Without an entry there, such a node would have nothing to do."""
_ACTUATOR_VALUES: Final = ("stroke_mm", "speed_mm_s", "without_power")


class HasNode(Protocol):
    """A station, drive or panel: a part a node plays."""

    @property
    def node(self) -> str: ...


def check_helm(check: Check) -> None:
    boat = check.boat
    _check_parts(check, "stations", boat.stations, "station")
    _check_parts(check, "drives", boat.drives, "drive")
    _check_parts(check, "panels", boat.panels, "panel")
    _check_parts(check, "cutouts", boat.cutouts, "cutout")
    _check_cutouts(check)
    if boat.rudder is not None:
        check_part(check, ("rudder", "node"), boat.rudder.node, "rudder", "rudder")
    _check_idle_nodes(check)
    _check_stations(check)
    _check_instances(check)
    for name, actuator in boat.types.actuators.items():
        if actuator.type is not None:
            check.wrong(("types", "actuators", name, "type"), "a type takes nothing over from another type: write its values out")
    for name, drive in boat.drives.items():
        _check_drive(check, name, drive)


def check_part(check: Check, loc: Loc, node_name: str, kind: str, part: str) -> None:
    """The node named at `loc` is there and of the kind that plays this part."""
    nodes = check.boat.nodes
    if check.known(loc, node_name, nodes, "node") and nodes[node_name].kind != kind:
        line = check.line(("nodes", node_name, "kind"))
        check.wrong(loc, f"{node_name} is of kind {nodes[node_name].kind}, line {line}: a {part} needs a node of kind {kind}")


def _check_parts(check: Check, section: str, parts: Mapping[str, HasNode], kind: str) -> None:
    for name, part in parts.items():
        check_part(check, (section, name, "node"), part.node, kind, kind)
    used = ((part.node, (section, name, "node"), name) for name, part in parts.items())
    check.once(used, lambda node, first: f"the node {node} is already used by {first}")


def _check_idle_nodes(check: Check) -> None:
    boat = check.boat
    named = {
        "station": {station.node for station in boat.stations.values()},
        "drive": {drive.node for drive in boat.drives.values()},
        "panel": {panel.node for panel in boat.panels.values()},
        "rudder": {boat.rudder.node} if boat.rudder is not None else set(),
        "cutout": {cutout.node for cutout in boat.cutouts.values()},
        "navigation": {light.node for light in boat.navigation_lights.values()},
    }
    for name, node in boat.nodes.items():
        if node.kind in _PARTS and name not in named[node.kind]:
            loc = ("nodes", name, "kind")
            check.wrong(loc, f"{name} is of kind {node.kind}, but nothing under {_PARTS[node.kind]}: names it")


def _check_cutouts(check: Check) -> None:
    """A cutout has to act where the drive it watches has failed: it shares nothing with that drive but the bus."""
    boat = check.boat
    for name, cutout in boat.cutouts.items():
        loc = ("cutouts", name, "drive")
        if not check.known(loc, cutout.drive, boat.drives, "drive"):
            continue
        drive_node = boat.drives[cutout.drive].node
        check.share_a_bus(loc, cutout.node, drive_node, f"{name} could not hear {cutout.drive}")
        nodes = boat.nodes
        if cutout.node in nodes and drive_node in nodes and nodes[cutout.node].supply == nodes[drive_node].supply:
            supply = nodes[drive_node].supply
            words = f"{cutout.node} has the supply of {drive_node}, {supply}: the cutout would fail with the drive"
            check.wrong(("nodes", cutout.node, "supply"), words)
    check.once(
        ((cutout.drive, ("cutouts", name, "drive"), name) for name, cutout in boat.cutouts.items()),
        lambda drive, first: f"{drive} already has the cutout {first}",
    )


def _check_stations(check: Check) -> None:
    boat = check.boat
    for name, station in boat.stations.items():
        loc = ("stations", name, "may_take")
        check.all_known(loc, station.may_take, boat.drives, "drive")
        if not station.may_take and not station.steers:
            check.wrong(loc, f"{name} may take no drive and does not steer: it would have nothing to do")
        for index, drive in enumerate(station.may_take):
            if drive in boat.drives:
                check.share_a_bus((*loc, index), station.node, boat.drives[drive].node, f"{name} could not control {drive}")
        if station.steers and boat.rudder is None:
            check.wrong(("stations", name, "steers"), f"{name} steers, but the file has no rudder:")
        elif station.steers and boat.rudder is not None:
            check.share_a_bus(("stations", name, "steers"), station.node, boat.rudder.node, f"{name} could not steer")
    taken = {drive for station in boat.stations.values() for drive in station.may_take}
    for name in boat.drives:
        if name not in taken:
            check.wrong_name(("drives", name), f"no station may take {name}: name it under may_take of one")
    if boat.rudder is not None:
        for name, section in boat.drives.items():
            # The rudder changes over when the drives do, and a drive gives little throttle while nobody steers.
            words = f"the rudder could not hear whom {name} obeys, nor {name} whether anybody steers"
            check.share_a_bus(("rudder", "node"), boat.rudder.node, section.node, words)
    if boat.rudder is not None and not any(station.steers for station in boat.stations.values()):
        check.wrong_name(("rudder",), "no station steers: set steers: true at one")


def _check_instances(check: Check) -> None:
    drives = check.boat.drives
    for name in list(drives)[2:]:
        check.wrong_name(("drives", name), "a boat has one or two drives, and this is one more")
    instances = ((drive.instance, ("drives", name, "instance"), name) for name, drive in drives.items())
    check.once(instances, lambda instance, first: f"instance {instance} is already used by {first}")
    only_second = {drive.instance for drive in drives.values()} == {2}
    if only_second:
        name = next(iter(drives))
        check.wrong(("drives", name, "instance"), "instance 2 is the second engine, and there is no instance 1")
    if len(drives) == 2:
        (name, drive), (other_name, other) = drives.items()
        check.share_a_bus(("drives", other_name, "node"), other.node, drive.node, f"{name} and {other_name} must hear each other")


def _check_drive(check: Check, name: str, drive: Drive) -> None:
    loc = ("drives", name)
    _check_actuator(check, (*loc, "throttle"), drive.throttle, "springs_to_neutral", "a throttle springs_to_idle or stays")
    _check_actuator(check, (*loc, "shift"), drive.shift, "springs_to_idle", "a shift springs_to_neutral or stays")
    if drive.full_rpm <= drive.idle_rpm:
        line = check.line((*loc, "idle_rpm"))
        check.wrong((*loc, "full_rpm"), f"{drive.full_rpm} is not above idle_rpm, {drive.idle_rpm} on line {line}")
    elif shift_rpm_of(drive) > drive.full_rpm:
        line = check.line((*loc, "full_rpm"))
        given = "" if drive.shift_rpm is not None else " (left out: 1.25 x idle)"
        words = f"shift_rpm: {shift_rpm_of(drive)}{given} is above full_rpm, {drive.full_rpm} on line {line}"
        check.wrong((*loc, "shift_rpm") if drive.shift_rpm is not None else loc, words)
    if shift_rpm_of(drive) < drive.idle_rpm:
        line = check.line((*loc, "idle_rpm"))
        words = f"shift_rpm: {drive.shift_rpm} is below idle_rpm, {drive.idle_rpm} on line {line}: no gear would ever go in"
        check.wrong((*loc, "shift_rpm"), words)


def _check_actuator(check: Check, loc: Loc, actuator: Actuator, cannot: str, can: str) -> None:
    types = check.boat.types.actuators
    kind = Actuator()
    if actuator.type is not None:
        if not check.known((*loc, "type"), actuator.type, types, "actuator"):
            return
        kind = types[actuator.type]
    for value in _ACTUATOR_VALUES:
        if getattr(actuator, value) is None and getattr(kind, value) is None:
            words = f"{value} is missing"
            if actuator.type is not None:
                line = check.line(("types", "actuators", actuator.type))
                words += f": it stands neither here nor in its type, {actuator.type} on line {line}"
            check.wrong_name(loc, words)
    without_power = actuator.without_power or kind.without_power
    if without_power == cannot:
        check.wrong((*loc, "without_power"), f"{cannot} is not possible here: {can}")
    if without_power == "stays" and actuator.spring_mm_s is not None:
        check.wrong((*loc, "spring_mm_s"), "a spring's speed, but the actuator stays where it is without power")


def actuators_are_whole(boat: BoatFile, drive: Drive) -> bool:
    """True where every value of both actuators stands somewhere, so that times can be derived from them."""
    for actuator in (drive.throttle, drive.shift):
        kind = boat.types.actuators.get(actuator.type) if actuator.type is not None else Actuator()
        if kind is None or any(getattr(actuator, value) is None and getattr(kind, value) is None for value in _ACTUATOR_VALUES):
            return False
    return True
