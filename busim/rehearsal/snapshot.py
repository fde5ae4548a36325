"""The boat at one moment, as plain values: what a screen draws. Made from the situation and the listener, never from the world."""

from dataclasses import dataclass
from typing import Any

from busim import labels
from busim.boat.model import BoatFile
from busim.events.situation import DriveView
from busim.faults.table import BY_NAME as FAULTS_BY_NAME
from busim.frames.length import frame_bits
from busim.protocol.alarms import BY_NUMBER
from busim.protocol.catalogue import BY_CODE
from busim.protocol.codec import INVALID, check, read_plain
from busim.protocol.tables import DRIVE_TABLE
from busim.protocol.values import CAUSES
from busim.rehearsal.rehearsal import Rehearsal
from busim.units import MS

_CAUSES = dict(CAUSES)
_FORCED = ("forced_idle", "forced_disengaging", "forced_neutral", "held_idle")
FRAMES_SHOWN = 60


@dataclass(frozen=True)
class DriveShown:
    """`station` who it obeys, empty nobody. Gears 0 neutral, 1 ahead, 2 astern, 3 between. `sensed` and `asked` None: not heard."""

    name: str
    station: str
    state: str
    state_words: str
    forced: bool
    cause: str
    asked: int | None
    sensed: int | None
    true: int | None
    rpm: int
    throttle: int
    running: bool


@dataclass(frozen=True)
class StationShown:
    name: str
    node: str
    running: bool
    shows: int
    levers: tuple[tuple[str, int], ...]
    wheel: int | None
    alarms: tuple[str, ...]
    sounds: bool


@dataclass(frozen=True)
class LightShown:
    name: str
    kind: str
    permille: int
    rgb: tuple[int, int, int]


@dataclass(frozen=True)
class FieldShown:
    number: int
    name: str
    does: str
    state: int


@dataclass(frozen=True)
class PanelShown:
    name: str
    node: str
    running: bool
    page: str
    fields: tuple[FieldShown, ...]


@dataclass(frozen=True)
class NodeShown:
    """`age_ms` since its last heartbeat, None never heard."""

    name: str
    address: int
    kind: str
    running: bool
    age_ms: int | None
    errors: tuple[tuple[str, int, int, int], ...]
    """(bus, state, TEC, REC)."""


@dataclass(frozen=True)
class FrameShown:
    at_ns: int
    bus: str
    can_id: int
    sender: str
    message: str
    words: str


@dataclass(frozen=True)
class Snapshot:
    at_ns: int
    drives: tuple[DriveShown, ...]
    stations: tuple[StationShown, ...]
    rudder: tuple[str, int, int, int] | None
    """(station that steers or empty, asked, true angle in hundredths of a degree, fault)."""
    knots: float
    run_m: float
    lights: tuple[LightShown, ...]
    panels: tuple[PanelShown, ...]
    nodes: tuple[NodeShown, ...]
    load: tuple[tuple[str, int, int], ...]
    """(bus, frames a second, load in permille)."""
    frames: tuple[FrameShown, ...]
    faults: tuple[tuple[int, str, str], ...]
    lines: int
    """How many lines of the timeline there are by now."""

    @property
    def in_control(self) -> str:
        """The station in control of the drives; empty: nobody, or not one."""
        stations = {drive.station for drive in self.drives}
        return stations.pop() if len(stations) == 1 else ""

    @property
    def divided(self) -> bool:
        return len({drive.station for drive in self.drives}) > 1

    @property
    def forced(self) -> tuple[str, ...]:
        """What is forced, and why, in words."""
        return tuple(f"{drive.name}: {drive.state_words}, {drive.cause}" for drive in self.drives if drive.forced)


def take(rehearsal: Rehearsal) -> Snapshot:
    now_ns = rehearsal.now_ns
    situation, listener = rehearsal.situation, rehearsal.listener
    boat = rehearsal.boat
    names = {boat.nodes[station.node].address: name for name, station in boat.stations.items()}
    return Snapshot(
        at_ns=now_ns,
        drives=tuple(_drive(drive, names, rehearsal) for drive in situation.drives.values()),
        stations=tuple(_station(name, boat, rehearsal) for name in boat.stations),
        rudder=_rudder(rehearsal, names),
        knots=situation.speed_mm_s * 3600 / 1_852_000,
        run_m=situation.run_mm_at(now_ns) / 1000,
        lights=tuple(_light(name, rehearsal) for name in (*boat.zones, *boat.navigation_lights)),
        panels=tuple(_panel(name, rehearsal) for name in boat.panels),
        nodes=tuple(_node(name, rehearsal) for name in boat.nodes),
        load=tuple(_load(index, rehearsal) for index in range(len(rehearsal.plan.buses))),
        frames=tuple(_frame(frame, rehearsal) for frame in list(listener.frames)[-FRAMES_SHOWN:]),
        faults=tuple((number, name, _fault_words(name, place)) for number, (name, place) in rehearsal.on.items()),
        lines=len(rehearsal.timeline.said),
    )


def _fault_words(name: str, place: Any) -> str:
    return FAULTS_BY_NAME[name].place_words(place)


def _rudder(rehearsal: Rehearsal, names: dict[int, str]) -> tuple[str, int, int, int] | None:
    rudder = rehearsal.situation.rudder
    if rudder is None:
        return None
    return names.get(rudder.station, ""), rudder.asked_cdeg or 0, rudder.true_cdeg(rehearsal.now_ns), rudder.fault


def _drive(drive: DriveView, names: dict[int, str], rehearsal: Rehearsal) -> DriveShown:
    state, words = DRIVE_TABLE.states[drive.state]
    return DriveShown(
        name=drive.name,
        station=names.get(drive.station, ""),
        state=state,
        state_words=words,
        forced=state in _FORCED and drive.heard_ns is not None,
        cause=_CAUSES.get(drive.cause, ""),
        asked=drive.asked_gear,
        sensed=drive.sensed_gear,
        true=drive.true_gear or 0,
        rpm=rehearsal.listener.rpm.get(drive.address, 0),
        throttle=rehearsal.listener.throttle.get(drive.address, 0),
        running=rehearsal.situation.engines.of[drive.name].running is not False,
    )


def _station(name: str, boat: BoatFile, rehearsal: Rehearsal) -> StationShown:
    situation, listener = rehearsal.situation, rehearsal.listener
    station = boat.stations[name]
    view = situation.alarms.at(station.node)
    nodes = situation.node_of
    alarms = []
    for _, line in sorted(view.lines.items()):
        kind = BY_NUMBER.get(line.which)
        about = nodes.get(line.about, "")
        words = kind.name.replace("_", " ") if kind is not None else labels.OTHER_ALARM.format(number=line.which)
        alarms.append(f"{labels.ALARM_PRIORITIES[line.priority]} {words}{', ' + about if about else ''}")
    return StationShown(
        name=name,
        node=station.node,
        running=station.node in situation.running,
        shows=situation.shows.get(station.node, 0),
        levers=tuple((drive, listener.levers.get((name, drive), 0)) for drive in station.may_take),
        wheel=listener.wheels.get(name, 0) if station.steers else None,
        alarms=tuple(alarms),
        sounds=view.sounds,
    )


_WARM, _COOL = (255, 190, 120), (205, 225, 255)


def _light(name: str, rehearsal: Rehearsal) -> LightShown:
    listener, boat = rehearsal.listener, rehearsal.boat
    permille = listener.lit.get(name, 0)
    zone = boat.zones.get(name)
    kind = zone.kind if zone is not None else "navigation"
    shares = listener.colours.get(name, 0)
    rgb = (255, 225, 180)
    if kind == "colour":
        rgb = (shares >> 16 & 0xFF, shares >> 8 & 0xFF, shares & 0xFF)
    elif kind == "tunable_white":
        warm, cool = shares >> 8 & 0xFF, shares & 0xFF
        whole = max(warm + cool, 1)
        rgb = tuple((one * warm + other * cool) // whole for one, other in zip(_WARM, _COOL, strict=True))  # type: ignore[assignment]
    elif kind == "navigation":
        rgb = (255, 255, 255)
    return LightShown(name, kind, permille, rgb)


def _panel(name: str, rehearsal: Rehearsal) -> PanelShown:
    panel, listener = rehearsal.boat.panels[name], rehearsal.listener
    pages = list(panel.pages)
    page = pages[min(listener.pages.get(panel.node, 0), len(pages) - 1)]
    running = panel.node in rehearsal.situation.running
    fields = tuple(
        FieldShown(control.number, control_name, control.does, listener.fields.get((panel.node, f"field.{control.number}"), 0))
        for control_name, control in sorted(panel.pages[page].items(), key=lambda item: item[1].number)
    )
    return PanelShown(name, panel.node, running, page, fields)


def _node(name: str, rehearsal: Rehearsal) -> NodeShown:
    node, listener = rehearsal.boat.nodes[name], rehearsal.listener
    heard_ns = listener.beat_ns.get(node.address)
    errors = tuple((bus, *listener.controllers[name, bus]) for bus in node.taps if (name, bus) in listener.controllers)
    age_ms = None if heard_ns is None else (rehearsal.now_ns - heard_ns) // MS
    return NodeShown(name, node.address, node.kind, name in rehearsal.situation.running, age_ms, errors)


def _load(index: int, rehearsal: Rehearsal) -> tuple[str, int, int]:
    name, rate, _ = rehearsal.plan.buses[index]
    count = rehearsal.listener.frames_a_second(index, rehearsal.now_ns)
    lately = [frame for frame in rehearsal.listener.frames if frame[1] == index][-50:]
    mean = sum(frame_bits(can_id, data) for _, _, can_id, data in lately) / len(lately) if lately else 0
    return name, count, min(round(count * mean * 1000 / rate), 1000)


def _frame(frame: tuple[int, int, int, bytes], rehearsal: Rehearsal) -> FrameShown:
    at_ns, bus, can_id, data = frame
    message = BY_CODE.get(can_id >> 6)
    sender = rehearsal.situation.node_of.get(can_id & 0x3F, f"address {can_id & 0x3F}")
    if message is None:
        return FrameShown(at_ns, rehearsal.plan.buses[bus][0], can_id, sender, f"code {can_id >> 6}", data.hex(" "))
    word = check(can_id, data) if message.is_safety else read_plain(message, data)
    if word == INVALID:
        words = labels.NOT_SOUND.format(data=data.hex(" "))
        return FrameShown(at_ns, rehearsal.plan.buses[bus][0], can_id, sender, message.name, words)
    values = message.unpack(word)
    words = " ".join(f"{signal.name} {value}" for signal, value in zip(message.signals, values, strict=True))
    return FrameShown(at_ns, rehearsal.plan.buses[bus][0], can_id, sender, message.name, words)


