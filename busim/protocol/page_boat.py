"""The written page's part about one boat: who sends which id, and every value its nodes are built with.

All values are the plan's. What each of them means stands here in words, and a plan's value without words is an error.
"""

from collections.abc import Iterator, Sequence
from dataclasses import fields
from typing import Any, Final

from busim.protocol.catalogue import BOAT_FILE_CODES, BY_CODE, MESSAGES, NO_SAFETY_CODES
from busim.protocol.codec import Message
from busim.protocol.ids import ADDRESS_BITS, HELM_ADDRESSES, NODE_ADDRESSES, SAFETY_CODES, UNUSED_CODE
from busim.protocol.page_text import bullets, listed, paragraph, table
from busim.protocol.plan import WirePlan

EVERYBODY: Final = "every node"
HELM: Final = "helm nodes"
BEYOND: Final = "nodes beyond the helm"
STATION_KINDS: Final = ("station", "pendant")
"""A pendant is a station that can be unplugged."""

TIMING_WORDS: Final = {
    "lever_ms": "period of lever",
    "drive_ms": "period of drive_obeys and drive_state",
    "claim_ms": "repeat of claim, while it is sent",
    "heartbeat_ms": "period of heartbeat",
    "heartbeat_missing_ms": "a node not heard for this long is missing",
    "control_timeout_ms": "a drive without a valid lever frame for this long has lost its station",
    "max_gap": "frames: a counter this far ahead still counts",
    "age_max_ms": "a station whose echo is older lets control go",
    "transfer_ms": "a take not echoed by everybody within this is withdrawn",
    "overlap_ms": "longest two drives may obey different stations",
    "zone_ms": "period of zone_state",
    "press_repeat_ms": "repeat of press, while it is sent",
    "press_failed_ms": "a press not done within this has failed",
}

PART_WORDS: Final = {
    "action": "what a touch does",
    "address": "address of its node",
    "cdeg_per_s": "how fast the rudder turns, hundredths of a degree a second",
    "channel": "the driver's output",
    "cutout_ms": "how long after the drive's limit the cutout acts",
    "debounce_ms": "a touch is believed after this long",
    "driver": "address of its zone driver",
    "drives": "instances it may control",
    "dwell_ms": "least time in neutral before the opposite gear",
    "hard_over_cdeg": "travel to each side, hundredths of a degree",
    "has_engine_stop": "the drive's node can stop the engine",
    "has_neutral_switch": "an independent switch that closes in neutral is fitted",
    "idle_rpm": "engine idle",
    "idle_wait_ms": "longest wait for idle before the gear comes out all the same",
    "instance": "which drive it is in the messages",
    "kind": "how it can be lit",
    "level_permille": "lightness it asks for",
    "lever_gear_permille": "share of half travel from which a gear is asked for",
    "lever_high_permille": "lever sensor at full ahead, of its supply",
    "lever_low_permille": "lever sensor at full astern, of its supply",
    "lever_tracks": "sensors on each lever; the second runs the other way",
    "limit_ms": "from the last valid lever frame to gear out",
    "lit_after_reset": "on after its driver starts, until told otherwise",
    "matched_take": "may take control with the lever matched to gear and throttle",
    "number": "its number in the messages",
    "no_steer_permille": "most throttle while nobody steers",
    "on_loss": "what it does once control is lost: neutral, or idle and stay engaged",
    "on_other_lost": "what it does once the other drive is lost: carry on, or go neutral",
    "page": "page of the panel, 0 is shown at start",
    "scene": "number of the scene, 0 none",
    "shift_ms": "time of the actuator from a gear to neutral",
    "shift_rpm": "fastest engine speed to engage at",
    "stations": "addresses of the stations it may obey",
    "steers": "it may steer too",
    "throttle_ms": "time of the throttle's actuator from full to its stop",
    "when_apart": "what it does while it does not hear the other drive: obey whoever reaches it, or go neutral",
    "channels": "the driver's outputs: one; warm and cool; or red, green, blue and perhaps white",
    "pwm_bits": "resolution of its outputs",
    "fade_ms": "how long a change takes",
    "warm_k": "colour temperature of the warm channel, where there is one",
    "cool_k": "colour temperature of the cool channel, where there is one",
    "wired_switch": "a switch wired to it works it without the bus",
    "lit_on_bus_loss": "lit once its driver has heard no panel for 2 s",
    "colour": "8 bits each of red, green and blue, -1 none",
    "kelvin": "colour temperature, 0 none",
    "opens": "the page it shows, -1 none",
    "condition": "the navigation light condition it asks for",
    "levels": "zone, lightness in permille, colour or -1, kelvin or 0",
    "lit": "the conditions it is lit in",
    "zones": "numbers of the zones it acts on",
}


# ------------------------------------------------------------------------------------------------ who sends what


def _roles(plan: WirePlan, address: int, kind: str) -> set[str]:
    """What a node is, in the words of the catalogue's senders."""
    roles = {EVERYBODY, kind.replace("_", " ")}
    if kind in STATION_KINDS:
        roles.add("station")
    lights = {message.senders for message in MESSAGES if not message.is_safety}
    roles.add(HELM if address in HELM_ADDRESSES and not roles - {EVERYBODY} <= lights else BEYOND)
    return roles


def sends(message: Message, plan: WirePlan, address: int, kind: str) -> bool:
    """Whether the node at this address, of this kind, is one of the message's senders."""
    return not _roles(plan, address, kind).isdisjoint(message.senders.split(", "))


def senders_of(message: Message, plan: WirePlan) -> list[tuple[int, str]]:
    """(address, name) of every node of this boat that sends the message; of nobody yet where it is reserved."""
    if message.reserved_for:
        return []
    return [(address, name) for address, name, kind in plan.nodes if sends(message, plan, address, kind)]


def ids_section(plan: WirePlan) -> Iterator[str]:
    size = 1 << ADDRESS_BITS
    helm, others = HELM_ADDRESSES, NODE_ADDRESSES
    unsafe = [code for code in range(len(SAFETY_CODES), UNUSED_CODE) if code not in (*BOAT_FILE_CODES, *BY_CODE)]
    plain = [message.code for message in MESSAGES if not message.is_safety]
    yield "## Ids"
    yield paragraph(
        f"An id has 11 bits: 5 bits of message code, then {ADDRESS_BITS} bits of the sender's address, so id = code x {size} + "
        "address. The lower code is the more urgent and wins the bus. Each id has one sender, and a node sends under no address "
        "but its own. Frames with 29-bit ids and remote frames are ignored."
    )
    yield bullets(
        [
            f"Addresses {helm[0]} to {helm[-1]}: helm nodes, the only ones that send safety messages beside the heartbeat.",
            f"Addresses {helm[-1] + 1} to {others[-1]}: every other node. Address 0 is nobody, {others[-1] + 1} is not used.",
            f"Codes {SAFETY_CODES[0]} to {SAFETY_CODES[-1]}: safety messages. {listed(NO_SAFETY_CODES)} carry none: a heartbeat "
            "from a high address would start its CRC like one of them.",
            f"Codes {listed(plain)}: messages without CRC. Codes {listed(unsafe)} are free.",
            f"Codes {listed(BOAT_FILE_CODES)}: for messages of the builder's own. busim sees them, and no node of it acts on them.",
            f"Code {UNUSED_CODE}: not used, because an id must not begin with seven recessive bits.",
        ]
    )
    yield "Nodes of this boat, and every id each sends, in hexadecimal:"
    yield table(
        ("address", "node", "kind", "sends", "reserved for it"),
        [(at, name, kind, _ids(plan, at, kind, False), _ids(plan, at, kind, True)) for at, name, kind in plan.nodes],
    )
    yield "Buses of this boat, numbered as its nodes number them:"
    yield table(
        ("bus", "name", "bit/s", "addresses on it, along the trunk"),
        [(number, name, rate, listed(members)) for number, (name, rate, members) in enumerate(plan.buses)],
    )


def _ids(plan: WirePlan, address: int, kind: str, reserved: bool) -> str:
    wanted = (message for message in MESSAGES if bool(message.reserved_for) == reserved)
    return " ".join(f"{message.can_id(address):03X}" for message in wanted if sends(message, plan, address, kind))


# ------------------------------------------------------------------------------------------------ what nodes are built with


def boat_section(plan: WirePlan) -> Iterator[str]:
    yield "## This boat's values"
    yield paragraph("Firmware for this boat is built with exactly these. One of them changed is another fingerprint.")
    yield "### Timing"
    yield table(
        ("name", "value", "what it is"),
        [(field.name, getattr(plan.timing, field.name), TIMING_WORDS[field.name]) for field in fields(plan.timing)],
    )
    yield "### Fingerprints"
    yield table(
        ("fingerprint", "value", "over"),
        [
            (
                "helm",
                f"{plan.helm_fingerprint:04X}",
                "protocol version, safety messages, helm timing, stations to cutouts, order of helm nodes",
            ),
            ("lighting", f"{plan.lighting_fingerprint:04X}", "protocol version, lighting messages and timing, zones, panels"),
        ],
    )
    yield paragraph("A node holds both as constants and sends them in its heartbeat; it does not compute them.")
    yield from _parts("Stations", plan.stations)
    yield from _parts("Drives", plan.drives)
    yield from _parts("Rudder", [plan.rudder] if plan.rudder is not None else [])
    yield from _parts("Cutouts", plan.cutouts)
    yield from _parts("Zones", plan.zones)
    yield from _parts("Navigation lights", plan.navigation_lights)
    yield f"Revision of the scene table: {plan.scene_revision:04X}."
    yield from _parts("Scenes", plan.scenes, left_out="levels")
    for scene in plan.scenes:
        yield f"#### {scene.name}"
        yield table(("zone", "lightness, permille", "colour", "kelvin"), [_scene_row(*row) for row in scene.levels])
    yield from _parts("Panels", plan.panels, left_out="controls")
    for panel in plan.panels:
        yield from _parts(f"Controls of {panel.name}", panel.controls)


def _parts(heading: str, parts: Sequence[Any], left_out: str = "") -> Iterator[str]:
    """A table with a column for each part where they are few and have many values, else with a row for each."""
    yield f"### {heading}"
    if not parts:
        yield "None."
        return
    names = [field.name for field in fields(parts[0]) if field.name not in ("name", left_out)]
    if len(parts) <= 2:
        rows = [(name, *(_value(getattr(part, name)) for part in parts), PART_WORDS[name]) for name in names]
        yield table(("value", *(part.name for part in parts), "what it is"), rows)
        return
    yield bullets(f"{name}: {PART_WORDS[name]}" for name in names)
    yield table(("name", *names), [(part.name, *(_value(getattr(part, name)) for name in names)) for part in parts])


def _scene_row(zone: int, level: int, colour: int, kelvin: int) -> tuple[int, int, str, str]:
    return zone, level, f"{colour:06X}" if colour >= 0 else "as it is", str(kelvin) if kelvin else "as it is"


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return listed(value) if isinstance(value, tuple) else str(value)
