"""What happened, in words: the lines of the shipped scenarios, their order, and words for everything there is."""

import re
from itertools import pairwise
from pathlib import Path
from string import Formatter
from typing import Any

import pytest

from busim import labels
from busim.boat.load import LoadedBoat, load_boat
from busim.boat.shipped import shipped_folder
from busim.events.journal import Journal
from busim.events.situation import Situation
from busim.events.table import EVENTS, FROM_PLANT
from busim.faults.table import FAULTS
from busim.protocol.tables import DRIVE_TABLE, TABLES
from busim.protocol.values import CAUSES, GEARS, RESET_CAUSES
from busim.requirements.table import REQUIREMENTS
from busim.run.run import carry_out
from busim.run.timeline import Timeline
from busim.scenario.load import load_scenario
from busim.seam import BUS_OFF, ERROR_ACTIVE, ERROR_PASSIVE
from busim.simulator.kinds import load_kinds
from nodes import panel, station_display

FIRST_BOAT = shipped_folder() / "first_boat"
SCENARIOS = sorted(path.stem for path in (FIRST_BOAT / "scenarios").glob("*.yaml"))
TOLD_ELSEWHERE = {
    "frame": "in the record's frames",
    "motion": "in the table of losses",
    "shift_rest": "by the gear, and the drive's own row",
    "heading": "in the record's events",
    "counts": "in the record's events, and on the rehearsal's screen",
    "ground": "in the table of losses",
    "feed": "by the supply of its node, and the lamp itself",
}
"""Events the timeline has no line for, and where they are to be seen."""


@pytest.fixture(scope="module")
def boat() -> LoadedBoat:
    return load_boat(FIRST_BOAT)


Lines = list[tuple[float, str]]


@pytest.fixture(scope="module")
def told(boat: LoadedBoat) -> dict[str, Lines]:
    """Scenario -> (second, words) of its timeline."""
    kinds, runs = load_kinds(), {}
    for name in SCENARIOS:
        scenario = load_scenario(FIRST_BOAT / "scenarios" / f"{name}.yaml", boat.boat).scenario
        runs[name] = [(line.at_ns / 1e9, line.words) for line in carry_out(boat.boat, boat.plan, kinds, scenario, 1).lines]
    return runs


def in_order(lines: Lines, *wanted: tuple[float, float, str]) -> None:
    """Each (earliest, latest, words) is told, in this order, at a moment between."""
    place = 0
    for earliest, latest, words in wanted:
        found = next((index for index in range(place, len(lines)) if lines[index][1] == words), None)
        assert found is not None, f"{words!r} is not told after {lines[place - 1] if place else 'the start'}"
        assert earliest <= lines[found][0] <= latest, lines[found]
        place = found + 1


# ---------------------------------------------------------------------------------------------------- the shipped scenarios


@pytest.mark.parametrize("name", SCENARIOS)
def test_lines_are_in_order_and_can_be_read(told: dict[str, Lines], name: str) -> None:
    lines = told[name]
    assert len(lines) > 10
    assert all(first[0] <= second[0] for first, second in pairwise(lines))
    for _, words in lines:
        assert words.isprintable()
        assert not re.search(r"[{}\[\]]|None|True|False|\b_|\d ns\b", words), words
    assert len(set(lines)) == len(lines), "nothing is told twice"


def test_cold_start_take_ahead_cut(told: dict[str, Lines]) -> None:
    """Moments that follow from the boat file: boot 300 to 350 ms; 250 ms control timeout after the cut at 12 s; half a shift
    stroke (35 mm at 40 mm/s) in 875 ms; a throttle of 70 mm at 50 mm/s."""
    in_order(
        told["cold_start_then_cut"],
        (0, 0, "supply on at every node"),
        (0.300, 0.351, "wheelhouse: program starts (power)"),
        (0.300, 0.600, "engine drive: woke in neutral"),
        (1.0, 1.0, "companionway: lamp touched"),
        (1.0, 1.1, "cabin_lamp: lit"),
        (1.0, 1.2, "companionway shows: lamp done"),
        (2.0, 2.0, "wheelhouse: take control pressed"),
        (2.0, 2.001, "wheelhouse shows: asking for control"),
        (2.0, 2.5, "engine drive: a station took control"),
        (2.0, 2.5, "wheelhouse shows: in control here"),
        (3.0, 3.0, "wheelhouse: engine lever goes ahead 90 %"),
        (3.0, 3.4, "engine drive: engaging"),
        (3.4, 4.3, "engine: gear in, ahead"),
        (3.5, 4.5, "engine: throttle opens"),
        (12.0, 12.0, "FAULT cut: main at 8 m"),
        (12.229, 12.253, "engine drive: nothing valid from wheelhouse for 250 ms, going idle"),
        (12.2, 12.4, "wheelhouse: alarm sounds"),
        (13.3, 13.7, "engine: throttle at its stop"),
        (13.3, 14.592, "engine drive: at idle, gear coming out"),
        (13.4, 14.592, "engine: gear out"),
        (13.4, 15.0, "engine drive: in neutral"),
    )


def test_the_cut_heals(told: dict[str, Lines]) -> None:
    lines = told["cut_healed"]
    in_order(
        lines,
        (8.0, 8.0, "FAULT cut: main at 8 m"),
        (8.2, 8.3, "engine drive: nothing valid from wheelhouse for 250 ms, going idle"),
        (13.0, 13.0, "fault over, cut: main at 8 m"),
        (13.0, 13.4, "wheelhouse shows: nobody in control"),
        (16.0, 16.0, "wheelhouse: engine lever goes neutral"),
        (18.0, 18.0, "wheelhouse: take control pressed"),
        (18.0, 18.5, "engine drive: a station took control after a forced neutral"),
        (19.0, 19.0, "wheelhouse: engine lever goes ahead 50 %"),
        (19.0, 20.5, "engine: gear in, ahead"),
        (23.0, 23.0, "wheelhouse: engine lever goes neutral"),
    )
    assert not [words for at_s, words in lines if 13 < at_s < 18 and "gear in" in words]


def test_from_ahead_to_astern(told: dict[str, Lines]) -> None:
    in_order(
        told["reversal"],
        (2.0, 4.0, "engine: gear in, ahead"),
        (6.0, 6.0, "wheelhouse: engine lever goes astern 60 %"),
        (6.0, 6.4, "engine drive: throttle to idle before the gear comes out"),
        (6.0, 8.0, "engine: throttle at its stop"),
        (6.0, 9.0, "engine: gear out"),
        (7.0, 12.0, "engine: gear in, astern"),
    )


def test_a_lamp_that_can_not_be_lit(told: dict[str, Lines]) -> None:
    in_order(
        told["lost_press"],
        (2.0, 2.0, "FAULT power_lost: lamp_driver"),
        (2.0, 2.0, "lamp_driver: supply gone"),
        (3.0, 3.0, "companionway: lamp touched"),
        (3.8, 4.0, "companionway shows: lamp failed"),
    )


def test_frames_corrupted_for_less_than_the_timeout(told: dict[str, Lines]) -> None:
    lines = told["bad_frames"]
    in_order(
        lines,
        (6.0, 6.0, "FAULT corrupted: wheelhouse, byte 5"),
        (6.16, 6.16, "fault over, corrupted: wheelhouse, byte 5"),
        (9.0, 9.0, "wheelhouse: engine lever goes neutral"),
    )
    assert not [words for _, words in lines if "going idle" in words]


# ---------------------------------------------------------------------------------------------------- any event


def words_of(boat: LoadedBoat, kind: str, *fields: Any) -> list[str]:
    """What the timeline of the first boat says of one event, half a second into the run."""
    journal = Journal()
    situation = Situation(boat.plan)
    situation.attach(journal)
    timeline = Timeline(boat.boat, situation)
    timeline.attach(journal)
    journal.event(500_000_000, kind, *fields)
    return [line.words for line in timeline.lines]


ANY_EVENT: dict[str, tuple[Any, ...]] = {
    "controller": ("engine_room", "main", BUS_OFF, 256, 0),
    "row": ("engine_room", "drive", 30, 2),
    "output": ("wheelhouse", "shows", 1),
    "lever": ("wheelhouse", "engine", -255, 300),
    "wheel": ("wheelhouse", -300, 500),
    "crank": ("engine", 2500),
    "starter": ("engine", 2),
    "rudder": (-1250, -1250),
    "stream": (90, 772),
    "key": ("wheelhouse", "neutral_now", 1),
    "gear": ("engine", 2, 0, 800),
    "throttle_stop": ("engine", 0),
    "engine": ("engine", 0),
    "lamp": ("cabin_lamp", 0, 0),
    "power": ("engine_room", 1),
    "start": ("engine_room", 2),
    "fault": ("hang", "engine_room", 1),
}
SAID = {
    "controller": "engine_room: controller on main bus-off",
    "row": "engine drive: in neutral",
    "output": "wheelhouse shows: nobody in control",
    "lever": "wheelhouse: engine lever goes astern 25.5 %",
    "wheel": "wheelhouse: wheel goes to port 30 %",
    "crank": "engine: start key turned, 2.5 s",
    "starter": "engine: starter has no permission, nothing turns",
    "rudder": "rudder at rest, 12.5 degrees to port",
    "stream": "stream sets 090 degrees at 1.5 kn",
    "key": "wheelhouse: neutral now pressed",
    "gear": "engine: gear in, astern",
    "throttle_stop": "engine: throttle opens",
    "engine": "engine: engine stopped",
    "lamp": "cabin_lamp: dark",
    "power": "engine_room: supply on",
    "start": "engine_room: program starts (watchdog)",
    "fault": "FAULT hang: engine_room",
}


@pytest.mark.parametrize("kind", [event.kind for event in EVENTS])
def test_every_kind_of_event_has_words_or_a_place_elsewhere(boat: LoadedBoat, kind: str) -> None:
    if kind in TOLD_ELSEWHERE:
        assert kind not in ANY_EVENT
        return
    assert words_of(boat, kind, *ANY_EVENT[kind]) == [SAID[kind]]


@pytest.mark.parametrize(
    ("channel", "value", "words"),
    [
        ("sounder", 1, "engine_room: alarm sounds"),
        ("sounder", 0, "engine_room: alarm is quiet"),
        ("alarm", 1, None),
        ("engine_stop", 1, "engine: engine stop asked for"),
        ("field.9", 3, "engine_room shows: field.9 failed"),
        ("field.one", 2, "engine_room shows: field.one done"),
        ("field.1", 1, None),
        ("alarm", 0, None),
        ("throttle", 500, None),
        ("shows", 99, "engine_room shows: 99"),
    ],
)
def test_outputs(boat: LoadedBoat, channel: str, value: int, words: str | None) -> None:
    """Also of a node that has outputs nobody foresaw."""
    assert words_of(boat, "output", "engine_room", channel, value) == ([] if words is None else [words])


@pytest.mark.parametrize(
    ("kind", "fields", "words"),
    [
        ("wheel", ("wheelhouse", 0, 100), "wheelhouse: wheel goes midships"),
        ("wheel", ("wheelhouse", 1000, 100), "wheelhouse: wheel goes to starboard 100 %"),
        ("rudder", (0, 0), "rudder at rest, midships"),
        ("rudder", (3500, 3500), "rudder at rest, 35 degrees to starboard"),
        ("starter", ("engine", 1), "engine: starter turns"),
        ("starter", ("engine", 0), "engine: starter lets go"),
        ("stream", (0, 0), "no stream any more"),
        ("engine", ("engine", 1), "engine: engine runs"),
    ],
)
def test_helm_and_engine_room(boat: LoadedBoat, kind: str, fields: tuple[Any, ...], words: str) -> None:
    """A knot is 1852 m an hour: 772 mm/s are 1.5 kn."""
    assert words_of(boat, kind, *fields) == [words]


def test_a_key_let_go_is_not_told(boat: LoadedBoat) -> None:
    assert words_of(boat, "key", "wheelhouse", "take", 0) == []


@pytest.mark.parametrize("cause", [value for value, _ in CAUSES if value])
def test_every_cause_of_a_loss_is_told(boat: LoadedBoat, cause: int) -> None:
    lost = next(row.number for row in DRIVE_TABLE.rows if row.event == "lost")
    (words,) = words_of(boat, "row", "engine_room", "drive", lost, cause)
    assert words == f"engine drive: {dict(CAUSES)[cause]}, going idle"


ROWS = {f"{table.name} {row.number}": (table.name, row) for table in TABLES for row in table.rows}


@pytest.mark.parametrize("row", ROWS.values(), ids=ROWS)
def test_every_row_is_told_in_its_words(boat: LoadedBoat, row: tuple[str, Any]) -> None:
    machine, taken = row
    told = {"drive": ("engine_room", "engine drive"), "rudder": ("wheelhouse", "rudder")}
    node, who = told.get(machine, ("wheelhouse", "wheelhouse"))
    assert words_of(boat, "row", node, machine, taken.number, 0) == [f"{who}: {taken.words}"]


def test_a_rudder_says_why_it_lost_who_steered(boat: LoadedBoat) -> None:
    assert words_of(boat, "row", "wheelhouse", "rudder", 10, 10) == [
        "rudder: the lever or wheel in control reports a fault, holds where it is"
    ]
    assert words_of(boat, "row", "wheelhouse", "rudder", 8, 10) == ["rudder: let go, holds where it is"]


def test_rows_that_are_in_no_table(boat: LoadedBoat) -> None:
    assert words_of(boat, "row", "engine_room", "drive", 250, 99) == ["engine drive: row 250 of its table drive"]
    assert words_of(boat, "row", "engine_room", "own", 3, 0) == ["engine_room: row 3 of its table own"]


# ---------------------------------------------------------------------------------------------------- words for everything


def values(module: Any, prefix: str) -> set[int]:
    return {value for name, value in vars(module).items() if name.startswith(prefix) and isinstance(value, int)}


def test_every_value_has_a_word() -> None:
    assert set(labels.SHOWS) == values(station_display, "SHOWS_") | {0}
    assert set(labels.FIELDS) == values(panel, "FIELD_")
    assert set(labels.CONTROLLER_STATES) == {ERROR_ACTIVE, ERROR_PASSIVE, BUS_OFF}
    assert set(labels.RESET_CAUSES) == {value for value, _ in RESET_CAUSES}
    assert {value: word for value, word in GEARS if value in labels.GEARS} == labels.GEARS, "the clutch is never between"
    assert set(labels.KEYS) == {"take", "neutral_now", "acknowledge", "silence", "lock_out"}


def test_no_label_stands_for_two_things() -> None:
    for table in (labels.SHOWS, labels.FIELDS, labels.GEARS, labels.CONTROLLER_STATES, labels.RESET_CAUSES, labels.KEYS):
        assert len(set(table.values())) == len(table)


def test_faults_and_requirements_have_words() -> None:
    for fault in FAULTS:
        assert fault.words
        assert fault.effect
        assert re.fullmatch("[a-z][a-z_]*", fault.name)
    for requirement in REQUIREMENTS:
        assert requirement.words.endswith(".")
        assert requirement.hazards


def test_labels_are_plain_text_in_the_words_of_the_trade() -> None:
    """Words that are for the code (design, s. 2) are on no screen."""
    for name, label in vars(labels).items():
        if not name.isupper():
            continue
        for text in [label] if isinstance(label, str) else label.values() if isinstance(label, dict) else label:
            assert text.isprintable(), name
            list(Formatter().parse(text))  # ValueError where braces do not fit
            assert not re.search(r"\b(plant|host|observer|fold|digest)\b", re.sub(r"\{[^}]*\}", "", text)), f"{name}: {text}"
    assert labels.SOURCES[FROM_PLANT] == "machinery"


def test_the_timeline_has_words_in_one_place() -> None:
    """No sentence stands in the timeline itself."""
    text = (Path(__file__).parents[2] / "busim" / "run" / "timeline.py").read_text(encoding="utf-8")
    code = re.sub(r'""".*?"""|#.*', "", text, flags=re.DOTALL)
    assert not re.findall(r'"[^"{}\n]* [^"{}\n]* [^"\n]*"', code)


def test_a_loss_tells_how_far_she_ran_until_idle_and_until_gear_out() -> None:
    """In the order of time, from the last lever frame heard; and nothing about metres where the boat file has no hull."""
    boat = load_boat(shipped_folder() / "first_boat")
    scenario = load_scenario(shipped_folder() / "first_boat" / "scenarios" / "cold_start_then_cut.yaml", boat.boat).scenario
    (loss,) = carry_out(boat.boat, boat.plan, load_kinds(), scenario, 1).losses
    assert loss.run_to_idle_mm is not None
    assert loss.run_mm is not None
    assert 0 < loss.run_to_idle_mm < loss.run_mm < 4000, "less than the boat allows"
    (bare,) = carry_out(boat.boat.model_copy(update={"hull": None}), boat.plan, load_kinds(), scenario, 1).losses
    assert (bare.run_to_idle_mm, bare.run_mm, bare.way_off_m) == (None, None, None)
