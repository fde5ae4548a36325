"""Findings of the helm: what can't be relieved, and what a plug takes along when it is crushed or pulled."""

from collections.abc import Iterator

from busim.boat.model import BoatFile
from busim.protocol.ids import HELM_ADDRESSES
from busim.reading.tree import Loc


def helm_findings(boat: BoatFile) -> Iterator[tuple[Loc, str]]:
    yield from _relief(boat)
    yield from _plugs(boat)
    yield from _pairs(boat)
    yield from _steering(boat)


def _relief(boat: BoatFile) -> Iterator[tuple[Loc, str]]:
    """On a boat with several stations each drive can be taken from more than one of them; with one, there is no choice."""
    if len(boat.stations) < 2:
        return
    for name in boat.drives:
        takers = [station for station, section in boat.stations.items() if name in section.may_take]
        if len(takers) == 1:
            loc = ("stations", takers[0], "may_take", boat.stations[takers[0]].may_take.index(name))
            yield loc, f"nobody can relieve {takers[0]} of {name}: no other station may take it"
    steering = [name for name, station in boat.stations.items() if station.steers]
    fixed = [name for name, station in boat.stations.items() if not any(tap.plug for tap in boat.nodes[station.node].taps.values())]
    if len(steering) == 1 and len(fixed) > 1:
        yield ("stations", steering[0], "steers"), f"nobody can relieve {steering[0]} of the rudder: no other station steers"


def _steering(boat: BoatFile) -> Iterator[tuple[Loc, str]]:
    """What leaves her fast with nobody to steer."""
    if boat.rudder is not None and boat.rudder.no_steer_permille == 1000:
        yield ("rudder", "no_steer_permille"), "no_steer_permille: 1000 is full throttle: nothing slows her while nobody steers"


def _plugs(boat: BoatFile) -> Iterator[tuple[Loc, str]]:
    """What can be unplugged has a bus of its own: a short in its plug or cable takes down everything on the same bus."""
    first: dict[tuple[str, float], str] = {}
    for name, node in boat.nodes.items():
        for bus, tap in node.taps.items():
            if not tap.plug:
                continue
            loc = ("nodes", name, "taps", bus)
            others = [other for other, each in boat.nodes.items() if other != name and bus in each.taps]
            stations = {station.node for station in boat.stations.values()}
            sharing = sorted(stations & set(others))
            if sharing:
                yield loc, f"{name} can be unplugged and is on {bus} with {', '.join(sharing)}: a crushed plug takes them along"
            other = first.setdefault((bus, tap.at_m), name)
            if other != name:
                yield loc, f"{name} is on the plug of {other}, at {tap.at_m:g} m of {bus}: one plug pulled takes both"


def _pairs(boat: BoatFile) -> Iterator[tuple[Loc, str]]:
    """Of two buses that double each other, one must be left when anything fails: also a supply, and for everybody."""
    for name, bus in boat.buses.items():
        if bus.twin_of is None:
            continue
        pair = (bus.twin_of, name)
        members = {node_name: node for node_name, node in boat.nodes.items() if set(pair) & set(node.taps)}
        supplies = {node.supply for node in members.values()}
        if len(members) > 1 and len(supplies) == 1:
            yield (
                ("buses", name, "twin_of"),
                f"everybody on {pair[0]} and {name} hangs on the supply {supplies.pop()}: both buses are lost with it",
            )
        for node_name, node in members.items():
            only = [each for each in pair if each in node.taps]
            if len(only) == 1 and node.address in HELM_ADDRESSES:
                other = pair[1 - pair.index(only[0])]
                words = f"{node_name} is on {only[0]} of the pair only: when that one is lost, {other} does not reach it"
                yield ("nodes", node_name, "taps"), words
