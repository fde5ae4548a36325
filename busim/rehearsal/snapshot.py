"""How the boat at one moment is read from the situation and the listener, never from the world: `take`."""

from functools import lru_cache
from typing import Final

from busim import screen_labels as labels
from busim.boat.model import Zone
from busim.events.situation import DriveView
from busim.faults.table import BY_NAME as FAULTS_BY_NAME
from busim.frames.length import frame_bits
from busim.protocol.alarms import BY_NUMBER
from busim.protocol.tables import DRIVE_TABLE
from busim.protocol.values import CAUSES
from busim.rehearsal.lamp_look import LAMP, mixed, white
from busim.rehearsal.rehearsal import Rehearsal
from busim.rehearsal.shown import (
    AlarmShown,
    DriveShown,
    FieldShown,
    LightShown,
    NodeShown,
    PanelShown,
    RudderShown,
    Snapshot,
    StationShown,
)
from busim.units import MS

_CAUSES = dict(CAUSES)
_FORCED: Final = ("forced_idle", "forced_disengaging", "forced_neutral", "held_idle")
_NOBODY: Final = (*_FORCED, "waking", "unclaimed")
"""States in which a drive obeys no station."""
FRAMES_SHOWN: Final = 60
_LATELY: Final = 50
"""So many of a bus's last frames say how long its frames are."""


def take(rehearsal: Rehearsal) -> Snapshot:
    now_ns = rehearsal.now_ns
    situation, listener, boat = rehearsal.situation, rehearsal.listener, rehearsal.boat
    names = {boat.nodes[station.node].address: name for name, station in boat.stations.items()}
    unplugged = set(rehearsal.unplugged().values())
    return Snapshot(
        at_ns=now_ns,
        drives=tuple(_drive(drive, names, rehearsal) for drive in situation.drives.values()),
        stations=tuple(_station(name, rehearsal, unplugged) for name in boat.stations),
        rudder=_rudder(rehearsal, names),
        knots=situation.speed_mm_s * 3600 / 1_852_000,
        run_m=situation.run_mm_at(now_ns) / 1000,
        lights=tuple(_light(name, rehearsal) for name in (*boat.zones, *boat.navigation_lights)),
        panels=tuple(_panel(name, rehearsal) for name in boat.panels),
        nodes=tuple(_node(name, rehearsal) for name in boat.nodes),
        missing_ms=boat.timing.heartbeat_missing_ms,
        load=tuple(_load(index, rehearsal) for index in range(len(rehearsal.plan.buses))),
        frames=tuple(listener.latest(FRAMES_SHOWN)),
        faults=tuple((number, name, FAULTS_BY_NAME[name].place_words(place)) for number, (name, place) in rehearsal.on.items()),
        verdicts=rehearsal.judged,
        lines=len(rehearsal.timeline.said),
    )


def _rudder(rehearsal: Rehearsal, names: dict[int, str]) -> RudderShown | None:
    rudder = rehearsal.situation.rudder
    if rudder is None:
        return None
    true = rudder.true_cdeg(rehearsal.now_ns)
    return RudderShown(names.get(rudder.station, ""), rudder.asked_cdeg or 0, true, rudder.fault)


def _drive(drive: DriveView, names: dict[int, str], rehearsal: Rehearsal) -> DriveShown:
    situation, listener = rehearsal.situation, rehearsal.listener
    engine = situation.engines.of[drive.name]
    state, words = DRIVE_TABLE.states[drive.state]
    cause, station = drive.cause, names.get(drive.station, "")
    silent_ms = None if drive.heard_ns is None else (rehearsal.now_ns - drive.heard_ns) // MS
    unheard_ms = silent_ms if silent_ms is not None and silent_ms >= rehearsal.boat.timing.heartbeat_missing_ms else None
    known = drive.heard_ns is not None
    if drive.node not in situation.running:
        state, words, station, known = "", labels.NODE_DEAD, "", False
    elif unheard_ms is not None and drive.node in listener.rows:
        number, cause = listener.rows[drive.node]
        state = DRIVE_TABLE.by_number[number].next_state
        words = dict(DRIVE_TABLE.states)[state]
        station = "" if state in _NOBODY else station
    return DriveShown(
        name=drive.name,
        station=station,
        state=state,
        state_words=words,
        forced=known and state in _FORCED,
        cause=cause,
        cause_words=_CAUSES.get(cause, ""),
        asked=drive.asked_gear,
        sensed=drive.sensed_gear,
        true=drive.true_gear or 0,
        rpm=listener.rpm.get(drive.address, 0),
        throttle=listener.throttle.get(drive.address, 0),
        running=engine.running is not False,
        cut_by=tuple(sorted(engine.cuts)),
        unheard_ms=unheard_ms,
    )


def _station(name: str, rehearsal: Rehearsal, unplugged: set[str]) -> StationShown:
    situation, listener, boat = rehearsal.situation, rehearsal.listener, rehearsal.boat
    station = boat.stations[name]
    view = situation.alarms.at(station.node)
    alarms = []
    for _, line in sorted(view.lines.items()):
        kind = BY_NUMBER.get(line.which)
        about = situation.subject_of(line.which, line.about)
        words = kind.name.replace("_", " ") if kind is not None else labels.OTHER_ALARM.format(number=line.which)
        alarms.append(AlarmShown(line.priority, f"{words}, {about}" if about else words, line.state, line.under))
    plugs = any(tap.plug for tap in boat.nodes[station.node].taps.values())
    return StationShown(
        name=name,
        node=station.node,
        running=station.node in situation.running,
        shows=situation.shows.get(station.node, 0),
        levers=tuple((drive, listener.levers.get((name, drive), 0)) for drive in station.may_take),
        wheel=listener.wheels.get(name, 0) if station.steers else None,
        alarms=tuple(alarms),
        sounds=view.sounds,
        plugged=station.node not in unplugged if plugs else None,
    )


def _light(name: str, rehearsal: Rehearsal) -> LightShown:
    listener, boat = rehearsal.listener, rehearsal.boat
    permille = listener.lit.get(name, 0)
    zone = boat.zones.get(name)
    if zone is None:
        return LightShown(name, "navigation", permille, (255, 255, 255), None)
    on_board = (zone.at.from_bow_m, zone.at.to_starboard_m) if zone.at is not None else None
    return LightShown(name, zone.kind, permille, _colour(zone, listener.colours.get(name, 0)), on_board)


def _colour(zone: Zone, shares: int) -> tuple[int, int, int]:
    """What a zone's channels come to, from their shares at 8 bits each."""
    if zone.kind == "colour":
        return mixed(shares, has_white="white" in zone.channels)
    if zone.kind == "tunable_white":
        return white(shares >> 8 & 0xFF, shares & 0xFF)
    return LAMP


def _panel(name: str, rehearsal: Rehearsal) -> PanelShown:
    panel, listener = rehearsal.boat.panels[name], rehearsal.listener
    pages = list(panel.pages)
    page = pages[min(listener.pages.get(panel.node, 0), len(pages) - 1)]
    running = panel.node in rehearsal.situation.running
    fields = tuple(
        FieldShown(control.number, control_name, control.does, listener.fields.get((panel.node, f"field.{control.number}"), 0))
        for control_name, control in sorted(panel.pages[page].items(), key=lambda item: item[1].number)
    )
    return PanelShown(name, panel.node, running, page, len(pages), fields)


def _node(name: str, rehearsal: Rehearsal) -> NodeShown:
    node, listener = rehearsal.boat.nodes[name], rehearsal.listener
    heard_ns = listener.beat_ns.get(node.address)
    counts = tuple((bus, *listener.controllers.get((name, bus), (0, 0, 0))) for bus in node.taps)
    age_ms = None if heard_ns is None else (rehearsal.now_ns - heard_ns) // MS
    return NodeShown(name, node.address, node.kind, name in rehearsal.situation.running, age_ms, counts)


@lru_cache(maxsize=4096)
def _bits(can_id: int, data: bytes) -> int:
    return frame_bits(can_id, data)


def _load(index: int, rehearsal: Rehearsal) -> tuple[str, int, int]:
    name, rate, _ = rehearsal.plan.buses[index]
    count = rehearsal.listener.frames_a_second(index, rehearsal.now_ns)
    lately = rehearsal.listener.latest_on(index, _LATELY)
    mean = sum(_bits(can_id, data) for _, _, can_id, data in lately) / len(lately) if lately else 0
    return name, count, min(round(count * mean * 1000 / rate), 1000)
