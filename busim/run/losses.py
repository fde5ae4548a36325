"""What each loss of control cost: time to idle and to gear out, metres run until then, and until way is off."""

from dataclasses import dataclass

from busim.events.journal import Event, Journal
from busim.events.situation import DriveView, Situation
from busim.plant.hull import HullValues, coast


@dataclass(frozen=True)
class LossOfControl:
    """Times from the last valid lever frame the drive received, ns; distances through the water, and over ground (in a straight
    line) where there is a stream. None: not reached, or nothing to say."""

    drive: str
    base_ns: int
    fault: str
    place: str
    to_idle_ns: int | None
    run_to_idle_mm: int | None
    to_neutral_ns: int | None
    run_mm: int | None
    way_off_s: float | None
    way_off_m: float | None
    ground_to_idle_mm: int | None = None
    ground_mm: int | None = None


class OpenLoss:
    __slots__ = ("base_ns", "drive", "fault", "idle_ns", "neutral_ns", "speed_mm_s")

    def __init__(self, drive: DriveView, base_ns: int, fault: tuple[str, str]) -> None:
        self.drive = drive
        self.base_ns = base_ns
        self.fault = fault
        self.idle_ns: int | None = None
        self.neutral_ns: int | None = None
        self.speed_mm_s = 0


class LossBook:
    """Keeps every loss of control that began with a gear in or a throttle open."""

    def __init__(self, situation: Situation, hull: HullValues) -> None:
        self.situation = situation
        self.hull = hull
        self.losses: list[OpenLoss] = []
        self.fault = ("", "")
        self.stopped_ns: dict[str, int] = {}
        """Drive -> when its throttle last came to its stop."""

    def attach(self, journal: Journal) -> None:
        for kind in ("fault", "gear", "throttle_stop"):
            journal.watch_events(kind, getattr(self, f"_{kind}"))

    def _fault(self, event: Event) -> None:
        if event[5]:
            self.fault = (event[3], event[4])

    def _find(self, name: str, at_ns: int) -> OpenLoss | None:
        drive = self.situation.drives[name]
        base_ns = self.situation.loss_base_ns(drive, at_ns)
        if base_ns is None:
            return None
        for loss in self.losses:
            if loss.drive is drive and loss.base_ns == base_ns:
                return loss
        loss = OpenLoss(drive, base_ns, self.fault)
        if drive.true_at_stop is not False:
            # At idle already, or never off it, or got there while nobody could know yet that control was lost.
            loss.idle_ns = max(base_ns, self.stopped_ns.get(name, 0))
        self.losses.append(loss)
        return loss

    def _throttle_stop(self, event: Event) -> None:
        at_ns, _, _, name, at_stop = event
        if at_stop:
            self.stopped_ns[name] = at_ns
        loss = self._find(name, at_ns) if at_stop else None
        if loss is not None and loss.idle_ns is None:
            loss.idle_ns = at_ns

    def _gear(self, event: Event) -> None:
        at_ns, _, _, name, gear, _, _ = event
        loss = self._find(name, at_ns) if not gear else None
        if loss is not None and loss.neutral_ns is None:
            loss.neutral_ns = at_ns
            loss.speed_mm_s = self.situation.speed_mm_s

    def finish(self, now_ns: int) -> list[LossOfControl]:
        for drive in self.situation.drives.values():
            if drive.true_gear or drive.true_at_stop is False:
                self._find(drive.name, now_ns)
        return [self._closed(loss) for loss in self.losses]

    def _closed(self, loss: OpenLoss) -> LossOfControl:
        way_s = way_m = None
        if loss.neutral_ns is not None and self.hull.given:
            way_s, way_m = coast(self.hull, loss.speed_mm_s / 1000)
        return LossOfControl(
            loss.drive.name,
            loss.base_ns,
            *loss.fault,
            None if loss.idle_ns is None else loss.idle_ns - loss.base_ns,
            self._run_mm(loss.base_ns, loss.idle_ns),
            None if loss.neutral_ns is None else loss.neutral_ns - loss.base_ns,
            self._run_mm(loss.base_ns, loss.neutral_ns),
            way_s,
            way_m,
            self._ground_mm(loss.base_ns, loss.idle_ns),
            self._ground_mm(loss.base_ns, loss.neutral_ns),
        )

    def _run_mm(self, base_ns: int, until_ns: int | None) -> int | None:
        """How far she ran, where that moment came and the boat file says how she moves."""
        if until_ns is None or not self.hull.given:
            return None
        return abs(self.situation.run_mm_at(until_ns) - self.situation.run_mm_at(base_ns))

    def _ground_mm(self, base_ns: int, until_ns: int | None) -> int | None:
        if until_ns is None or not self.hull.given or not self.situation.ground.streamed:
            return None
        return self.situation.over_ground_mm(base_ns, until_ns)
