"""A shift or throttle that does not do as it was told is reported in time, and ends in neutral or with the engine stopped.

What was told is the drive's output, what was done is the machinery; neither is the drive's word for it. A gear has half again
its actuator's time and 200 ms to go where it was told, and so has a throttle that was told to go to its stop; by then, and the
period of a report, somebody has to say on the wire that something is wrong: the drive, or its cutout by having fired.
"""

from typing import Final

from busim.events import bits
from busim.events.journal import Event, Journal
from busim.events.situation import DriveView
from busim.events.table import FROM_PLANT
from busim.requirements.in_a_log import Reported
from busim.requirements.orders import shift_allowed_ms, throttle_allowed_ms
from busim.requirements.requirement import Context, Requirement
from busim.requirements.verdict import Tally, Verdict
from busim.units import MS

REPORT_MS: Final = 100
"""A report's period, twice over, and what it takes to be sent."""
RUN_DOWN_MS: Final = 2000
"""From the cut of its fuel an engine turns on; no source, common practice, five times the lag of one that is let go."""


class Order:
    """What one actuator was told, and whether it is done: since when it is not, and whether that was reported."""

    __slots__ = ("allowed_ms", "reported_ns", "since_ns", "target")

    def __init__(self, allowed_ms: int) -> None:
        self.allowed_ms = allowed_ms
        self.target: int | None = None
        self.since_ns: int | None = None
        self.reported_ns: int | None = None

    def see(self, at_ns: int, done: bool) -> None:
        if done:
            self.since_ns = self.reported_ns = None
        elif self.since_ns is None:
            self.since_ns = at_ns

    def overdue_ns(self) -> int | None:
        """When it should have been done."""
        return None if self.since_ns is None else self.since_ns + self.allowed_ms * MS


class ActuatorFaultFound(Requirement):
    id = "drive.actuator_fault_found"
    words = "An actuator that does not do as it was told is reported in time, and the drive ends without thrust."
    hazards = ("fails to disengage", "throttle rise", "unintended engagement", "wrong direction")
    in_a_log = Reported("asked and sensed gear and throttle")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self.tally = Tally(self.id, None, "ms", FROM_PLANT)
        engines = self.situation.engines.of
        self.shift: dict[str, Order] = {}
        self.throttle: dict[str, Order] = {}
        self.end_ms: dict[str, int] = {}
        for name, limit in context.limits.items():
            self.shift[name] = Order(shift_allowed_ms(limit))
            self.throttle[name] = Order(throttle_allowed_ms(limit))
            self.end_ms[name] = limit.loss_to_neutral_ms + engines[name].cutout_ms
        self.failing: dict[str, int] = {}
        """Drive -> when its actuator should have been where it was told, until there is no thrust any more."""

    def attach(self, journal: Journal) -> None:
        for drive in self.situation.drives.values():
            journal.watch_frames(bits.CODE_DRIVE_STATE << 6 | drive.address, self._state)
            cutout = self.situation.engines.of[drive.name].cutout_address
            if cutout:
                journal.watch_frames(bits.CODE_CUTOUT_STATE << 6 | cutout, self._cutout)
        journal.watch_events("output", self._output)
        journal.watch_events("engine", self._engine)
        for kind in ("gear", "throttle_stop"):
            journal.watch_events(kind, self._moved)
        for kind in ("power", "start"):
            journal.watch_events(kind, self._forget)

    # ------------------------------------------------------------------------------------------------ told, and done

    def _output(self, event: Event) -> None:
        at_ns, _, _, node, channel, value = event
        drive = self.situation.by_node.get(node)
        if drive is None or channel not in ("shift", "throttle"):
            return
        self._close(drive, at_ns)
        order = (self.shift if channel == "shift" else self.throttle)[drive.name]
        if order.target != value:
            order.target = value
            order.since_ns = order.reported_ns = None
        self._see(drive, at_ns)

    def _moved(self, event: Event) -> None:
        drive = self.situation.drives[event[3]]
        self._close(drive, event[0])
        self._see(drive, event[0])

    def _see(self, drive: DriveView, at_ns: int) -> None:
        shift, throttle = self.shift[drive.name], self.throttle[drive.name]
        gear = drive.true_gear or 0
        shift.see(at_ns, shift.target is None or shift.target < 0 or shift.target == gear)
        throttle.see(at_ns, throttle.target != 0 or drive.true_at_stop is not False)
        if not gear:
            self._ends(drive, at_ns, 0, "gear out")

    def _forget(self, event: Event) -> None:
        """Its program is gone, or begins: what it had told its actuators before counts no more."""
        drive = self.situation.by_node.get(event[3])
        if drive is not None:
            for order in (self.shift[drive.name], self.throttle[drive.name]):
                order.target = order.since_ns = order.reported_ns = None

    # ------------------------------------------------------------------------------------------------ reported, and ended

    def _state(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        drive = self.situation.by_address[can_id & 0x3F]
        said = bits.sound(can_id, data) and bits.field(int.from_bytes(data, "big"), bits.STATE_FAULT)
        self._reported(drive, now_ns, bool(said))

    def _cutout(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        for drive in self.situation.drives.values():
            engine = self.situation.engines.of[drive.name]
            if engine.cutout_address == can_id & 0x3F:
                self._reported(drive, now_ns, engine.says_fired)

    def _reported(self, drive: DriveView, now_ns: int, said: bool) -> None:
        for order in (self.shift[drive.name], self.throttle[drive.name]):
            if said and order.since_ns is not None and order.reported_ns is None:
                order.reported_ns = now_ns
        self._close(drive, now_ns)

    def _close(self, drive: DriveView, now_ns: int) -> None:
        """Who should have been there by now, and is not: was it said in time?"""
        for words, order in (("gear", self.shift[drive.name]), ("throttle", self.throttle[drive.name])):
            overdue_ns = order.overdue_ns()
            if overdue_ns is None or order.since_ns is None or now_ns < overdue_ns:
                continue
            if order.reported_ns is None and now_ns <= overdue_ns + REPORT_MS * MS:
                continue
            told_ns = order.reported_ns if order.reported_ns is not None else now_ns
            after_ms = -(-(told_ns - order.since_ns) // MS)
            said = "reported" if order.reported_ns is not None else "reported by nobody"
            limit_ms = order.allowed_ms + REPORT_MS
            self.tally.measure(after_ms, told_ns, f"{drive.name}: {words} not where it was told to go, {said}", limit_ms)
            if drive.true_gear and self.situation.engines.of[drive.name].running is not False:
                self.failing.setdefault(drive.name, overdue_ns)
            order.target = order.since_ns = order.reported_ns = None

    def _engine(self, event: Event) -> None:
        drive = self.situation.drives[event[3]]
        self._close(drive, event[0])
        if not event[4]:
            self._ends(drive, event[0], RUN_DOWN_MS, "engine stopped")

    def _ends(self, drive: DriveView, at_ns: int, spare_ms: int, words: str) -> None:
        if drive.name in self.failing:
            overdue_ns = self.failing.pop(drive.name)
            after_ms = -(-(at_ns - overdue_ns) // MS)
            words = f"{drive.name}: {words} after an actuator did not do as it was told"
            self.tally.measure(after_ms, at_ns, words, self.end_ms[drive.name] + spare_ms)

    def finish(self, now_ns: int) -> Verdict:
        for drive in self.situation.drives.values():
            self._close(drive, now_ns)
            if drive.name not in self.failing:
                continue
            waited_ms = (now_ns - self.failing[drive.name]) // MS
            limit_ms = self.end_ms[drive.name] + (RUN_DOWN_MS if self.situation.engines.of[drive.name].cuts else 0)
            if waited_ms > limit_ms:
                words = f"{drive.name}: gear in and engine running, an actuator not doing as it was told"
                self.tally.measure(waited_ms, now_ns, words, limit_ms)
            else:
                self.tally.undecided(now_ns, f"{drive.name}: the run ended before the limit")
        return self.tally.verdict("every gear and every throttle went where it was told to go")
