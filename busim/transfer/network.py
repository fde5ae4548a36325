"""The boat as the exploration sees it: who takes and who follows, who hears whom on which bus, where a trunk can be cut.

A frame sent in a slot is received in the next one. On each bus frames come in the order of their ids, as arbitration has them.
"""

from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from itertools import pairwise
from typing import Any, Final, cast

from busim.boat.derive import board_of
from busim.boat.model import BoatFile
from busim.events import bits
from busim.host.host import NodeError
from busim.protocol.catalogue import DRIVE_OBEYS, RUDDER_STATE
from busim.protocol.plan import WirePlan
from busim.seam import Node
from busim.simulator.build import NodeMaker
from busim.transfer.cell import Cells, Surroundings
from busim.transfer.memory import Shape, UntoldError
from busim.transfer.parcels import Parcels
from busim.units import MS

CODE_WHEEL: Final = 4
CODE_RUDDER_STATE: Final = 8
DISTURBED: Final = (bits.CODE_CLAIM, bits.CODE_LEVER, CODE_WHEEL, bits.CODE_DRIVE_OBEYS, CODE_RUDDER_STATE)
"""Codes of the frames that are lost, late or doubled one by one. Others (heartbeats) get through unless a trunk is cut."""
UNCUT: Final = -1


class Network:
    """Members are the stations, then whoever follows them; `index` of a member by its address.

    Errors: NodeError where a class does not say what it remembers.
    """

    def __init__(self, boat: BoatFile, plan: WirePlan, classes: Mapping[str, type[Node]], slot_ns: int) -> None:
        plan = quick(plan, slot_ns)
        self.plan = plan
        self.slot_ns = slot_ns
        followers = [drive.address for drive in plan.drives]
        if plan.rudder is not None and "rudder" in classes:
            followers.append(plan.rudder.address)
        self.stations = [station.address for station in plan.stations]
        self.followers = followers
        self.members = [*self.stations, *followers]
        self.index = {address: index for index, address in enumerate(self.members)}
        self.names = {address: name for address, name, _ in plan.nodes}
        kinds = {address: kind for address, _, kind in plan.nodes}
        nodes = {self.names[address]: boat.nodes[self.names[address]] for address in self.members}
        self.parcels = Parcels()
        self.names_of: dict[tuple[Any, Any], int] = {}
        """How counters moved and numbers are called anew -> the number that stands for it."""
        self.cells: list[Cells] = []
        heard: list[set[tuple[int, int]]] = []
        report_ids = frozenset(message.can_id(each) for each in followers for message in (DRIVE_OBEYS, RUDDER_STATE))
        idle_rpm = {boat.drives[drive.name].idle_rpm for drive in plan.drives}
        for address in self.members:
            kind = classes[kinds[address]]
            name = self.names[address]
            make = partial(cast("NodeMaker", kind), plan, address, nodes[name].build)
            station = next((each for each in plan.stations if each.address == address), None)
            surroundings = Surroundings(
                make=make,
                name=f"{name} ({kind.__name__})",
                plan=plan,
                boot_slots=max(-(-board_of(boat, name).boot_ms * MS // slot_ns), 1),
                slot_ns=slot_ns,
                is_station=station is not None,
                levers=station.drives if station else (),
                range_permille=(station.lever_low_permille, station.lever_high_permille) if station else (0, 1000),
                tracks=station.lever_tracks if station else 1,
                idle_rpm=min(idle_rpm),
                channels=kind.inputs,
                report_ids=report_ids,
            )
            self.cells.append(Cells(surroundings, self.parcels))
            try:
                heard.append(heard_by(make()))
            except UntoldError as error:
                raise NodeError(f"{surroundings.name}: {error}") from error
        self.routes: dict[tuple[int, int], tuple[int, ...]] = {}
        """(bus, can_id) -> members that hear it."""
        for key in set().union(*heard):
            self.routes[key] = tuple(index for index, keys in enumerate(heard) if key in keys)
        self.bus_names = [name for name, _, _ in plan.buses]
        self._at_m: list[dict[int, float]] = []
        self.cuts_m: list[list[float]] = []
        """Per bus: between which metres its trunk can be cut, in the middle of each."""
        for name in self.bus_names:
            at_m = {address: node.taps[name].at_m for address in self.members if name in (node := nodes[self.names[address]]).taps}
            places = sorted(set(at_m.values()))
            self._at_m.append(at_m)
            self.cuts_m.append([round((low + high) / 2, 3) for low, high in pairwise(places)])

    def followers_of(self, station: int) -> list[int]:
        """Indexes of the members that the station at this address may take."""
        drives = {drive.address for drive in self.plan.drives if station in drive.stations}
        rudder = self.plan.rudder
        steered = {rudder.address} if rudder is not None and station in rudder.stations else set()
        return [self.index[address] for address in self.followers if address in drives | steered]

    def passes(self, bus: int, cut: int, sender: int, listener: int) -> bool:
        """Does a frame of the address `sender` reach the address `listener` on this bus, cut through at place `cut`?"""
        if cut == UNCUT:
            return True
        at_m, cut_m = self._at_m[bus], self.cuts_m[bus][cut]
        return (at_m[sender] < cut_m) == (at_m[listener] < cut_m)

    def apart(self, cuts: tuple[int, ...], one: int, other: int) -> bool:
        """Do these two members share no bus on which they hear each other?"""
        return not any(
            one in at_m and other in at_m and self.passes(bus, cuts[bus], one, other) for bus, at_m in enumerate(self._at_m)
        )


def heard_by(node: Node) -> set[tuple[int, int]]:
    """(bus, id) of the frames it hears with something that is not fixed: what only feeds its alarms moves nothing here."""
    kept = {id(node), *(id(thing) for _, _, _, thing, _ in Shape(node).inside)}
    return {key for key, handler in node.receives().items() if id(getattr(handler, "__self__", node)) in kept}


def quick(plan: WirePlan, slot_ns: int) -> WirePlan:
    """The plan with machinery that does what it is told in a slot, and heartbeats in step with the drives' reports.

    A dwell, a shift or an idle wait only puts off what is looked for. Heartbeats get through wherever lever frames of the same
    sender can, and lever frames are missed sooner: how often they come only says when a station newly started counts. What thrust
    is left while nobody steers is no question of who is in control.
    """
    slot_ms = max(slot_ns // MS, 1)
    drives = tuple(replace(drive, dwell_ms=slot_ms, idle_wait_ms=2 * slot_ms, shift_ms=slot_ms) for drive in plan.drives)
    timing = plan.timing
    if timing.control_timeout_ms <= timing.heartbeat_missing_ms:
        timing = replace(timing, heartbeat_ms=min(timing.drive_ms, timing.heartbeat_ms))
    rudder = replace(plan.rudder, no_steer_permille=1000) if plan.rudder is not None else None
    return replace(plan, drives=drives, rudder=rudder, timing=timing)
