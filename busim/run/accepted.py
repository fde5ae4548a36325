"""What a boat's owner has accepted not to be met, in writing and dated: never a pass, and no failure where it is listed.

A weakness names a requirement and a fault: by the fault's name, as in a scenario, or that and its place ("hang", or
"hang: port_drive"). It covers a failure of that requirement only in a run in which such a fault had begun by then, and no other
fault had.
"""

from collections.abc import Sequence
from dataclasses import replace

from busim.boat.model import Weakness
from busim.events.journal import Event, Journal
from busim.requirements.verdict import ACCEPTED, FAIL, Verdict


class Acceptance:
    def __init__(self, weaknesses: Sequence[Weakness]) -> None:
        self.weaknesses = tuple(weaknesses)
        self.begun: list[tuple[int, str, str]] = []
        """(at_ns, fault, place) of every fault so far."""

    def attach(self, journal: Journal) -> None:
        journal.watch_events("fault", self._fault)

    def _fault(self, event: Event) -> None:
        at_ns, _, _, fault, place, begins = event
        if begins:
            self.begun.append((at_ns, fault, place))

    def weigh(self, verdict: Verdict) -> Verdict:
        """The verdict as it counts: a failure that was accepted says so, with when and why."""
        if verdict.verdict != FAIL:
            return verdict
        weakness = next((weakness for weakness in self.weaknesses if self._covers(weakness, verdict)), None)
        if weakness is None:
            return verdict
        evidence = f"{verdict.evidence}; accepted {weakness.date}: {weakness.reason}"
        return replace(verdict, verdict=ACCEPTED, evidence=evidence)

    def _covers(self, weakness: Weakness, verdict: Verdict) -> bool:
        before = [(fault, place) for at_ns, fault, place in self.begun if verdict.at_ns is None or at_ns <= verdict.at_ns]
        named = [weakness.fault in (fault, f"{fault}: {place}") for fault, place in before]
        return weakness.requirement == verdict.id and bool(named) and all(named)
