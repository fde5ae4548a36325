"""How severe a swept run was, by a written rule: from what the machinery did and which requirements failed, never from feeling.

    danger    when the boat should have been safe a drive without control had its gear in or pushed the other way than asked, or
              the rudder had moved unasked by more than 10 degrees; or a requirement failed that stands against such a hazard; or
              a node's program failed, so that nobody knows what it would have done
    adrift    every drive's thrust, or the steering, was gone at some time, gears out
    less      something could not be had any more, an engine raced with its gear out, a navigation light went dark, or another
              requirement failed
    told      nothing was lost, and somebody was told of the fault
    nothing   neither
"""

from typing import Final

from busim.requirements.table import BY_ID
from busim.sweep.outcome import NODE_PROGRAM, SweptRun

NOTHING, TOLD, LESS, ADRIFT, DANGER = range(5)
RUDDER_UNASKED_CDEG: Final = 1000
DANGEROUS: Final = frozenset(
    ("unintended engagement", "fails to disengage", "wrong direction", "throttle rise", "hard over", "unexpected start",
     "person at the propeller")
)  # fmt: skip
"""Hazards of `busim.requirements.table.HAZARDS` in which machinery moves that nobody asked."""


def severity_of(run: SweptRun) -> int:
    facts = run.severity
    if facts.in_gear or facts.wrong_way or abs(facts.rudder_cdeg) > RUDDER_UNASKED_CDEG:
        return DANGER
    if NODE_PROGRAM in run.failed:
        return DANGER
    if any(DANGEROUS.intersection(BY_ID[name].hazards) for name in run.failed):
        return DANGER
    thrust = [name for name in (*run.works, *run.works_not) if name.startswith("thrust ")]
    lost = {loss.drive for loss in run.losses}
    if "steering" in run.works_not or (thrust and len(lost) >= len(thrust)):
        return ADRIFT
    if run.works_not or facts.off_idle or facts.dark or run.failed or run.thrust_lost_ns is not None:
        return LESS
    return TOLD if run.found else NOTHING
