"""Rules of buses, supplies and nodes: where things are wired, who has which address, and what may pass for what on the wire."""

from typing import Final

from busim.boat.checking import Check
from busim.protocol.catalogue import BY_CODE, safety_ids
from busim.protocol.ids import HELM_ADDRESSES, address_of, code_of, ids_sharing_a_start

HELM_KINDS: Final = ("station", "drive", "rudder", "cutout", "pendant", "alarm")
"""Kinds of node that send safety messages beside the heartbeat."""


def check_wiring(check: Check) -> None:
    _check_buses(check)
    _check_supplies(check)
    _check_nodes(check)
    _check_addresses(check)
    _check_safety_ids(check)


def _check_buses(check: Check) -> None:
    buses = check.boat.buses
    if not buses:
        check.wrong_name(("buses",), "there is no bus: at least one is needed")
    for name, bus in buses.items():
        for index, at_m in enumerate(bus.terminators_m):
            if at_m > bus.trunk_m:
                check.wrong(
                    ("buses", name, "terminators_m", index),
                    f"a terminator at {at_m:g} m, beyond the end of the trunk at {bus.trunk_m:g} m",
                )
        loc = ("buses", name, "twin_of")
        if bus.twin_of is None:
            continue
        if bus.twin_of == name:
            check.wrong(loc, f"{name} can't be its own twin")
        elif check.known(loc, bus.twin_of, buses, "bus") and buses[bus.twin_of].twin_of is not None:
            line = check.line(("buses", bus.twin_of, "twin_of"))
            check.wrong(loc, f"{bus.twin_of} is itself a twin, line {line}: name the other bus of the pair at one of them only")
    doubled = ((bus.twin_of, ("buses", name, "twin_of"), name) for name, bus in buses.items() if bus.twin_of is not None)
    check.once(doubled, lambda bus, first: f"{bus} is already doubled by {first}")


def _check_supplies(check: Check) -> None:
    for name, supply in check.boat.supplies.items():
        if supply.brown_out_v >= supply.nominal_v:
            words = f"nodes would reset below {supply.brown_out_v:g} V, and {name} has {supply.nominal_v:g} V at best"
            check.wrong(("supplies", name, "brown_out_v"), words)
        if supply.crank_v is not None and supply.crank_v >= supply.nominal_v:
            words = f"a starter draws {name} down: {supply.crank_v:g} V is not below its {supply.nominal_v:g} V"
            check.wrong(("supplies", name, "crank_v"), words)


def _check_nodes(check: Check) -> None:
    boat = check.boat
    if not boat.nodes:
        check.wrong_name(("nodes",), "there is no node: at least one is needed")
    for name, node in boat.nodes.items():
        check.known(("nodes", name, "supply"), node.supply, boat.supplies, "supply")
        if node.board is not None:
            check.known(("nodes", name, "board"), node.board, boat.types.boards, "board")
        if not node.taps:
            check.wrong(("nodes", name, "taps"), f"{name} is on no bus")
        for bus_name, tap in node.taps.items():
            loc = ("nodes", name, "taps", bus_name)
            if bus_name not in boat.buses:
                check.known(loc, bus_name, boat.buses, "bus", is_key=True)
                continue
            trunk_m = boat.buses[bus_name].trunk_m
            line = check.line(("buses", bus_name, "trunk_m"))
            if tap.at_m > trunk_m:
                words = f"at {tap.at_m:g} m {name} is off the end of {bus_name}, which is {trunk_m:g} m long, line {line}"
                check.wrong((*loc, "at_m"), words)
            if tap.drop_m > trunk_m:
                words = f"a drop of {tap.drop_m:g} m is longer than {bus_name} itself, {trunk_m:g} m, line {line}"
                check.wrong((*loc, "drop_m"), words)


def _check_addresses(check: Check) -> None:
    nodes = check.boat.nodes
    first: dict[int, str] = {}
    for name, node in nodes.items():
        loc = ("nodes", name, "address")
        if (other := first.setdefault(node.address, name)) != name:
            line = check.line(("nodes", other, "address"))
            check.wrong(loc, f"address {node.address} is already used by {other}, line {line}")
        if node.kind in HELM_KINDS and node.address not in HELM_ADDRESSES:
            check.wrong(
                loc,
                f"address {node.address} is for nodes beyond the helm: a node of kind {node.kind} sends safety messages "
                f"and needs one from {HELM_ADDRESSES[0]} to {HELM_ADDRESSES[-1]}",
            )


def _check_safety_ids(check: Check) -> None:
    """No two safety ids of the boat may share a CRC start, or a frame under a wrong id could pass (design s. 6)."""
    by_address = {node.address: name for name, node in check.boat.nodes.items()}

    def addresses(*kinds: str) -> set[int]:
        return {node.address for node in check.boat.nodes.values() if node.kind in kinds}

    stations, drives = addresses("station", "pendant"), addresses("drive")
    for pair in ids_sharing_a_start(safety_ids(stations, drives, set(by_address) - stations - drives)):
        one, other = sorted(pair, key=address_of)
        name, other_name = by_address[address_of(one)], by_address[address_of(other)]
        mine, theirs = BY_CODE[code_of(other)].name, BY_CODE[code_of(one)].name
        check.wrong(
            ("nodes", other_name, "address"),
            f"from address {address_of(other)} {mine} could pass for {theirs} from {name}, address {address_of(one)} on line "
            f"{check.line(('nodes', name, 'address'))}: their CRC starts alike. Choose another address",
        )
