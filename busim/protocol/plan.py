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
    """A zone: its number on the bus, the address of its driver, the driver's output channel, how it can be lit."""

    name: str
    number: int
    driver: int
    channel: int
    kind: str
    lit_after_reset: bool


@dataclass(frozen=True)
class ControlPlan:
    """One touch control of a panel. `zones` is empty for what acts on the panel itself or on all zones."""

    name: str
    number: int
    page: int
    action: str
    zones: tuple[int, ...]
    scene: int
    level_permille: int


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
    buses: tuple[tuple[str, int, tuple[int, ...]], ...]
    """(name, bit rate, addresses of the nodes on it), in the order that numbers them."""

    def buses_of(self, address: int) -> tuple[int, ...]:
        """Numbers of the buses the node at `address` is on."""
        return tuple(number for number, (_, _, members) in enumerate(self.buses) if address in members)

    def station_at(self, address: int) -> StationPlan:
        return next(station for station in self.stations if station.address == address)

    def drive_at(self, address: int) -> DrivePlan:
        return next(drive for drive in self.drives if drive.address == address)

    def panel_at(self, address: int) -> PanelPlan:
        return next(panel for panel in self.panels if panel.address == address)

    def zones_of(self, address: int) -> tuple[ZonePlan, ...]:
        return tuple(zone for zone in self.zones if zone.driver == address)

    @cached_property
    def helm_fingerprint(self) -> int:
        """16 bits over the protocol version, ids, signals, timing, stations and drives."""
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
