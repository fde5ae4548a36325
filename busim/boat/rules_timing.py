"""Rules of time: no limit may be shorter than the period of what it watches, and the boat's distance must leave time to act in."""

from busim.boat.checking import Check
from busim.boat.derive import SHIFT_MARGIN_MS, limits_of
from busim.boat.rules_helm import actuators_are_whole


def check_timing(check: Check) -> None:
    timing = check.boat.timing
    ridden_through_ms = timing.lever_ms * (timing.max_gap + 1)
    if timing.control_timeout_ms < ridden_through_ms:
        _wrong_timing(
            check,
            ("control_timeout_ms", "lever_ms", "max_gap"),
            f"control_timeout_ms: {timing.control_timeout_ms} ms is shorter than the {ridden_through_ms} ms that pass while "
            f"max_gap ({timing.max_gap}) frames are ridden through at lever_ms ({timing.lever_ms})",
        )
    # A consumer's time is longer than its producer's (CiA 301, heartbeat): at equal times every second frame would be late.
    _longer_than(check, "heartbeat_missing_ms", "heartbeat_ms", "a heartbeat would be missed between two good ones")
    _longer_than(check, "age_max_ms", "drive_ms", "an echo would be too old before the next can come")
    for task in ("lever_ms", "drive_ms"):
        if getattr(timing, task) > timing.heartbeat_ms:
            words = f"heartbeat_ms: {timing.heartbeat_ms} ms is shorter than {task} ({getattr(timing, task)})"
            _wrong_timing(check, ("heartbeat_ms", task), f"{words}: a heartbeat waits for the task to have run since the last one")
    # The age of an echo is counted in lever frames by an 8-bit counter, which comes round after 256 of them.
    oldest_ms = 255 * timing.lever_ms
    if timing.age_max_ms > oldest_ms:
        told = f"the {oldest_ms} ms that the counter can tell at lever_ms ({timing.lever_ms})"
        words = f"age_max_ms: {timing.age_max_ms} ms is more than {told}"
        _wrong_timing(check, ("age_max_ms", "lever_ms"), words)
    _longer_than(check, "transfer_ms", "claim_ms", "a take would fail after a single claim")
    _longer_than(check, "press_failed_ms", "press_repeat_ms", "a press would fail before it is repeated once")
    if timing.overlap_ms < timing.transfer_ms:
        _wrong_timing(
            check,
            ("overlap_ms", "transfer_ms"),
            f"overlap_ms: {timing.overlap_ms} ms is shorter than transfer_ms ({timing.transfer_ms}): "
            "a good transfer could force neutral before it is complete",
        )
    _check_distance(check)


def _longer_than(check: Check, limit: str, period: str, otherwise: str) -> None:
    limit_ms, period_ms = getattr(check.boat.timing, limit), getattr(check.boat.timing, period)
    if limit_ms <= period_ms:
        words = f"{limit}: {limit_ms} ms is not longer than {period} ({period_ms}) that it watches: {otherwise}"
        _wrong_timing(check, (limit, period), words)


def _wrong_timing(check: Check, names: tuple[str, ...], words: str) -> None:
    """At the first of these that is written in the file: the others are defaults and have no line."""
    written = [name for name in names if check.is_written(("timing", name))]
    check.wrong(("timing", *written[:1]), words)


def _check_distance(check: Check) -> None:
    boat = check.boat
    for name, drive in boat.drives.items():
        if not actuators_are_whole(boat, drive):
            continue
        limits = limits_of(boat, drive)
        if limits.derived_idle_wait_ms > 0:
            continue
        by_hand = drive.loss_to_neutral_ms is not None
        if by_hand:
            given = f"loss_to_neutral_ms is {limits.loss_to_neutral_ms:,} ms"
        else:
            given = (
                f"{boat.boat.max_run_m:g} m at {boat.boat.docking_speed_kn:g} kn (line {check.line(('boat', 'max_run_m'))}) "
                f"are {limits.distance_ms:,} ms"
            )
        check.wrong(
            ("drives", name, "loss_to_neutral_ms") if by_hand else ("drives", name),
            f"cannot be met: {given}, and {boat.timing.control_timeout_ms:,} ms control timeout, {limits.half_shift_ms:,} ms half "
            f"shift stroke and {SHIFT_MARGIN_MS} ms margin leave {limits.derived_idle_wait_ms:,} ms to wait for idle",
        )
