"""What drives and rudder report of themselves, told as the events that a run has from their machinery.

The first report of each tells nothing: what it says began before anybody listened. Fields named `true_` of the situation hold
what was reported last.
"""

from typing import Final

from busim.events import bits
from busim.events.journal import Journal
from busim.events.rudder_view import STEP_CDEG, RudderView
from busim.events.situation import DriveView, Situation
from busim.logs.tell import Teller
from busim.requirements.in_a_log import Doubt

AT_STOP_STEPS: Final = 2
"""A throttle is at its stop within 8 permille: requirements take 10 for it."""
RESTS_STEPS: Final = 10
"""A shift rests in neutral within a tenth of half its stroke: no clutch takes there (common practice, no source)."""
STOP_ASKED, NOT_KNOWN = 2, 3
TURNS_RPM: Final = 100
"""Below, an engine is taken to stand; a drive that asks for a stop says that in place of whether it runs."""


class DriveReports:
    """What one drive reported last; None before anything was heard."""

    __slots__ = (
        "at_stop", "counter", "drive", "engine", "heard_ns", "obeys_counter", "resting", "row", "rpm", "shift_told", "throttle_ppm",
        "throttle_told",
    )  # fmt: skip

    def __init__(self, drive: DriveView) -> None:
        self.drive = drive
        self.heard_ns: int | None = None
        self.counter = self.obeys_counter = -1
        self.row: tuple[int, ...] | None = None
        self.at_stop = self.resting = True
        self.engine = self.shift_told = self.throttle_told = -1
        self.throttle_ppm = self.rpm = 0


class DriveTeller(Teller):
    def __init__(self, journal: Journal, doubt: Doubt, situation: Situation) -> None:
        super().__init__(journal, doubt)
        self.situation = situation
        self.reports = {drive.address: DriveReports(drive) for drive in situation.drives.values()}
        for address in self.reports:
            journal.watch_frames(bits.CODE_DRIVE_OBEYS << 6 | address, self._obeys)
            journal.watch_frames(bits.CODE_DRIVE_STATE << 6 | address, self._state)

    def _obeys(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        reports = self.reports[can_id & 0x3F]
        if not bits.sound(can_id, data) or data[1] == reports.obeys_counter:
            return  # spoilt, or the same again by its other bus
        reports.obeys_counter = data[1]
        whole = int.from_bytes(data, "big")
        row = tuple(bits.field(whole, place) for place in (bits.OBEYS_ROW, bits.OBEYS_STATE, bits.OBEYS_STATION, bits.OBEYS_NUMBER))
        before, reports.row = reports.row, row
        if before is None or before == row:
            return
        self.tell(now_ns, 0, "row", reports.drive.node, "drive", row[0], bits.field(whole, bits.OBEYS_CAUSE))

    def _state(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        reports = self.reports[can_id & 0x3F]
        if not bits.sound(can_id, data) or data[1] == reports.counter:
            return
        reports.counter = data[1]
        whole = int.from_bytes(data, "big")
        drive, heard_ns = reports.drive, reports.heard_ns
        reports.heard_ns = now_ns
        gear, throttle_4, shift_10 = self._sensed(now_ns, whole)
        at_stop = throttle_4 <= AT_STOP_STEPS
        resting = abs(shift_10) <= RESTS_STEPS
        engine = bits.field(whole, bits.STATE_ENGINE)
        running = bits.field(whole, bits.STATE_RPM_8) * 8 >= TURNS_RPM
        if heard_ns is None:
            drive.true_gear = gear if gear <= bits.ASTERN else None
            drive.true_at_stop = at_stop
            reports.at_stop, reports.resting, reports.engine = at_stop, resting, engine
            self.situation.engines.of[drive.name].running = running
        within_ns = 0 if heard_ns is None else now_ns - heard_ns
        self._asked(now_ns, within_ns, reports, whole)
        if engine != reports.engine:
            self._engine(now_ns, within_ns, reports, engine)
        if running is not self.situation.engines.of[drive.name].running and engine != NOT_KNOWN:
            self.tell(now_ns, within_ns, "engine", drive.name, int(running))
        if resting != reports.resting:
            reports.resting = resting
            self.tell(now_ns, within_ns, "shift_rest", drive.name, int(resting))
        throttle_ppm, rpm = throttle_4 * 4000, 8 * bits.field(whole, bits.STATE_RPM_8)
        if gear != drive.true_gear and gear <= bits.ASTERN:
            self._gear(now_ns, within_ns, reports, gear, (throttle_ppm, rpm))
        reports.throttle_ppm, reports.rpm = throttle_ppm, rpm
        if at_stop != reports.at_stop:
            reports.at_stop = at_stop
            self.tell(now_ns, within_ns, "throttle_stop", drive.name, int(at_stop))

    def _sensed(self, now_ns: int, whole: int) -> tuple[int, int, int]:
        """(gear, throttle in steps of 4 permille, shift in steps of 10): as the drive's own sensors show them."""
        return (
            bits.field(whole, bits.STATE_SENSED_GEAR),
            bits.field(whole, bits.STATE_SENSED_THROTTLE_4),
            bits.signed_field(whole, bits.STATE_SHIFT_10),
        )

    def _asked(self, now_ns: int, within_ns: int, reports: DriveReports, whole: int) -> None:
        """What it asks of its actuators stands for what its outputs tell them."""
        shift, throttle_4 = bits.field(whole, bits.STATE_ASKED_GEAR), bits.field(whole, bits.STATE_ASKED_THROTTLE_4)
        if throttle_4 != reports.throttle_told:
            reports.throttle_told = throttle_4
            self.tell(now_ns, within_ns, "output", reports.drive.node, "throttle", 4 * throttle_4)
        if shift != reports.shift_told and shift <= bits.ASTERN:
            reports.shift_told = shift
            self.tell(now_ns, within_ns, "output", reports.drive.node, "shift", shift)

    def _engine(self, now_ns: int, within_ns: int, reports: DriveReports, engine: int) -> None:
        before, reports.engine = reports.engine, engine
        if STOP_ASKED in (before, engine):
            self.tell(now_ns, within_ns, "output", reports.drive.node, "engine_stop", int(engine == STOP_ASKED))

    def _gear(self, now_ns: int, within_ns: int, reports: DriveReports, gear: int, now: tuple[int, int]) -> None:
        """Throttle and speed when the clutch took: certainly no less than the lower of the two reports round it."""
        name = reports.drive.name
        if gear and reports.drive.true_gear:
            self.tell(now_ns, within_ns, "gear", name, bits.NEUTRAL, *now)
        lower = (min(now[0], reports.throttle_ppm), min(now[1], reports.rpm)) if gear else now
        self.tell(now_ns, within_ns, "gear", name, gear, *lower)

    def oldest_ns(self, now_ns: int) -> int:
        """How long ago the drive reported that has been silent longest; 0 where none ever did."""
        return max((now_ns - reports.heard_ns for reports in self.reports.values() if reports.heard_ns is not None), default=0)


class RudderTeller(Teller):
    """The rudder's feedback as the way it goes: knots of the situation's rudder, and at rest where two reports agree."""

    def __init__(self, journal: Journal, doubt: Doubt, rudder: RudderView) -> None:
        super().__init__(journal, doubt)
        self.rudder = rudder
        self.heard_ns: int | None = None
        self.counter = -1
        self.sensed_cdeg = 0
        self.asked_cdeg: int | None = None
        self.moving = False
        journal.watch_frames(bits.CODE_RUDDER_STATE << 6 | rudder.address, self._state)

    def _state(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        if not bits.sound(can_id, data) or data[1] == self.counter:
            return
        self.counter = data[1]
        whole = int.from_bytes(data, "big")
        sensed_cdeg = STEP_CDEG * bits.signed_field(whole, bits.RUDDER_SENSED)
        asked_cdeg = STEP_CDEG * bits.signed_field(whole, bits.RUDDER_ASKED)
        within_ns = 0 if self.heard_ns is None else now_ns - self.heard_ns
        if self.heard_ns is None:
            self.rudder.knots = [(now_ns, sensed_cdeg, sensed_cdeg)]
        elif sensed_cdeg != self.sensed_cdeg:
            side = 1 if sensed_cdeg > self.sensed_cdeg else -1
            self.tell(now_ns, within_ns, "rudder", sensed_cdeg, sensed_cdeg + side)
            self.moving = True
        elif self.moving:
            self.tell(now_ns, within_ns, "rudder", sensed_cdeg, sensed_cdeg)
            self.moving = False
        if asked_cdeg != self.asked_cdeg:
            self.asked_cdeg = asked_cdeg
            self.tell(now_ns, within_ns, "output", self.rudder.node, "rudder", asked_cdeg)
        self.heard_ns, self.sensed_cdeg = now_ns, sensed_cdeg
