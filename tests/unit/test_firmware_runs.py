"""Every life of every node that nodes/firmware has, in scenarios of the shipped boats, faults and all, through C."""

import pytest

from .firmware_rig import OF_KIND, Firmware, Step, lives_in, scenarios_of

TELLING = {
    "marsh_tern": (
        "alarm_flood", "all_off_under_way", "crushed_pendant_cable", "cut_between_drives", "drive_power_lost", "driver_hangs",
        "hand_over", "lever_track_stuck", "light_bus_cut", "matched_take", "neutral_now", "power_back", "press_storm",
        "rudder_dead", "rudder_feedback_reversed", "silence_returns", "station_reset", "stuck_neutral_key", "two_at_one_address",
        "two_takes", "wheel_lost",
    ),
    "first_boat": ("bad_frames", "brief_cut", "cold_start_then_cut", "cut_healed", "lost_press", "reversal"),
}  # fmt: skip
"""Between them they take every branch of the C that all scenarios take (measured with gcov), in half the time. A scenario that is
written for a node in C goes in here."""


@pytest.mark.slow
@pytest.mark.parametrize(("name", "seed"), [("marsh_tern", 0), ("first_boat", 0), ("first_boat", 1000)])
def test_every_telling_scenario(name: str, seed: int, firmware: Firmware) -> None:
    boat = firmware.boat(name)
    assert {*TELLING[name]} <= {*scenarios_of(boat)}
    traces: dict[str, list[Step]] = {}
    for number, scenario in enumerate(TELLING[name]):
        for node, lives in lives_in(boat, scenario, seed + number, tuple(OF_KIND)).items():
            traces.setdefault(node, []).extend(step for life in lives for step in life)
    assert min(map(len, traces.values())) > 500
    assert {node: differences for node, trace in traces.items() if (differences := firmware.differences(trace, name, node))} == {}
