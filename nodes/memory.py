"""What every slot of our nodes is: moments, counters, numbers of takes, plain values. Nothing here acts.

`busim check --transfer` explores what nodes can come to. Two moments of a boat's life are the same to it when they differ only
in what the clock, the counters and the numbers happen to stand at; this table says which slots those are. A slot that
is not in it fails a test, and a limit that is too short would call alike what is not: a test plays both side by side.
"""

from typing import Any, Final

from busim.protocol.catalogue import (
    CLAIM,
    DRIVE_OBEYS,
    DRIVE_STATE,
    HEARTBEAT,
    LEVER,
    NEUTRAL_NOW,
    PERMISSION,
    RUDDER_STATE,
    WHEEL,
)
from busim.protocol.counter import LEFT_OVER
from busim.seam import Kept

FIXED: Final = Kept("fixed")
VALUE: Final = Kept("value")
NUMBER: Final = Kept("number")
INSIDE: Final = Kept("inside")


def _at_once(node: Any) -> int:
    """Of a moment that is waited for: once past, how long ago makes no difference."""
    return 0


def _missing_ms(node: Any) -> int:
    return int(node.timing.heartbeat_missing_ms)


def _timeout_ms(node: Any) -> int:
    return int(node.timing.control_timeout_ms)


def _overlap_ms(node: Any) -> int:
    return int(node.timing.overlap_ms)


def _idle_wait_ms(node: Any) -> int:
    return int(node.me.idle_wait_ms)


def _age_max_ms(node: Any) -> int:
    return int(node.timing.age_max_ms)


def _silence_ms(node: Any) -> int:
    """A report is looked at for both its age and its silence."""
    return max(_age_max_ms(node), _missing_ms(node))


def _old_levers(node: Any) -> int:
    return int(node.timing.age_max_ms // node.timing.lever_ms) + 1


def _neutral_now_ms(node: Any) -> int:
    return 1000


def _tracks_ms(node: Any) -> int:
    return 60


def _transfer_ms(node: Any) -> int:
    return int(node.timing.transfer_ms)


def _apart_ms(node: Any) -> int:
    return 100


def _rested_ms(node: Any) -> int:
    return 1000


def _sensor_wait_ms(node: Any) -> int:
    return 200


def _values(*slots: str) -> dict[str, Kept]:
    return dict.fromkeys(slots, VALUE)


def _fixed(*slots: str) -> dict[str, Kept]:
    return dict.fromkeys(slots, FIXED)


def _waits(*slots: str) -> dict[str, Kept]:
    return dict.fromkeys(slots, Kept("moment", _at_once))


def _only_with_pair(drive: Any, data: bytes) -> bytes:
    """The last lever frame is compared only where two buses bring the same."""
    return data if hasattr(drive.lever_counter, "buses") else b""


def _wheel_only_with_pair(rudder: Any, data: bytes) -> bytes:
    return data if hasattr(rudder.wheel_counter, "buses") else b""


def _alone(watch: Any, alone: tuple[int, int]) -> tuple[int, int]:
    return alone[0], min(alone[1], LEFT_OVER)


MEMORY: Final[dict[str, dict[str, Kept]]] = {
    "Node": _waits("deadline_ns"),
    "Member": {
        **_fixed("address", "beat_id", "build", "buses", "plan", "timing"),
        "beat_counter": Kept("own_counter", code=HEARTBEAT.code),
        **_waits("beat_due_ns"),
        # Nobody acts on an identity; it goes out with every tenth heartbeat, so that leaving out when moves no deadline.
        "identity_due_ns": FIXED,
        **_values("beat_contents", "task_ran", "working"),
    },
    "CounterWatch": {"last": Kept("seen"), "candidate": Kept("seen"), "max_gap": FIXED},
    "PairWatch": {"alone": Kept("value", trim=_alone), "buses": INSIDE},
    "HeartbeatWatch": {"counter": Kept("inside", code=HEARTBEAT.code), "heard_ns": Kept("moment", _missing_ms), "same_boat": VALUE},
    "StationWatch": {
        "claim": Kept("number", at=0),
        "claim_counter": Kept("inside", code=CLAIM.code),
        "heartbeat": INSIDE,
    },
    "NeutralKey": {"pressed_ns": Kept("moment", _timeout_ms), **_values("locks", "locks_before")},
    "SensingDrive": {
        **_fixed("instance", "me"),
        **_values("asked_gear", "asked_throttle", "engine_stop", "fault", "rpm", "sensed_throttle", "shift_position", "switch"),
        "state_counter": Kept("own_counter", code=DRIVE_STATE.code),
    },
    "DriveMachine": {
        **_values("cause", "last_gear", "last_row", "lever_id", "obeyed", "state", "untold"),
        **_waits("dwell_until_ns", "shift_due_ns", "wake_until_ns"),
        "idle_since_ns": Kept("moment", _idle_wait_ms),
    },
    "Drive": {
        "alarms": FIXED,
        "acted_on": Kept("counter", _old_levers, code=LEVER.code, sender="obeyed"),
        "changed_ns": Kept("moment", lambda drive: max(_overlap_ms(drive), _missing_ms(drive))),
        "doubts": INSIDE,
        "keys": INSIDE,
        "lever_counter": Kept("inside", code=LEVER.code, sender="obeyed"),
        "lever_data": Kept("frame", code=LEVER.code, sender="obeyed", trim=_only_with_pair),
        "lever_ns": Kept("moment", _timeout_ms),
        "number": NUMBER,
        "other": INSIDE,
        **_values("previous", "wanted"),
        "report_counter": Kept("own_counter", code=DRIVE_OBEYS.code),
        **_waits("report_due_ns"),
        "start_permission": INSIDE,
        "stations": Kept("inside", sender="key"),
        "steering": INSIDE,
    },
    "Plausibility": {
        **_values("doubt", "from_permille", "side", "throttle"),
        "disagree_since_ns": Kept("moment", lambda _: 200),
        "from_ns": Kept("moment", lambda _: 500),
        "out_since_ns": Kept("moment", lambda _: 200),
        "racing_since_ns": Kept("moment", lambda _: 2000),
        "stopping_since_ns": Kept("moment", lambda _: 5000),
    },
    "StartPermission": {"permit": VALUE, "sent": Kept("own_counter", code=PERMISSION.code), **_waits("due_ns")},
    "OtherDrive": {
        **_fixed("address", "carries_on", "missing_ns", "neutral_when_apart", "overlap_ns"),
        "changed_ns": Kept("moment", _overlap_ms),
        "counter": Kept("inside", code=DRIVE_OBEYS.code, sender="address"),
        "heard_ns": Kept("moment", _missing_ms),
        "pair": Kept("number", at=1),
    },
    "SteeringWatch": {
        **_fixed("cap_permille", "missing_ns", "rudder", "wait_ns"),
        **_values("fault", "held_back"),
        "counter": Kept("inside", code=RUDDER_STATE.code, sender="rudder"),
        "heard_ns": Kept("moment", _missing_ms),
        "nobody_since_ns": Kept("moment", _transfer_ms),
    },
    "Taker": {"agreed_ns": Kept("moment", _timeout_ms)},
    "DrivePair": {"counter": Kept("inside", code=DRIVE_OBEYS.code), "instance": FIXED, "pair": Kept("number", at=1)},
    "RudderMotion": {
        **_fixed("hard_over", "speed"),
        **_values("asked", "astray", "believed", "expected", "high", "known", "late", "low", "sensed"),
        "at_ns": Kept("moment"),
        "late_since_ns": Kept("moment", _apart_ms),
        "astray_since_ns": Kept("moment", _apart_ms),
        "rested_since_ns": Kept("moment", _rested_ms),
    },
    "Rudder": {
        **_fixed("alarms", "me"),
        "drives": Kept("inside", sender="key"),
        "motion": INSIDE,
        "number": NUMBER,
        **_values("obeyed", "side", "state", "told_cdeg", "turned", "untold"),
        "report_counter": Kept("own_counter", code=RUDDER_STATE.code),
        **_waits("report_due_ns"),
        "started_ns": Kept("moment", _sensor_wait_ms),
        "stations": Kept("inside", sender="key"),
        "wheel_counter": Kept("inside", code=WHEEL.code, sender="obeyed"),
        "wheel_data": Kept("frame", code=WHEEL.code, sender="obeyed", trim=_wheel_only_with_pair),
        "wheel_ns": Kept("moment", _timeout_ms),
    },
    "Wheel": {
        **_fixed("drives", "missing_ns", "rudder", "rudder_address", "wheel_id"),
        **_values("angle", "fault", "faulty", "held", "keeps", "wanted"),
        "counter": Kept("own_counter", code=WHEEL.code),
        **_waits("due_ns"),
        "heard_ns": Kept("moment", _missing_ms),
        "pair": Kept("number", at=1),
        "rudder_counter": Kept("inside", code=RUDDER_STATE.code, sender="rudder_address"),
    },
    "Lever": {
        **_fixed("first", "high", "low"),
        **_values("apart", "faulty", "tracks"),
        "apart_since_ns": Kept("moment", _tracks_ms),
    },
    "DriveEcho": {
        "acted_on": Kept("counter", _old_levers, code=LEVER.code, sender="self"),
        "counter": Kept("inside", code=DRIVE_OBEYS.code),
        "heard_ns": Kept("moment", _silence_ms),
        "number": NUMBER,
        "station": VALUE,
    },
    "Station": {
        # No alarm and no navigation light changes what a station does with its levers, and nobody presses neutral-now keys.
        **_fixed("alarms", "carries_on", "conditions", "echoes", "lever_id", "lever_period_ns", "lock", "me"),
        **_values("alarm", "gears", "held", "lever_faults", "neutral_now", "shows", "state", "wanted"),
        "claim_counter": Kept("own_counter", code=CLAIM.code),
        "drives": Kept("inside", sender="key"),
        "held_since_ns": Kept("moment", _age_max_ms),
        "highest": NUMBER,
        "lever_counter": Kept("own_counter", code=LEVER.code),
        "levers": INSIDE,
        "neutral_now_counter": Kept("own_counter", code=NEUTRAL_NOW.code),
        "neutral_now_until_ns": Kept("moment", _neutral_now_ms),
        "number": NUMBER,
        "wheel": INSIDE,
        **_waits("claim_due_ns", "divided_ns", "lever_due_ns", "neutral_now_due_ns", "show_due_ns", "transfer_until_ns"),
    },
}
