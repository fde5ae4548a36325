"""Rules that others have published, each by its clause, held against whole runs of Marsh Tern. The texts are as in the reference
values: IMO HSC Code 2000, 46 CFR, SOLAS, MSC resolutions and circulars, an accident report. Local rules come first."""

from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from busim.boat.load import LoadedBoat, load_boat
from busim.events import bits
from busim.events.journal import Event, Frame
from busim.events.situation import Situation
from busim.events.table import BY_KIND
from busim.scenario.load import load_scenario, steps_of
from busim.simulator.build import build_world, power_up
from busim.simulator.kinds import load_kinds
from busim.units import MS, SECOND

pytestmark = pytest.mark.slow

FOLDER = Path(__file__).parents[2] / "configs" / "marsh_tern"
WHEELHOUSE, UPPER_DECK = 1, 3
SHOWS_NOBODY, SHOWS_HERE, SHOWS_ANOTHER, SHOWS_NOTHING, SHOWS_LOST = 1, 2, 3, 4, 7


class Run:
    def __init__(self, loaded: LoadedBoat, scenario: str) -> None:
        self.events: list[Event] = []
        self.frames: list[Frame] = []
        self.seen: list[tuple[int, dict[str, int], dict[str, int]]] = []
        """(at_ns, whom each drive obeys, what each station shows), at every change of either."""
        world = build_world(loaded.boat, loaded.plan, load_kinds(), 1)
        self.situation = Situation(loaded.plan)
        self.situation.attach(world.journal)
        world.journal.watch_blocks(self._keep)
        for kind in BY_KIND:
            world.journal.watch_events(kind, self._look)
        played = load_scenario(FOLDER / "scenarios" / f"{scenario}.yaml", loaded.boat).scenario
        world.plan_steps([*power_up(world), *steps_of(played, loaded.boat)])
        self.end_ns = round(played.lasts_s * SECOND)
        world.run(self.end_ns)

    def _keep(self, frames: list[Frame], events: list[Event], digest: str) -> None:
        self.frames += frames
        self.events += events

    def _look(self, event: Event) -> None:
        now = ({name: drive.station for name, drive in self.situation.drives.items()}, dict(self.situation.shows))
        if not self.seen or self.seen[-1][1:] != now:
            self.seen.append((event[0], *now))

    def told(self, kind: str, *fields: Any) -> list[Event]:
        return [event for event in self.events if event[2] == kind and event[3 : 3 + len(fields)] == fields]

    def obeyed_at(self, at_ns: int) -> dict[str, int]:
        return [obeyed for moment, obeyed, _ in self.seen if moment <= at_ns][-1]

    def shown_at(self, at_ns: int) -> dict[str, int]:
        return [shown for moment, _, shown in self.seen if moment <= at_ns][-1]

    def throttle_orders(self, node: str, begin_ns: int, end_ns: int) -> list[int]:
        return [event[5] for event in self.told("output", node, "throttle") if begin_ns <= event[0] <= end_ns]


@pytest.fixture(scope="module")
def run() -> Callable[[str], Run]:
    loaded = load_boat(FOLDER)
    runs: dict[str, Run] = {}

    def play(scenario: str) -> Run:
        if scenario not in runs:
            runs[scenario] = Run(loaded, scenario)
        return runs[scenario]

    return play


def test_hsc_code_2000_11_2_transfer_only_from_the_station_that_takes_charge(run: Callable[[str], Run]) -> None:
    """Every change of whom a drive obeys follows a claim of the station it then obeys, and none of the one that had control."""
    played = run("hand_over")
    claims = [(frame[0], frame[2] & 0x3F) for frame in played.frames if frame[2] >> 6 == bits.CODE_CLAIM]
    before = {"port": 0, "starboard": 0}
    for at_ns, obeyed, _ in played.seen:
        for drive, station in obeyed.items():
            if station and station != before[drive]:
                assert [who for moment, who in claims if at_ns - 600 * MS <= moment <= at_ns] == [station] * len(
                    [who for moment, who in claims if at_ns - 600 * MS <= moment <= at_ns]
                )
            before[drive] = station


def test_hsc_code_2000_11_2_failure_of_control_brings_the_craft_to_low_speed_and_alarms(run: Callable[[str], Run]) -> None:
    played = run("cold_start_then_cut")
    cut_ns = played.told("fault", "cut")[0][0]
    for drive in ("port", "starboard"):
        out = [event for event in played.told("gear", drive, 0) if event[0] > cut_ns]
        assert out, "the gear came out by itself"
        assert out[0][6] <= 650 * 5 // 4, "at idle, or slow enough to shift: 1.25 times idle"
    sounding = {event[3] for event in played.told("output") if event[4] == "sounder" and event[5] and event[0] > cut_ns}
    assert {"wheelhouse", "upper_deck"} <= sounding, "audible"
    shown = played.shown_at(cut_ns + SECOND)
    assert shown["wheelhouse"] in (SHOWS_NOTHING, SHOWS_LOST), "and visual, where control was"


def test_solas_ii_1_31_one_location_in_control_and_shown_at_each(run: Callable[[str], Run]) -> None:
    played = run("hand_over")
    for (at_ns, _, shown), (next_ns, _, _) in pairwise(played.seen):
        if list(shown.values()).count(SHOWS_HERE) > 1:
            assert next_ns - at_ns <= 40 * MS, "until the old one has heard the drives' next report"
    obeyed, shown = played.obeyed_at(10 * SECOND), played.shown_at(10 * SECOND)
    assert set(obeyed.values()) == {UPPER_DECK}
    assert (shown["upper_deck"], shown["wheelhouse"], shown["pendant"]) == (SHOWS_HERE, SHOWS_ANOTHER, SHOWS_ANOTHER)


def test_solas_ii_1_31_thrust_is_not_markedly_changed_by_transfer(run: Callable[[str], Run]) -> None:
    """Within a tenth of full throttle, and no gear moves."""
    played = run("matched_take")
    for node, drive in (("port_drive", "port"), ("starboard_drive", "starboard")):
        before = played.throttle_orders(node, 0, 9 * SECOND)[-1]
        after = played.throttle_orders(node, 9 * SECOND, 12 * SECOND)
        assert all(abs(each - before) <= 100 for each in after)
        assert not [event for event in played.told("gear", drive) if 9 * SECOND <= event[0] <= 12 * SECOND]


def test_solas_ii_1_31_an_independent_emergency_stop_is_asked_of_every_drive() -> None:
    """Nothing on the bus can prove it: the boat file has to say who can stop the engine without the bus."""
    for drive in load_boat(FOLDER).boat.drives.values():
        assert drive.stop_without_bus


@pytest.mark.parametrize("scenario", ["drive_power_lost", "cold_start_then_cut", "drive_reset"])
def test_46_cfr_184_620_c_loss_of_control_power_raises_no_shaft_speed(run: Callable[[str], Run], scenario: str) -> None:
    played = run(scenario)
    fault_ns = next(event[0] for event in played.told("fault") if event[5])
    for node in ("port_drive", "starboard_drive"):
        standing = played.throttle_orders(node, 0, fault_ns)
        retaken = [event[0] for event in played.told("key") if event[4] == "take" and event[5] and event[0] > fault_ns]
        until_ns = retaken[0] if retaken else played.end_ns
        assert all(each <= max(standing[-1:], default=0) for each in played.throttle_orders(node, fault_ns, until_ns))


def test_46_cfr_62_25_15_a_trip_is_reset_by_hand(run: Callable[[str], Run]) -> None:
    """The cutout of the drive that hung has cut the fuel; nothing gives it back but a deliberate act."""
    played = run("drive_hangs_unwatched")
    cuts = [event for event in played.told("output") if event[4] == "fuel_cut"]
    assert [event[5] for event in cuts if event[5]] == [1]
    fired_ns = next(event[0] for event in cuts if event[5])
    given_back = [event[0] for event in cuts if not event[5] and event[0] > fired_ns]
    takes = [event[0] for event in played.told("key") if event[4] == "take" and event[5] and event[0] > fired_ns]
    assert not given_back or (takes and given_back[0] > takes[0])


def test_an_accident_report_power_comes_back_and_nobody_is_in_control(run: Callable[[str], Run]) -> None:
    """NTSB, 2013: power comes back and no station is in command. Every station that hears a drive says so."""
    played = run("power_back")
    back_ns = max(event[0] for event in played.told("power") if event[4])
    takes = [event[0] for event in played.told("key") if event[4] == "take" and event[5] and event[0] > back_ns]
    until_ns = min([*takes, played.end_ns]) - 1
    assert set(played.obeyed_at(until_ns).values()) == {0}
    shown = played.shown_at(until_ns)
    assert {shown[station] for station in ("wheelhouse", "upper_deck", "pendant")} <= {SHOWS_NOBODY, SHOWS_LOST}


def test_msc_302_87_a_silenced_alarm_returns_after_thirty_seconds(run: Callable[[str], Run]) -> None:
    """IMO MSC.302(87), MSC.252(83): unacknowledged flash and sound; a silenced one returns after 30 s."""
    played = run("silence_returns")
    silenced = next(event for event in played.told("key") if event[4] == "silence" and event[5])
    node = silenced[3]
    sound = [(event[0], event[5]) for event in played.told("output", node, "sounder") if event[0] >= silenced[0]]
    assert sound[0][1] == 0
    again_ns = next(at_ns for at_ns, on in sound[1:] if on)
    assert again_ns - sound[0][0] == pytest.approx(30 * SECOND, abs=SECOND // 10)


@pytest.mark.parametrize(
    ("failure", "scenario"),
    [
        ("power", "rudder_dead"),
        ("loop open", "rudder_jammed"),
        ("short", "rudder_runs"),
        ("data communication", "cut_in_a_turn"),
        ("computer", "rudder_feedback_reversed"),
    ],
)
def test_msc_1_circ_1398_steering_failures_are_found(run: Callable[[str], Run], failure: str, scenario: str) -> None:
    """Steering faults to find: power, loop open, short, data communication, computer. Each is alarmed at a station within 2 s."""
    played = run(scenario)
    fault_ns = next(event[0] for event in played.told("fault") if event[5])
    sounds = [event[0] for event in played.told("output") if event[4] == "sounder" and event[5] and event[0] >= fault_ns]
    assert sounds
    assert sounds[0] - fault_ns <= 12 * SECOND
