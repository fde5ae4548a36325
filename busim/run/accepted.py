"""What a boat's owner has accepted not to be met, in writing and dated: never a pass, and no failure where it is listed.

A weakness names requirements and faults: a fault by its name, as in a scenario, or that and its place ("hang", or
"hang: port_drive"), and perhaps how long they last at the most. It covers a failure of any of those requirements only in a run in
which such a fault had begun by then, and no other fault had.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final, NamedTuple

from busim.boat.load import LoadedBoat
from busim.boat.model import BoatFile, Weakness
from busim.events.journal import Event, Journal
from busim.faults.table import BY_NAME as FAULTS
from busim.reading.problem import InputError, Problem, quoted, suggestion
from busim.requirements.requirement import STRIKES
from busim.requirements.table import REQUIREMENTS
from busim.requirements.verdict import ACCEPTED, FAIL, Verdict
from busim.units import MS, NEVER


class Begun(NamedTuple):
    """A fault that has begun. `ended_ns` None: it is on."""

    at_ns: int
    fault: str
    place: str
    ended_ns: int | None

    def lasted_ns(self) -> int:
        return NEVER if self.ended_ns is None else self.ended_ns - self.at_ns


class Acceptance:
    def __init__(self, weaknesses: Sequence[Weakness]) -> None:
        self.weaknesses = tuple(weaknesses)
        self.begun: list[Begun] = []
        """Every fault so far."""

    def attach(self, journal: Journal) -> None:
        journal.watch_events("fault", self._fault)

    def _fault(self, event: Event) -> None:
        at_ns, _, _, fault, place, begins = event
        if begins:
            self.begun.append(Begun(at_ns, fault, place, at_ns if begins == STRIKES else None))
            return
        for index, each in enumerate(self.begun):
            if each.ended_ns is None and (each.fault, each.place) == (fault, place):
                self.begun[index] = each._replace(ended_ns=at_ns)
                return

    def weigh(self, verdict: Verdict) -> Verdict:
        """The verdict as it counts: a failure that was accepted says so, with when and why."""
        if verdict.verdict != FAIL:
            return verdict
        weakness = next((weakness for weakness in self.weaknesses if self._covers(weakness, verdict)), None)
        if weakness is None:
            return verdict
        evidence = f"{verdict.evidence}; accepted {weakness.date}: {weakness.weakness}"
        return replace(verdict, verdict=ACCEPTED, evidence=evidence, weakness=weakness.weakness)

    def _covers(self, weakness: Weakness, verdict: Verdict) -> bool:
        before = [each for each in self.begun if verdict.at_ns is None or each.at_ns <= verdict.at_ns]
        longest_ns = NEVER if weakness.over_within_ms is None else weakness.over_within_ms * MS
        return bool(before) and all(
            names(weakness, verdict.id, each.fault, each.place) and each.lasted_ns() <= longest_ns for each in before
        )


def names(weakness: Weakness, requirement: str, fault: str, place: str) -> bool:
    """Is this requirement accepted not to be met under this fault at this place?"""
    return requirement in weakness.requirements and (fault in weakness.faults or f"{fault}: {place}" in weakness.faults)


def refuse_unknown(boat: LoadedBoat) -> None:
    """A requirement or a fault that busim does not know would never cover what was meant. Errors: InputError, with all of them."""
    problems = [*_unknown(boat)]
    if problems:
        raise InputError(problems)


def _unknown(boat: LoadedBoat) -> Iterator[Problem]:
    requirements = [requirement.id for requirement in REQUIREMENTS]
    for number, weakness in enumerate(boat.boat.accepted_weaknesses):
        for key, given, known in (("requirements", weakness.requirements, requirements), ("faults", weakness.faults, [*FAULTS])):
            for index, name in enumerate(given):
                wanted = name.partition(": ")[0] if key == "faults" else name
                if wanted not in known:
                    words = f"there is no {key[:-1]} {quoted(wanted)}: {suggestion(wanted, known)}"
                    yield boat.document.problem(("accepted_weaknesses", number, key, index), words)
                elif key == "faults" and (words := _no_place(boat.boat, name)):
                    yield boat.document.problem(("accepted_weaknesses", number, key, index), words)


_AT_METRES: Final = re.compile(r"(\S+) at ([0-9]+(?:\.[0-9]+)?) m")
"""A place along a trunk may be any, not only those that a sweep tries."""


def _no_place(boat: BoatFile, named: str) -> str:
    """What is wrong with the place of "fault: place"; nothing where it names none. A sweep does not try all that a scenario may say
    of a place, so it is held against the names it begins with."""
    fault, colon, place = named.partition(": ")
    if not colon:
        return ""
    metres = _AT_METRES.fullmatch(place)
    if metres is not None and metres[1] in boat.buses:
        trunk_m = boat.buses[metres[1]].trunk_m
        return "" if float(metres[2]) <= trunk_m else f"{quoted(place)}: {metres[1]} is {trunk_m:g} m long"
    names = {_first_name(FAULTS[fault].place_words(each)): None for each in FAULTS[fault].places(boat)}
    name = _first_name(place)
    return "" if name in names else f"{fault} has no place {quoted(name)} on this boat: {suggestion(name, names)}"


def _first_name(place: str) -> str:
    return re.split(",? ", place)[0]
