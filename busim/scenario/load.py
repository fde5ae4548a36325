"""A scenario file, read for one boat: every name in it checked, and turned into steps of the world."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from busim.boat.model import BoatFile, Section
from busim.faults.table import BY_NAME
from busim.reading.document import Document, read_document
from busim.reading.problem import InputError, Problem, quoted, suggestion
from busim.requirements.table import BY_ID
from busim.scenario.model import ACTIONS, EXPECTATIONS, KeyAction, ScenarioFile, SwitchAction, WheelAction
from busim.units import MS, SECOND

Step = tuple[Any, ...]
"""(at_ns, order, method of the world, arguments): see `busim.simulator.world`."""


@dataclass(frozen=True)
class LoadedScenario:
    path: Path
    scenario: ScenarioFile


def load_scenario(path: Path, boat: BoatFile) -> LoadedScenario:
    """The scenario at `path`, for this boat. Errors: InputError with everything that is wrong with it."""
    document = read_document(path, ScenarioFile, what="scenario file")
    if problems := list(problems_with(document, boat)):
        raise InputError(problems)
    return LoadedScenario(path, document.value)


def problems_with(document: Document[ScenarioFile], boat: BoatFile) -> Iterator[Problem]:
    """What can't be on this boat, or in this scenario."""
    scenario = document.value
    late = f"{{:g}} s is after the end of the scenario at {scenario.lasts_s:g} s"
    for index, action in enumerate(scenario.actions):
        kind = next(kind for kind in ACTIONS if getattr(action, kind) is not None)
        loc = ("actions", index, kind)
        if action.at_s > scenario.lasts_s:
            yield document.problem(("actions", index, "at_s"), late.format(action.at_s))
        yield from (document.problem((*loc, key), words) for key, words in wrong_in_action(boat, getattr(action, kind)))
        if action.engines is not None and action.at_s != 0:
            words = "whether the engines run is said for the start, at 0 s; later, crank starts one and engine stop stops it"
            yield document.problem(("actions", index, "at_s"), words)
    for index, entry in enumerate(scenario.faults):
        name = fault_of(entry)
        if entry.at_s > scenario.lasts_s:
            yield document.problem(("faults", index, "at_s"), late.format(entry.at_s))
        if entry.for_s is not None and not BY_NAME[name].lasts:
            yield document.problem(("faults", index, "for_s"), f"{name} is over at once: leave out for_s")
        place = getattr(entry, name)
        for key, words in list(_misnamed(boat, place)) or BY_NAME[name].misplaced(boat, place):
            yield document.problem(("faults", index, name, key), words)
    yield from _overlaps(document)
    for identity, expected in scenario.expect.items():
        if identity not in BY_ID:
            words = f"there is no requirement {quoted(identity)}: {suggestion(identity, BY_ID, otherwise='they are')}"
            yield document.key_problem(("expect", identity), words)
        if expected not in EXPECTATIONS:
            yield document.problem(("expect", identity), f"{identity}: {quoted(expected)} is none of {', '.join(EXPECTATIONS)}")


def wrong_in_action(boat: BoatFile, what: Section) -> Iterator[tuple[str, str]]:
    """(key, words) for everything in an action that this boat does not have."""
    yield from _misnamed(boat, what)
    if isinstance(what, KeyAction):
        yield from _not_a_key(boat, what)
    if isinstance(what, WheelAction) and (station := boat.stations.get(what.station)) is not None and not station.steers:
        yield "station", f"{what.station} has no wheel (steers: true gives it one)"


def _not_a_key(boat: BoatFile, key: KeyAction) -> Iterator[tuple[str, str]]:
    if (key.station is None) == (key.node is None):
        yield "name", "say whose key it is: station for a station's, node for an alarm node's"
    elif key.node in boat.nodes and boat.nodes[key.node].kind != "alarm":
        kind = boat.nodes[key.node].kind
        yield "node", f"{key.node} is of kind {kind}: only a node of kind alarm has keys of its own; a station's are under station"
    elif key.node is not None and key.name not in ("acknowledge", "silence"):
        yield "name", f"an alarm node has the keys acknowledge and silence, and no {key.name}"


def fault_of(entry: Any) -> str:
    """The name of the fault that an entry of `faults` is about."""
    return next(name for name in BY_NAME if getattr(entry, name) is not None)


def _overlaps(document: Document[ScenarioFile]) -> Iterator[Problem]:
    """Two faults that act on one thing at a time: the end of the first would end the other too."""
    lasting: dict[tuple[str, str], list[tuple[float, float, int]]] = {}
    for index, entry in enumerate(document.value.faults):
        name = fault_of(entry)
        acts_on = BY_NAME[name].acts_on
        if acts_on is None:
            continue
        end_s = math.inf if entry.for_s is None else entry.at_s + entry.for_s
        before = lasting.setdefault((acts_on, BY_NAME[name].holds(getattr(entry, name))), [])
        for other_at_s, other_end_s, other in before:
            if entry.at_s < other_end_s and other_at_s < end_s:
                line = document.line(("faults", other))
                words = f"{name}: at that time the fault on line {line} acts on the same {acts_on} already"
                yield document.problem(("faults", index, name), words)
                break
        before.append((entry.at_s, end_s, index))


def _misnamed(boat: BoatFile, action: Any) -> Iterator[tuple[str, str]]:
    """(key, words) for every name in an action, or in the place of a fault, that this boat does not have."""
    sections: tuple[tuple[str, Mapping[str, Any]], ...] = (
        ("station", boat.stations),
        ("panel", boat.panels),
        ("drive", boat.drives),
        ("node", boat.nodes),
        ("bus", boat.buses),
        ("supply", boat.supplies),
    )
    for key, section in sections:
        name = getattr(action, key, None)
        if name is not None and name not in section:
            yield key, f"there is no {key} {quoted(name)}: {suggestion(name, section)}"
    light = getattr(action, "light", None)
    if light is not None:
        lights: dict[str, Any] = {**boat.zones, **boat.navigation_lights}
        if light not in lights:
            yield "light", f"there is no light {quoted(light)}: {suggestion(light, lights)}"
        elif isinstance(action, SwitchAction) and not lights[light].wired_switch:
            yield "light", f"{light} has no switch of its own (wired_switch: true gives it one)"
    station, drive = getattr(action, "station", None), getattr(action, "drive", None)
    if station in boat.stations and drive in boat.drives and drive not in boat.stations[station].may_take:
        yield "drive", f"{station} has no lever for {drive}"
    panel, control = getattr(action, "panel", None), getattr(action, "control", None)
    if panel in boat.panels and control is not None:
        controls = [name for page in boat.panels[panel].pages.values() for name in page]
        if control not in controls:
            yield "control", f"{panel} has no control {quoted(control)}: {suggestion(control, controls)}"


def steps_of(scenario: ScenarioFile, boat: BoatFile) -> list[Step]:
    """Everything the scenario does to the world, in no order."""
    steps: list[Step] = []
    for order, action in enumerate(scenario.actions):
        at_ns = round(action.at_s * SECOND)
        if action.key is not None:
            node = boat.stations[action.key.station].node if action.key.station is not None else str(action.key.node)
            steps += _pressed(at_ns, order, node, action.key.name, action.key.for_ms)
        elif action.touch is not None:
            panel = boat.panels[action.touch.panel]
            number = next(page[action.touch.control].number for page in panel.pages.values() if action.touch.control in page)
            steps += _pressed(at_ns, order, panel.node, f"touch.{number}", action.touch.for_ms)
        elif action.switch is not None:
            steps.append((at_ns, order, "wired_switch", (action.switch.light, int(action.switch.on))))
        elif action.lever is not None:
            lever = action.lever
            steps.append((at_ns, order, "move_lever", (lever.station, lever.drive, lever.to_permille, lever.over_ms)))
        elif action.wheel is not None:
            wheel = action.wheel
            steps.append((at_ns, order, "move_wheel", (wheel.station, wheel.to_permille, wheel.over_ms)))
        elif action.crank is not None:
            steps.append((at_ns, order, "crank", (action.crank.drive, action.crank.for_ms)))
        elif action.engines is not None:
            steps.append((at_ns, order, "engines", (int(action.engines.running),)))
        elif action.stream is not None:
            steps.append((at_ns, order, "stream", (action.stream.set_deg, action.stream.kn)))
        elif action.power is not None:
            steps.append((at_ns, order, "power", (action.power.node, int(action.power.on))))
    for number, entry in enumerate(scenario.faults):
        name = fault_of(entry)
        at_ns = round(entry.at_s * SECOND)
        order = len(scenario.actions) + number
        steps.append((at_ns, order, "begin_fault", (number, name, getattr(entry, name))))
        if entry.for_s is not None:
            steps.append((at_ns + round(entry.for_s * SECOND), order, "end_fault", (number, name, getattr(entry, name))))
    return steps


def _pressed(at_ns: int, order: int, node: str, key: str, for_ms: int) -> list[Step]:
    return [(at_ns, order, "key", (node, key, 1)), (at_ns + for_ms * MS, order, "key", (node, key, 0))]
