"""A boat of a wanted size laid out: what its nodes are called, which address each has, where on the trunk each sits.

No text of a boat file is written here: that is done in `begin_text`.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

MOST_ENGINES: Final = 2
MOST_STATIONS: Final = 6
MOST_ZONES: Final = 40
CHANNELS: Final = 8
"""Outputs of one zone driver, and touch fields of one panel: what fits on a board and under a hand."""

STATIONS: Final = ("wheelhouse", "upper_deck", "stern", "foredeck", "port_side", "starboard_side")
"""The first is where she is started from."""

LIGHTS: Final = (
    (
        "saloon_panel",
        "cabin_lights",
        ("saloon", "galley", "chart_table", "passage", "heads", "shower", "forward_cabin", "forward_berth"),
    ),
    (
        "deck_panel",
        "deck_lights",
        ("cockpit", "companionway", "side_decks", "foredeck_flood", "upper_deck_table", "boarding_steps", "lockers", "awning"),
    ),
    (
        "aft_panel",
        "aft_lights",
        ("aft_cabin", "aft_berth", "aft_desk", "aft_wardrobe", "aft_heads", "aft_shower", "aft_passage", "aft_steps"),
    ),
    (
        "guest_panel",
        "guest_lights",
        ("guest_cabin", "upper_berth", "lower_berth", "guest_wardrobe", "guest_heads", "guest_desk", "pantry", "laundry"),
    ),
    (
        "service_panel",
        "service_lights",
        ("engine_space", "workbench", "battery_space", "bilge", "lazarette", "tank_space", "forepeak", "chain_locker"),
    ),
)
"""(panel, zone driver, their zones)."""

ENGINES: Final = {
    1: (("engine", "engine_room"),),
    2: (("port", "port_engine"), ("starboard", "starboard_engine")),
}
"""Number of engines -> (drive, its node)."""

FIRST_STATION_ADDRESS: Final = 1
PENDANT_ADDRESS: Final = FIRST_STATION_ADDRESS + MOST_STATIONS
FIRST_DRIVE_ADDRESS: Final = 11
FIRST_CUTOUT_ADDRESS: Final = 13
RUDDER_ADDRESS: Final = 15
FIRST_PANEL_ADDRESS: Final = 20
FIRST_DRIVER_ADDRESS: Final = 30

_FIRST_M: Final = 0.5
_END_M: Final = 1.0
_STATION_GAP_M: Final = 2.0
_LIGHT_GAP_M: Final = 1.0
_ENGINE_GAP_M: Final = 1.5
_BULKHEAD_GAP_M: Final = 3.0
"""From the last node before the engine room to the first in it: room for a cut at a round figure."""
_SHORTEST_TRUNK_M: Final = 12.0


@dataclass(frozen=True)
class Size:
    """How much of everything is wanted. Errors: ValueError beyond what a boat file can be begun with."""

    engines: int = 1
    stations: int = 1
    zones: int = 1

    def __post_init__(self) -> None:
        for name, low, high in (("engines", 1, MOST_ENGINES), ("stations", 1, MOST_STATIONS), ("zones", 0, MOST_ZONES)):
            if not low <= getattr(self, name) <= high:
                raise ValueError(f"{name}: {getattr(self, name)} is not from {low} to {high}")


@dataclass(frozen=True)
class PlacedNode:
    name: str
    kind: str
    address: int
    at_m: float


@dataclass(frozen=True)
class LightGroup:
    """A panel, a zone driver, and the zones they share."""

    panel: str
    driver: str
    zones: tuple[str, ...]


@dataclass(frozen=True)
class Layout:
    """`nodes` in the order in which the trunk passes them; `drives` are (drive, its node)."""

    nodes: tuple[PlacedNode, ...]
    stations: tuple[str, ...]
    drives: tuple[tuple[str, str], ...]
    lights: tuple[LightGroup, ...]
    trunk_m: float

    def of_kind(self, kind: str) -> tuple[PlacedNode, ...]:
        return tuple(node for node in self.nodes if node.kind == kind)

    @property
    def last_before_engines(self) -> PlacedNode:
        return [node for node in self.nodes if node.kind != "drive"][-1]

    @property
    def cut_m(self) -> float:
        """Half way between the engine nodes and everything else."""
        return round((self.last_before_engines.at_m + self.of_kind("drive")[0].at_m) / 2, 1)


def lay_out(size: Size) -> Layout:
    """The trunk passes the stations first, then the lights, and ends in the engine room."""
    stations, drives, lights = STATIONS[: size.stations], ENGINES[size.engines], tuple(_groups(size.zones))
    nodes: list[PlacedNode] = []
    at_m = _FIRST_M
    for number, name in enumerate(stations):
        nodes.append(PlacedNode(name, "station", FIRST_STATION_ADDRESS + number, at_m))
        at_m += _STATION_GAP_M
    for number, group in enumerate(lights):
        nodes.append(PlacedNode(group.panel, "panel", FIRST_PANEL_ADDRESS + number, at_m))
        nodes.append(PlacedNode(group.driver, "zone_driver", FIRST_DRIVER_ADDRESS + number, at_m + _LIGHT_GAP_M))
        at_m += 2 * _LIGHT_GAP_M
    last_engine_m = (len(drives) - 1) * _ENGINE_GAP_M
    first_engine_m = max(nodes[-1].at_m + _BULKHEAD_GAP_M, _SHORTEST_TRUNK_M - _END_M - last_engine_m)
    for number, (_, name) in enumerate(drives):
        nodes.append(PlacedNode(name, "drive", FIRST_DRIVE_ADDRESS + number, first_engine_m + number * _ENGINE_GAP_M))
    return Layout(tuple(nodes), stations, drives, lights, nodes[-1].at_m + _END_M)


def _groups(zones: int) -> Iterator[LightGroup]:
    for panel, driver, names in LIGHTS:
        if zones <= 0:
            return
        yield LightGroup(panel, driver, names[:zones])
        zones -= len(names)
