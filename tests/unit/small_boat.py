"""A boat as nodes know it, written out by hand: two stations, two drives, a cutout, an alarm node, a panel, two drivers with
three zones; and, where a test asks for it, a rudder that both stations steer.

The numbers are chosen so that no two times of a test fall together by accident.
"""

from dataclasses import replace
from typing import Any

from busim.protocol.plan import (
    ControlPlan,
    CutoutPlan,
    DrivePlan,
    NavigationLightPlan,
    PanelPlan,
    RudderPlan,
    StationPlan,
    Timing,
    WirePlan,
    ZonePlan,
)
from busim.units import MS

WHEELHOUSE, BRIDGE = 1, 3
PORT, STARBOARD = 2, 4
CUTOUT = 6
RUDDER = 8
SALOON = 9
"""The alarm node's address."""
HARD_OVER_CDEG, CDEG_PER_S, NO_STEER_PERMILLE = 3500, 700, 200
LIMIT_MS, CUTOUT_MS, IDLE_RPM = 2592, 500, 800
PANEL = 20
DRIVER, OTHER_DRIVER = 21, 22
MASTHEAD = 40
NAVIGATION_LIGHTS = (
    NavigationLightPlan("side_lights", 1, MASTHEAD, 1, (1,), False),
    NavigationLightPlan("anchor_light", 2, MASTHEAD, 2, (2, 3), True),
)
DWELL_MS = 1000
IDLE_WAIT_MS = 1447
SHIFT_RPM = 1000
SHIFT_MS = 875
THROTTLE_MS = 1400
SHIFT_ALLOWANCE_NS = (SHIFT_MS * 3 // 2 + 200) * MS
"""Half again the shift's time, and 200 ms: by then the gear is in or out, or the actuator is stuck."""

TIMING = Timing(
    lever_ms=20,
    drive_ms=40,
    claim_ms=50,
    heartbeat_ms=100,
    heartbeat_missing_ms=350,
    control_timeout_ms=250,
    max_gap=3,
    age_max_ms=300,
    transfer_ms=500,
    overlap_ms=600,
    zone_ms=1000,
    press_repeat_ms=50,
    press_failed_ms=800,
)
CONTROLS = (
    ControlPlan("lamp", 1, 0, "toggle", (1,), 0, 0),
    ControlPlan("both on", 2, 0, "on", (1, 2), 0, 0),
    ControlPlan("both off", 3, 0, "off", (1, 2), 0, 0),
    ControlPlan("all off", 4, 0, "all_off", (), 0, 0),
    ControlPlan("lamp of the second page", 5, 1, "toggle", (3,), 0, 0),
)


def small_boat(
    *,
    buses: int = 1,
    timing: dict[str, int] | None = None,
    station: dict[str, Any] | None = None,
    cutout: dict[str, Any] | None = None,
    rudder: dict[str, Any] | None = None,
    navigation: bool = False,
    **drive: Any,
) -> WirePlan:
    """`drive` and `station` change values of every drive and station; with `rudder`, which changes its values, there is one."""
    steering = (RUDDER,) if rudder is not None else ()
    masts = (MASTHEAD,) if navigation else ()
    everybody = tuple(sorted((WHEELHOUSE, BRIDGE, PORT, STARBOARD, CUTOUT, *steering, SALOON, PANEL, DRIVER, OTHER_DRIVER, *masts)))
    kinds = {WHEELHOUSE: "station", BRIDGE: "station", PORT: "drive", STARBOARD: "drive", PANEL: "panel", CUTOUT: "cutout"}
    kinds[SALOON] = "alarm"
    kinds |= dict.fromkeys(steering, "rudder") | dict.fromkeys(masts, "navigation")
    stations = [
        StationPlan(
            name=name,
            address=address,
            drives=(1, 2),
            matched_take=False,
            lever_low_permille=100,
            lever_high_permille=900,
            lever_gear_permille=150,
            lever_tracks=1,
            steers=rudder is not None,
        )
        for name, address in (("wheelhouse", WHEELHOUSE), ("bridge", BRIDGE))
    ]
    drives = [
        DrivePlan(
            name=name,
            address=address,
            instance=instance,
            stations=(WHEELHOUSE, BRIDGE),
            on_loss="neutral",
            dwell_ms=DWELL_MS,
            idle_wait_ms=IDLE_WAIT_MS,
            shift_rpm=SHIFT_RPM,
            shift_ms=SHIFT_MS,
            throttle_ms=THROTTLE_MS,
            has_neutral_switch=True,
            has_engine_stop=True,
            on_other_lost="carry_on",
            when_apart="each_obeys",
        )
        for name, address, instance in (("port", PORT, 1), ("starboard", STARBOARD, 2))
    ]
    steered = None
    if rudder is not None:
        values = RudderPlan("rudder", RUDDER, (WHEELHOUSE, BRIDGE), HARD_OVER_CDEG, CDEG_PER_S, NO_STEER_PERMILLE)
        steered = replace(values, **rudder)
    return WirePlan(
        timing=replace(TIMING, **(timing or {})),
        nodes=tuple((address, f"node_{address}", kinds.get(address, "zone_driver")) for address in everybody),
        stations=tuple(replace(each, **(station or {})) for each in stations),
        drives=tuple(replace(each, **drive) for each in drives),
        rudder=steered,
        cutouts=(replace(CutoutPlan("port_cutout", CUTOUT, 1, LIMIT_MS, CUTOUT_MS, IDLE_RPM), **(cutout or {})),),
        zones=(
            ZonePlan("cabin", 1, DRIVER, (1,), "switched", False),
            ZonePlan("galley", 2, OTHER_DRIVER, (1,), "switched", True),
            ZonePlan("foredeck", 3, DRIVER, (2,), "switched", True),
        ),
        panels=(PanelPlan("steps", PANEL, 20, CONTROLS),),
        scenes=(),
        navigation_lights=NAVIGATION_LIGHTS if navigation else (),
        buses=tuple((f"bus_{number}", 250_000, everybody) for number in range(buses)),
    )
