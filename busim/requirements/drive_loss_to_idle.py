"""Control lost: the throttle is at its stop within the limit, counted from the last valid lever frame the drive received."""

from busim.events.journal import Event, Journal
from busim.events.situation import DriveView
from busim.events.table import FROM_PLANT
from busim.requirements.in_a_log import Reported
from busim.requirements.open_losses import OpenLosses
from busim.requirements.orders import Orders
from busim.requirements.requirement import Context, Requirement
from busim.requirements.verdict import Tally, Verdict
from busim.units import MS


class LossToIdle(Requirement):
    id = "drive.loss_to_idle"
    words = "A drive that loses the station in control brings its throttle to idle by itself."
    hazards = ("throttle rise", "loss of all control")
    in_a_log = Reported("throttle feedback")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self.tally = Tally(self.id, None, "ms", FROM_PLANT)
        self.limits = {name: limit.loss_to_idle_ms for name, limit in context.limits.items()}
        self.orders = Orders(self.situation, context.limits)
        self.losses = OpenLosses(self.situation, self._open_ns, self._over)
        self.answered: dict[str, int] = {}
        """Drive -> the loss it has answered; what it does after that is for drive.rearm."""

    def attach(self, journal: Journal) -> None:
        self.orders.attach(journal)
        self.losses.attach(journal)
        journal.watch_events("throttle_stop", self._throttle)

    def _throttle(self, event: Event) -> None:
        at_ns, _, _, name, at_stop = event
        if at_stop:
            self._measure(self.situation.drives[name], at_ns, "throttle at its stop")

    def _measure(self, drive: DriveView, at_ns: int, words: str) -> None:
        base_ns = self.situation.loss_base_ns(drive, at_ns)
        if base_ns is not None and self.answered.get(drive.name) != base_ns:
            self.answered[drive.name] = base_ns
            if self.orders.at_rest_unfollowed(drive.name, "throttle", base_ns + self.limits[drive.name] * MS, at_ns):
                return  # told in time, and its throttle took too long: that is judged by drive.actuator_fault_found
            self.tally.measure(-(-(at_ns - base_ns) // MS), at_ns, f"{drive.name}: {words}", self.limits[drive.name])

    def _open_ns(self, drive: DriveView, now_ns: int) -> int | None:
        """The last valid lever frame before a loss that this drive has not answered yet."""
        base_ns = self.situation.loss_base_ns(drive, now_ns)
        if drive.name in self.orders.hung:
            return None  # a program that stands still: that is judged by drive.self_loss
        if self.answered.get(drive.name) == base_ns or drive.true_at_stop is not False:
            return None
        return base_ns

    def _over(self, drive: DriveView, base_ns: int, now_ns: int) -> None:
        """It has answered that loss, or was taken anew, or its program is gone: was its time over by then?"""
        if self.answered.get(drive.name) != base_ns:
            self._overdue(drive, base_ns, now_ns, "throttle still off its stop when control was taken anew, or its program ended")

    def _overdue(self, drive: DriveView, base_ns: int, now_ns: int, words: str) -> bool:
        """Its time is over, and what was told in time is no excuse: it fails then."""
        due_ns = base_ns + self.limits[drive.name] * MS
        if self.orders.at_rest_unfollowed(drive.name, "throttle", due_ns, now_ns):
            return True  # told in time, and its throttle is stuck: that is judged by drive.actuator_fault_found
        if now_ns > due_ns:
            self.answered[drive.name] = base_ns
            self.tally.measure(-(-(now_ns - base_ns) // MS), now_ns, f"{drive.name}: {words}", self.limits[drive.name])
        return now_ns > due_ns

    def finish(self, now_ns: int) -> Verdict:
        for drive in self.situation.drives.values():
            base_ns = self._open_ns(drive, now_ns)
            if base_ns is not None and not self._overdue(drive, base_ns, now_ns, "throttle still off its stop when the run ended"):
                self.tally.undecided(now_ns, f"{drive.name}: the run ended before the limit")
        return self.tally.verdict("no drive lost control with its throttle off idle")
