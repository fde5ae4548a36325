"""Scenario files, right and wrong: what each problem is called, and where it stands."""

from pathlib import Path

import pytest

from busim.boat.load import LoadedBoat, load_boat
from busim.boat.shipped import shipped_folder
from busim.reading.problem import InputError
from busim.requirements.table import BY_ID
from busim.scenario.load import load_scenario

from .command_line import call_busim

HEAD = "scenario: made\nlasts_s: 10\n"
KEY = "key: {station: wheelhouse, name: take}"

SHAPES = {
    "unknown key": ("lasts_s: 10\nscenario: a\n§actoins: []\n", 'unknown key "actoins": did you mean actions?'),
    "no name": ("§lasts_s: 10\n", "scenario is missing: what it is called"),
    "no end": ("§scenario: a\n", "lasts_s is missing: how long the run is, in seconds"),
    "no time at all": ("scenario: a\nlasts_s: §0\n", "lasts_s: 0 is too small, more than 0"),
    "too long": ("scenario: a\nlasts_s: §86401\n", "lasts_s: 86401 is too large, at most 86400"),
    "endless": ("scenario: a\nlasts_s: §.inf\n", "lasts_s: a number is wanted, not .inf"),
    "in words": ("scenario: a\nlasts_s: §ten\n", 'lasts_s: a number is wanted, not "ten"'),
    "two things": (f"{HEAD}actions:\n  - §at_s: 1\n    {KEY}\n    power: {{node: engine_room, on: true}}\n",
                   "actions, item 1: an entry says one thing: this one says key and power"),
    "two faults": (f"{HEAD}faults:\n  - §at_s: 1\n    hang: {{node: engine_room}}\n    reset: {{node: engine_room}}\n",
                   "faults, item 1: an entry says one thing: this one says reset and hang"),
    "nothing done": (f"{HEAD}actions:\n  - §at_s: 1\n",
                     "actions, item 1: an entry says one thing: say one of key, touch, "),
    "nothing broken": (f"{HEAD}faults:\n  - §at_s: 1\n",
                       "faults, item 1: an entry says one thing: say one of cut, "),
    "unknown action": (f"{HEAD}actions:\n  - at_s: 1\n    §keys: {{}}\n", 'unknown key "keys": did you mean key?'),
    "unknown fault": (f"{HEAD}faults:\n  - at_s: 1\n    §cutt: {{}}\n", 'unknown key "cutt": did you mean cut?'),
    "no moment": (f"{HEAD}actions:\n  - §{KEY}\n", "at_s is missing: when, in seconds from the start"),
    "before the start": (f"{HEAD}actions:\n  - at_s: §-1\n    {KEY}\n", "at_s: -1 is too small, at least 0"),
    "lasts nothing": (f"{HEAD}faults:\n  - at_s: 1\n    for_s: §0\n    hang: {{node: engine_room}}\n",
                      "for_s: 0 is too small, more than 0"),
    "unknown station key": (f"{HEAD}actions:\n  - at_s: 1\n    key: {{station: wheelhouse, name: §tak}}\n",
                            'name: "tak" is not possible: did you mean take?'),
    "lever too far": (f"{HEAD}actions:\n  - at_s: 1\n    lever: {{station: wheelhouse, drive: engine, to_permille: §1001}}\n",
                      "to_permille: 1001 is too large, at most 1000"),
    "wheel too far": (f"{HEAD}actions:\n  - at_s: 1\n    wheel: {{station: wheelhouse, to_permille: §-1001}}\n",
                      "to_permille: -1001 is too small, at least -1000"),
    "no turn of the key": (f"{HEAD}actions:\n  - at_s: 1\n    crank: {{drive: engine, for_ms: §0}}\n",
                           "for_ms: 0 is too small, at least 1"),
    "engines in words": (f"{HEAD}actions:\n  - at_s: 0\n    engines: {{running: §off}}\n",
                         'running: write true or false, not "off"'),
    "beyond the compass": (f"{HEAD}actions:\n  - at_s: 1\n    stream: {{set_deg: §360, kn: 1}}\n",
                           "set_deg: 360 is too large, at most 359"),
    "a stream from nowhere": (f"{HEAD}actions:\n  - at_s: 1\n    stream: {{set_deg: 10, kn: §-1}}\n",
                              "kn: -1 is too small, at least 0"),
    "no such byte": (f"{HEAD}faults:\n  - at_s: 1\n    corrupted: {{node: engine_room, byte: §8}}\n",
                     "byte: 8 is too large, at most 7"),
    "a list wanted": (f"{HEAD}§actions: {{}}\n", "actions: a list is wanted, not a section"),
    "key of a fault": (f"{HEAD}faults:\n  - at_s: 1\n    hang: {{node: lamp_driver, §nod: lamp_driver}}\n",
                       'unknown key "nod": did you mean node?'),
}  # fmt: skip
"""What is wrong with the shape of a file. `§` is where."""

NAMES = {
    "nobody's key": (f"{HEAD}actions:\n  - at_s: 1\n    key: {{name: §take}}\n",
                     "say whose key it is: station for a station's, node for an alarm node's"),
    "two owners of a key": (f"{HEAD}actions:\n  - at_s: 1\n    key: {{station: wheelhouse, node: engine_room, name: §take}}\n",
                            "say whose key it is: station for a station's, node for an alarm node's"),
    "a node without keys": (f"{HEAD}actions:\n  - at_s: 1\n    key: {{node: §engine_room, name: silence}}\n",
                            "engine_room is of kind drive: only a node of kind alarm has keys of its own"),
    "station": (f"{HEAD}actions:\n  - at_s: 1\n    key: {{station: §Wheelhouse, name: take}}\n",
                'there is no station "Wheelhouse": did you mean wheelhouse?'),
    "panel": (f"{HEAD}actions:\n  - at_s: 1\n    touch: {{panel: §wheelhouse, control: lamp}}\n",
              'there is no panel "wheelhouse": known here: companionway'),
    "control": (f"{HEAD}actions:\n  - at_s: 1\n    touch: {{panel: companionway, control: §lampp}}\n",
                'companionway has no control "lampp": did you mean lamp?'),
    "drive": (f"{HEAD}actions:\n  - at_s: 1\n    lever: {{station: wheelhouse, drive: §port, to_permille: 0}}\n",
              'there is no drive "port": known here: engine'),
    "no wheel": (f"{HEAD}actions:\n  - at_s: 1\n    wheel: {{station: §wheelhouse, to_permille: 0}}\n",
                 "wheelhouse has no wheel (steers: true gives it one)"),
    "no such engine": (f"{HEAD}actions:\n  - at_s: 1\n    crank: {{drive: §egnine}}\n",
                       'there is no drive "egnine": did you mean engine?'),
    "engines later": (f"{HEAD}actions:\n  - at_s: §2\n    engines: {{running: false}}\n",
                      "whether the engines run is said for the start, at 0 s"),
    "node": (f"{HEAD}actions:\n  - at_s: 1\n    power: {{node: §engine, on: false}}\n",
             'there is no node "engine": did you mean engine_room?'),
    "node of a fault": (f"{HEAD}faults:\n  - at_s: 1\n    hang: {{node: §lamp}}\n", 'there is no node "lamp"'),
    "bus": (f"{HEAD}faults:\n  - at_s: 1\n    cut: {{bus: §mian, at_m: 1}}\n", 'there is no bus "mian": did you mean main?'),
    "off the end of the trunk": (f"{HEAD}faults:\n  - at_s: 1\n    cut: {{bus: main, at_m: §12.5}}\n",
                                 "12.5 m is beyond the end of the trunk, which is 12 m long"),
    "no such sensor": (f"{HEAD}faults:\n  - at_s: 1\n    sensor_open: {{node: engine_room, channel: §lever.1}}\n",
                       "engine_room has no sensor lever.1: it has shift_position, throttle_position, rpm"),
    "no such end": (f"{HEAD}faults:\n  - at_s: 1\n    actuator_runs: {{drive: engine, actuator: shift, to: §full}}\n",
                    "a shift runs to ahead or astern"),
    "no rudder": (f"{HEAD}faults:\n  - at_s: 1\n    §rudder_jammed: {{}}\n", "the boat has no rudder that the bus moves"),
    "one drive": (f"{HEAD}faults:\n  - at_s: 1\n    §drives_swapped: {{}}\n", "the boat has one drive"),
    "one sensor twice": (f"{HEAD}faults:\n  - at_s: 1\n    sensor_open: {{node: engine_room, channel: rpm}}\n"
                         "  - at_s: 2\n    §sensor_stuck: {node: engine_room, channel: rpm}\n",
                         "sensor_stuck: at that time the fault on line 4 acts on the same sensor already"),
    "after the end": (f"{HEAD}actions:\n  - at_s: §10.5\n    {KEY}\n", "10.5 s is after the end of the scenario at 10 s"),
    "fault after the end": (f"{HEAD}faults:\n  - at_s: §11\n    hang: {{node: engine_room}}\n",
                            "11 s is after the end of the scenario at 10 s"),
    "over at once": (f"{HEAD}faults:\n  - at_s: 1\n    for_s: §1\n    reset: {{node: engine_room}}\n",
                     "reset is over at once: leave out for_s"),
    "one on top of the other": (f"{HEAD}faults:\n  - at_s: 1\n    for_s: 2\n    corrupted: {{node: engine_room}}\n"
                                "  - at_s: 2.5\n    §stale_mailbox: {node: engine_room}\n",
                                "stale_mailbox: at that time the fault on line 4 acts on the same frames already"),
    "requirement": (f"{HEAD}expect:\n  §drive.rearmm: pass\n", 'there is no requirement "drive.rearmm": did you mean drive.rearm?'),
    "not expected so": (f"{HEAD}expect:\n  drive.rearm: §ok\n", 'drive.rearm: "ok" is none of pass, fail, not exercised'),
    "inconclusive": (f"{HEAD}expect:\n  drive.rearm: §inconclusive\n", "is none of pass, fail, not exercised"),
}  # fmt: skip
"""What is wrong with a file for this boat."""


@pytest.fixture(scope="module")
def boat() -> LoadedBoat:
    return load_boat(shipped_folder() / "first_boat")


def problems(text: str, folder: Path, boat: LoadedBoat) -> list[str]:
    file = folder / "made.yaml"
    file.write_text(text.replace("§", ""), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_scenario(file, boat.boat)
    return [str(problem).removeprefix(str(file)) for problem in caught.value.problems]


@pytest.mark.parametrize("case", [*SHAPES, *NAMES])
def test_each_problem_has_its_place_and_words(case: str, tmp_path: Path, boat: LoadedBoat) -> None:
    text, words = {**SHAPES, **NAMES}[case]
    index = text.index("§")
    line, column = text.count("\n", 0, index) + 1, index - text.rfind("\n", 0, index)
    (found,) = problems(text, tmp_path, boat)
    assert found.startswith(f":{line}:{column}: "), found
    assert words in found


@pytest.mark.parametrize("cases", [SHAPES, NAMES], ids=["shapes", "names"])
def test_all_problems_are_told_at_once(cases: dict[str, tuple[str, str]], own_boat: Path) -> None:
    """One file with an entry out of every case: exit status 2, and a line for each, in the order of the file."""
    sections: dict[str, dict[str, None]] = {"actions": {}, "faults": {}, "expect": {}}
    for text, _ in cases.values():
        for name, entries in sections.items():
            begin = f"{HEAD}{name}:\n"
            if text.replace("§", "").startswith(begin):
                # Faults of one node at a time, or a key twice, would be one more problem.
                entry = text.replace("§", "").removeprefix(begin).replace("hang: {node: engine_room}", "hang: {node: lamp_driver}")
                entries[entry.replace("rearm: inconclusive", "loss_to_idle: inconclusive")] = None
    wanted = sum(map(len, sections.values()))
    assert wanted > 10
    text = HEAD + "".join(f"{name}:\n{''.join(entries)}" for name, entries in sections.items() if entries)
    (own_boat / "scenarios" / "made.yaml").write_text(text)
    ended = call_busim("run", "--scenario", "made", folder=own_boat)
    assert (ended.status, ended.out) == (2, "")
    lines = ended.err.splitlines()
    assert len(lines) == wanted
    assert [int(line.split(":")[1]) for line in lines] == sorted(int(line.split(":")[1]) for line in lines)


def test_faults_may_follow_each_other_and_may_meet_on_different_nodes(tmp_path: Path, boat: LoadedBoat) -> None:
    file = tmp_path / "made.yaml"
    entries = (
        (1, "    for_s: 2\n    corrupted: {node: engine_room}"),
        (3, "    for_s: 1\n    stale_mailbox: {node: engine_room}"),
        (3.5, "    corrupted: {node: wheelhouse}"),
        (3.5, "    hang: {node: wheelhouse}"),
        (4, "    corrupted: {node: engine_room}"),
        (1, "    cut: {bus: main, at_m: 3}"),
        (1, "    cut: {bus: main, at_m: 3}"),
    )
    file.write_text(HEAD + "faults:\n" + "".join(f"  - at_s: {at_s}\n{rest}\n" for at_s, rest in entries))
    assert len(load_scenario(file, boat.boat).scenario.faults) == len(entries)


@pytest.mark.parametrize("text", ["scenario: [", "scenario: &a b\nlasts_s: 1\n", "- scenario\n", "", "# only\n"])
def test_what_is_no_scenario_file_at_all(text: str, own_boat: Path) -> None:
    (own_boat / "scenarios" / "made.yaml").write_text(text)
    ended = call_busim("run", "--scenario", "made", folder=own_boat)
    assert (ended.status, ended.out) == (2, "")
    assert ended.err.startswith("scenarios/made.yaml")


def test_every_shipped_scenario_loads_and_between_them_every_requirement_is_expected() -> None:
    expected = set()
    for folder in ("first_boat", "marsh_tern"):
        shipped = load_boat(shipped_folder() / folder).boat
        for file in sorted((shipped_folder() / folder / "scenarios").glob("*.yaml")):
            expected |= set(load_scenario(file, shipped).scenario.expect)
    assert expected == set(BY_ID)
