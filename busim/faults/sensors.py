"""Sensors that do not show what they measure: open, shorted, stuck, slipped, reversed. Each acts on one input of one node, so
that of a lever's two tracks one can be wrong, or both.
"""

from collections.abc import Iterator
from typing import Any, ClassVar

from pydantic import Field

from busim.boat.model import BoatFile, Words
from busim.faults.fault import Complaint, Handles, NodeFault, NodePlace
from busim.plant.spoilt import OPEN, REVERSED, SHORT, SLIPPED, STUCK, span_of


class SensorPlace(NodePlace):
    channel: Words = Field(description="the node's input, like lever.1, lever.1b, wheel, rudder_angle, shift_position")


class SlippedPlace(SensorPlace):
    by: int = Field(ge=-100_000, le=100_000, description="how much more it shows, in the channel's unit")


def sensors_of(boat: BoatFile, node: str) -> list[str]:
    """The inputs of a node that sensors and contacts of the helm are wired to."""
    found: list[str] = []
    for drive in boat.drives.values():
        if drive.node == node:
            found += ["shift_position", "throttle_position", "rpm", *(["neutral_switch"] if drive.neutral_switch else [])]
    if boat.rudder is not None and boat.rudder.node == node:
        found.append("rudder_angle")
    found += [channel for cutout in boat.cutouts.values() if cutout.node == node for channel in ("gear_switch", "speed")]
    for station in boat.stations.values():
        if station.node == node:
            levers = [f"lever.{boat.drives[drive].instance}" for drive in station.may_take]
            found += levers + [f"{lever}b" for lever in levers if station.lever_tracks == 2]
            found += ["take", "neutral_now", *(["wheel"] if station.steers else [])]
    return found


class SensorFault(NodeFault):
    """A fault of one sensor. `how` is a key of `busim.plant.spoilt.SPOILT`."""

    place: ClassVar[type[SensorPlace]] = SensorPlace
    acts_on = "sensor"
    how: ClassVar[str]

    def place_words(self, place: Any) -> str:
        return f"{place.node}, {place.channel}"

    def holds(self, place: Any) -> str:
        return self.place_words(place)

    def misplaced(self, boat: BoatFile, place: Any) -> Iterator[Complaint]:
        known = sensors_of(boat, place.node)
        if place.channel not in known:
            has = f"it has {', '.join(known)}" if known else "it has none"
            yield "channel", f"{place.node} has no sensor {place.channel}: {has}"

    def places(self, boat: BoatFile) -> Iterator[Any]:
        return (self.place(node=node, channel=channel) for node in boat.nodes for channel in sensors_of(boat, node))

    def begin(self, world: Handles, now_ns: int, place: Any) -> None:
        world.spoil_sensor(now_ns, place.node, place.channel, self.how, getattr(place, "by", 0))

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        world.spoil_sensor(now_ns, place.node, place.channel, None)


class SensorOpen(SensorFault):
    name = "sensor_open"
    words = "the wire of a sensor is open"
    effect = "a slider shows its supply's lower end, beyond its travel; a contact shows open; a speed pick-up shows no speed"
    assumption = True
    how = OPEN


class SensorShort(SensorFault):
    name = "sensor_short"
    words = "a sensor is shorted to its supply"
    effect = "a slider shows its supply's upper end, beyond its travel; a contact shows closed; a speed pick-up shows no speed"
    assumption = True
    how = SHORT


class SensorStuck(SensorFault):
    name = "sensor_stuck"
    words = "a sensor sticks"
    effect = "it goes on showing what it showed when it stuck"
    how = STUCK


class SensorSlipped(SensorFault):
    name = "sensor_slipped"
    words = "a sensor has slipped on its shaft"
    effect = "it shows so much more than there is, as far as it can"
    place: ClassVar[type[SlippedPlace]] = SlippedPlace
    how = SLIPPED

    def places(self, boat: BoatFile) -> Iterator[Any]:
        """By an eighth of what the channel can show, either way; contacts and pick-ups have nothing to slip on."""
        hard_over_cdeg = round(boat.rudder.hard_over_deg * 100) if boat.rudder is not None else 0
        for node in boat.nodes:
            for channel in sensors_of(boat, node):
                low, high = span_of(channel, hard_over_cdeg)
                for by in ((high - low) // 8, -((high - low) // 8)):
                    if by:
                        yield self.place(node=node, channel=channel, by=by)


class SensorReversed(SensorFault):
    name = "sensor_reversed"
    words = "the wires of a sensor are swapped"
    effect = "it shows its travel the other way round"
    from_start = True
    how = REVERSED


class TracksStuck(SensorFault):
    name = "tracks_stuck"
    words = "both tracks of a lever stick together"
    effect = "the shaft has come off its lever: both sensors go on showing what they showed, and agree"
    assumption = True
    how = STUCK

    def misplaced(self, boat: BoatFile, place: Any) -> Iterator[Complaint]:
        known = sensors_of(boat, place.node)
        if place.channel not in known or second_track(place.channel) not in known:
            yield "channel", f"{place.node} has no lever {place.channel} with two tracks"

    def begin(self, world: Handles, now_ns: int, place: Any) -> None:
        for channel in (place.channel, second_track(place.channel)):
            world.spoil_sensor(now_ns, place.node, channel, self.how)

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        for channel in (place.channel, second_track(place.channel)):
            world.spoil_sensor(now_ns, place.node, channel, None)


def second_track(lever: str) -> str:
    """The channel of a lever's other sensor."""
    return f"{lever}b"
