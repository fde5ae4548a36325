"""Single frames of one sender that one node does not hear."""

from collections.abc import Iterator
from typing import Any, ClassVar, Final, Literal, get_args

from pydantic import Field

from busim.boat.model import BoatFile, Words
from busim.faults.fault import Complaint, Handles, NodeFault, NodePlace

Lost = Literal["neutral_now", "claim", "lever", "wheel", "drive_obeys", "drive_state", "rudder_state", "heartbeat"]
CODES: Final[dict[str, int]] = dict(zip(get_args(Lost), (0, 1, 2, 4, 5, 6, 8, 10), strict=True))


class FramesLostPlace(NodePlace):
    sender: Words = Field(description="the node that sends them")
    bus: Words
    message: Lost
    frames: int = Field(default=1, ge=1, le=1_000_000, description="how many of them, from the moment on")


class FramesLost(NodeFault):
    name = "frames_lost"
    words = "a node misses some frames of another"
    effect = "its controller acknowledges them, and its program never sees them: they were overwritten before they were read"
    lasts = False
    place: ClassVar[type[FramesLostPlace]] = FramesLostPlace

    def place_words(self, place: Any) -> str:
        count = f"{place.frames} frames" if place.frames > 1 else "a frame"
        return f"{place.node} misses {count} {place.message} of {place.sender} on {place.bus}"

    def misplaced(self, boat: BoatFile, place: Any) -> Iterator[Complaint]:
        if place.sender not in boat.nodes:
            yield "sender", f"there is no node {place.sender}"
            return
        for key in ("node", "sender"):
            taps = boat.nodes[getattr(place, key)].taps
            if place.bus not in taps:
                yield key, f"{getattr(place, key)} is not on {place.bus}; it is on {' and '.join(taps)}"

    def places(self, boat: BoatFile) -> Iterator[Any]:
        """What stations tell drives and rudder, and drives stations: one frame, and more in a row than are let through."""
        stations = [station.node for station in boat.stations.values()]
        drives = [drive.node for drive in boat.drives.values()]
        heard: list[tuple[str, str, tuple[Lost, ...]]] = [
            (drive, station, ("lever", "claim", "neutral_now")) for drive in drives for station in stations
        ]
        if boat.rudder is not None:
            heard += [(boat.rudder.node, station, ("wheel", "claim")) for station in stations]
        heard += [(station, drive, ("drive_obeys",)) for station in stations for drive in drives]
        for node, sender, messages in heard:
            for bus in boat.nodes[node].taps:
                if bus in boat.nodes[sender].taps:
                    for message in messages:
                        yield self.place(node=node, sender=sender, bus=bus, message=message)
                        yield self.place(node=node, sender=sender, bus=bus, message=message, frames=boat.timing.max_gap + 1)

    def begin(self, world: Handles, now_ns: int, place: Any) -> None:
        can_id = CODES[place.message] << 6 | world.boat.nodes[place.sender].address
        world.hosts[place.node].miss(now_ns, world.bus(place.bus).index, can_id, place.frames)
