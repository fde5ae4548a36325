"""Every life of every node that nodes/firmware has, in every scenario of the shipped boats, faults and all, through C."""

import pytest

from .firmware_rig import OF_KIND, Firmware, Step, lives_in, scenarios_of


@pytest.mark.slow
@pytest.mark.parametrize(("name", "seed"), [("marsh_tern", 0), ("first_boat", 0), ("first_boat", 1000)])
def test_every_scenario(name: str, seed: int, firmware: Firmware) -> None:
    boat = firmware.boat(name)
    traces: dict[str, list[Step]] = {}
    for number, scenario in enumerate(scenarios_of(boat)):
        for node, lives in lives_in(boat, scenario, seed + number, tuple(OF_KIND)).items():
            traces.setdefault(node, []).extend(step for life in lives for step in life)
    assert min(map(len, traces.values())) > 500
    assert {node: differences for node, trace in traces.items() if (differences := firmware.differences(trace, name, node))} == {}
