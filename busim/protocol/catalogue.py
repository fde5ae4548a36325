"""The catalogue: every message on the bus, defined once. Codec, written page, C, database and vectors come from this table.

It may be improved until the first export to firmware; after that only by a new `PROTOCOL_VERSION`.
A new message is one row here. Codes 0 to 15 are safety messages (CRC, counter, 8 bytes).
"""

from typing import Final

from busim.protocol import values as v
from busim.protocol.codec import Message, Signal

PROTOCOL_VERSION: Final = 1

NUMBER = Signal("number", 16, "number of the take of control this belongs to")
INSTANCE = Signal("instance", 2, "which drive, 1 or 2", least=1, most=2)
STATION = Signal("station", 6, "address of the station obeyed, 0 nobody")


def _lever(drive: int) -> tuple[Signal, Signal]:
    return (
        Signal(f"gear_{drive}", 2, f"gear asked of drive {drive}", choices=v.GEARS, most=v.ASTERN),
        Signal(f"throttle_{drive}", 10, f"throttle asked of drive {drive}, 0 idle to 1000 full", "permille", most=1000),
    )


NEUTRAL_NOW: Final = Message(
    0,
    "neutral_now",
    "station",
    (
        Signal("pressed", 1, "1 while the key acts"),
        Signal("locked_out", 16, "bit n set: the key of the station at address n is named stuck and ignored"),
    ),
    "Every drive goes idle, then neutral, whoever is in control. It is a message, not an emergency stop.",
    "on press, every 20 ms until echoed",
    20,
)
CLAIM: Final = Message(
    1,
    "claim",
    "station",
    (NUMBER, Signal("wanted", 3, "bit 0 drive 1, bit 1 drive 2, bit 2 rudder"), *_lever(1), *_lever(2),
     Signal("withdrawn", 1, "1: the take is off; who changed over goes neutral")),
    "A station takes control, with where its own levers stand.",
    "every claim_ms until echoed by all it wants or transfer_ms is over",
    50,
)  # fmt: skip
LEVER: Final = Message(
    2,
    "lever",
    "station",
    (NUMBER, *_lever(1), *_lever(2), Signal("lever_fault", 1, "1: a lever's tracks disagree or are out of range"),
     Signal("warm_up", 1, "1: throttle without gear is wanted")),
    "Where a station's levers stand. Sent by every station, obeyed only with the pair (station, number) in control.",
    "every lever_ms",
    20,
)  # fmt: skip
WHEEL: Final = Message(
    4,
    "wheel",
    "station",
    (
        NUMBER,
        Signal("angle_or_rate", 14, "wanted rudder angle or rate, + is starboard", "cdeg or cdeg/s", signed=True),
        Signal("kind", 2, "what angle_or_rate is", choices=v.WHEEL_KINDS),
        Signal("wheel_fault", 1, "1: the wheel's sensor is out of range"),
    ),
    "What a station's wheel or jog lever wants. Obeyed only with the pair (station, number) that the rudder obeys.",
    "every 40 ms",
    40,
)
DRIVE_OBEYS: Final = Message(
    5,
    "drive_obeys",
    "drive",
    (
        STATION,
        NUMBER,
        Signal("acted_on", 8, "counter of the last lever frame acted on"),
        Signal("row", 8, "row of the drive's state table taken last"),
        Signal("state", 4, "state of the drive's state table"),
        Signal("cause", 4, "why it was last forced, kept until control is taken anew", choices=v.CAUSES),
        INSTANCE,
    ),
    "Whom this drive obeys, how far its state table is, and why it was last forced.",
    "every drive_ms and at once after a row",
    40,
)
DRIVE_STATE: Final = Message(
    6,
    "drive_state",
    "drive",
    (
        INSTANCE,
        Signal("asked_gear", 2, "gear the drive asks of its actuator", choices=v.GEARS, most=v.ASTERN),
        Signal("sensed_gear", 2, "gear its own sensors show", choices=v.GEARS),
        Signal("neutral_switch", 2, "the independent neutral switch", choices=v.SWITCHES),
        Signal("asked_throttle", 8, "throttle asked of the actuator", "permille", 4, most=250),
        Signal("sensed_throttle", 8, "throttle its feedback shows", "permille", 4),
        Signal("shift_position", 8, "shift travel its feedback shows, + is ahead", "permille of half stroke", 10, signed=True),
        Signal("rpm", 10, "engine speed", "rpm", 8),
        Signal("engine", 2, "the engine", choices=v.ENGINE_STATES),
        Signal("fault", 4, "what the drive itself found wrong", choices=v.DRIVE_FAULTS),
    ),
    "What this drive asks for and what it senses, apart.",
    "every drive_ms",
    40,
)
RUDDER_STATE: Final = Message(
    8,
    "rudder_state",
    "rudder",
    (
        STATION,
        NUMBER,
        Signal("asked_angle", 11, "angle asked of the actuator, + is starboard", "cdeg", 5, signed=True),
        Signal("sensed_angle", 11, "angle the feedback shows", "cdeg", 5, signed=True),
        Signal("fault", 4, "what the rudder node found wrong", choices=v.RUDDER_FAULTS),
    ),
    "Whom the rudder obeys and where it is.",
    "every 40 ms",
    40,
)
CUTOUT_STATE: Final = Message(
    9,
    "cutout_state",
    "cutout",
    (
        INSTANCE,
        Signal("gear_switch", 2, "its own gear switch", choices=v.SWITCHES),
        Signal("speed", 10, "its own speed pick-up", "rpm", 8),
        Signal("armed", 1, "1: it would act"),
        Signal("fired", 1, "1: it has stopped the engine"),
        Signal("cause", 4, "what it last acted on", choices=v.CAUSES),
    ),
    "The independent means that stops an engine whose gear does not come out.",
    "every 100 ms",
    100,
)
HEARTBEAT: Final = Message(
    10,
    "heartbeat",
    "every node",
    (
        Signal("state", 4, "state of the node", choices=v.NODE_STATES),
        Signal("reset_cause", 4, "why it last started", choices=v.RESET_CAUSES),
        Signal("helm_fingerprint", 16, "of the helm values it was built with"),
        Signal("lighting_fingerprint", 16, "of the lighting values it was built with"),
        Signal("build", 8, "software build, modulo 256"),
    ),
    "Sent by a supervisor that saw the sampling, control and sending tasks run since the last one.",
    "every heartbeat_ms, missing after heartbeat_missing_ms",
    100,
    part="every node",
)
CONDITION: Final = Message(
    11,
    "condition",
    "station",
    (
        Signal("condition", 3, "navigation light condition", choices=v.NAVIGATION_CONDITIONS),
        Signal("number", 16, "number of the change; the highest stands"),
    ),
    "What the navigation lights show. Follows a condition, never a scene.",
    f"on change, {v.CONDITION_TIMES} times {v.CONDITION_AGAIN_MS} ms apart, and every 1 s",
    1000,
    part="lighting",
)
ALARM: Final = Message(
    12,
    "alarm",
    "helm nodes",
    (
        Signal("which", 8, "which alarm"),
        Signal("subject", 6, "address of the node it is about"),
        Signal("state", 2, "its state", choices=v.ALARM_STATES),
        Signal("priority", 2, "how urgent", choices=v.ALARM_PRIORITIES),
        Signal("number", 8, "number of the occurrence"),
    ),
    "An alarm of a helm node.",
    "on change and every 1 s while not gone",
    1000,
)
ALARM_ANSWER: Final = Message(
    13,
    "alarm_answer",
    "station, alarm",
    (
        Signal("which", 8, "which alarm"),
        Signal("raiser", 6, "address of the node that raised it"),
        Signal("answer", 2, "what the crew did", choices=v.ALARM_ANSWERS),
        Signal("number", 8, "number of the occurrence answered"),
    ),
    "The crew's answer to an alarm.",
    "on press, every 100 ms until the alarm's state shows it, at most 1 s",
    100,
)
PERMISSION: Final = Message(
    15,
    "permission",
    "drive, cutout",
    (
        INSTANCE,
        Signal("may_start", 1, "1: the independent neutral switch is closed, the starter may turn"),
        Signal("inhibit", 1, "1: no propulsion"),
        Signal("cause", 4, "why not", choices=v.CAUSES),
    ),
    "Whether an engine may be started or used.",
    "every 100 ms",
    100,
)
PRESS: Final = Message(
    16,
    "press",
    "panel",
    (
        Signal("number", 8, "number of the press, one more each press of this panel"),
        Signal("zone", 8, "number of the zone"),
        Signal("action", 4, "what is wanted", choices=v.PRESS_ACTIONS),
        Signal("level", 12, "lightness wanted", "permille", most=1000),
        Signal("colour", 24, "8 bits each of red, green and blue, or kelvin"),
        Signal("control", 8, "number of the control on the panel"),
    ),
    "One press at a panel.",
    "at once, then every press_repeat_ms until the zone's own state shows it done or press_failed_ms is over",
    50,
    part="lighting",
)
ZONE_STATE: Final = Message(
    17,
    "zone_state",
    "zone driver",
    (
        Signal("zone", 8, "number of the zone"),
        Signal("lit", 1, "1: the output is on"),
        Signal("moving", 1, "1: a fade is under way"),
        Signal("level", 10, "lightness now", "permille", most=1000),
        Signal("colour", 24, "8 bits each of red, green and blue, or kelvin"),
        Signal("fault", 4, "what the driver senses", choices=v.ZONE_FAULTS),
        Signal("panel", 6, "address of the panel whose press was done last, 0 none"),
        Signal("press", 8, "number of that press"),
    ),
    "What a zone shows, and the echo of the press done last.",
    "on change, after every press, and every zone_ms",
    1000,
    part="lighting",
)
SCENE: Final = Message(
    18,
    "scene",
    "panel",
    (
        Signal("number", 8, "number of the press"),
        Signal("scene", 8, "number of the scene"),
        Signal("revision", 16, "revision of the panel's scene table"),
        Signal("fade", 12, "time of the fade", "ms", 10),
        Signal("joining", 1, "1: only for drivers that know of no scene since they started"),
    ),
    "A scene is wanted.",
    "as press",
    50,
    part="lighting",
)
SCENE_STATE: Final = Message(
    19,
    "scene_state",
    "zone driver",
    (
        Signal("scene", 8, "number of the scene the driver's zones joined last, 0 none"),
        Signal("revision", 16, "revision of the driver's scene table"),
        Signal("panel", 6, "address of the panel that asked"),
        Signal("number", 8, "number of its press"),
        Signal("fault", 4, "what kept it from the whole scene", choices=v.ZONE_FAULTS),
    ),
    "The scene a driver is in, and the echo of the press that asked for it.",
    "on change and every 1 s",
    1000,
    part="lighting",
)
IDENTITY: Final = Message(
    20,
    "identity",
    "every node",
    (
        Signal("protocol", 8, "version of this protocol"),
        Signal("kind", 8, "kind of node", choices=v.NODE_KINDS),
        Signal("major", 8, "software version, major"),
        Signal("minor", 8, "software version, minor"),
        Signal("patch", 8, "software version, patch"),
    ),
    "What a node is.",
    "at start and every 1 s",
    1000,
    part="every node",
)
NOTICE: Final = Message(
    21,
    "notice",
    "navigation",
    (
        Signal("which", 8, "which alarm"),
        Signal("subject", 8, "number of the navigation light it is about"),
        Signal("state", 2, "its state", choices=v.ALARM_STATES),
        Signal("priority", 2, "how urgent", choices=v.ALARM_PRIORITIES),
        Signal("number", 8, "number of the occurrence"),
    ),
    "An alarm of a node that sends no safety messages: a navigation light's lamp or fuse has failed.",
    "on change and every 1 s while not gone",
    1000,
    part="lighting",
)
BENCH: Final = Message(
    30,
    "bench",
    "bench builds only",
    (
        Signal("direction", 1, "into or out of the node", choices=v.BENCH_DIRECTIONS),
        Signal("channel", 15, "number of the channel"),
        Signal("value", 32, "the value", signed=True),
    ),
    "Sensor values in and outputs out. Only in firmware built for the bench.",
    "on change",
    0,
    part="bench",
    reserved_for="the bench",
)

MESSAGES: Final = (
    NEUTRAL_NOW, CLAIM, LEVER, WHEEL, DRIVE_OBEYS, DRIVE_STATE, RUDDER_STATE, CUTOUT_STATE, HEARTBEAT, CONDITION, ALARM,
    ALARM_ANSWER, PERMISSION, PRESS, ZONE_STATE, SCENE, SCENE_STATE, IDENTITY, NOTICE, BENCH,
)  # fmt: skip

BY_CODE: Final = {message.code: message for message in MESSAGES}
BY_NAME: Final = {message.name: message for message in MESSAGES}
FOR_THE_HELM: Final = tuple(message.code for message in MESSAGES if message.is_safety and message not in (HEARTBEAT, CONDITION))
"""Codes of what helm nodes have to say to each other only."""

NO_SAFETY_CODES: Final = (3, 7, 14)
"""Codes that would let a heartbeat from a high address share a CRC start with a helm message (see `ids.ids_sharing_a_start`)."""

BOAT_FILE_CODES: Final = (27, 28, 29)
"""For messages of the builder's own: seen by check, export and decoder; no node of ours acts on them."""


def safety_ids(station: set[int], drive: set[int], others: set[int]) -> list[int]:
    """Every safety id a boat with these addresses of stations, drives and other nodes can put on the bus."""
    everybody = station | drive | others
    may_send = {"station": station, "drive": drive, "every node": everybody}
    helm = station | drive | {address for address in others if address < 16}
    return sorted(
        message.can_id(address)
        for message in MESSAGES
        if message.is_safety
        for address in may_send.get(message.senders, helm)
    )
