"""`busim check [BOAT]`: what is wrong with a boat file, what can't work, what is not simulated yet, every value."""

from pathlib import Path

from busim.boat.findings import findings, not_simulated
from busim.boat.resolved import resolved_lines
from busim.commands import ending
from busim.commands.boats import boat_line, find_boat
from busim.protocol.catalogue import safety_ids
from busim.protocol.ids import ids_sharing_a_start


def check(path: Path | None, *, resolved: bool) -> int:
    boat = find_boat(path)
    print(boat_line(boat))
    if resolved:
        for line in resolved_lines(boat):
            print(line)
    found = findings(boat.document)
    for finding in found:
        print(f"finding: {finding}")
    stations = {station.address for station in boat.plan.stations}
    drives = {drive.address for drive in boat.plan.drives}
    ids = safety_ids(stations, drives, {address for address, _, _ in boat.plan.nodes} - stations - drives)
    shared = ids_sharing_a_start(ids)
    print(f"safety ids: {len(ids)}, no two share a CRC start" if not shared else f"safety ids that share a CRC start: {shared}")
    for words in not_simulated(boat.boat):
        print(words)
    if found or shared:
        print(f"{len(found)} finding{'s' if len(found) != 1 else ''}")
        return ending.FAILED
    print("nothing found against it")
    return ending.PASSED
