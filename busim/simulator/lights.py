"""What is wired to the nodes of the lights: lamps and relays behind their outputs, switches and sensing at their inputs."""

from collections.abc import Callable
from typing import Any, Protocol

from busim.boat.derive import channels_of
from busim.boat.model import BoatFile
from busim.host.host import Host
from busim.host.inputs import Constant, Source
from busim.host.supply import Supply
from busim.plant.lamp import Lamp
from busim.plant.plant import Plant


class HasLights(Protocol):
    boat: BoatFile
    hosts: dict[str, Host]
    plant: Plant
    supplies: dict[str, Supply]


class Relay:
    """Where a latching relay stands: 1 closed."""

    __slots__ = ("lamp",)

    def __init__(self, lamp: Lamp) -> None:
        self.lamp = lamp

    def read(self, now_ns: int) -> int:
        return int(self.lamp.duties[0] > 0)

    def still(self, now_ns: int) -> bool:
        return True


def light_sources(world: HasLights) -> dict[str, dict[str, Source]]:
    """Node -> input channel -> what is wired to it."""
    sources: dict[str, dict[str, Source]] = {}
    for zone in world.boat.zones.values():
        of_node = sources.setdefault(zone.node, {})
        of_node[f"lamp.{zone.number}"] = Constant()
        if zone.wired_switch:
            of_node[f"switch.{zone.number}"] = Constant()
    for name, light in world.boat.navigation_lights.items():
        of_node = sources.setdefault(light.node, {})
        of_node[f"lamp.{light.number}"] = Constant()
        of_node[f"relay.{light.number}"] = Relay(world.plant.lamp(name, 1))
    for panel in world.boat.panels.values():
        for page in panel.pages.values():
            sources.setdefault(panel.node, {}).update({f"touch.{control.number}": Constant() for control in page.values()})
    return sources


def connect_lights(world: HasLights) -> None:
    """What outputs of the lights' nodes move."""
    for name, zone in world.boat.zones.items():
        channels = channels_of(zone)
        for place, channel in enumerate(channels):
            world.hosts[zone.node].sinks[f"channel.{channel}"] = world.plant.lamp_sink(name, place, len(channels))
    for name, light in world.boat.navigation_lights.items():
        world.hosts[light.node].sinks[f"channel.{light.channel}"] = relay_sink(world.plant, name)


def feed_lights(world: HasLights) -> None:
    """Navigation lights burn by the supply of the node that switches them. *Model assumption*: a sag leaves them lit."""
    for name, light in world.boat.navigation_lights.items():
        supply = world.supplies[world.boat.nodes[light.node].supply]
        supply.lamps = world.plant
        supply.lights.append(name)


def relay_sink(plant: Plant, name: str) -> Callable[[int, int], None]:
    """A latching relay: it stays where it is when whoever set it loses its power."""

    def sink(now_ns: int, duty: int) -> None:
        if duty >= 0:
            plant.lamp(name, 1).duties[0] = duty
            plant.say_lamp(now_ns, name)

    return sink


def wired_switch_of(boat: BoatFile, light: str) -> tuple[str, str]:
    """(node, channel) of a light's wired switch."""
    section: Any = boat.zones if light in boat.zones else boat.navigation_lights
    return section[light].node, f"switch.{section[light].number}"


def work_wired_switch(world: HasLights, now_ns: int, light: str, on: bool) -> None:
    """A hand works a light's wired switch. A navigation light's is in its lamp's own circuit, and its node hears nothing of it."""
    if light in world.boat.zones:
        node, channel = wired_switch_of(world.boat, light)
        world.hosts[node].set_switch(now_ns, channel, int(on))
    else:
        world.plant.lamp(light, 1).forced = on
        world.plant.say_lamp(now_ns, light)


def break_lamp(world: HasLights, now_ns: int, light: str, broken: int) -> None:
    """A light's lamps fail (1 open, 2 short) or are put right (0), and its driver senses it."""
    section: Any = world.boat.zones if light in world.boat.zones else world.boat.navigation_lights
    world.plant.lamp(light, len(channels_of(section[light])) if light in world.boat.zones else 1).broken = broken
    world.plant.say_lamp(now_ns, light)
    world.hosts[section[light].node].set_switch(now_ns, f"lamp.{section[light].number}", broken)


def stick_zone(world: HasLights, now_ns: int, name: str, stuck: bool) -> None:
    """A zone's outputs stay where they are, or follow their driver again."""
    zone = world.boat.zones[name]
    channels = channels_of(zone)
    lamp = world.plant.lamp(name, len(channels))
    lamp.stuck = stuck
    if not stuck:
        outputs = world.hosts[zone.node].outputs
        lamp.duties = [outputs.get(f"channel.{channel}", 0) for channel in channels]
        world.plant.say_lamp(now_ns, name)
