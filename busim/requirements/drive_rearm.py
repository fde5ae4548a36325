"""After control was lost nothing engages, and no throttle leaves its stop, until control was taken anew with a lever in neutral."""

from busim.events import bits
from busim.events.journal import Event, Journal
from busim.events.situation import DriveView
from busim.events.table import FROM_PLANT
from busim.requirements.in_a_log import Reported
from busim.requirements.requirement import TWO_AT_ONE, Context, Requirement, Spoilt
from busim.requirements.verdict import Tally, Verdict


class Loss:
    """One loss of control: the number that was lost, whether the machinery came to rest since, whether a lever tempted it."""

    __slots__ = ("before", "book", "gear_out", "number", "stopped", "tempted")

    def __init__(self, drive: DriveView, number: int) -> None:
        self.number = number
        self.book, self.before = drive.claims, dict(drive.claims)
        """What was claimed until then: a take that came to nothing before the loss is no take after it. The last claim before may
        be the first of the two that count."""
        self.gear_out = not drive.true_gear
        self.stopped = bool(drive.true_at_stop)
        self.tempted = False

    def claims(self, drive: DriveView) -> dict[int, int]:
        """Number -> valid claims, the lever in neutral, since the one before the loss; since its start, where it began anew."""
        before = self.before if drive.claims is self.book else {}
        return {number: claims - max(before.get(number, 0) - 1, 0) for number, claims in drive.claims.items()}


class Rearm(Requirement):
    id = "drive.rearm"
    words = "After a forced neutral nothing engages until a lever was in neutral and control was taken deliberately."
    hazards = ("unintended engagement", "person at the propeller")
    in_a_log = Reported("sensed gear and throttle; whether a drive at rest received a lever, no log shows")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self.tally = Tally(self.id, 0, "times", FROM_PLANT)
        self.losses: dict[str, Loss] = {}
        self.held: dict[str, int] = {}
        """Drive -> the number it obeyed last."""
        self.untrue = Spoilt(self.situation.by_node, TWO_AT_ONE)

    def attach(self, journal: Journal) -> None:
        journal.watch_events("fault", self.untrue.note)
        for drive in self.situation.drives.values():
            journal.watch_frames(bits.CODE_DRIVE_OBEYS << 6 | drive.address, self._obeys)
        for station in sorted({station for drive in self.situation.drives.values() for station in drive.plan.stations}):
            journal.watch_frames(bits.CODE_LEVER << 6 | station, self._lever)
        journal.watch_events("gear", self._gear)
        journal.watch_events("throttle_stop", self._throttle)

    def _look(self, drive: DriveView, now_ns: int) -> Loss | None:
        """The loss this drive is under, if it is: it ends with two valid claims, lever in neutral, under a newer number."""
        loss = self.losses.get(drive.name)
        if drive.node in self.untrue:
            return None  # by its reports, and another's, nobody can tell what it obeys, or lost
        if loss is not None:
            claimed = [number for number, claims in loss.claims(drive).items() if claims >= 2]
            newer = [number for number in claimed if 0 < (number - loss.number) % 65536 < 32768]
            if newer:
                del self.losses[drive.name]
                return None
            return loss
        if self.situation.loss_base_ns(drive, now_ns) is None or drive.name not in self.held:
            return None
        loss = self.losses[drive.name] = Loss(drive, self.held.pop(drive.name))
        return loss

    def _obeys(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        drive = self.situation.by_address[can_id & 0x3F]
        self._look(drive, now_ns)
        if drive.station and drive.name not in self.losses:
            self.held[drive.name] = drive.number

    def _lever(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        """A lever off neutral that reaches a drive at rest after a loss: that is the temptation."""
        if not self.losses or not self.situation.reception_known:
            return
        whole = int.from_bytes(data, "big")
        for drive in self.situation.drives.values():
            loss = self._look(drive, now_ns)
            if loss is None or not loss.gear_out or not mask & self.situation.host_bit[drive.address]:
                continue
            if not loss.tempted and bits.field(whole, bits.LEVER_GEAR[drive.instance]) and bits.sound(can_id, data):
                loss.tempted = True
                self.tally.measure(0, now_ns, f"{drive.name}: stayed in neutral with a lever off neutral and no take of control")

    def _gear(self, event: Event) -> None:
        at_ns, _, _, name, gear, _, _ = event
        known = name in self.losses
        loss = self._look(self.situation.drives[name], at_ns)
        if loss is None:
            return
        if not known:
            loss.gear_out = bool(gear)  # nothing came between the loss and this: before a clutch takes, the gear is out
        if not gear:
            loss.gear_out = True
        elif loss.gear_out:
            self.tally.fail(at_ns, f"{name}: a gear went in after a loss of control without a new take", 1)

    def _throttle(self, event: Event) -> None:
        at_ns, _, _, name, at_stop = event
        known = name in self.losses
        loss = self._look(self.situation.drives[name], at_ns)
        if loss is None:
            return
        if not known:
            loss.stopped = not at_stop
        if at_stop:
            loss.stopped = True
        elif loss.stopped:
            self.tally.fail(at_ns, f"{name}: the throttle left its stop after a loss of control without a new take", 1)

    def finish(self, now_ns: int) -> Verdict:
        return self.tally.verdict("no drive at rest after a loss of control received a lever off neutral")
