"""Control lost: the throttle is at its stop within the limit, counted from the last valid lever frame the drive received."""

from busim.events.journal import Event, Journal
from busim.events.situation import DriveView
from busim.requirements.in_a_log import Reported
from busim.requirements.loss_answered import LossAnswered
from busim.requirements.requirement import Context
from busim.requirements.verdict import Verdict


class LossToIdle(LossAnswered):
    id = "drive.loss_to_idle"
    words = "A drive that loses the station in control brings its throttle to idle by itself."
    hazards = ("throttle rise", "loss of all control")
    in_a_log = Reported("throttle feedback")
    output = "throttle"
    at_rest = "throttle at its stop"
    not_at_rest = "throttle still off its stop"

    def __init__(self, context: Context) -> None:
        super().__init__(context, {name: limit.loss_to_idle_ms for name, limit in context.limits.items()})

    def attach(self, journal: Journal) -> None:
        super().attach(journal)
        journal.watch_events("throttle_stop", self._throttle)

    def moves(self, drive: DriveView) -> bool:
        return drive.true_at_stop is False

    def _throttle(self, event: Event) -> None:
        at_ns, _, _, name, at_stop = event
        if at_stop:
            self.rests(self.situation.drives[name], at_ns)

    def finish(self, now_ns: int) -> Verdict:
        self.close(now_ns)
        return self.tally.verdict("no drive lost control with its throttle off idle")
