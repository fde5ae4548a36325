"""Control lost: the gear is out within the limit, counted from the last valid lever frame the drive received."""

from busim.events.journal import Event, Journal
from busim.events.situation import DriveView
from busim.requirements.in_a_log import Reported
from busim.requirements.loss_answered import LossAnswered
from busim.requirements.requirement import Context
from busim.requirements.verdict import Verdict


class LossToNeutral(LossAnswered):
    id = "drive.loss_to_neutral"
    words = "A drive that loses the station in control takes its gear out by itself, within the distance the boat allows."
    hazards = ("fails to disengage", "loss of all control")
    in_a_log = Reported("sensed gear")
    output = "shift"
    at_rest = "gear out"
    not_at_rest = "gear still in"

    def __init__(self, context: Context) -> None:
        super().__init__(context, {name: limit.loss_to_neutral_ms for name, limit in context.limits.items()})
        self.bound = {drive.name for drive in context.plan.drives if drive.on_loss == "neutral"}

    def attach(self, journal: Journal) -> None:
        super().attach(journal)
        journal.watch_events("gear", self._gear)

    def moves(self, drive: DriveView) -> bool:
        return bool(drive.true_gear)

    def _gear(self, event: Event) -> None:
        at_ns, _, _, name, gear, _, _ = event
        if not gear:
            self.rests(self.situation.drives[name], at_ns)

    def finish(self, now_ns: int) -> Verdict:
        self.close(now_ns)
        if not self.bound:
            return self.tally.verdict("this boat's policy on loss is to stay engaged at idle")
        return self.tally.verdict("no drive lost control with its gear in")
