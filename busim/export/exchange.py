"""Who sends what how often, and who has to listen to what and after how long its silence means something. As the page's rules say.

A node listens only on the buses it shares with the sender: nothing is forwarded from one bus to another.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, fields

from busim.protocol import catalogue as c
from busim.protocol.alarms import LISTENERS
from busim.protocol.codec import Message
from busim.protocol.ids import HELM_ADDRESSES, address_of
from busim.protocol.page_boat import sends
from busim.protocol.page_lights import SILENT_MS
from busim.protocol.plan import Timing, WirePlan


@dataclass(frozen=True)
class Sent:
    """A message a node sends. `period_ms` is 0 for "on change only"; `always` tells one that never stops from one
    that is repeated for a while (a press until it is done)."""

    message: Message
    can_id: int
    period_ms: int
    always: bool
    buses: tuple[int, ...]


@dataclass(frozen=True)
class Watched:
    """A frame a node has to listen to. `timeout_ms` is 0 where its silence alone means nothing; `why` in words, for people."""

    message: Message
    can_id: int
    buses: tuple[int, ...]
    timeout_ms: int
    why: str


def period_ms(message: Message, plan: WirePlan) -> int:
    """The period on this boat: what the timing words name first, else the message's own."""
    for name in re.findall(r"\w+", message.timing):
        if name in (field.name for field in fields(Timing)):
            return int(getattr(plan.timing, name))
    if message.timing.startswith("as "):
        return period_ms(c.BY_NAME[message.timing.removeprefix("as ")], plan)
    return message.period_ms


def _never_stops(message: Message) -> bool:
    if message.timing.startswith("as "):
        return _never_stops(c.BY_NAME[message.timing.removeprefix("as ")])
    return not re.search(r"\b(until|while)\b", message.timing)


def sent_by(plan: WirePlan, address: int, kind: str) -> list[Sent]:
    mine = [message for message in c.MESSAGES if not message.reserved_for and sends(message, plan, address, kind)]
    ids = [message.can_id(address) for message in mine]
    return [
        Sent(message, can_id, period_ms(message, plan), _never_stops(message), plan.buses_for(can_id))
        for message, can_id in zip(mine, ids, strict=True)
    ]


def watched_by(plan: WirePlan, address: int, kind: str) -> list[Watched]:
    """In order of urgency. Nothing for a kind that the protocol does not know."""
    mine = set(plan.buses_of(address))
    rows: dict[int, Watched] = {}
    for message, sender, timeout_ms, why in _wanted(plan, address, kind):
        shared = tuple(sorted(mine & set(plan.buses_of(sender))))
        can_id = message.can_id(sender)
        if shared and (can_id not in rows or timeout_ms > rows[can_id].timeout_ms):
            rows[can_id] = Watched(message, can_id, shared, timeout_ms, why)
    return [rows[can_id] for can_id in sorted(rows)]


Wanted = tuple[Message, int, int, str]
"""(message, sender's address, timeout in ms, why)."""


def _wanted(plan: WirePlan, address: int, kind: str) -> Iterator[Wanted]:
    if kind in ("station", "alarm", "drive", "rudder", "cutout"):
        yield c.HEARTBEAT, address, 0, "never its own: another node sends under this address"
        listeners = [sender for sender, _, of_kind in plan.nodes if of_kind in LISTENERS and sender != address]
        yield from ((c.ALARM_ANSWER, sender, 0, "the crew's answers to its alarms") for sender in listeners)
    if kind in LISTENERS:
        yield from _alarm_list(plan, address)
    by_kind = {
        "station": _station, "drive": _drive, "rudder": _rudder, "cutout": _cutout, "panel": _panel, "zone_driver": _zone_driver,
        "navigation": _navigation,
    }  # fmt: skip
    if kind in by_kind:
        yield from by_kind[kind](plan, address)


def _alarm_list(plan: WirePlan, address: int) -> Iterator[Wanted]:
    missing_ms = plan.timing.heartbeat_missing_ms
    for other, _, _ in plan.nodes:
        if other in HELM_ADDRESSES and other != address:
            yield c.HEARTBEAT, other, missing_ms, "a helm node: missing, it is alarmed"
            yield c.ALARM, other, 0, "its alarms"
            yield c.ALARM_ANSWER, other, 0, "the crew's answers"
    for driver in sorted({light.driver for light in plan.navigation_lights}):
        yield c.HEARTBEAT, driver, missing_ms, "a navigation node: missing, it is alarmed"
        yield c.NOTICE, driver, 0, "a navigation light's lamp or fuse has failed"
    for station in plan.stations:
        if station.address != address:
            yield c.NEUTRAL_NOW, station.address, 0, "a key that stays pressed, or is locked out"
    for drive in plan.drives:
        yield c.DRIVE_OBEYS, drive.address, missing_ms, "whether anybody is in control"


def _station(plan: WirePlan, address: int) -> Iterator[Wanted]:
    me = plan.station_at(address)
    for drive in plan.drives:
        why = "the echo of its lever: older than this, it lets go" if drive.instance in me.drives else "whom it obeys"
        yield c.DRIVE_OBEYS, drive.address, plan.timing.age_max_ms, why
    others = [station.address for station in plan.stations if station.address != address]
    yield from ((c.CLAIM, station, 0, "the newest number") for station in others)
    if me.steers and plan.rudder is not None:
        yield c.RUDDER_STATE, plan.rudder.address, plan.timing.heartbeat_missing_ms, "whom the rudder obeys"
    if plan.navigation_lights:
        yield from ((c.CONDITION, station, 0, "the newest condition stands") for station in others)
        yield from ((c.PRESS, panel.address, 0, "a press of zone 0 asks for a condition") for panel in plan.panels)


def _drive(plan: WirePlan, address: int) -> Iterator[Wanted]:
    me = plan.drive_at(address)
    timing = plan.timing
    for station in me.stations:
        yield c.LEVER, station, timing.control_timeout_ms, "of the pair obeyed: silent, control is lost"
        yield c.CLAIM, station, 0, "a take of control"
        yield c.HEARTBEAT, station, timing.heartbeat_missing_ms, "of the station obeyed: missing, control is lost"
    yield from ((c.NEUTRAL_NOW, station.address, 0, "idle, then neutral, whoever is in control") for station in plan.stations)
    for other in plan.drives:
        if other.instance != me.instance:
            yield c.DRIVE_OBEYS, other.address, timing.heartbeat_missing_ms, "whom the other drive obeys; silent, it is lost"
    if plan.rudder is not None:
        yield c.RUDDER_STATE, plan.rudder.address, timing.heartbeat_missing_ms, "silent, throttle is held to no_steer_permille"


def _rudder(plan: WirePlan, address: int) -> Iterator[Wanted]:
    timing = plan.timing
    for station in plan.rudder.stations if plan.rudder is not None else ():
        yield c.WHEEL, station, timing.control_timeout_ms, "of the pair obeyed: silent, the rudder holds"
        yield c.CLAIM, station, 0, "a take of control"
        yield c.HEARTBEAT, station, timing.heartbeat_missing_ms, "of the station obeyed: missing, the rudder holds"
    yield from ((c.DRIVE_OBEYS, drive.address, 0, "whether the drives took the new pair first") for drive in plan.drives)


def _cutout(plan: WirePlan, address: int) -> Iterator[Wanted]:
    me = plan.cutout_at(address)
    for drive in plan.drives:
        if drive.instance == me.instance:
            yield c.DRIVE_OBEYS, drive.address, plan.timing.heartbeat_missing_ms, "not driven for this long, it waits"


def _panel(plan: WirePlan, address: int) -> Iterator[Wanted]:
    me = plan.panel_at(address)
    zones = {zone for control in me.controls for zone in control.zones}
    for driver in sorted({zone.driver for zone in plan.zones if zone.number in zones}):
        yield c.ZONE_STATE, driver, 0, "the echo of its presses"
    if plan.scenes or any(control.action == "all_off" for control in me.controls):
        yield from ((c.SCENE_STATE, driver, 0, "the echo of its scenes") for driver in sorted({zone.driver for zone in plan.zones}))
        yield from ((c.SCENE, panel.address, 0, "the scene others asked for") for panel in plan.panels if panel.address != address)
        for panel in plan.panels:
            if panel.address < address:
                why = "heard, it is the one to tell a returning driver the scene"
                yield c.HEARTBEAT, panel.address, plan.timing.heartbeat_missing_ms, why
    if any(control.action == "condition" for control in me.controls):
        yield from ((c.CONDITION, station.address, 0, "the echo of its press") for station in plan.stations)


def _zone_driver(plan: WirePlan, address: int) -> Iterator[Wanted]:
    minds = any(zone.lit_on_bus_loss for zone in plan.zones_of(address))
    for panel in plan.panels:
        yield c.PRESS, panel.address, 0, "a touch"
        yield c.SCENE, panel.address, 0, "a scene is wanted"
        if minds:
            yield c.HEARTBEAT, panel.address, SILENT_MS, "no panel heard: zones with lit_on_bus_loss light up"


def _navigation(plan: WirePlan, address: int) -> Iterator[Wanted]:
    yield from ((c.CONDITION, station.address, 0, "what the lights show") for station in plan.stations)


def sender_names(plan: WirePlan) -> dict[int, str]:
    return {address: name for address, name, _ in plan.nodes}


def name_of_sender(plan: WirePlan, can_id: int) -> str:
    return sender_names(plan).get(address_of(can_id), "nobody")
