"""Rules across the values of a boat file, each on the smallest broken boat: the first boat with an edit or two.

`§` in an edit marks where the problem must stand, `¶` the line its words must name (see conftest).
"""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest
from pygments.lexers.c_cpp import CLexer, CppLexer  # type: ignore[import-untyped]
from pygments.token import Keyword, Name, Operator  # type: ignore[import-untyped]

from busim.boat.load import load_boat
from busim.boat.rules import C_WORDS, CPP_WORDS
from busim.reading.problem import InputError

Edit = tuple[str, str]
Edited = Callable[..., Any]

SECOND_ENGINE = """
  {name}:
    node: {node}
    instance: {instance}
    throttle: {{stroke_mm: 70, speed_mm_s: 50, without_power: stays}}
    shift: {{stroke_mm: 70, speed_mm_s: 40, without_power: stays}}
    idle_rpm: 800
    full_rpm: 3200
    stop_without_bus: by hand
"""
NEW_NODE = """
  {name}:
    kind: {kind}
    address: {address}
    taps: {{{bus}: {{at_m: 3}}}}
    supply: house
"""


def node(name: str, kind: str, address: int | str, bus: str = "main") -> tuple[str, str]:
    return "\nnodes:\n", "\nnodes:" + NEW_NODE.format(name=name, kind=kind, address=address, bus=bus).rstrip() + "\n"


def engine(name: str, node_name: str, instance: int | str) -> tuple[str, str]:
    return "\ndrives:\n", "\ndrives:" + SECOND_ENGINE.format(name=name, node=node_name, instance=instance).rstrip() + "\n"


def second_bus(inside: str = "{bit_rate: 250000, trunk_m: 5}") -> tuple[str, str]:
    return "\nbuses:\n", f"\nbuses:\n  spare: {inside}\n"


def scenes(text: str) -> tuple[str, str]:
    return "\npanels:\n", f"\nscenes:\n{text}\npanels:\n"


def control(text: str) -> tuple[str, str]:
    return "        lamp: {number: 1, does: toggle, zones: [cabin_lamp]}", text


def timing(text: str) -> tuple[str, str]:
    return "\ntiming:\n", f"\ntiming:\n  {text}\n"


NO_TIMEOUT = ("  control_timeout_ms: 250 ", "  #")

RULES = {
    # wiring
    "no bus": (
        [("\nnodes:\n", "\nnodes:\n  mast: {kind: lookout, address: 30, supply: house, §taps: {}}\n")],
        "mast is on no bus",
    ),
    "unknown bus": (
        [("taps: {main: {at_m: 4, drop_m: 0.3}}", "taps: {main: {at_m: 4}, §mian: {at_m: 4}}")],
        'there is no bus "mian": did you mean main?',
    ),
    "unknown bus, nothing near": (
        [("taps: {main: {at_m: 4, drop_m: 0.3}}", "taps: {main: {at_m: 4}, §z: {at_m: 4}}")],
        'there is no bus "z": the bus names are: main',
    ),
    "unknown supply": (
        [("    supply: house\n    board: our_board\n  lamp_driver:", "    supply: §hous\n    board: our_board\n  lamp_driver:")],
        'there is no supply "hous": did you mean house?',
    ),
    "unknown board": (
        [("    board: our_board\n  lamp_driver:", "    board: §my_board\n  lamp_driver:")],
        'there is no board "my_board": did you mean our_board?',
    ),
    "off the end": (
        [("at_m: 11", "at_m: §12.5"), ("trunk_m: 12 ", "¶trunk_m: 12 ")],
        "at 12.5 m engine_room is off the end of main, which is 12 m long, line {line}",
    ),
    "drop beyond the trunk": (
        [("{at_m: 4, drop_m: 0.3}", "{at_m: 4, drop_m: §13}"), ("trunk_m: 12 ", "¶trunk_m: 12 ")],
        "a drop of 13 m is longer than main itself, 12 m, line {line}",
    ),
    "terminator beyond the trunk": (
        [("terminators_m: [0, 12]", "terminators_m: [0, §12.1]")],
        "a terminator at 12.1 m, beyond the end of the trunk at 12 m",
    ),
    "own twin": ([second_bus("{bit_rate: 250000, trunk_m: 5, twin_of: §spare}")], "spare can't be its own twin"),
    "unknown twin": (
        [second_bus("{bit_rate: 250000, trunk_m: 5, twin_of: §mane}")],
        'there is no bus "mane": did you mean main?',
    ),
    "twin of a twin": (
        [second_bus("{bit_rate: 250000, trunk_m: 5, ¶twin_of: main}\n  third: {bit_rate: 250000, trunk_m: 5, twin_of: §spare}")],
        "spare is itself a twin, line {line}: name the other bus of the pair at one of them only",
    ),
    "on different buses of a pair": (
        [
            second_bus("{bit_rate: 250000, trunk_m: 5, twin_of: main}"),
            ("taps: {main: {at_m: 11, drop_m: 0.3}}", "taps: {spare: {at_m: 1}}"),
            ("may_take: [engine]", "may_take: [§engine]"),
        ],
        "wheelhouse could not control engine: wheelhouse and engine_room are on no bus together",
    ),
    "doubled twice": (
        [second_bus("{bit_rate: 250000, trunk_m: 5, ¶twin_of: main}\n  third: {bit_rate: 250000, trunk_m: 5, twin_of: §main}")],
        "main is already doubled by spare, line {line}",
    ),
    "brown-out above the supply": (
        [("brown_out_v: 8 ", "brown_out_v: §13 ")],
        "nodes would reset below 13 V, and house has 12 V at best",
    ),
    "duplicate address": (
        [("    address: 20 ", "    ¶address: 20 "), ("address: 21\n", "address: §20\n")],
        "address 20 is already used by companionway, line {line}",
    ),
    "address beyond the helm": (
        [("address: 2\n", "address: §40\n")],
        "address 40 is for nodes beyond the helm: a node of kind drive sends safety messages and needs one from 1 to 15",
    ),
    "kind of helm node that only later issues run": (
        [node("alarms", "alarm", "§30")],
        "address 30 is for nodes beyond the helm: a node of kind alarm sends safety messages and needs one from 1 to 15",
    ),
    # parts
    "unknown node": (
        [("    node: engine_room\n", "    node: §engin_room\n"), ("    kind: drive\n", "    kind: lookout\n")],
        'there is no node "engin_room": did you mean engine_room?',
    ),
    "node of another kind: station": (
        [("stations:\n  wheelhouse:\n    node: wheelhouse", "stations:\n  wheelhouse:\n    node: §engine_room"),
         ("    kind: drive\n", "    kind: ¶drive\n"), ("    kind: station\n", "    kind: lookout\n")],
        "engine_room is of kind drive, line {line}: a station needs a node of kind station",
    ),
    "node of another kind: drive": (
        [("    kind: drive\n", "    kind: ¶lookout\n"), ("    node: engine_room\n", "    node: §engine_room\n")],
        "engine_room is of kind lookout, line {line}: a drive needs a node of kind drive",
    ),
    "node of another kind: zone": (
        [("    node: lamp_driver\n", "    node: §companionway\n"), ("    kind: panel\n", "    kind: ¶panel\n")],
        "companionway is of kind panel, line {line}: a zone needs a node of kind zone_driver",
    ),
    "node of another kind: panel": (
        [("    kind: panel\n", "    kind: ¶lookout\n"), ("    node: companionway\n", "    node: §companionway\n")],
        "companionway is of kind lookout, line {line}: a panel needs a node of kind panel",
    ),
    "node of another kind: rudder": (
        [("\ndrives:\n", "\nrudder: {node: §lamp_driver, hard_over_deg: 35, speed_deg_s: 5}\n\ndrives:\n"),
         ("    may_take: [engine]\n", "    may_take: [engine]\n    steers: true\n"),
         ("    kind: zone_driver\n", "    kind: ¶zone_driver\n")],
        "lamp_driver is of kind zone_driver, line {line}: a rudder needs a node of kind rudder",
    ),
    "node without a part": (
        [node("upper", "§station", 3)],
        "upper is of kind station, but nothing under stations: names it",
    ),
    "node used twice": (
        [("stations:\n  wheelhouse:\n    node: wheelhouse\n",
          "stations:\n  upper: {¶node: wheelhouse, may_take: [engine]}\n  wheelhouse:\n    node: §wheelhouse\n")],
        "the node wheelhouse is already used by upper, line {line}",
    ),
    # helm
    "unknown drive": (
        [("may_take: [engine]", "may_take: [engine, §engines]")],
        'there is no drive "engines": did you mean engine?',
    ),
    "drive listed twice": ([("may_take: [engine]", "may_take: [engine, §engine]")], "engine is listed twice"),
    "station without a drive": (
        [("stations:\n", "stations:\n  upper:\n    node: upper\n    §may_take: []\n"), node("upper", "station", 3)],
        "upper may take no drive and does not steer: it would have nothing to do",
    ),
    "drive without a station": (
        [engine("§port", "second", 2), node("second", "drive", 3)],
        "no station may take port: name it under may_take of one",
    ),
    "steering without a rudder": (
        [("may_take: [engine]\n", "may_take: [engine]\n    steers: §true\n")],
        "wheelhouse steers, but the file has no rudder:",
    ),
    "rudder without steering": (
        [("\ndrives:\n", "\n§rudder: {node: steering, hard_over_deg: 35, speed_deg_s: 5}\n\ndrives:\n"),
         node("steering", "rudder", 4)],
        "no station steers: set steers: true at one",
    ),
    "a rudder that can't hear a drive": (
        [("\ndrives:\n", "\nrudder: {node: §steering, hard_over_deg: 35, speed_deg_s: 5}\n\ndrives:\n"),
         ("\nnodes:\n", "\nnodes:\n  steering: {kind: rudder, address: 4, supply: house, taps: {spare: {at_m: 3}}}\n"),
         second_bus(), ("{at_m: 0.5, drop_m: 0.3}}", "{at_m: 0.5, drop_m: 0.3}, spare: {at_m: 0.5}}"),
         ("may_take: [engine]\n", "may_take: [engine]\n    steers: true\n")],
        "the rudder could not hear whom engine obeys, nor engine whether anybody steers: "
        "steering and engine_room are on no bus together",
    ),
    "duplicate instance": (
        [engine("port", "second", "¶1"), ("    instance: 1\n", "    instance: §1\n"), node("second", "drive", 3),
         ("may_take: [engine]", "may_take: [engine, port]")],
        "instance 1 is already used by port, line {line}",
    ),
    "instance 2 alone": (
        [("    instance: 1\n", "    instance: §2\n")],
        "instance 2 is the second engine, and there is no instance 1",
    ),
    "full below idle": (
        [("full_rpm: 3200", "full_rpm: §800"), ("    idle_rpm: 800", "    ¶idle_rpm: 800")],
        "800 is not above idle_rpm, 800 on line {line}",
    ),
    "shift_rpm above full": (
        [("shift_rpm: 1000 ", "shift_rpm: §3201 "), ("    full_rpm: 3200", "    ¶full_rpm: 3200")],
        "shift_rpm: 3201 is above full_rpm, 3200 on line {line}",
    ),
    "derived shift_rpm above full": (
        [("    shift_rpm: 1000 ", "    #"), ("    full_rpm: 3200", "    ¶full_rpm: 999"),
         ("drives:\n  engine:", "drives:\n  §engine:")],
        "shift_rpm: 1000 (left out: 1.25 x idle) is above full_rpm, 999 on line {line}",
    ),
    "shift_rpm below idle": (
        [("shift_rpm: 1000 ", "shift_rpm: §799 "), ("    idle_rpm: 800", "    ¶idle_rpm: 800")],
        "shift_rpm: 799 is below idle_rpm, 800 on line {line}: no gear would ever go in",
    ),
    "actuator value missing": (
        [("    throttle:\n      stroke_mm: 70 ", "    §throttle:\n      #")],
        "stroke_mm is missing",
    ),
    "actuator value missing in its type too": (
        [("    throttle:\n      stroke_mm: 70 ", "    §throttle:\n      type: linear\n      #"),
         ("\ntypes:\n", "\ntypes:\n  actuators:\n    ¶linear: {speed_mm_s: 30}\n")],
        "stroke_mm is missing: it stands neither here nor in its type, linear on line {line}",
    ),
    "unknown actuator": (
        [("    throttle:\n", "    throttle:\n      type: §liner\n"),
         ("\ntypes:\n", "\ntypes:\n  actuators:\n    linear: {speed_mm_s: 30}\n")],
        'there is no actuator "liner": did you mean linear?',
    ),
    "type of a type": (
        [("\ntypes:\n", "\ntypes:\n  actuators:\n    linear: {type: §other, speed_mm_s: 30}\n")],
        "a type takes nothing over from another type: write its values out",
    ),
    "throttle that springs to neutral": (
        [("without_power: stays ", "without_power: §springs_to_neutral ")],
        "springs_to_neutral is not possible here: a throttle springs_to_idle or stays",
    ),
    "shift that springs to idle": (
        [("without_power: springs_to_neutral ", "without_power: §springs_to_idle ")],
        "springs_to_idle is not possible here: a shift springs_to_neutral or stays",
    ),
    "spring of one that stays": (
        [("without_power: stays ", "without_power: stays\n      spring_mm_s: §20 ")],
        "a spring's speed, but the actuator stays where it is without power",
    ),
    # time
    "control timeout": (
        [("control_timeout_ms: 250 ", "control_timeout_ms: §79 ")],
        "control_timeout_ms: 79 ms is shorter than the 80 ms that pass while max_gap (3) frames are ridden through "
        "at lever_ms (20)",
    ),
    "control timeout, by the lever's period": (
        [("lever_ms: 20 ", "lever_ms: §63 "), NO_TIMEOUT],
        "control_timeout_ms: 250 ms is shorter than the 252 ms that pass while max_gap (3) frames are ridden through "
        "at lever_ms (63)",
    ),
    "heartbeat": (
        [timing("heartbeat_missing_ms: §100")],
        "heartbeat_missing_ms: 100 ms is not longer than heartbeat_ms (100) that it watches: "
        "a heartbeat would be missed between two good ones",
    ),
    "age": (
        [timing("age_max_ms: §40")],
        "age_max_ms: 40 ms is not longer than drive_ms (40) that it watches: an echo would be too old before the next can come",
    ),
    "a task slower than the heartbeat": (
        [timing("drive_ms: §101")],
        "heartbeat_ms: 100 ms is shorter than drive_ms (101): a heartbeat waits for the task to have run since the last one",
    ),
    "age beyond the counter": (
        [timing("age_max_ms: §5101")],
        "age_max_ms: 5101 ms is more than the 5100 ms that the counter can tell at lever_ms (20)",
    ),
    "transfer": (
        [timing("claim_ms: §500")],
        "transfer_ms: 500 ms is not longer than claim_ms (500) that it watches: a take would fail after a single claim",
    ),
    "press": (
        [timing("press_failed_ms: §50")],
        "press_failed_ms: 50 ms is not longer than press_repeat_ms (50) that it watches: "
        "a press would fail before it is repeated once",
    ),
    "overlap": (
        [timing("overlap_ms: §499")],
        "overlap_ms: 499 ms is shorter than transfer_ms (500): a good transfer could force neutral before it is complete",
    ),
    "no time to act in": (
        [("max_run_m: 4 ", "¶max_run_m: 1.7 "), ("drives:\n  engine:", "drives:\n  §engine:")],
        # 1.7 m at 3 kn is 1101.5 ms by hand: 1.7 / (3 x 1852 / 3600).
        "cannot be met: 1.7 m at 3 kn (line {line}) are 1,102 ms, and 250 ms control timeout, 875 ms half shift stroke and 20 ms "
        "margin leave -43 ms to wait for idle",
    ),
    "no time, by hand": (
        [("    dwell_ms: 1000 ", "    loss_to_neutral_ms: §1145\n    dwell_ms: 1000 ")],
        "cannot be met: loss_to_neutral_ms is 1,145 ms, and 250 ms control timeout, 875 ms half shift stroke and 20 ms "
        "margin leave 0 ms to wait for idle",
    ),
    # lights
    "duplicate zone number": (
        [("zones:\n  cabin_lamp:\n    number: 1\n", "zones:\n  deck: {¶number: 1, node: lamp_driver, channel: 2, kind: switched}\n"
          "  cabin_lamp:\n    number: §1\n")],
        "zone number 1 is already used by deck, line {line}",
    ),
    "two zones on one channel": (
        [("zones:\n", "zones:\n  deck: {number: 2, node: lamp_driver, ¶channel: 1, kind: switched}\n"),
         ("    channel: 1\n", "    channel: §1\n")],
        "channel 1 of lamp_driver is already used by deck, line {line}",
    ),
    "mains light that is dimmed": (
        [("    kind: switched\n", "    ¶kind: dimmable\n    mains: §true\n")],
        "mains light is switched, by a relay: cabin_lamp is dimmable, line {line}",
    ),
    "duplicate scene number": (
        [scenes("  one: {¶number: 1, levels: {cabin_lamp: 0}}\n  two: {number: §1, levels: {cabin_lamp: 0}}")],
        "scene number 1 is already used by one, line {line}",
    ),
    "scene with an unknown zone": (
        [scenes("  night: {number: 1, levels: {§cabin_lamb: 0}}")],
        'there is no zone "cabin_lamb": did you mean cabin_lamp?',
    ),
    "scene without zones": ([scenes("  night: {number: 1, §levels: {}}")], "the scene night has no zones"),
    "switched zone half lit": (
        [scenes("  night: {number: 1, levels: {cabin_lamp: §500}}"), ("    kind: switched\n", "    ¶kind: switched\n")],
        "cabin_lamp is switched, line {line}: its level is 0 or 1000, not 500",
    ),
    "panel without pages": (
        [("    pages:\n      steps:\n        lamp: {number: 1, does: toggle, zones: [cabin_lamp]}", "    §pages: {}")],
        "companionway has no pages: at least one is needed",
    ),
    "duplicate control number": (
        [control("        one: {¶number: 1, does: all_off}\n        two: {number: §1, does: all_off}")],
        "number 1 is already used on this page by one, line {line}",
    ),
    "toggle without zones": ([control("        §lamp: {number: 1, does: toggle}")], "does: toggle needs zones"),
    "level without level": (
        [control("        §lamp: {number: 1, does: level, zones: [cabin_lamp]}")],
        "does: level needs level_permille",
    ),
    "scene without scene": ([control("        §lamp: {number: 1, does: scene}")], "does: scene needs scene"),
    "page without page": ([control("        §lamp: {number: 1, does: page}")], "does: page needs page"),
    "all off with zones": (
        [control("        lamp: {number: 1, does: all_off, §zones: [cabin_lamp]}")],
        "does: all_off makes no use of zones: take it out",
    ),
    "unknown zone": (
        [control("        lamp: {number: 1, does: toggle, zones: [cabin_lamp, §cabinlamp]}")],
        'there is no zone "cabinlamp": did you mean cabin_lamp?',
    ),
    "unknown scene": (
        [control("        lamp: {number: 1, does: scene, scene: §nigth}"), scenes("  night: {number: 1, levels: {cabin_lamp: 0}}")],
        'there is no scene "nigth": did you mean night?',
    ),
    "unknown scene, none there": (
        [control("        lamp: {number: 1, does: scene, scene: §night}")],
        'there is no scene "night": there are none in this file',
    ),
    "unknown page": (
        [control("        lamp: {number: 1, does: page, page: §step}")],
        'there is no page "step": did you mean steps?',
    ),
    "level of a switched zone": (
        [control("        lamp: {number: 1, does: level, zones: [cabin_lamp], level_permille: §300}"),
         ("    kind: switched\n", "    ¶kind: switched\n")],
        "cabin_lamp is switched, line {line}: its level is 0 or 1000, not 300",
    ),
    # together on a bus
    "station and drive apart": (
        [second_bus(), ("taps: {main: {at_m: 11, drop_m: 0.3}}", "taps: {spare: {at_m: 1}}"), ("[engine]", "[§engine]")],
        "wheelhouse could not control engine: wheelhouse and engine_room are on no bus together",
    ),
    "panel and zone apart": (
        [second_bus(), ("taps: {main: {at_m: 4, drop_m: 0.3}}", "taps: {spare: {at_m: 1}}"),
         control("        lamp: {number: 1, does: toggle, zones: [§cabin_lamp]}")],
        "companionway could not reach cabin_lamp: companionway and lamp_driver are on no bus together",
    ),
    "panel and a scene's zone apart": (
        [second_bus(), ("taps: {main: {at_m: 4, drop_m: 0.3}}", "taps: {spare: {at_m: 1}}"),
         control("        lamp: {number: 1, does: scene, scene: §night}"), scenes("  night: {number: 1, levels: {cabin_lamp: 0}}")],
        "companionway could not reach cabin_lamp of this scene: companionway and lamp_driver are on no bus together",
    ),
    "drives that can't hear each other": (
        [second_bus(), ("taps: {main: {at_m: 0.5, drop_m: 0.3}}", "taps: {main: {at_m: 0.5}, spare: {at_m: 1}}"),
         node("second", "drive", 3, "spare"), engine("port", "second", 2), ("[engine]", "[engine, port]"),
         ("    node: engine_room\n", "    node: §engine_room\n")],
        "port and engine must hear each other: engine_room and second are on no bus together",
    ),
    # names
    "C word": (
        [("  cabin_lamp:\n", "  §switch:\n"), ("zones: [cabin_lamp]", "zones: [switch]")],
        'the name "switch" is a word of the C language, and firmware could not use it: choose another',
    ),
    "C++ word": (
        [("  cabin_lamp:\n", "  §private:\n"), ("zones: [cabin_lamp]", "zones: [private]")],
        'the name "private" is a word of the C++ language, and firmware could not use it: choose another',
    ),
    "device name": (
        [("      steps:\n", "      §aux:\n")],
        'the name "aux" can not be a file\'s name on every computer: choose another',
    ),
    "names that join to one": (
        [control("        ¶lamp_one: {number: 1, does: all_off}\n      steps_lamp:\n        §one: {number: 1, does: all_off}")],
        "in firmware panel, page and control are called companionway_steps_lamp_one together, and so is "
        "companionway.steps.lamp_one, line {line}",
    ),
}  # fmt: skip


@pytest.mark.parametrize(("edits", "words"), RULES.values(), ids=RULES.keys())
def test_one_broken_rule_is_one_problem_at_its_place(edited: Edited, edits: Sequence[Edit], words: str) -> None:
    boat = edited(*edits)
    with pytest.raises(InputError) as caught:
        load_boat(boat.path)
    line, column = boat.place
    assert line > 0, "the edits mark no place"
    assert [str(problem) for problem in caught.value.problems] == [
        f"{boat.path}:{line}:{column}: {words.format(line=boat.other_line)}"
    ]


KEPT = {
    "limits met exactly": [("control_timeout_ms: 250 ", "control_timeout_ms: 80 "), timing("overlap_ms: 500")],
    "at the very end of the trunk": [("at_m: 11", "at_m: 12")],
    "the last address of the helm": [("address: 2\n", "address: 15\n")],
    "the last address of all": [("address: 21\n", "address: 62\n")],
    "one millisecond to wait": [("    dwell_ms: 1000 ", "    loss_to_neutral_ms: 1146\n    dwell_ms: 1000 ")],
    "two engines": [engine("port", "second", 2), node("second", "drive", 3), ("[engine]", "[engine, port]")],
    "same channel of another driver": [
        node("second", "zone_driver", 22),
        ("zones:\n", "zones:\n  deck: {number: 2, node: second, channel: 1, kind: switched}\n"),
    ],
    "same number on another page": [
        control("        a: {number: 1, does: page, page: more}\n      more:\n        b: {number: 1, does: all_off}")
    ],
    "values from a type": [
        ("    throttle:\n      stroke_mm: 70 ", "    throttle:\n      type: linear\n      #"),
        ("\ntypes:\n", "\ntypes:\n  actuators:\n    linear: {stroke_mm: 70}\n"),
    ],
    "half lit": [
        ("    kind: switched\n", "    kind: dimmable\n"),
        control("        lamp: {number: 1, does: level, zones: [cabin_lamp], level_permille: 300}"),
        scenes("  night: {number: 1, levels: {cabin_lamp: 500}}"),
    ],
    "a kind nobody knows yet": [node("mast", "weather", 30)],
}


@pytest.mark.parametrize("edits", KEPT.values(), ids=KEPT.keys())
def test_what_is_just_allowed_loads(edited: Edited, edits: Sequence[Edit]) -> None:
    load_boat(edited(*edits).path)


def broken(path: Path) -> list[str]:
    with pytest.raises(InputError) as caught:
        load_boat(path)
    return [problem.words for problem in caught.value.problems]


def test_more_than_two_drives_are_refused_in_words(edited: Edited) -> None:
    boat = edited(
        engine("port", "second", 2),
        node("second", "drive", 3),
        ("\nstations:\n", "\nstations:\n  upper: {node: upper, may_take: [engine, port, third]}\n"),
        (
            "\nzones:\n",
            "\n  third: {node: third, instance: 2, throttle: {stroke_mm: 70, speed_mm_s: 50, without_power: stays}, "
            "shift: {stroke_mm: 70, speed_mm_s: 40, without_power: stays}, idle_rpm: 800, full_rpm: 3200, stop_without_bus: x}\n"
            "zones:\n",
        ),
        ("\n  companionway:\n    kind: panel\n", f"{THIRD_AND_UPPER}\n  companionway:\n    kind: panel\n"),
    )
    words = broken(boat.path)
    assert len(words) == 2
    assert words[0] == "a boat has one or two drives, and this is one more"
    assert words[1].startswith("instance 2 is already used by port")


THIRD_AND_UPPER = "".join(
    NEW_NODE.format(name=name, kind=kind, address=address, bus="main").rstrip()
    for name, kind, address in (("third", "drive", 4), ("upper", "station", 5))
)


def test_an_address_whose_messages_could_pass_for_others_is_refused(edited: Edited) -> None:
    # Two ids share a CRC start if (code xor, address xor) is 4/47 among others (design s. 6). A station at 2 xor 47 = 45
    # sends claim (1), and the drive at 2 drive_obeys (5): 1 xor 5 = 4.
    boat = edited(("address: 1 ", "address: 45 "), ("address: 2\n", "¶address: 2\n"))
    words = broken(boat.path)
    assert any("sends safety messages and needs one from 1 to 15" in each for each in words)
    assert (
        f"from address 45 claim could pass for drive_obeys from engine_room, address 2 on line {boat.other_line}: "
        "their CRC starts alike. Choose another address"
    ) in words


def test_every_broken_rule_is_found_at_once_in_the_order_of_the_file(edited: Edited) -> None:
    boat = edited(
        ("at_m: 11", "at_m: 13"),
        ("address: 21\n", "address: 20\n"),
        ("full_rpm: 3200", "full_rpm: 700"),
        ("      steps:\n", "      while:\n"),
        ("control_timeout_ms: 250 ", "control_timeout_ms: 21 "),
    )
    with pytest.raises(InputError) as caught:
        load_boat(boat.path)
    places = [problem.line for problem in caught.value.problems]
    assert len(places) == 5
    assert places == sorted(places, key=lambda line: line or 0)


@pytest.mark.parametrize(("words", "lexer"), [(C_WORDS, CLexer()), (CPP_WORDS, CppLexer())], ids=["C", "C++"])
def test_refused_words_are_no_names_to_an_independent_lexer(words: frozenset[str], lexer: CLexer) -> None:
    # To this lexer alternative tokens (and, or) are operators, and true and false are constants.
    for word in words:
        ((kind, _),) = [token for token in lexer.get_tokens(f"{word} ") if token[1].strip()]
        assert kind in Keyword or kind in Operator.Word or kind is Name.Builtin, (word, kind)
    assert [kind for kind, text in lexer.get_tokens("cabin_lamp") if text.strip()] == [Name]
