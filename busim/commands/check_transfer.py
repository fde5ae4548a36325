"""`busim check --transfer [BOAT]`: what the transfer of control can come to, explored."""

import json
import shlex
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from busim import VERSION, labels
from busim.boat.load import LoadedBoat
from busim.commands import ending
from busim.commands.boats import boat_line, find_boat, shown_path, typed_path
from busim.commands.kinds import classes_for, kind_options, kinds_text, replaced_kinds
from busim.commands.run import fingerprints
from busim.reading.problem import printable, refused
from busim.run.run import carry_out
from busim.scenario.load import load_scenario
from busim.scenario.model import ScenarioFile
from busim.scenario.write import scenario_text
from busim.transfer.network import Network
from busim.transfer.path import Path as Way
from busim.transfer.search import Budget, Round, Search, Violation
from busim.units import MS, seconds_text

JSON_VERSION = 1
SEEDS = range(1, 9)
"""Of a run's seed hang the phases of its nodes; a violation shows in some of them only."""


@dataclass(frozen=True)
class Wanted:
    """What was asked for on the command line; None where nothing was said."""

    takes: int | None
    disturbances: int | None
    slot_ms: int
    depth: int
    most_states: int
    write: Path | None
    as_json: bool

    @property
    def budgets(self) -> list[Budget]:
        """Left out: two takes undisturbed; and, so that it ends within a minute or so, one take with one disturbance from nobody
        or the first station in control."""
        if self.takes is None and self.disturbances is None:
            return [Budget(2, 0), Budget(1, 1, holders=1)]
        return [Budget(1 if self.takes is None else self.takes, self.disturbances or 0)]


def check_transfer(path: Path | None, wanted: Wanted, kinds: list[str]) -> int:
    boat = find_boat(path)
    replaced = replaced_kinds(kinds, boat.boat)
    classes = classes_for(replaced, boat.boat, boat.plan)
    if not boat.plan.drives:
        raise refused(boat.path, labels.TRANSFER_NO_DRIVE)
    if wanted.write is not None and wanted.write.exists():
        raise refused(wanted.write, labels.TRANSFER_WRITTEN_BEFORE)
    if wanted.write is not None and not wanted.write.parent.is_dir():
        raise refused(wanted.write, labels.TRANSFER_NO_FOLDER)
    network = Network(boat.boat, boat.plan, classes, wanted.slot_ms * MS)
    if not wanted.as_json:
        print(boat_line(boat))
        if replaced:
            print(labels.REPLACED_LINE.format(kinds=kinds_text(replaced)))
        for line in _explored_lines(network):
            print(line, flush=True)
    rounds: list[Round] = []
    violation = None
    started = time.monotonic()
    try:
        for budget in wanted.budgets:
            rounds.append(Round(budget))
            violation = Search(network, wanted.depth, wanted.most_states).run(budget, rounds[-1])
            if not wanted.as_json:
                print(_round_line(network, rounds[-1], violation), flush=True)
            if violation is not None:
                break
    except KeyboardInterrupt:
        if not wanted.as_json:
            print(_round_line(network, rounds[-1], None))
        raise
    status = ending.FAILED if violation else ending.PASSED if all(each.closed for each in rounds) else ending.NOT_SHOWN
    found = _played(boat, network, violation, wanted, replaced, classes) if violation else {}
    if wanted.as_json:
        print(json.dumps(_json(boat, replaced, network, rounds, found, status), indent=1))
        return status
    if violation is None:
        took_s = time.monotonic() - started
        for line in _ending_lines(network, rounds, took_s):
            print(line)
        return status
    print()
    print(labels.TRANSFER_PATH)
    for at_ns, words in Way(network, violation).lines():
        print(f"  {seconds_text(at_ns):>7} s  {printable(words)}")
    print()
    if wanted.write is None:
        print(found["scenario"])
    else:
        print(labels.TRANSFER_WRITTEN.format(path=shown_path(wanted.write)))
    print(found["words"])
    return status


# ------------------------------------------------------------------------------------------------ the violation, played


def _played(
    boat: LoadedBoat, network: Network, violation: Violation, wanted: Wanted, replaced: dict[str, str], classes: dict[str, Any]
) -> dict[str, Any]:
    """The scenario, and the seed with which a whole run of it fails what the violation is about."""
    way = Way(network, violation)
    plain = way.scenario()
    text = scenario_text(plain)
    if wanted.write is not None:
        with open(wanted.write, "x", encoding="utf-8") as file:
            file.write(text)
        scenario = load_scenario(wanted.write, boat.boat).scenario
    else:
        scenario = ScenarioFile.model_validate_json(json.dumps(plain))
    seed, failed = 0, []
    for seed in SEEDS:
        failed = carry_out(boat.boat, boat.plan, classes, scenario, seed).failed
        if failed:
            break
    file_name = typed_path(wanted.write) if wanted.write is not None else "FILE"
    words = ["busim", "run", typed_path(boat.path), "--scenario", file_name, "--seed", str(seed), *kind_options(replaced)]
    line = printable(shlex.join(words))
    if failed:
        said = labels.TRANSFER_PLAYED.format(failed=", ".join(failed), line=line)
    else:
        held = ", ".join(labels.TRANSFER_UNPLAYED[each] for each in way.unplayed())
        said = labels.TRANSFER_HELD.format(why=held) if held else labels.TRANSFER_NOT_PLAYED.format(seeds=len(SEEDS))
    lines = [{"at_ns": at_ns, "words": each} for at_ns, each in way.lines()]
    again = line if failed else None
    return {"what": violation.what, "path": lines, "scenario": text, "fails": failed, "reproduce": again, "words": said}


# ------------------------------------------------------------------------------------------------ words


def _explored_lines(network: Network) -> Iterator[str]:
    names = ", ".join(network.names[address] for address in network.members)
    yield labels.TRANSFER_EXPLORES.format(nodes=printable(names), slot=network.slot_ns // MS)
    yield labels.TRANSFER_ABSTRACTED


def _holders(network: Network, budget: Budget) -> str:
    stations = network.stations[: budget.holders]
    if len(stations) == len(network.stations):
        return labels.TRANSFER_ANYBODY
    return labels.TRANSFER_SOMEBODY.format(names=printable(", ".join(network.names[address] for address in stations)))


def _round_line(network: Network, each: Round, violation: Violation | None) -> str:
    slot_ms = network.slot_ns // MS
    if violation is not None:
        how = labels.TRANSFER_VIOLATION
    elif each.closed:
        how = labels.TRANSFER_CLOSED
    else:
        how = labels.TRANSFER_OPEN.format(open=each.open) if each.open else labels.TRANSFER_UNFINISHED
    takes, disturbances = each.budget.takes, each.budget.disturbances
    return labels.TRANSFER_ROUND.format(
        takes=takes,
        disturbances=disturbances,
        holders=_holders(network, each.budget),
        states=each.states,
        transitions=each.transitions,
        depth=each.depth,
        depth_ms=each.depth * slot_ms,
        how=how,
    )


def _ending_lines(network: Network, rounds: list[Round], took_s: float) -> Iterator[str]:
    slot_ms = network.slot_ns // MS
    timing = network.plan.timing
    apart = max(each.longest_apart for each in rounds) * slot_ms
    both = max(each.longest_both for each in rounds) * slot_ms
    yield labels.TRANSFER_ONE.format(apart=apart, both=both, limit=timing.overlap_ms)
    yield labels.TRANSFER_OLD
    if all(each.finished for each in rounds):
        settles = max(each.longest_settling for each in rounds) * slot_ms
        takes = max(each.longest_take for each in rounds) * slot_ms
        yield labels.TRANSFER_LIVE.format(settles=settles, takes=takes, limit=timing.transfer_ms)
    closed = all(each.closed for each in rounds)
    yield (labels.TRANSFER_ALL_CLOSED if closed else labels.TRANSFER_NOT_CLOSED).format(seconds=took_s)


def _json(
    boat: LoadedBoat, replaced: dict[str, str], network: Network, rounds: list[Round], found: dict[str, Any], status: int
) -> dict[str, Any]:
    slot_ms = network.slot_ns // MS
    return {
        "json": JSON_VERSION,
        "busim": VERSION,
        "boat": {"name": boat.boat.boat.name, "file": str(boat.path)},
        "fingerprints": fingerprints(boat.plan.helm_fingerprint, boat.plan.lighting_fingerprint),
        "kinds_replaced": replaced,
        "nodes": [network.names[address] for address in network.members],
        "slot_ms": slot_ms,
        "rounds": [
            {
                "takes": each.budget.takes,
                "disturbances": each.budget.disturbances,
                "begins_with": ["", *(network.names[address] for address in network.stations[: each.budget.holders])],
                "states": each.states,
                "transitions": each.transitions,
                "depth_ms": each.depth * slot_ms,
                "open": each.open,
                "closed": each.closed,
                "longest_apart_ms": each.longest_apart * slot_ms,
                "longest_two_showing_ms": each.longest_both * slot_ms,
                "longest_settling_ms": each.longest_settling * slot_ms,
                "longest_take_ms": each.longest_take * slot_ms,
            }
            for each in rounds
        ],
        "violation": {key: value for key, value in found.items() if key != "words"} or None,
        "exit_status": status,
    }
