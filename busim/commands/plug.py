"""`busim plug`: the simulated boat behind pseudo-terminals or a loopback port, for any program that speaks slcan."""

import sys
from pathlib import Path

from busim import labels
from busim.boat.load import LoadedBoat
from busim.commands import ending
from busim.commands.boats import boat_line, find_boat, find_scenario
from busim.commands.kinds import classes_for, replaced_kinds
from busim.reading.problem import quoted, refused, suggestion
from busim.units import MS, SECOND

BUS = Path("--bus")
WITHOUT = Path("--without")
PORT = Path("--port")
PTY = Path("--pty")


def plug(
    boat_path: Path | None,
    *,
    port: int | None,
    terminals: int,
    bus: str | None,
    without: list[str],
    scenario_path: Path | None,
    seed: int,
    seconds: int | None,
    kinds: list[str],
) -> int:
    from busim.bench.doors import loopback_listener
    from busim.bench.interrupts import Interrupts
    from busim.bench.live import LONGEST_NS, LiveBoat
    from busim.bench.pacing import hold_still
    from busim.bench.plug import SEATS, Plug

    boat = find_boat(boat_path)
    scenario = find_scenario(scenario_path, boat).scenario if scenario_path is not None else None
    classes = classes_for(replaced_kinds(kinds, boat.boat), boat.boat, boat.plan)
    chosen = bus_of(bus, boat)
    _check_left_out(without, chosen, boat)
    live = LiveBoat(boat.boat, boat.plan, classes, seed, scenario)
    seats = [live.seat(chosen, name, left_out=name) for name in without]
    seats += [live.seat(chosen, f"guest {number}") for number in range(1, max(SEATS - len(without), 1) + 1)]
    bit_rate = boat.boat.buses[chosen].bit_rate
    server = Plug(live, bit_rate, seats, lambda words: print(words, flush=True))
    print(boat_line(boat))
    print(labels.PLUG_HEAD.format(bus=chosen, bit_rate=bit_rate))
    if without:
        print(labels.PLUG_WITHOUT.format(nodes=", ".join(without)))
    print(labels.NEVER_BRIDGED)
    try:
        _open_doors(server, loopback_listener, port, terminals, len(seats))
        server.listen_to(sys.stdin)
        hold_still()
        with Interrupts() as interrupts:
            server.run(LONGEST_NS if seconds is None else seconds * SECOND, lambda: interrupts.asked)
        return ending.INTERRUPTED if interrupts.asked else ending.PASSED
    finally:
        server.close()
        live.end_second()
        print(labels.PLUGGED.format(seconds=live.now_ns // SECOND, digest=live.digest, frames=live.frames))
        late, pace = server.pace.lateness, server.pace
        shares = [late.share_ns(share) / MS for share in (0.5, 0.99)]
        print(labels.LATENESS.format(median=shares[0], high=shares[1], worst=late.worst_ns / MS))
        if pace.stops:
            print(labels.STOOD_STILL.format(times=pace.stops, seconds=pace.stood_ns / SECOND))


def bus_of(name: str | None, boat: LoadedBoat) -> str:
    """The bus that was named, else the one most stations and drives are on. Errors: InputError."""
    buses = boat.boat.buses
    if name is None:
        nodes = [station.node for station in boat.boat.stations.values()] + [drive.node for drive in boat.boat.drives.values()]
        counts = {each: sum(each in boat.boat.nodes[node].taps for node in nodes) for each in buses}
        return max(buses, key=lambda each: counts[each])
    if name not in buses:
        raise refused(BUS, labels.BUS_IS_NOT.format(bus=quoted(name), meant=suggestion(name, buses, otherwise=labels.THEY_ARE)))
    return name


def _check_left_out(without: list[str], bus: str, boat: LoadedBoat) -> None:
    nodes = [name for name, node in boat.boat.nodes.items() if bus in node.taps]
    for name in without:
        if name not in nodes:
            meant = suggestion(name, nodes, otherwise=labels.THEY_ARE)
            raise refused(WITHOUT, labels.NODE_IS_NOT.format(node=quoted(name), bus=bus, meant=meant))
        if without.count(name) > 1:
            raise refused(WITHOUT, labels.NODE_TWICE.format(node=name))


def _open_doors(server, loopback_listener, port: int | None, terminals: int, seats: int) -> None:  # type: ignore[no-untyped-def]
    if terminals > seats:
        raise refused(PTY, labels.SEATS_ARE.format(most=seats))
    for _ in range(terminals):
        try:
            server.open_terminal()
        except OSError as error:
            raise refused(PTY, labels.NO_PTY.format(why=error.strerror)) from error
    if port is not None or not terminals:
        try:
            server.open_port(loopback_listener(port or 0))
        except OSError as error:
            raise refused(PORT, labels.PORT_TAKEN.format(port=port, why=error.strerror)) from error
