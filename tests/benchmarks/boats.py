"""A synthetic boat for benchmarks: 14 nodes, about 670 frames a second on one bus, every payload new. No boat anybody has."""

import json
from typing import Any

from busim.boat.derive import wire_plan
from busim.boat.model import BoatFile
from busim.protocol.plan import WirePlan

STATIONS = ("wheelhouse", "flying_bridge", "aft_deck")
DRIVES = ("port", "starboard")
PANELS = 4
DRIVERS = 5


MIXES = {
    "plain": {"heartbeat_ms": 35, "heartbeat_missing_ms": 122},
    "levers": {"lever_ms": 10, "drive_ms": 20},
}
"""Two ways to about 670 frames a second. `plain`: levers (150) and drive reports (100) at their default periods, the rest
heartbeats, as on a boat whose helm shares the bus with much that is not the helm. `levers`: three quarters of it levers and
reports, at twice their default rate: the dearest frames there are."""


def synthetic_boat(mix: str = "plain") -> tuple[BoatFile, WirePlan]:
    """Three stations with two levers each, two drives, four panels, five zone drivers of two zones."""
    names = [*STATIONS, *DRIVES, *(f"panel_{n}" for n in range(PANELS)), *(f"driver_{n}" for n in range(DRIVERS))]
    kinds = ["station"] * 3 + ["drive"] * 2 + ["panel"] * PANELS + ["zone_driver"] * DRIVERS
    actuator = {"stroke_mm": 70, "speed_mm_s": 50, "without_power": "stays"}
    boat: dict[str, Any] = {
        "busim": 1,
        "boat": {"name": "Benchmark", "waterline_m": 12, "mass_kg": 14000, "docking_speed_kn": 3, "max_run_m": 5},
        "buses": {"main": {"bit_rate": 250_000, "trunk_m": 30, "terminators_m": [0, 30]}},
        "supplies": {"house": {"nominal_v": 24}},
        "nodes": {
            name: {"kind": kind, "address": index + 1, "taps": {"main": {"at_m": 2 * index}}, "supply": "house"}
            for index, (name, kind) in enumerate(zip(names, kinds, strict=True))
        },
        "stations": {name: {"node": name, "may_take": list(DRIVES)} for name in STATIONS},
        "drives": {
            name: {
                "node": name,
                "instance": index + 1,
                "throttle": actuator,
                "shift": actuator,
                "idle_rpm": 700,
                "full_rpm": 2600,
                "neutral_switch": True,
                "engine_stop": True,
                "stop_without_bus": "pull-cable",
            }
            for index, name in enumerate(DRIVES)
        },
        "zones": {
            f"zone_{n}": {"number": n + 1, "node": f"driver_{n // 2}", "channel": n % 2 + 1, "kind": "switched"} for n in range(10)
        },
        "panels": {
            f"panel_{n}": {
                "node": f"panel_{n}",
                "pages": {"one": {"near": {"number": 1, "does": "toggle", "zones": [f"zone_{n}"]}}},
            }
            for n in range(PANELS)
        },
        "timing": MIXES[mix],
        "hull": {"top_speed_kn": 9},
    }
    model = BoatFile.model_validate_json(json.dumps(boat))
    return model, wire_plan(model)
