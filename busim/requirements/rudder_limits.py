"""The rudder is never ordered beyond its travel, and neither goes beyond it nor turns faster than the boat file says."""

from busim.events.journal import Event, Journal
from busim.events.table import FROM_PLANT
from busim.requirements.in_a_log import Reported
from busim.requirements.requirement import Context, Requirement
from busim.requirements.verdict import Tally, Verdict
from busim.units import MS, SECOND

LEAST_NS = 100 * MS
"""A speed is taken over no less: positions are whole hundredths of a degree, times those of orders."""
FASTER_PERMILLE = 50


class Limits(Requirement):
    id = "rudder.limits"
    words = "The rudder is never asked to go beyond hard over, never does, and turns no faster than it should."
    hazards = ("hard over",)
    in_a_log = Reported("asked and sensed angle")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        rudder = context.plan.rudder
        self.tally = Tally(self.id, rudder.hard_over_cdeg if rudder is not None else None, "cdeg", FROM_PLANT)
        self.fastest = rudder.cdeg_per_s * (1000 + FASTER_PERMILLE) // 1000 if rudder is not None else 0
        self.from_ns = 0
        self.from_cdeg = 0
        self.sign = 0

    def attach(self, journal: Journal) -> None:
        if self.situation.rudder is not None:
            journal.watch_outputs(self._output, "rudder")
            journal.watch_events("rudder", self._rudder)

    def _output(self, event: Event) -> None:
        at_ns, _, _, node, channel, value = event
        rudder = self.situation.rudder
        if rudder is not None and node == rudder.node and channel == "rudder" and rudder.station:
            self.tally.measure(abs(value), at_ns, "ordered of the rudder's actuator")

    def _rudder(self, event: Event) -> None:
        """It goes from here to there from now on: what it did since the last turn is over."""
        at_ns, _, _, angle, goal = event
        sign = (goal > angle) - (goal < angle)
        if self.sign and at_ns - self.from_ns >= LEAST_NS:
            speed = abs(angle - self.from_cdeg) * SECOND // (at_ns - self.from_ns)
            if speed > self.fastest:
                self.tally.fail(at_ns, f"it turned at {speed / 100:.1f} degrees a second", abs(angle))
            self.tally.measure(abs(angle), at_ns, "the rudder turned so far")
        if sign != self.sign or at_ns - self.from_ns >= LEAST_NS:
            self.from_ns, self.from_cdeg, self.sign = at_ns, angle, sign

    def finish(self, now_ns: int) -> Verdict:
        if self.situation.rudder is None:
            return self.tally.verdict("the boat has no rudder on her bus")
        return self.tally.verdict("nobody turned the wheel")
