"""`--kind KIND=MODULE:CLASS`: which classes play which kinds of node in a run."""

import sys
from collections.abc import Mapping
from pathlib import Path
from typing import cast

from busim.boat.model import BoatFile
from busim.host.host import NodeError
from busim.protocol.plan import WirePlan
from busim.reading.problem import InputError, Problem, printable, quoted, suggestion
from busim.seam import Node
from busim.simulator.build import NodeMaker
from busim.simulator.kinds import load_kinds

OPTION = Path("--kind")


def replaced_kinds(kinds: list[str], boat: BoatFile) -> dict[str, str]:
    """Kind -> module:Class, as given. Errors: InputError, also for a kind that no node of this boat is."""
    used = sorted({node.kind for node in boat.nodes.values()})
    replaced: dict[str, str] = {}
    problems = []
    for text in kinds:
        kind, _, place = text.partition("=")
        module, _, name = place.partition(":")
        if not kind or not module or not name:
            problems.append(f"{quoted(text)} is not written as KIND=MODULE:CLASS, like drive=my_nodes:MyDrive")
        elif kind in replaced:
            problems.append(f"{kind} is given twice")
        elif kind not in used:
            problems.append(f"no node of this boat is of the kind {quoted(kind)}: {suggestion(kind, used, otherwise='it has')}")
        else:
            replaced[kind] = place
    if problems:
        raise InputError(Problem(OPTION, None, None, words) for words in problems)
    return replaced


def classes_for(replaced: dict[str, str], boat: BoatFile, plan: WirePlan) -> dict[str, type[Node]]:
    """Kind -> class. Errors: KindError, NodeError where a class can't even be made a node of this boat."""
    if replaced and "" not in sys.path:
        # The current folder, where a builder's own module is; last, so that it hides nothing.
        sys.path.append("")
    classes = load_kinds(replaced)
    for name, node in boat.nodes.items():
        if node.kind in classes and (wrong := _wrong_with(classes[node.kind], plan, node.address, node.build)):
            raise NodeError(f"{name} ({classes[node.kind].__name__}): {wrong}")
    return classes


def _wrong_with(kind: type[Node], plan: WirePlan, address: int, build: int) -> str:
    """What a class does wrong before any of its program runs; empty where nothing. What it does later, its host sees."""
    try:
        node = cast("NodeMaker", kind)(plan, address, build)
        if type(node.deadline_ns) is not int:
            return f"its deadline is {node.deadline_ns!r:.60}, not a whole number"
    except Exception as error:
        return f"it can't be made with (plan, address, build): {type(error).__name__}: {error}"
    if not isinstance(kind.inputs, Mapping) or not all(
        isinstance(channel, str) and type(period_ns) is int and period_ns >= 0 for channel, period_ns in kind.inputs.items()
    ):
        return "its inputs are not channels with their sampling period, a whole number of nanoseconds or 0"
    try:
        handlers = node.receives()
    except Exception as error:
        return f"receives() fails: {type(error).__name__}: {error}"
    if not isinstance(handlers, dict) or not all(isinstance(key, tuple) and callable(value) for key, value in handlers.items()):
        return "receives() does not return (bus, can_id) -> handler"
    return ""


def kinds_text(kinds: dict[str, str]) -> str:
    return printable(", ".join(f"{kind} by {place}" for kind, place in sorted(kinds.items())))


def kind_options(kinds: dict[str, str]) -> list[str]:
    """As words of a command line."""
    return [word for kind, place in sorted(kinds.items()) for word in ("--kind", f"{kind}={place}")]
