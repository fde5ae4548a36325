"""What every slot of our nodes is: moments, counters, numbers of takes, plain values. Nothing here acts.

`busim check --transfer` explores what nodes can come to. Two moments of a boat's life are the same to it when they differ only
in what the clock, the counters and the numbers happen to stand at; this table says which slots those are. A slot that
is not in it fails a test, and a limit that is too short would call alike what is not: a test plays both side by side.
"""

from collections.abc import Callable
from typing import Any, Final

from busim.protocol.catalogue import CLAIM, DRIVE_OBEYS, DRIVE_STATE, HEARTBEAT, LEVER, NEUTRAL_NOW, RUDDER_STATE, WHEEL
from busim.protocol.counter import newer
from busim.protocol.tables import DRIVE_TABLE, STATION_TABLE
from busim.protocol.values import NEUTRAL
from busim.seam import Kept
from busim.units import MS, NEVER, SECOND

GOING_IDLE: Final = (DRIVE_TABLE.state_values["slowing"], DRIVE_TABLE.state_values["forced_idle"])
HOLDING: Final = STATION_TABLE.state_values["holding"]

_OLD_NS: Final = -3_600_000 * MS
"""So long ago that it is past for whoever looks."""

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


def _settled_ms(node: Any) -> int:
    return int(node.timing.transfer_ms + 2 * node.timing.claim_ms)


def _still_left_out(node: Any, echo: Any, until_ns: int) -> int:
    """For how long it still is makes no difference before a take comes; and once it is over, a take is as any that follows on no
    failed one. So whoever looks through all states may let it last."""
    return SECOND if until_ns > 0 else until_ns


def _old_levers(node: Any) -> int:
    return int(node.timing.age_max_ms // node.timing.lever_ms) + 1


def _neutral_now_ms(node: Any) -> int:
    return 1000


def _throttle_ms(node: Any) -> int:
    """Its way is measured from a moment on: that one may be as long ago as the throttle's whole stroke takes, and then some."""
    return 4 * int(node.me.throttle_ms) + 1000


def _disagree_ms(node: Any) -> int:
    return 200


def _racing_ms(node: Any) -> int:
    return 2000


def _stopping_ms(node: Any) -> int:
    return 5000


def _rested_ms(node: Any) -> int:
    return 1000


def _sensor_wait_ms(node: Any) -> int:
    return 200


_SINCE: Final = {
    "astray_since_ns": _disagree_ms,
    "disagree_since_ns": _disagree_ms,
    "out_since_ns": _disagree_ms,
    "racing_since_ns": _racing_ms,
    "stopping_since_ns": _stopping_ms,
}


def _patience_ms(node: Any) -> int:
    return int(node.timing.control_timeout_ms - node.timing.lever_ms)


def _values(*slots: str) -> dict[str, Kept]:
    return dict.fromkeys(slots, VALUE)


def _fixed(*slots: str) -> dict[str, Kept]:
    return dict.fromkeys(slots, FIXED)


def _waits(*slots: str) -> dict[str, Kept]:
    return dict.fromkeys(slots, Kept("moment", _at_once))


def _only_with_pair(node: Any, follower: Any, data: bytes) -> bytes:
    """The last frame that was acted on is compared only where two buses bring the same."""
    counter = follower.lever_counter if hasattr(follower, "lever_counter") else follower.wheel_counter
    return data if follower.obeyed and hasattr(counter, "buses") else b""


def _alone(node: Any, watch: Any, since_ns: int) -> int:
    """Who is the only one counts where another bus stands at the last frame acted on: one left behind never gets there again."""
    level = any(each.last == watch.last for number, each in watch.buses.items() if number != watch.alone_bus)
    return max(since_ns, -(int(watch.limit_ms) // 2) * MS) if level else 0


def _counted(node: Any, each: Any, counted_ns: int) -> int:
    """Only whether its limit has passed counts."""
    return max(counted_ns, -int(each.limit_ms) * MS)


def _near(node: Any, each: Any, near_ns: int) -> int:
    return max(near_ns, -(int(each.limit_ms) // 2) * MS)


def _while_obeyed(instead: Any) -> Callable[[Any, Any, Any], Any]:
    """Of what is set anew when a drive obeys again."""
    return lambda node, drive, value: value if drive.obeyed else instead


def _forget_counter(node: Any, drive: Any, watch: Any) -> None:
    if not drive.obeyed:
        watch.forget()


def _off_its_place(instead: Any) -> Callable[[Any, Any, Any], Any]:
    """Of what is set anew when a throttle is found away from where it was told to be."""
    return lambda node, doubts, value: value if doubts.side else instead


def _may_still_take(node: Any, watch: Any) -> bool:
    """A claim that its number rules out now is ruled out for good: the number obeyed never goes back."""
    if not watch.claim:
        return False
    station = next(address for address, each in node.stations.items() if each is watch)
    number = watch.claim[0]
    return newer(number, node.number) or (number == node.number and station < node.obeyed)


def _claim(node: Any, watch: Any, claim: tuple[int, ...]) -> tuple[int, ...]:
    return claim if _may_still_take(node, watch) else ()


def _agreed(node: Any, taker: Any, agreed_ns: int) -> int:
    return agreed_ns if _may_still_take(node, taker) else _OLD_NS


def _idle_since(node: Any, drive: Any, since_ns: int) -> int:
    return since_ns if drive.state in GOING_IDLE else _OLD_NS


def _my_change(node: Any, drive: Any, changed_ns: int) -> int:
    """Of two changes the later counts. Where both drives obey one take, whatever parts them is a change of its own; and for how
    long the other one has been silent is told by the report that came since."""
    other = drive.other
    if not drive.obeyed or other is None:
        return _OLD_NS
    agreed = other.pair == (drive.obeyed, drive.number)
    return _OLD_NS if other.heard_ns >= changed_ns and (agreed or other.changed_ns > changed_ns) else changed_ns


def _other_change(drive: Any, other: Any, changed_ns: int) -> int:
    agreed = other.pair == (drive.obeyed, drive.number)
    return _OLD_NS if not drive.obeyed or agreed or changed_ns <= drive.changed_ns else changed_ns


def _held_since(node: Any, station: Any, held_since_ns: int) -> int:
    """Counts only as long as an echo is older than that: by the time it can be too old, control was held for long enough."""
    period_ns = station.lever_period_ns
    ages = ((station.lever_counter - station.echoes[each].acted_on + 1 & 0xFF) * period_ns for each in station.held)
    return _OLD_NS if station.state != HOLDING or all(age_ns <= -held_since_ns for age_ns in ages) else held_since_ns


def _next_show_ns(node: Any, station: Any, due_ns: int) -> int:
    """A display looked at before anything can have changed stays as it is: what counts is when something can."""
    if due_ns <= 0:
        return due_ns
    wheel = (station.wheel,) if station.wheel is not None else ()
    silent_ns = [each.heard_ns + _missing_ms(station) * MS for each in (*station.echoes.values(), *wheel)]
    return min((each for each in (*silent_ns, station.divided_ns) if each > 0), default=NEVER)


MEMORY: Final[dict[str, dict[str, Kept]]] = {
    "Node": _waits("deadline_ns"),
    "Member": {
        **_fixed("address", "beat_id", "beat_period_ns", "build", "buses", "helm_buses", "plan", "timing"),
        "beat_counter": Kept("own_counter", code=HEARTBEAT.code),
        **_waits("beat_due_ns"),
        # Nobody acts on an identity; it goes out with every tenth heartbeat, so that leaving out when moves no deadline.
        "identity_due_ns": FIXED,
        **_values("beat_templates", "task_ran", "working"),
    },
    "CounterWatch": {"last": Kept("seen"), "candidate": Kept("seen"), "max_gap": FIXED},
    "BusOfPair": {
        "counted_ns": Kept("moment", trim=_counted),
        "limit_ms": FIXED,
        "near_ns": Kept("moment", trim=_near),
    },
    "PairWatch": {"alone_bus": VALUE, "alone_ns": Kept("moment", trim=_alone), "buses": INSIDE, "limit_ms": FIXED},
    "HeartbeatWatch": {"counter": Kept("inside", code=HEARTBEAT.code), "heard_ns": Kept("moment", _missing_ms), "same_boat": VALUE},
    "StationWatch": {
        "claim": Kept("number", at=0, trim=_claim),
        "claim_counter": Kept("inside", code=CLAIM.code),
        "heartbeat": INSIDE,
    },
    # Nobody locks a key out while all states are looked through, so which frame did it last, and when, is nothing.
    "NeutralKey": {"pressed_ns": Kept("moment", _timeout_ms), **_values("locks", "locks_before"), **_fixed("counter", "locks_ns")},
    "SensingDrive": {
        **_fixed("instance", "me"),
        **_values("asked_gear", "asked_throttle", "engine_stop", "fault", "rpm", "sensed_throttle", "shift_position", "switch"),
        "state_counter": Kept("own_counter", code=DRIVE_STATE.code),
    },
    "DriveMachine": {
        **_values("cause", "last_gear", "last_row", "lever_id", "may_hold", "obeyed", "state", "untold"),
        **_waits("dwell_until_ns", "out_due_ns", "shift_due_ns", "wake_until_ns"),
        "idle_since_ns": Kept("moment", _idle_wait_ms, trim=_idle_since),
    },
    "Plausibility": {
        **_values("doubt", "side", "throttle"),
        **{slot: Kept("moment", limit_ms) for slot, limit_ms in _SINCE.items()},
        "from_ns": Kept("moment", _throttle_ms, trim=_off_its_place(_OLD_NS)),
        "from_permille": Kept("value", trim=_off_its_place(0)),
    },
    "Drive": {
        # No alarm, and no permission to start, ever changes what a drive does with levers. Without the deadlines of the
        # permission it looks at its machinery at its own reports only.
        **_fixed("alarms", "start_permission", "unequal_ns"),
        # How much thrust is left while nobody steers: whom it obeys does not hang on it, and nobody explores with more.
        **_fixed("steering"),
        "doubts": INSIDE,
        **_values("bus_off"),
        "acted_on": Kept("counter", _old_levers, code=LEVER.code, sender="obeyed"),
        "changed_ns": Kept("moment", lambda drive: max(_overlap_ms(drive), _missing_ms(drive)), trim=_my_change),
        "keys": INSIDE,
        "lever_counter": Kept("inside", code=LEVER.code, sender="obeyed", trim=_forget_counter),
        "lever_data": Kept("frame", code=LEVER.code, sender="obeyed", trim=_only_with_pair),
        "lever_ns": Kept("moment", _timeout_ms, trim=_while_obeyed(_OLD_NS)),
        "number": NUMBER,
        "other": INSIDE,
        "previous": Kept("value", trim=_while_obeyed((NEUTRAL, 0))),
        "wanted": Kept("value", trim=_while_obeyed(0)),
        "report_counter": Kept("own_counter", code=DRIVE_OBEYS.code),
        **_waits("report_due_ns"),
        "stations": Kept("inside", sender="key"),
    },
    "OtherDrive": {
        **_fixed("address", "carries_on", "missing_ns", "neutral_when_apart", "overlap_ns"),
        "changed_ns": Kept("moment", _overlap_ms, trim=_other_change),
        "counter": Kept("inside", code=DRIVE_OBEYS.code, sender="address"),
        "heard_ns": Kept("moment", _missing_ms),
        "pair": Kept("number", at=1),
    },
    "Lever": {
        **_fixed("first", "high", "low", "patience_ns"),
        **_values("apart", "faulty", "meant", "tracks"),
        "apart_since_ns": Kept("moment", _patience_ms),
        "out_since_ns": Kept("moment", _patience_ms),
    },
    "DriveEcho": {
        "acted_on": Kept("counter", _old_levers, code=LEVER.code, sender="self"),
        "counter": Kept("inside", code=DRIVE_OBEYS.code),
        "heard_ns": Kept("moment", _silence_ms),
        "number": NUMBER,
        **_fixed("instance", "policy_idle"),
        **_values("may_stay", "station"),
        "left_out_until_ns": Kept("moment", _at_once, trim=_still_left_out),
    },
    "Station": {
        # No alarm, no navigation light and no locked key ever changes what a station does with levers and wheels.
        **_fixed("alarms", "conditions", "lock"),
        **_fixed("carries_on", "echoes", "lever_id", "lever_period_ns", "me", "missing_ns"),
        **_values("alarm", "gears", "held", "lever_faults", "neutral_now", "shows", "state", "wanted"),
        "wheel": INSIDE,
        "claim_counter": Kept("own_counter", code=CLAIM.code),
        "drives": Kept("inside", sender="key"),
        "held_since_ns": Kept("moment", _age_max_ms, trim=_held_since),
        "highest": NUMBER,
        "lever_counter": Kept("own_counter", code=LEVER.code),
        "levers": INSIDE,
        "neutral_now_counter": Kept("own_counter", code=NEUTRAL_NOW.code),
        "neutral_now_until_ns": Kept("moment", _neutral_now_ms),
        "number": NUMBER,
        **_waits("claim_due_ns", "divided_ns", "lever_due_ns", "neutral_now_due_ns", "transfer_until_ns"),
        "show_due_ns": Kept("moment", _at_once, trim=_next_show_ns),
    },
    "Wheel": {
        **_fixed("drives", "missing_ns", "rudder", "rudder_address", "settled_ns", "wheel_id"),
        **_values("angle", "fault", "faulty", "held", "wanted"),
        "keeps": NUMBER,
        "taken_ns": Kept("moment", _settled_ms),
        "counter": Kept("own_counter", code=WHEEL.code),
        **_waits("due_ns"),
        "heard_ns": Kept("moment", _missing_ms),
        "pair": Kept("number", at=1),
        "rudder_counter": Kept("inside", code=RUDDER_STATE.code, sender="rudder_address"),
    },
    "Taker": {"agreed_ns": Kept("moment", _timeout_ms, trim=_agreed)},
    "DrivePair": {
        "counter": Kept("inside", code=DRIVE_OBEYS.code),
        "instance": FIXED,
        "pair": Kept("number", at=1),
    },
    "RudderMotion": {
        **_fixed("hard_over", "speed"),
        **_values("asked", "astray", "believed", "expected", "high", "known", "late", "low", "sensed"),
        "at_ns": Kept("moment"),
        **{slot: Kept("moment", _rested_ms) for slot in ("astray_since_ns", "late_since_ns", "rested_since_ns")},
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
        "wheel_counter": Kept("inside", code=WHEEL.code, sender="obeyed", trim=_forget_counter),
        "wheel_data": Kept("frame", code=WHEEL.code, sender="obeyed", trim=_only_with_pair),
        "wheel_ns": Kept("moment", _timeout_ms, trim=_while_obeyed(_OLD_NS)),
    },
}
