"""No clutch takes with the throttle off its stop or the engine faster than the boat's shift speed."""

from busim.events.journal import Event, Journal
from busim.events.table import FROM_PLANT
from busim.requirements.in_a_log import Reported
from busim.requirements.requirement import Context, Requirement
from busim.requirements.verdict import Tally, Verdict

STOP_PPM = 10_000
"""The throttle counts as at its stop within 1 % of its stroke."""


class EngageAtIdle(Requirement):
    id = "drive.engage_at_idle"
    words = "A gear only goes in at idle."
    hazards = ("unintended engagement", "throttle rise")
    in_a_log = Reported("sensed gear, throttle and engine speed")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self.tally = Tally(self.id, None, "rpm", FROM_PLANT)
        self.shift_rpm = {drive.name: drive.shift_rpm for drive in context.plan.drives}

    def attach(self, journal: Journal) -> None:
        journal.watch_events("gear", self._gear)

    def _gear(self, event: Event) -> None:
        at_ns, _, _, name, gear, throttle_ppm, rpm = event
        if not gear:
            return
        if throttle_ppm > STOP_PPM:
            open_percent = -(-throttle_ppm // 10_000)
            self.tally.fail(at_ns, f"{name}: the clutch took with the throttle {open_percent} % open", rpm, self.shift_rpm[name])
        else:
            self.tally.measure(rpm, at_ns, f"{name}: the clutch took with the throttle at its stop", self.shift_rpm[name])

    def finish(self, now_ns: int) -> Verdict:
        return self.tally.verdict("no gear went in")
