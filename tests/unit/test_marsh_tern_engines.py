"""The scenarios about engines, cutouts and broken actuators end as they say, on Marsh Tern: what happened, in order, in words.

Her limit is 5 m at 3 kn, 3,240 ms (recomputed by hand: 5 / (3 x 1852 / 3600) s); a cutout acts 500 ms later.
"""

import pytest

from busim import labels
from busim.boat.load import load_boat
from busim.events.engine_view import Engines
from busim.events.journal import Journal
from busim.units import MS

from . import hand_made_frames as hand
from .judge_rig import JudgeRig
from .small_boat import CUTOUT, small_boat
from .test_coverage_of_requirements import CONFIGS, outcome

pytestmark = pytest.mark.slow

LIMIT_S, CUTOUT_S = 3.240, 0.500
HANG_AT_S = 10.0

STORIES: dict[str, tuple[str, ...]] = {
    "jammed_throttle": (
        "FAULT actuator_jammed: port throttle",
        "port drive: throttle to idle before the gear comes out",
        "port drive: an actuator did not do as it was told, throttle not at its stop in time, gear coming out",
        "port: engine stop asked for",
        "port: gear out",
        "port: engine stopped",
    ),
    "linkage_off": (
        "FAULT linkage_off: port shift",
        "port: gear out",
        "port drive: an actuator did not do as it was told, going idle",
        "port: throttle at its stop",
        "port drive: in neutral",
    ),
    "shift_jammed": (
        "FAULT actuator_jammed: port shift",
        "port drive: at idle, gear coming out",
        "port drive: an actuator did not do as it was told, the gear did not come out, going idle",
        "port: engine stop asked for",
        "port: engine stopped",
        "port_cutout: the cutout stops the port engine",
    ),
    "start_engines": (
        "port: starter turns",
        "port: engine runs",
        "port: gear in, ahead",
        "starboard: gear in, ahead",
        labels.STARTER[2].format(drive="starboard"),
        "starboard: gear out",
        "starboard: starter turns",
        "starboard: engine runs",
    ),
    "drive_hangs": (
        "FAULT hang: port_drive",
        "port_drive: program starts (watchdog)",
        "port drive: woke off neutral, going idle",
        "port: gear out",
        "port drive: in neutral",
    ),
    "drive_hangs_unwatched": (
        "FAULT hang: port_drive, nothing to reset it",
        "port_cutout: nobody drives, limit running",
        "port_cutout: gear not out or engine fast, fuel cut",
        "port_cutout: the cutout stops the port engine",
        "port: engine stopped",
    ),
    "knocked_cable": (
        "fault over, cut: helm at 10 m",
        "port drive: nothing valid from wheelhouse for 250 ms, going idle",
        "port: gear out",
        "upper_deck: take control pressed",
        "port: gear in, ahead",
    ),
    "drive_power_lost": (
        "FAULT power_lost: starboard_drive",
        "starboard: gear out",
        "starboard drive: woke off neutral, going idle",
        "starboard drive: in neutral",
        "wheelhouse: take control pressed",
        "starboard: gear in, ahead",
    ),
}
UNTOUCHED = {
    "jammed_throttle": "starboard: gear out",
    "linkage_off": "starboard: gear out",
    "drive_hangs": "starboard: gear out",
    "drive_hangs_unwatched": "starboard: gear out",
    "start_engines": "port: gear out",
    "drive_power_lost": "port: engine stopped",
}
"""What must not happen to the other side."""


def moments(name: str, words: str) -> list[float]:
    return [line.at_ns / 1e9 for line in outcome("marsh_tern", name).lines if line.words == words]


@pytest.mark.parametrize("name", STORIES)
def test_it_happens_in_this_order(name: str) -> None:
    said = iter(line.words for line in outcome("marsh_tern", name).lines)
    for words in STORIES[name]:
        assert any(line == words for line in said), f"not told, or not in this place: {words}"


@pytest.mark.parametrize("name", UNTOUCHED)
def test_the_other_side_carries_on(name: str) -> None:
    assert moments(name, UNTOUCHED[name]) == []


def test_the_cutout_fires_once_the_drives_limit_and_its_own_time_are_over() -> None:
    """From the last report in which the drive acted on something new, at most two reports before it hung."""
    (fired_s,) = moments("drive_hangs_unwatched", "port_cutout: the cutout stops the port engine")
    assert HANG_AT_S + LIMIT_S + CUTOUT_S - 0.081 <= fired_s <= HANG_AT_S + LIMIT_S + CUTOUT_S + 0.002


def test_a_cut_of_150_ms_moves_nothing() -> None:
    lines = outcome("marsh_tern", "knocked_cable").lines
    between = [line.words for line in lines if 8.0 <= line.at_ns / 1e9 < 11.9 and "controller" not in line.words]
    assert between == ["FAULT cut: helm at 10 m", "fault over, cut: helm at 10 m"]


def test_the_jammed_throttle_is_reported_in_a_second() -> None:
    (verdict,) = (each for each in outcome("marsh_tern", "jammed_throttle").verdicts if each.id == "drive.actuator_fault_found")
    assert verdict.measured is not None
    assert verdict.measured <= 1000


def test_her_cutouts_share_no_supply_with_the_drives() -> None:
    boat = load_boat(CONFIGS / "marsh_tern").boat
    for cutout in boat.cutouts.values():
        assert boat.nodes[cutout.node].supply != boat.nodes[boat.drives[cutout.drive].node].supply
    assert {cutout.drive for cutout in boat.cutouts.values()} == set(boat.drives)


# ------------------------------------------------------------------------------------------------ what is known of engines


def fired(rig: JudgeRig, says: int, *, spoil: bool = False) -> None:
    data = hand.safe(hand.id_of(hand.CUTOUT_STATE, CUTOUT), rig.counter(hand.CUTOUT_STATE, CUTOUT), 1 << 46 | says << 32)
    rig.frame(hand.CUTOUT_STATE, CUTOUT, hand.spoiled(data) if spoil else data)


def test_the_situation_knows_each_engine_and_its_cutout() -> None:
    rig = JudgeRig()
    port, starboard = rig.situation.engines.of["port"], rig.situation.engines.of["starboard"]
    assert (port.cutout, port.cutout_address, port.cutout_ms) == ("node_6", CUTOUT, 500)
    assert (starboard.cutout, starboard.cutout_address, starboard.cutout_ms) == ("", 0, 0)
    assert rig.situation.engines.drive_of == {"node_2": "port", "node_4": "starboard", "node_6": "port"}
    assert (port.running, port.says_fired) == (None, False)
    rig.event("engine", "port", 0)
    fired(rig, 1)
    fired(rig, 0, spoil=True)
    assert (port.running, port.says_fired, starboard.running) == (False, True, None)
    rig.event("engine", "port", 1)
    fired(rig, 0)
    assert (port.running, port.says_fired) == (True, False)


@pytest.mark.parametrize("end", [("output", "node_6", "fuel_cut", 0), ("power", "node_6", 0), ("start", "node_6", 2)])
def test_what_cuts_the_fuel_does_so_as_long_as_its_program_says_so(end: tuple[str, ...]) -> None:
    journal, engines = Journal(), Engines(small_boat())
    engines.attach(journal)
    journal.event(MS, "output", "node_2", "engine_stop", 1)
    journal.event(MS, "output", "node_6", "fuel_cut", 1)
    journal.event(MS, "output", "node_1", "engine_stop", 1)
    assert engines.of["port"].cuts == {"node_2", "node_6"}
    journal.event(2 * MS, *end)
    assert engines.of["port"].cuts == {"node_2"}
    assert engines.of["starboard"].cuts == set()
