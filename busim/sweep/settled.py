"""Settled states: a mode reached under one seed, saved with everybody who looks on, and what its window looks like undisturbed."""

from dataclasses import dataclass

from busim.requirements.verdict import FAIL
from busim.scenario.load import steps_of
from busim.scenario.model import ScenarioFile
from busim.sweep.branch import Branch
from busim.sweep.modes import Mode, Script, settled_ns
from busim.sweep.moments import Trace, trace_of
from busim.sweep.outcome import SweptMode
from busim.sweep.watched import Ground, begun, restored
from busim.units import MS, SECOND

SWEPT = "swept"
LEFT_OUT = "left out"
FAILS_UNDISTURBED = "fails undisturbed"


@dataclass(frozen=True)
class Settled:
    """`saved` at the moment the mode's script says; `trace` of the window after it, with nothing broken."""

    script: Script
    saved: bytes
    trace: Trace
    amiss: str
    """Why the mode does not count as reached; "" where it does."""


def settle(ground: Ground, script: Script, seed: int) -> Settled:
    scenario = ScenarioFile(scenario="a mode", lasts_s=max(script.settled_ms / 1000, 1.0), actions=script.actions)
    watched = begun(ground, seed, steps_of(scenario, ground.boat))
    at_ns = settled_ns(script)
    if at_ns:
        watched.world.run(at_ns)
    saved = watched.save(ground)
    looked = restored(saved, ground)
    trace = trace_of(looked, at_ns + script.window_ms * MS)
    return Settled(script, saved, trace, script.reached(looked))


def look_at_mode(ground: Ground, mode: Mode, seed: int) -> tuple[SweptMode, tuple[tuple[str, int], ...]]:
    """Can this boat be brought there, and does she keep every requirement where nothing breaks? And the rows she takes then."""
    script = mode.script(ground.boat)
    if isinstance(script, str):
        return SweptMode(mode.name, mode.words, LEFT_OUT, script), ()
    settled = settle(ground, script, seed)
    if settled.amiss:
        return SweptMode(mode.name, mode.words, LEFT_OUT, settled.amiss), ()
    branch = Branch(ground, script, settled.saved, settled.trace.begin_ns + 200 * MS, None)
    branch.carry_out()
    wrong = [f"{verdict.id}: {verdict.evidence}" for verdict in branch.verdicts() if verdict.verdict == FAIL]
    wrong += [f"{what} could not be had afterwards" for what in branch.tried.works_not]
    rows = tuple(branch.watched.witness.rows)
    if wrong:
        return SweptMode(mode.name, mode.words, FAILS_UNDISTURBED, "; ".join(wrong)), rows
    return SweptMode(mode.name, mode.words, SWEPT, f"reached at {settled.trace.begin_ns / SECOND:g} s"), rows
