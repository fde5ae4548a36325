"""The closed table of events: everything that can be said to have happened, who says it, and in which fields.

Every event is a plain tuple `(at_ns, position, kind, *fields)`, `position` being the number of frames accepted before it in
its block, so that frames and events have one order. Fields are integers or names. Frames are a row of this table too, but
are kept by themselves as `(at_ns, bus, can_id, data, mask)`; `mask` has a bit for each host that accepted it, -1 not known.
"""

from dataclasses import dataclass
from typing import Final

# Who says it.
WIRE: Final = "wire"
CONTROLLER: Final = "controller"
NODE: Final = "node"
PLANT: Final = "plant"
OPERATOR: Final = "operator"
FAULT: Final = "fault"
HOST: Final = "host"

# Where a value comes from, best evidence first.
FROM_PLANT: Final = "plant"
MEASURED: Final = "independent measurement"
REPORTED: Final = "reported on the wire"
ASKED: Final = "asked of a person"
UNKNOWN: Final = "unknown"


@dataclass(frozen=True)
class EventKind:
    kind: str
    emitter: str
    fields: tuple[str, ...]
    source: str
    words: str


EVENTS: Final = (
    EventKind("frame", WIRE, ("bus", "can_id", "data", "mask"), MEASURED, "a frame was accepted by the hosts in the mask"),
    EventKind("controller", CONTROLLER, ("node", "bus", "state", "tec", "rec"), MEASURED, "a controller changed its error state"),
    EventKind("counts", CONTROLLER, ("node", "bus", "tec", "rec"), MEASURED, "what a controller counts as a second ends"),
    EventKind("row", NODE, ("node", "machine", "row", "cause"), REPORTED, "a node took a row of its state table"),
    EventKind("output", NODE, ("node", "channel", "value"), MEASURED, "an output or a display of a node changed"),
    EventKind("lever", OPERATOR, ("station", "drive", "permille", "over_ms"), FROM_PLANT, "a lever is moved to here, in this time"),
    EventKind("wheel", OPERATOR, ("station", "permille", "over_ms"), FROM_PLANT, "a wheel is turned to here, in this time"),
    EventKind("crank", OPERATOR, ("drive", "for_ms"), FROM_PLANT, "somebody turns the start key of an engine, for so long"),
    EventKind("key", OPERATOR, ("node", "key", "down"), FROM_PLANT, "a key's or touch field's contact closed (1) or opened (0)"),
    EventKind("gear", PLANT, ("drive", "gear", "throttle_ppm", "rpm"), FROM_PLANT, "the clutch took or let go"),
    EventKind("throttle_stop", PLANT, ("drive", "at_stop"), FROM_PLANT, "the throttle came to its idle stop (1) or left it (0)"),
    EventKind("shift_rest", PLANT, ("drive", "in_neutral"), FROM_PLANT, "the shift came to rest in neutral (1) or left it (0)"),
    EventKind("engine", PLANT, ("drive", "running"), FROM_PLANT, "the engine started (1) or stopped (0)"),
    EventKind("motion", PLANT, ("run_mm", "speed_mm_s"), FROM_PLANT, "distance run through the water, and speed, + is ahead"),
    EventKind("starter", PLANT, ("drive", "does"), FROM_PLANT, "a starter lets go (0), turns (1), or has no permission to (2)"),
    EventKind("rudder", PLANT, ("angle_cdeg", "to_cdeg"), FROM_PLANT, "the rudder goes from here to there; both alike: at rest"),
    EventKind("heading", PLANT, ("east_ppm", "north_ppm"), FROM_PLANT, "where the bow points, as a unit vector; north at first"),
    EventKind("ground", PLANT, ("east_mm", "north_mm"), FROM_PLANT, "where she is over ground, from where she was at first"),
    EventKind("stream", PLANT, ("set_deg", "mm_s"), FROM_PLANT, "the water flows this way of the compass, this fast"),
    EventKind("lamp", PLANT, ("zone", "permille", "shares"), FROM_PLANT, "what a zone's lamps show: lightness, channels at 8 bits"),
    EventKind("power", HOST, ("node", "on"), FROM_PLANT, "a node's supply came or went"),
    EventKind("start", HOST, ("node", "reset_cause"), FROM_PLANT, "a node's program started"),
    EventKind("feed", PLANT, ("light", "on"), FROM_PLANT, "the supply that a navigation light burns by came (1) or went (0)"),
    EventKind("fault", FAULT, ("fault", "place", "begins"), FROM_PLANT, "a fault begins (1), ends (0), or strikes at once (2)"),
)

BY_KIND: Final = {event.kind: event for event in EVENTS}
