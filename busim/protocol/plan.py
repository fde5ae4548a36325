"""The boat as its nodes know it: addresses, timing, travel, zones. Plain frozen values, resolved, without positions or text.

Made from the boat file by `busim.boat`; the two fingerprints are taken over these values, so two files that differ only in
comments, order or written-out defaults build the same nodes. Everything here is what firmware is built with.
"""

import hashlib
import json
from dataclasses import asdict, dataclass
from functools import cached_property
from typing import Any

from busim.protocol import catalogue
from busim.protocol.ids import HELM_ADDRESSES, address_of, code_of


@dataclass(frozen=True)
class Timing:
    """Protocol timing, all in ms but `max_gap`. Defaults and their reasons stand in the boat model."""

    lever_ms: int
    drive_ms: int
    claim_ms: int
    heartbeat_ms: int
    heartbeat_missing_ms: int
    control_timeout_ms: int
    max_gap: int
    age_max_ms: int
    transfer_ms: int
    overlap_ms: int
    zone_ms: int
    press_repeat_ms: int
    press_failed_ms: int


@dataclass(frozen=True)
class StationPlan:
    """A station. `drives` are the instances it may control; `matched_take` allows a take with its lever matched to the gear."""

    name: str
    address: int
    drives: tuple[int, ...]
    matched_take: bool
    lever_low_permille: int
    lever_high_permille: int
    lever_gear_permille: int
    lever_tracks: int
    steers: bool


@dataclass(frozen=True)
class DrivePlan:
    """A drive: one engine with its gearbox, and what its node must know of it.

    `on_loss` is "neutral" or "idle"; `on_other_lost` is "carry_on" or "neutral"; `when_apart`, for a drive that does not hear
    the other one, is "each_obeys" or "neutral".
    """

    name: str
    address: int
    instance: int
    stations: tuple[int, ...]
    on_loss: str
    dwell_ms: int
    idle_wait_ms: int
    shift_rpm: int
    shift_ms: int
    throttle_ms: int
    has_neutral_switch: bool
    has_engine_stop: bool
    on_other_lost: str
    when_apart: str


@dataclass(frozen=True)
class RudderPlan:
    """The rudder, where the bus moves it. `no_steer_permille` is the most throttle while nobody steers."""

    name: str
    address: int
    stations: tuple[int, ...]
    hard_over_cdeg: int
    cdeg_per_s: int
    no_steer_permille: int


@dataclass(frozen=True)
class CutoutPlan:
    """What stops the engine of one drive `cutout_ms` after its limit has passed with the gear still in."""

    name: str
    address: int
    instance: int
    limit_ms: int
    cutout_ms: int
    idle_rpm: int


@dataclass(frozen=True)
class ZonePlan:
    """A zone: its number on the bus, the address of its driver, the driver's output channels, how it can be lit.

    `channels` are one; or warm and cool; or red, green, blue and perhaps white.
    """

    name: str
    number: int
    driver: int
    channels: tuple[int, ...]
    kind: str
    lit_after_reset: bool
    pwm_bits: int = 12
    fade_ms: int = 0
    warm_k: int = 2700
    cool_k: int = 6000
    wired_switch: bool = False
    lit_on_bus_loss: bool = False


@dataclass(frozen=True)
class ControlPlan:
    """One touch control of a panel. `zones` is empty for what acts on the panel itself or on all zones.

    `colour` is 8 bits each of red, green and blue, -1 none; `kelvin` 0 none; `opens` the page it shows, -1 none; `condition`
    the one of the navigation lights it asks for.
    """

    name: str
    number: int
    page: int
    action: str
    zones: tuple[int, ...]
    scene: int
    level_permille: int
    colour: int = -1
    kelvin: int = 0
    opens: int = -1
    condition: int = 0


@dataclass(frozen=True)
class ScenePlan:
    """A scene. `levels`: (zone, lightness in permille, colour or -1, kelvin or 0)."""

    name: str
    number: int
    fade_ms: int
    levels: tuple[tuple[int, int, int, int], ...]


@dataclass(frozen=True)
class NavigationLightPlan:
    """A navigation light: its number on the bus, the address of its driver, that one's output, the conditions it is lit in."""

    name: str
    number: int
    driver: int
    channel: int
    lit: tuple[int, ...]
    wired_switch: bool


@dataclass(frozen=True)
class PanelPlan:
    name: str
    address: int
    debounce_ms: int
    controls: tuple[ControlPlan, ...]


@dataclass(frozen=True)
class WirePlan:
    """Everything the nodes of one boat agree on. `nodes` pairs every node's address with its name and kind."""

    timing: Timing
    nodes: tuple[tuple[int, str, str], ...]
    stations: tuple[StationPlan, ...]
    drives: tuple[DrivePlan, ...]
    rudder: RudderPlan | None
    cutouts: tuple[CutoutPlan, ...]
    zones: tuple[ZonePlan, ...]
    panels: tuple[PanelPlan, ...]
    scenes: tuple[ScenePlan, ...]
    navigation_lights: tuple[NavigationLightPlan, ...]
    buses: tuple[tuple[str, int, tuple[int, ...]], ...]
    """(name, bit rate, addresses of the nodes on it in order along the trunk), in the order that numbers them."""

    def buses_of(self, address: int) -> tuple[int, ...]:
        """Numbers of the buses the node at `address` is on."""
        return tuple(number for number, (_, _, members) in enumerate(self.buses) if address in members)

    def helm_buses_of(self, address: int) -> tuple[int, ...]:
        """Those of them on which another helm node is, and so all that anybody wants of it for the helm alone; all where there is
        none."""
        others = {other for other, _, _ in self.nodes if other in HELM_ADDRESSES and other != address}
        return tuple(bus for bus in self.buses_of(address) if others.intersection(self.buses[bus][2])) or self.buses_of(address)

    def roll_of(self, bus: int) -> tuple[int, ...]:
        """Whose silence on this bus is alarmed, along its trunk: helm nodes, and those that feed navigation lights."""
        drivers = {light.driver for light in self.navigation_lights}
        return tuple(address for address in self.buses[bus][2] if address in HELM_ADDRESSES or address in drivers)

    def buses_for(self, can_id: int) -> tuple[int, ...]:
        """Numbers of the buses on which a frame goes out."""
        address = address_of(can_id)
        return self.helm_buses_of(address) if code_of(can_id) in catalogue.FOR_THE_HELM else self.buses_of(address)

    def station_at(self, address: int) -> StationPlan:
        return next(station for station in self.stations if station.address == address)

    def drive_at(self, address: int) -> DrivePlan:
        return next(drive for drive in self.drives if drive.address == address)

    def cutout_at(self, address: int) -> CutoutPlan:
        return next(cutout for cutout in self.cutouts if cutout.address == address)

    def panel_at(self, address: int) -> PanelPlan:
        return next(panel for panel in self.panels if panel.address == address)

    def zones_of(self, address: int) -> tuple[ZonePlan, ...]:
        return tuple(zone for zone in self.zones if zone.driver == address)

    def navigation_lights_of(self, address: int) -> tuple[NavigationLightPlan, ...]:
        return tuple(light for light in self.navigation_lights if light.driver == address)

    @cached_property
    def scene_revision(self) -> int:
        """16 bits over the scenes: drivers and panels say by it which table they hold. Not part of a fingerprint, as a scene that
        is changed at the table asks for new tables and not for new firmware."""
        return _fingerprint([catalogue.PROTOCOL_VERSION, [asdict(scene) for scene in self.scenes]])

    @cached_property
    def helm_fingerprint(self) -> int:
        """16 bits over the protocol version, ids, signals, timing, stations to cutouts, helm nodes and their order on the trunks:
        by these every listener names what it does not hear."""
        wire = [
            [message.code, message.name, [[signal.name, signal.bits, signal.signed, signal.step] for signal in message.signals]]
            for message in catalogue.MESSAGES
            if message.is_safety
        ]
        timing = {name: value for name, value in asdict(self.timing).items() if name not in _LIGHTING_TIMING}
        return _fingerprint(
            [
                catalogue.PROTOCOL_VERSION,
                wire,
                timing,
                [asdict(station) for station in self.stations],
                [asdict(drive) for drive in self.drives],
                asdict(self.rudder) if self.rudder is not None else None,
                [asdict(cutout) for cutout in self.cutouts],
                [[address, kind] for address, _, kind in self.nodes if address in HELM_ADDRESSES],
                [[address for address in members if address in HELM_ADDRESSES] for _, _, members in self.buses],
            ]
        )

    @cached_property
    def lighting_fingerprint(self) -> int:
        """16 bits over the protocol version, lighting messages, timing, zones and panels."""
        wire = [
            [message.code, message.name, [[signal.name, signal.bits, signal.signed, signal.step] for signal in message.signals]]
            for message in catalogue.MESSAGES
            if message.part == "lighting"
        ]
        timing = {name: value for name, value in asdict(self.timing).items() if name in _LIGHTING_TIMING}
        return _fingerprint(
            [
                catalogue.PROTOCOL_VERSION,
                wire,
                timing,
                [asdict(zone) for zone in self.zones],
                [asdict(panel) for panel in self.panels],
                [asdict(light) for light in self.navigation_lights],
            ]
        )


_LIGHTING_TIMING = ("zone_ms", "press_repeat_ms", "press_failed_ms")


def _without_names(values: Any) -> Any:
    """What a thing is called changes no node: renaming a station must not ask for new firmware."""
    if isinstance(values, dict):
        return {key: _without_names(value) for key, value in values.items() if key != "name"}
    return [_without_names(value) for value in values] if isinstance(values, list | tuple) else values


def _fingerprint(values: Any) -> int:
    """The first 16 bits of SHA-256 over canonical JSON; 0 stands for "not known" on the wire and is never given."""
    text = json.dumps(_without_names(values), sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    first = int.from_bytes(hashlib.sha256(text.encode()).digest()[:2], "big")
    return first or 1
