"""What of a boat a fault at a place can touch: which nodes, on which buses, and whether anything of her helm is among it."""

from dataclasses import dataclass
from typing import Any, Final

from busim.boat.model import BoatFile
from busim.faults.intermittent import TURNS

HELM_KINDS: Final = ("station", "drive", "rudder", "cutout", "alarm")


@dataclass(frozen=True)
class Touched:
    """`nodes` that are faulty themselves; `buses` the whole of which is. `helm`: some of it serves her helm."""

    nodes: tuple[str, ...]
    buses: tuple[str, ...]
    helm: bool


def touched(boat: BoatFile, place: Any) -> Touched:
    inner = [where for name in TURNS if (where := getattr(place, name, None)) is not None]
    if inner:
        return touched(boat, inner[0])
    nodes = _nodes(boat, place)
    bus = getattr(place, "bus", None)
    buses = () if bus is None or (nodes and not hasattr(place, "nodes")) else (str(bus),)
    helm = any(_serves_helm(boat, node) for node in nodes) or bool(helm_buses(boat) & set(buses)) or not (nodes or buses)
    return Touched(nodes, buses, helm)


def _serves_helm(boat: BoatFile, node: str) -> bool:
    """It is of the helm, or on a bus of hers: then it can get in her way."""
    return boat.nodes[node].kind in HELM_KINDS or bool(helm_buses(boat) & set(boat.nodes[node].taps))


def _nodes(boat: BoatFile, place: Any) -> tuple[str, ...]:
    if (node := getattr(place, "node", None)) is not None:
        return (str(node),)
    if (several := getattr(place, "nodes", None)) is not None:
        return tuple(several)
    if (supply := getattr(place, "supply", None)) is not None:
        return tuple(name for name, node in boat.nodes.items() if node.supply == supply)
    if (drive := getattr(place, "drive", None)) is not None:
        return (boat.drives[drive].node,)
    if (panel := getattr(place, "panel", None)) is not None:
        return (boat.panels[panel].node,)
    if (light := getattr(place, "light", getattr(place, "zone", None))) is not None:
        return ((boat.zones.get(light) or boat.navigation_lights[light]).node,)
    return ()


def helm_buses(boat: BoatFile) -> set[str]:
    return {bus for node in boat.nodes.values() if node.kind in ("drive", "rudder", "cutout") for bus in node.taps}
