"""What was done in a rehearsal, written down as it is done: with it, the rehearsal is a scenario and can be run again.

Every action and every change of a fault has a moment of its own, so that the order in which they come is the order of time, in
the rehearsal as in the rerun.
"""

from collections.abc import Callable
from typing import Any, Final

from busim.boat.model import Section
from busim.scenario.load import steps_of
from busim.scenario.model import Action, FaultEntry, ScenarioFile
from busim.units import SECOND

Step = tuple[Any, ...]

TICK_NS: Final = 100_000
"""Moments lie on this grid: a tenth of a millisecond is what a scenario's seconds carry without rounding."""


class Script:
    __slots__ = ("actions", "faults", "last_ns", "name", "taken", "written")

    def __init__(self, name: str) -> None:
        self.name = name
        self.actions: list[dict[str, Any]] = []
        self.faults: list[dict[str, Any]] = []
        """Each as in a scenario; those that are on have no `for_s` yet."""
        self.last_ns = 0
        self.taken: set[int] = set()
        """Moments at which something is to happen."""
        self.written: Callable[[dict[str, Any]], None] | None = None
        """Told of everything as it is done."""

    def moment(self, now_ns: int, *later_ns: int) -> int:
        """The next moment that is free, as are those `later_ns` after it."""
        at_ns = max(now_ns // TICK_NS + 1, self.last_ns // TICK_NS + 1) * TICK_NS
        while any(at_ns + later in self.taken for later in (0, *later_ns)):
            at_ns += TICK_NS
        self.last_ns = at_ns
        self.taken |= {at_ns, *(at_ns + later for later in later_ns)}
        return at_ns

    def act(self, now_ns: int, kind: str, what: Section, boat: Any) -> list[Step]:
        """An action as in a scenario, as soon as possible: the steps of the world that it takes."""
        for_ms = getattr(what, "for_ms", None)
        releases = (for_ms * 1_000_000,) if for_ms is not None and kind in ("key", "touch") else ()
        at_ns = self.moment(now_ns, *releases)
        self.actions.append({"at_s": at_ns / SECOND, kind: what.model_dump(mode="json")})
        self._write({"action": self.actions[-1]})
        scenario = ScenarioFile(scenario=self.name, lasts_s=86_400, actions=(Action.model_validate(self.actions[-1]),))
        return steps_of(scenario, boat)

    def begin(self, now_ns: int, name: str, place: Section) -> tuple[int, Step]:
        """A fault begins: (its number, the step)."""
        at_ns = self.moment(now_ns)
        number = len(self.faults)
        self.faults.append({"at_s": at_ns / SECOND, name: place.model_dump(mode="json", exclude_none=True)})
        self._write({"fault": self.faults[-1]})
        return number, (at_ns, number, "begin_fault", (number, name, place))

    def end(self, now_ns: int, number: int, name: str, place: Section) -> Step:
        at_ns = self.moment(now_ns)
        entry = self.faults[number]
        entry["for_s"] = (at_ns - round(entry["at_s"] * SECOND)) / SECOND
        self._write({"mended": number, "for_s": entry["for_s"]})
        return (at_ns, number, "end_fault", (number, name, place))

    def _write(self, entry: dict[str, Any]) -> None:
        if self.written is not None:
            self.written(entry)

    def scenario(self, lasts_s: float) -> ScenarioFile:
        """All of it. Moments after the end are left out with what was to happen there."""
        return ScenarioFile(
            scenario=self.name,
            lasts_s=lasts_s,
            actions=tuple(Action.model_validate(action) for action in self.actions if action["at_s"] <= lasts_s),
            faults=tuple(FaultEntry.model_validate(_within(fault, lasts_s)) for fault in self.faults if fault["at_s"] <= lasts_s),
        )


def _within(fault: dict[str, Any], lasts_s: float) -> dict[str, Any]:
    if "for_s" in fault and fault["at_s"] + fault["for_s"] > lasts_s:
        return {key: value for key, value in fault.items() if key != "for_s"}
    return fault
