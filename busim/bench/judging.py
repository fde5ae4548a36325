"""The verdicts of a bench session, in the process that shows them: the same requirements as of a run, by the evidence there is.

With simulated machinery they are judged as in a run; with a rig of the device's own, by what it reports, as in a log. Evidence
that comes from the device itself never makes a plain pass.
"""

from dataclasses import replace
from typing import Any, Final

from busim.bench.observer import OBSERVER_ID, Observer
from busim.bench.order import RIG, SIMULATED
from busim.boat.derive import limits_of
from busim.boat.model import BoatFile
from busim.events import bits
from busim.events.situation import Situation
from busim.events.table import FROM_PLANT, MEASURED, REPORTED
from busim.logs.judge import EVERYBODY, LOOK_NS, Stretch
from busim.logs.tell import LogJournal
from busim.logs.tell_drives import DriveTeller
from busim.protocol.plan import WirePlan
from busim.protocol.values import BENCH_OBSERVER_ADDRESS
from busim.requirements.requirement import Context
from busim.requirements.table import REQUIREMENTS
from busim.requirements.verdict import FAIL, INCONCLUSIVE, PASS, SELF_REPORTED, Verdict
from busim.run.timeline import Line, Timeline
from busim.units import SECOND

OF_THE_DEVICE: Final[dict[str, tuple[str, ...]]] = {
    "drive": ("drive.", "station.", "bus.", "boat."),
    "rudder": ("rudder.", "bus."),
    "station": ("station.", "alarm.", "bus."),
    "cutout": ("drive.self_loss", "drive.start_in_neutral", "bus."),
    "panel": ("light.", "bus."),
    "zone_driver": ("light.", "bus."),
    "navigation": ("light.navigation", "alarm.", "bus."),
    "alarm": ("alarm.", "bus."),
}
"""Kind of node -> the requirements it has a part in, by how their ids begin."""


BY_SENSORS: Final[dict[str, tuple[str, ...]]] = {
    "drive.loss_to_neutral": ("gear",),
    "drive.loss_to_idle": ("throttle",),
    "drive.reversal_dwell": ("shift",),
}
"""Requirements that are judged by sensors of the machinery alone -> by which. An observer's make a plain pass of them."""


COMES_WITHIN_NS: Final = SECOND
"""An observer that is there at all is heard so soon after the drive."""


class ObservedDriveTeller(DriveTeller):
    """What an observer's sensors show goes before what the drive reports. `seen`: a sensor -> it was there at every report."""

    def __init__(self, journal: Any, doubt: Any, situation: Situation) -> None:
        super().__init__(journal, doubt, situation)
        self.observer = Observer()
        self.first_ns: int | None = None
        self.seen: dict[str, bool] = {}
        if all(address != BENCH_OBSERVER_ADDRESS for address, _, _ in situation.plan.nodes):
            journal.watch_frames(OBSERVER_ID, lambda now_ns, bus, can_id, data, mask: self.observer.frame(now_ns, data))

    def _sensed(self, now_ns: int, whole: int) -> tuple[int, int, int]:
        reported = super()._sensed(now_ns, whole)
        if self.first_ns is None:
            self.first_ns = now_ns
        if not self.observer.heard and now_ns - self.first_ns < COMES_WITHIN_NS:
            return reported
        observer, asked = self.observer, bits.field(whole, bits.STATE_ASKED_GEAR)
        throttle, shift = observer.throttle(now_ns), observer.shift(now_ns)
        shown = (
            observer.gear(now_ns, asked), None if throttle is None else throttle // 4, None if shift is None else shift // 10
        )
        for name, value in zip(("gear", "throttle", "shift"), shown, strict=True):
            self.seen[name] = self.seen.get(name, True) and value is not None
        gear, throttle_4, shift_10 = (theirs if ours is None else ours for ours, theirs in zip(shown, reported, strict=True))
        return gear, throttle_4, shift_10


class Judging:
    """Give every finished second to `block`, then ask `verdicts`."""

    def __init__(self, boat: BoatFile, plan: WirePlan, kind: str, machinery: str) -> None:
        self.machinery = machinery
        self.kind = kind
        self.lines: list[Line] = []
        self.now_ns = 0
        self.stretch: Stretch | None = None
        self.look_ns = 0
        self.seen: dict[str, bool] = {}
        if machinery == RIG:
            self.stretch = Stretch(boat, plan, self.lines.append, ObservedDriveTeller)
            self.journal: Any = self.stretch.journal
            return
        self.journal = LogJournal()
        situation = Situation(plan)
        situation.attach(self.journal)
        limits = {name: limits_of(boat, drive) for name, drive in boat.drives.items()}
        context = Context(plan, limits, situation, boat.boat.ride_through_ms, boat.boat.rearm_max_s)
        self.requirements = [kind_of(context) for kind_of in REQUIREMENTS]
        self.timeline = Timeline(boat, situation)
        for requirement in self.requirements:
            requirement.attach(self.journal)
        self.timeline.attach(self.journal)

    def block(self, frames: list[Any], events: list[Any]) -> None:
        """A second, in the order in which it happened: an event says behind how many frames it came."""
        waiting = iter(events)
        event = next(waiting, None)
        for number, (at_ns, bus, can_id, data, mask) in enumerate(frames):
            while event is not None and event[1] <= number:
                self._event(event)
                event = next(waiting, None)
            if self.stretch is not None and at_ns >= self.look_ns:
                self.stretch.roster.look(at_ns)
                self.look_ns = at_ns + LOOK_NS
            self.journal.frame(at_ns, bus, can_id, data, mask if self.stretch is None else EVERYBODY)
            self.now_ns = at_ns
        while event is not None:
            self._event(event)
            event = next(waiting, None)

    def _event(self, event: Any) -> None:
        if self.stretch is None:  # reports tell the rest: two readings of one thing would be told twice
            self.journal.event(event[0], *event[2:])
            self.now_ns = max(self.now_ns, event[0])

    def verdicts(self, uncertainty_ms: int) -> list[Verdict]:
        """Those the device has a part in."""
        if self.stretch is not None:
            drives = self.stretch.drives
            self.seen = drives.seen if isinstance(drives, ObservedDriveTeller) else {}
            for requirement in self.stretch.requirements:
                if self._is_seen(requirement.id):
                    requirement.tally.source = MEASURED
            verdicts, _ = self.stretch.finish(self.now_ns)
        else:
            verdicts = [requirement.finish(self.now_ns) for requirement in self.requirements]
        parts = OF_THE_DEVICE.get(self.kind, ("bus.",))
        return [self._graded(verdict, uncertainty_ms) for verdict in verdicts if verdict.id.startswith(parts)]

    def _is_seen(self, identity: str) -> bool:
        """All that it is judged by was seen by an observer's sensors, at every report of the drive."""
        return all(self.seen.get(what) for what in BY_SENSORS[identity]) if identity in BY_SENSORS else False

    def _graded(self, verdict: Verdict, uncertainty_ms: int) -> Verdict:
        if self.machinery != SIMULATED:
            if verdict.verdict == PASS and not self._is_seen(verdict.id) and verdict.source in (FROM_PLANT, MEASURED):
                verdict = replace(verdict, verdict=SELF_REPORTED, source=REPORTED)
            if straddles(verdict, uncertainty_ms):
                verdict = replace(verdict, verdict=INCONCLUSIVE)
        return verdict


def straddles(verdict: Verdict, uncertainty_ms: int) -> bool:
    """Measured in ms, and so near its limit that the truth may lie on the other side."""
    if verdict.verdict not in (PASS, SELF_REPORTED, FAIL) or verdict.unit != "ms":
        return False
    if verdict.limit is None or verdict.measured is None or not uncertainty_ms:
        return False
    return verdict.measured - uncertainty_ms <= verdict.limit < verdict.measured + uncertainty_ms
